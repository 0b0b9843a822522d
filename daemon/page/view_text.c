#include "page/view_text.h"

#include "diagnosis/diagnosis.h"
#include "measure/duration.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

char *page_value_text(const struct page_view *view, char text[PAGE_TEXT_SIZE], double si,
                      enum dimension dimension) {
    char *number = unit_format(text, PAGE_TEXT_SIZE, si, dimension, view->units);
    if (isfinite(si))
        return number;
    memcpy(text, "not known", sizeof "not known");
    return text;
}

void page_value(struct page_view *view, double si, enum dimension dimension) {
    char text[PAGE_TEXT_SIZE];
    html_element(&view->html, "span", page_value_text(view, text, si, dimension), "class",
                 isfinite(si) ? "value" : "value unknown", NULL);
}

char *page_percent_text(char text[PAGE_TEXT_SIZE], double fraction) {
    double percent = 100.0 * fraction;
    if (!isfinite(fraction))
        memcpy(text, "not known", sizeof "not known");
    else if (percent > 99.5 && fraction < 1.0)
        memcpy(text, "over 99 %", sizeof "over 99 %");
    else if (percent > 0.0 && percent < 0.5)
        memcpy(text, "under 1 %", sizeof "under 1 %");
    else
        snprintf(text, PAGE_TEXT_SIZE, "%.0f %%", percent);
    return text;
}

static void time_element(struct page_view *view, int64_t time_ms, const char *shown,
                         const char *full) {
    char machine[40];
    html_element(&view->html, "time", shown, "datetime",
                 timestamp_format(machine, sizeof machine, time_ms), "title", full, NULL);
}

/* The days of a fleet without a system are those of UTC. */
static char *full_text(char text[PAGE_TEXT_SIZE], int64_t time_ms, const struct time_zone *zone) {
    return zone ? time_zone_format(text, PAGE_TEXT_SIZE, zone, time_ms)
                : timestamp_format(text, PAGE_TEXT_SIZE, time_ms);
}

char *page_age_text(const struct page_view *view, char text[PAGE_TEXT_SIZE], int64_t time_ms) {
    char span[40];
    int64_t age_ms = time_ms == TIMESTAMP_NONE ? 0 : view->api->now_ms - time_ms;
    if (time_ms == TIMESTAMP_NONE)
        snprintf(text, PAGE_TEXT_SIZE, "never");
    else if (age_ms < -DURATION_MINUTE_MS)
        snprintf(text, PAGE_TEXT_SIZE, "ahead of our clock");
    else if (age_ms < 90 * DURATION_SECOND_MS)
        snprintf(text, PAGE_TEXT_SIZE, "just now");
    else if (age_ms < 2 * DURATION_HOUR_MS)
        snprintf(text, PAGE_TEXT_SIZE, "%lld min ago", (long long)(age_ms / DURATION_MINUTE_MS));
    else if (age_ms < 2 * DURATION_DAY_MS)
        snprintf(text, PAGE_TEXT_SIZE, "%lld h ago", (long long)(age_ms / DURATION_HOUR_MS));
    else if (age_ms < 2 * DURATION_YEAR_MS)
        snprintf(text, PAGE_TEXT_SIZE, "%lld days ago", (long long)(age_ms / DURATION_DAY_MS));
    else
        snprintf(text, PAGE_TEXT_SIZE, "%s ago", duration_format(span, sizeof span, age_ms));
    return text;
}

void page_age(struct page_view *view, int64_t time_ms, const struct time_zone *zone) {
    char full[PAGE_TEXT_SIZE], shown[PAGE_TEXT_SIZE];
    page_age_text(view, shown, time_ms);
    if (time_ms == TIMESTAMP_NONE)
        html_element(&view->html, "span", shown, "class", "unknown", NULL);
    else
        time_element(view, time_ms, shown, full_text(full, time_ms, zone));
}

void page_time(struct page_view *view, int64_t time_ms, const struct time_zone *zone) {
    char full[PAGE_TEXT_SIZE];
    if (time_ms == TIMESTAMP_NONE)
        html_markup(&view->html, "–");
    else
        time_element(view, time_ms, full_text(full, time_ms, zone), NULL);
}

char *page_date_text(char text[PAGE_TEXT_SIZE], int64_t time_ms, const struct time_zone *zone) {
    full_text(text, time_ms, zone);
    text[10] = '\0';
    return text;
}

void page_date(struct page_view *view, int64_t time_ms, const struct time_zone *zone) {
    char text[PAGE_TEXT_SIZE], full[PAGE_TEXT_SIZE];
    if (time_ms == TIMESTAMP_NONE)
        html_markup(&view->html, "–");
    else
        time_element(view, time_ms, page_date_text(text, time_ms, zone),
                     full_text(full, time_ms, zone));
}

/* ---- status ---- */

static const char *const shape_of[] = {
    [MONITOR_IN_SPEC] = "#mark-in-spec",
    [MONITOR_DRIFTING] = "#mark-drifting",
    [MONITOR_OUT_OF_SPEC] = "#mark-out-of-spec",
    [MONITOR_SILENT] = "#mark-silent",
    [MONITOR_OUT_OF_SERVICE] = "#mark-out-of-service",
};
static const char *const class_of[] = {
    [MONITOR_IN_SPEC] = "status in-spec",
    [MONITOR_DRIFTING] = "status drifting",
    [MONITOR_OUT_OF_SPEC] = "status out-of-spec",
    [MONITOR_SILENT] = "status silent",
    [MONITOR_OUT_OF_SERVICE] = "status out-of-service",
};

void page_status(struct page_view *view, enum monitor_status status) {
    html_open(&view->html, "span", "class", class_of[status], NULL);
    html_markup(&view->html, "<svg class=\"mark\" viewBox=\"0 0 20 20\" aria-hidden=\"true\">");
    html_empty(&view->html, "use", "href", shape_of[status], NULL);
    html_markup(&view->html, "</svg> ");
    html_text(&view->html, monitor_status_word(status));
    html_markup(&view->html, "</span>");
}

void page_status_shapes(struct page_view *view) {
    html_markup(
        &view->html,
        "<svg class=\"shapes\" width=\"0\" height=\"0\" aria-hidden=\"true\"><defs>"
        "<symbol id=\"mark-in-spec\" viewBox=\"0 0 20 20\">"
        "<circle cx=\"10\" cy=\"10\" r=\"6.5\" class=\"thin\"/>"
        "<path d=\"M10 1v5M10 14v5M1 10h5M14 10h5\" class=\"thin\"/></symbol>"
        "<symbol id=\"mark-drifting\" viewBox=\"0 0 20 20\">"
        "<path d=\"M2 5l16 10\" class=\"thick\"/><path d=\"M2 10h16\" class=\"dash\"/></symbol>"
        "<symbol id=\"mark-out-of-spec\" viewBox=\"0 0 20 20\">"
        "<path d=\"M10 1l9 9-9 9-9-9z\" class=\"full\"/></symbol>"
        "<symbol id=\"mark-silent\" viewBox=\"0 0 20 20\">"
        "<rect x=\"3\" y=\"3\" width=\"14\" height=\"14\" class=\"dash\"/></symbol>"
        "<symbol id=\"mark-out-of-service\" viewBox=\"0 0 20 20\">"
        "<path d=\"M2 7h16M2 13h16\" class=\"thick\"/></symbol>"
        "<pattern id=\"hatch\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" "
        "patternTransform=\"rotate(45)\"><path d=\"M0 0v6\" class=\"hatching\"/></pattern>"
        "</defs></svg>");
}

/* ---- JSON ---- */

double page_json_number(const json_t *object, const char *name) {
    const json_t *value = json_object_get(object, name);
    return json_is_number(value) ? json_number_value(value) : NAN;
}

int64_t page_json_time(const json_t *object, const char *name) {
    const char *text = page_json_text(object, name);
    int64_t time_ms = TIMESTAMP_NONE;
    return text && timestamp_parse(text, strlen(text), &time_ms) ? time_ms : TIMESTAMP_NONE;
}

const char *page_json_text(const json_t *object, const char *name) {
    return json_string_value(json_object_get(object, name));
}

enum dimension page_dimension(const struct page_view *view, size_t point) {
    return view->api->fleet->points[point].description->binding.unit->dimension;
}

enum unit_system page_units_of_point(struct page_view *view, size_t point) {
    enum unit_system kept = view->units;
    view->units = quantity_units(view->api->fleet->points[point].description->quantity, kept);
    return kept;
}

const char *page_cause_text(const char *word) {
    for (int cause = 0; word && cause < CAUSE_COUNT; cause++) {
        if (strcmp(diagnosis_cause_word((enum diagnosis_cause)cause), word) == 0)
            return diagnosis_cause_text((enum diagnosis_cause)cause);
    }
    return word;
}

void page_json_list(struct page_view *view, const json_t *list) {
    if (json_array_size(list) == 0)
        return;
    html_markup(&view->html, "<ul>");
    for (size_t i = 0; i < json_array_size(list); i++)
        html_element(&view->html, "li", json_string_value(json_array_get(list, i)), NULL);
    html_markup(&view->html, "</ul>");
}
