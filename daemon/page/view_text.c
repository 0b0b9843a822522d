#include "page/view_text.h"

#include "measure/duration.h"
#include "page/view_words.h"
#include "words/wording_texts.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

char *page_value_text(const struct page_view *view, char text[PAGE_TEXT_SIZE], double si,
                      enum dimension dimension) {
    if (isfinite(si))
        return unit_format(text, PAGE_TEXT_SIZE, si, dimension, view->units);
    snprintf(text, PAGE_TEXT_SIZE, "%s", wording_languages[view->language].texts->not_known);
    return text;
}

void page_value(struct page_view *view, double si, enum dimension dimension) {
    char text[PAGE_TEXT_SIZE];
    html_element(&view->html, "span", page_value_text(view, text, si, dimension), "class",
                 isfinite(si) ? "value" : "value unknown", NULL);
}

char *page_percent(char text[PAGE_TEXT_SIZE], double fraction, const char *over_99,
                   const char *under_1) {
    double percent = 100.0 * fraction;
    if (percent > 99.5 && fraction < 1.0)
        snprintf(text, PAGE_TEXT_SIZE, "%s", over_99);
    else if (percent > 0.0 && percent < 0.5)
        snprintf(text, PAGE_TEXT_SIZE, "%s", under_1);
    else
        snprintf(text, PAGE_TEXT_SIZE, "%.0f %%", round(percent) + 0.0); /* never "-0 %" */
    return text;
}

char *page_percent_text(const struct page_view *view, char text[PAGE_TEXT_SIZE], double fraction) {
    if (isfinite(fraction))
        return page_percent(text, fraction, page_words(view, PAGE_OVER_99),
                            page_words(view, PAGE_UNDER_1));
    snprintf(text, PAGE_TEXT_SIZE, "%s", page_words(view, PAGE_NOT_KNOWN));
    return text;
}

/* Beyond it the number says nothing. */
static const double ratio_most_percent = 9999.0;

char *page_ratio_text(char text[PAGE_TEXT_SIZE], double ratio) {
    double percent = round(100.0 * ratio) + 0.0; /* never "-0 %" */
    double shown = fmax(-ratio_most_percent, fmin(percent, ratio_most_percent));
    snprintf(text, PAGE_TEXT_SIZE, "%s%.0f %%",
             percent > shown   ? "> "
             : percent < shown ? "< "
                               : "",
             shown);
    return text;
}

static void time_element(struct page_view *view, int64_t time_ms, const char *shown,
                         const char *full) {
    char machine[40];
    html_element(&view->html, "time", shown, "datetime",
                 timestamp_format(machine, sizeof machine, time_ms), "title", full, NULL);
}

/* The days of a fleet without a system are those of UTC. */
char *page_time_text(char text[PAGE_TEXT_SIZE], int64_t time_ms, const struct time_zone *zone) {
    return zone ? time_zone_format(text, PAGE_TEXT_SIZE, zone, time_ms)
                : timestamp_format(text, PAGE_TEXT_SIZE, time_ms);
}

static char *count_text(const struct page_view *view, char text[PAGE_TEXT_SIZE],
                        enum page_text words, int64_t count) {
    char digits[24];
    snprintf(digits, sizeof digits, "%lld", (long long)count);
    return page_name_in(view, text, PAGE_TEXT_SIZE, words, digits);
}

char *page_age_text(const struct page_view *view, char text[PAGE_TEXT_SIZE], int64_t time_ms) {
    char span[40];
    int64_t age_ms = time_ms == TIMESTAMP_NONE ? 0 : view->api->now_ms - time_ms;
    enum page_text words = PAGE_JUST_NOW;
    if (time_ms == TIMESTAMP_NONE)
        words = PAGE_NEVER;
    else if (age_ms < -DURATION_MINUTE_MS)
        words = PAGE_AHEAD_OF_CLOCK;
    else if (age_ms >= 2 * DURATION_YEAR_MS)
        return page_name_in(view, text, PAGE_TEXT_SIZE, PAGE_SPAN_AGO,
                            duration_format(span, sizeof span, age_ms));
    else if (age_ms >= 2 * DURATION_DAY_MS)
        return count_text(view, text, PAGE_DAYS_AGO, age_ms / DURATION_DAY_MS);
    else if (age_ms >= 2 * DURATION_HOUR_MS)
        return count_text(view, text, PAGE_HOURS_AGO, age_ms / DURATION_HOUR_MS);
    else if (age_ms >= 90 * DURATION_SECOND_MS)
        return count_text(view, text, PAGE_MINUTES_AGO, age_ms / DURATION_MINUTE_MS);
    snprintf(text, PAGE_TEXT_SIZE, "%s", page_words(view, words));
    return text;
}

void page_age(struct page_view *view, int64_t time_ms, const struct time_zone *zone) {
    char full[PAGE_TEXT_SIZE], shown[PAGE_TEXT_SIZE];
    page_age_text(view, shown, time_ms);
    if (time_ms == TIMESTAMP_NONE)
        html_element(&view->html, "span", shown, "class", "unknown", NULL);
    else
        time_element(view, time_ms, shown, page_time_text(full, time_ms, zone));
}

void page_time(struct page_view *view, int64_t time_ms, const struct time_zone *zone) {
    char full[PAGE_TEXT_SIZE];
    if (time_ms == TIMESTAMP_NONE)
        html_markup(&view->html, "–");
    else
        time_element(view, time_ms, page_time_text(full, time_ms, zone), NULL);
}

char *page_date_text(char text[PAGE_TEXT_SIZE], int64_t time_ms, const struct time_zone *zone) {
    page_time_text(text, time_ms, zone);
    text[10] = '\0';
    return text;
}

void page_date(struct page_view *view, int64_t time_ms, const struct time_zone *zone) {
    char text[PAGE_TEXT_SIZE], full[PAGE_TEXT_SIZE];
    if (time_ms == TIMESTAMP_NONE)
        html_markup(&view->html, "–");
    else
        time_element(view, time_ms, page_date_text(text, time_ms, zone),
                     page_time_text(full, time_ms, zone));
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
    page_status_mark(view, status);
    html_markup(&view->html, " ");
    html_text(&view->html, page_words_of(view, monitor_status_word(status)));
    html_markup(&view->html, "</span>");
}

void page_status_mark(struct page_view *view, enum monitor_status status) {
    html_markup(&view->html, "<svg class=\"mark\" viewBox=\"0 0 20 20\" aria-hidden=\"true\">");
    html_empty(&view->html, "use", "href", shape_of[status], NULL);
    html_markup(&view->html, "</svg>");
}

void page_status_since(struct page_view *view, size_t system, enum monitor_status status,
                       int64_t since_ms) {
    int64_t heard_ms = monitor_system_newest_ms(pipeline_monitor(view->api->pipeline), system);
    bool silent = status == MONITOR_SILENT;
    int64_t shown_ms = silent ? heard_ms : since_ms;
    if (silent && heard_ms == TIMESTAMP_NONE)
        page_write(view, PAGE_NOT_HEARD);
    if (shown_ms == TIMESTAMP_NONE)
        return;
    page_fill(view, silent ? PAGE_NOT_HEARD_SINCE : PAGE_SINCE,
              slot_date(shown_ms, page_zone(view, system)));
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

/* ---- points and lists ---- */

enum dimension page_dimension(const struct page_view *view, size_t point) {
    return view->api->fleet->points[point].description->binding.unit->dimension;
}

const struct unit *page_unit_of(enum quantity quantity, enum dimension dimension,
                                enum unit_system units) {
    const char *of_air = units == UNIT_SYSTEM_US ? "inHg" : "kPa";
    return quantity == QUANTITY_BAROMETRIC_PRESSURE ? unit_find(of_air, strlen(of_air))
                                                    : unit_shown(dimension, units);
}

const struct unit *page_unit(const struct page_view *view, size_t point) {
    enum quantity quantity = view->api->fleet->points[point].description->quantity;
    return page_unit_of(quantity, page_dimension(view, point),
                        quantity_units(quantity, view->units));
}

enum unit_system page_units_of_point(struct page_view *view, size_t point) {
    enum unit_system kept = view->units;
    view->units = quantity_units(view->api->fleet->points[point].description->quantity, kept);
    return kept;
}

void page_list(struct page_view *view, struct text_list list) {
    html_markup(&view->html, "<ul>");
    for (size_t i = 0; i < list.count; i++)
        html_element(&view->html, "li", list.items[i], NULL);
    html_markup(&view->html, "</ul>");
}

void page_due(struct page_view *view, size_t point) {
    const struct api *api = view->api;
    int64_t due_ms = monitor_reading_due_ms(pipeline_monitor(api->pipeline), point);
    if (due_ms == INT64_MAX)
        page_write(view, PAGE_BY_HAND);
    else
        page_fill(view, PAGE_BY_HAND_DUE,
                  slot_date(due_ms, page_zone(view, api->fleet->points[point].system)));
}
