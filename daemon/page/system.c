/*
 * The sheet of one system: what it is and does now, how it has been, what is wrong and why, and
 * what was done. The same sheet, less what is not theirs, is what a homeowner's link shows.
 */
#include "measure/duration.h"
#include "page/alarm_items.h"
#include "page/chart.h"
#include "page/drawing.h"
#include "page/facts.h"
#include "page/radon_tests.h"
#include "page/share.h"
#include "page/view_text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PAST_ALARMS_MOST = 40, RECORDS_MOST = 12, EVENTS_MOST = 400 };

/* ---- ranges ---- */

static const struct range {
    const char *word, *text;
    int64_t span_ms;
} ranges[] = {
    {"24h", "24 hours", DURATION_DAY_MS},     {"7d", "7 days", 7 * DURATION_DAY_MS},
    {"30d", "30 days", 30 * DURATION_DAY_MS}, {"91d", "91 days", 91 * DURATION_DAY_MS},
    {"1y", "1 year", 365 * DURATION_DAY_MS},  {"5y", "5 years", 5 * 365 * DURATION_DAY_MS},
};
enum { RANGES = sizeof ranges / sizeof ranges[0], RANGE_USUAL = 2 };

struct span {
    size_t range;
    int64_t from_ms, to_ms;
    bool until_now;
};

static struct span find_span(const struct page_view *view) {
    struct span span = {.range = RANGE_USUAL, .to_ms = view->api->now_ms, .until_now = true};
    const char *word = page_query(view, "range"), *to = page_query(view, "to");
    int64_t to_ms = 0;
    for (size_t i = 0; i < RANGES; i++) {
        if (strcmp(ranges[i].word, word) == 0)
            span.range = i;
    }
    if (timestamp_parse(to, strlen(to), &to_ms) && to_ms < view->api->now_ms &&
        to_ms > DURATION_YEAR_MS) {
        span.to_ms = to_ms;
        span.until_now = false;
    }
    span.from_ms = span.to_ms - ranges[span.range].span_ms;
    return span;
}

static void write_span_link(struct page_view *view, size_t system, size_t range, int64_t to_ms,
                            const char *text, const char *key, bool here) {
    char to[40];
    struct html_address address = page_system_address(view, system, "");
    html_address_query(&address, "range", ranges[range].word);
    if (to_ms < view->api->now_ms)
        html_address_query(&address, "to", timestamp_format(to, sizeof to, to_ms / 1000 * 1000));
    html_address_path(&address, "#charts");
    html_markup(&view->html, "<li>");
    html_element(&view->html, "a", text, "href", address.text, "aria-current", here ? "true" : NULL,
                 "data-key", key, NULL);
    html_markup(&view->html, "</li>");
}

static void write_ranges(struct page_view *view, size_t system, const struct span *span) {
    int64_t half_ms = ranges[span->range].span_ms / 2, middle_ms = span->to_ms - half_ms;
    html_markup(&view->html, "<nav aria-label=\"Time shown\"><ul class=\"tally\">");
    for (size_t i = 0; i < RANGES; i++)
        write_span_link(view, system, i, span->to_ms, ranges[i].text, NULL, i == span->range);
    html_markup(&view->html, "</ul><ul class=\"tally\">");
    write_span_link(view, system, span->range, middle_ms, "← earlier", "ArrowLeft", false);
    if (!span->until_now) {
        write_span_link(view, system, span->range, span->to_ms + half_ms, "later →", "ArrowRight",
                        false);
        write_span_link(view, system, span->range, view->api->now_ms, "to now", "End", false);
    }
    /* Closer and wider keep the middle where it is. */
    if (span->range > 0)
        write_span_link(view, system, span->range - 1,
                        span->until_now ? span->to_ms
                                        : middle_ms + ranges[span->range - 1].span_ms / 2,
                        "+ closer", "+", false);
    if (span->range + 1 < RANGES)
        write_span_link(view, system, span->range + 1,
                        span->until_now ? span->to_ms
                                        : middle_ms + ranges[span->range + 1].span_ms / 2,
                        "− wider", "-", false);
    html_markup(&view->html, "</ul></nav>");
}

/* ---- charts ---- */

struct event_list {
    struct page_event *rows;
    size_t count;
};

static void add_event(struct event_list *list, struct page_event event) {
    if (list->count < EVENTS_MOST && event.from_ms != TIMESTAMP_NONE)
        list->rows[list->count++] = event;
}

static void add_events(struct page_view *view, struct event_list *list, const json_t *show,
                       const json_t *history) {
    const json_t *visits = json_object_get(show, "past_visits");
    const json_t *records = json_object_get(show, "commissioning");
    for (size_t i = 0; i < json_array_size(visits); i++) {
        int64_t on_ms = page_json_time(json_array_get(visits, i), "on");
        add_event(list, (struct page_event){PAGE_EVENT_VISIT, on_ms, on_ms, ""});
    }
    for (size_t i = 0; i < json_array_size(records); i++) {
        int64_t from_ms = page_json_time(json_array_get(records, i), "from");
        add_event(list, (struct page_event){PAGE_EVENT_RECORD, from_ms, from_ms, ""});
    }
    for (size_t i = 0; i < json_array_size(history); i++) {
        const json_t *alarm = json_array_get(history, i);
        int64_t returned_ms = page_json_time(alarm, "returned");
        const char *point = page_json_text(alarm, "point");
        add_event(list, (struct page_event){PAGE_EVENT_ALARM, page_json_time(alarm, "since"),
                                            returned_ms == TIMESTAMP_NONE ? view->api->now_ms
                                                                          : returned_ms,
                                            point ? point : ""});
    }
}

static void write_charts(struct page_view *view, size_t system, const json_t *show,
                         const json_t *history) {
    const struct fleet_system *owner = &view->api->fleet->systems[system];
    const struct span span = find_span(view);
    struct event_list events = {.rows = calloc(EVENTS_MOST, sizeof *events.rows)};
    html_markup(&view->html, "<section id=\"charts\"><h2>Charts</h2>");
    write_ranges(view, system, &span);
    html_markup(&view->html, "<p>From ");
    page_time(view, span.from_ms, owner->zone);
    html_markup(&view->html, " to ");
    page_time(view, span.to_ms, owner->zone);
    html_markup(&view->html, ". Hatched: beyond a limit. Bars above: alarms. V: visit. C: "
                             "commissioning record.</p>");
    if (events.rows)
        add_events(view, &events, show, history);
    for (size_t i = 0; i < owner->point_count; i++) {
        char id[40];
        snprintf(id, sizeof id, "chart-%zu", i);
        const struct page_chart chart = {
            owner->first_point + i, span.from_ms, span.to_ms, events.rows, events.count, id};
        page_chart_draw(view, &chart);
    }
    html_markup(&view->html, "</section>");
    free(events.rows);
}

/* ---- points ---- */

static void write_point_row(struct page_view *view, size_t system, const json_t *point) {
    const struct time_zone *zone = page_zone(view, system);
    const char *id = page_json_text(point, "id");
    size_t index = id ? fleet_find_point(view->api->fleet, system, id) : FLEET_NONE;
    if (index == FLEET_NONE)
        return;
    const json_t *last = json_object_get(point, "last"), *base = json_object_get(point, "baseline");
    enum dimension dimension = page_dimension(view, index);
    double value = page_json_number(last, "value"), baseline = page_json_number(base, "value");
    enum unit_system kept = page_units_of_point(view, index);
    char percent[PAGE_TEXT_SIZE];
    html_markup(&view->html, "<tr>");
    html_element(&view->html, "th", page_json_text(point, "name"), "scope", "row", "data-label",
                 "Point", NULL);
    html_markup(&view->html, "<td data-label=\"Now\">");
    page_value(view, value, dimension);
    html_markup(&view->html, "</td><td data-label=\"Read\">");
    page_age(view, page_json_time(last, "time"), zone);
    html_markup(&view->html, "</td><td data-label=\"At commissioning\">");
    if (isfinite(baseline)) {
        page_value(view, baseline, dimension);
        html_markup(&view->html, " (");
        page_date(view, page_json_time(base, "from"), zone);
        html_markup(&view->html, ")");
    } else {
        html_markup(&view->html, "<span class=\"unknown\">none</span>");
    }
    html_markup(&view->html, "</td>");
    bool shares = baseline > 0 && isfinite(value) && dimension != DIMENSION_TEMPERATURE;
    html_element(&view->html, "td", shares ? page_percent_text(percent, value / baseline) : "–",
                 "data-label", "Of commissioning", NULL);
    html_markup(&view->html, "<td data-label=\"Trend\">");
    page_trend_sentence(view, json_object_get(point, "trend"), dimension);
    html_markup(&view->html, "</td></tr>");
    view->units = kept;
}

/* For whoever can put the sensor right; to a homeowner it says nothing. */
static void write_busy_points(struct page_view *view, const json_t *points) {
    for (size_t i = 0; i < json_array_size(points); i++) {
        const json_t *point = json_array_get(points, i);
        const json_t *busy = json_object_get(point, "sends_too_often");
        if (!json_is_object(busy))
            continue;
        html_markup(&view->html, "<p class=\"notice\">");
        html_format(&view->html, "%s %s.", page_json_text(point, "name"),
                    page_json_text(busy, "text"));
        html_markup(&view->html, "</p>");
    }
}

static void write_points(struct page_view *view, size_t system, const json_t *show) {
    const json_t *points = json_object_get(show, "points");
    html_markup(&view->html,
                "<section><h2>Points</h2><table class=\"points\"><thead><tr>"
                "<th scope=\"col\">Point</th><th scope=\"col\">Now</th><th scope=\"col\">Read</th>"
                "<th scope=\"col\">At commissioning</th><th scope=\"col\">Of commissioning</th>"
                "<th scope=\"col\">Trend of daily medians since commissioning</th></tr></thead>"
                "<tbody>");
    for (size_t i = 0; i < json_array_size(points); i++)
        write_point_row(view, system, json_array_get(points, i));
    html_markup(&view->html, "</tbody></table>");
    if (!view->share)
        write_busy_points(view, points);
    html_markup(&view->html, "</section>");
}

static void write_radon(struct page_view *view, const json_t *show) {
    const json_t *radon = page_point_of(show, "radon");
    if (!radon)
        return;
    html_markup(&view->html, "<section><h2>Radon, on average</h2><p>Action level: ");
    page_value(view, view->api->fleet->settings->radon_action_level_bq_m3, DIMENSION_RADON);
    html_markup(&view->html, ". Single readings say little; means over months count. Winter is "
                             "usually higher than summer.</p>");
    page_averages(view, radon, DIMENSION_RADON);
    html_markup(&view->html, "</section>");
}

/* ---- what people can do ---- */

static void write_visit_form(struct page_view *view, size_t system) {
    const struct fleet_system *owner = &view->api->fleet->systems[system];
    char today[PAGE_TEXT_SIZE];
    html_markup(&view->html, "<details id=\"visit-done\"><summary>Write down a visit</summary>");
    page_begin_form(view, system, "/visit-done");
    html_markup(&view->html, "<p><label for=\"on\">Day</label> ");
    html_empty(&view->html, "input", "id", "on", "name", "on", "type", "date", "required", "",
               "value", page_date_text(today, view->api->now_ms, owner->zone), NULL);
    html_markup(&view->html,
                "</p><p><label for=\"found\">Found</label> <textarea id=\"found\" name=\"found\" "
                "rows=\"2\" maxlength=\"2000\" required></textarea></p><p><label "
                "for=\"did\">Done</label> <textarea id=\"did\" name=\"did\" rows=\"2\" "
                "maxlength=\"2000\" required></textarea></p><fieldset><legend>Measured by hand, "
                "with unit (0.62 inH2O)</legend>");
    for (size_t i = 0; i < owner->point_count; i++) {
        char id[32], name[160];
        const struct point_description *point = &owner->description->points[i];
        snprintf(id, sizeof id, "by-hand-%zu", i);
        snprintf(name, sizeof name, "value-%s", point->id);
        html_markup(&view->html, "<p>");
        html_element(&view->html, "label", point->name, "for", id, NULL);
        html_markup(&view->html, " ");
        html_empty(&view->html, "input", "id", id, "name", name, "maxlength", "40", NULL);
        html_markup(&view->html, "</p>");
    }
    html_markup(&view->html,
                "<p><label><input type=\"checkbox\" name=\"new_baseline\" value=\"yes\"> The work "
                "changed fan, pipe or openings: these values are the new normal, from that day on"
                "</label></p></fieldset><p><label for=\"next_calibration\">Next "
                "calibration</label> <input id=\"next_calibration\" name=\"next_calibration\" "
                "type=\"date\"></p><p><button type=\"submit\">Write down</button></p></form>"
                "</details>");
}

static void write_service_form(struct page_view *view, size_t system) {
    if (monitor_out_of_service_until(pipeline_monitor(view->api->pipeline), system) !=
        TIMESTAMP_NONE) {
        page_begin_form(view, system, "/return-to-service");
        html_markup(&view->html, "<button type=\"submit\">Return to service</button></form>");
        return;
    }
    html_markup(&view->html, "<details><summary>Take out of service</summary>");
    page_begin_form(view, system, "/out-of-service");
    html_markup(&view->html,
                "<p>While it is out of service its alarms tell nobody.</p><p><label "
                "for=\"until\">For</label> <select id=\"until\" name=\"until\"><option value=\"1 "
                "d\">1 day</option><option value=\"7 d\">7 days</option><option value=\"30 d\">30 "
                "days</option></select></p><p><label for=\"why\">Why</label> <input id=\"why\" "
                "name=\"why\" required maxlength=\"300\"></p><p><button type=\"submit\">Take out "
                "of service</button></p></form></details>");
}

static void write_share_form(struct page_view *view, size_t system) {
    char token[PAGE_SHARE_SIZE];
    struct store *store = pipeline_store(view->api->pipeline);
    html_markup(&view->html, "<details id=\"share\"><summary>Link for the homeowner</summary>");
    if (store && page_share_current(store, fleet_system_id(view->api->fleet, system), token)) {
        struct html_address address = html_address("/share/");
        html_address_part(&address, token);
        html_markup(&view->html, "<p>Whoever has this link sees this system and its record, and "
                                 "nothing else: <br>");
        page_link(view, &address, address.text);
        html_markup(&view->html, "</p>");
        page_begin_form(view, system, "/withdraw-share");
        html_markup(&view->html, "<button type=\"submit\">Withdraw the link</button></form>");
    } else {
        html_markup(&view->html, "<p>There is none in force.</p>");
        page_begin_form(view, system, "/share");
        html_markup(&view->html, "<button type=\"submit\">Make a link</button></form>");
    }
    html_markup(&view->html, "</details>");
}

static void write_actions(struct page_view *view, size_t system) {
    if (!view->session || view->share)
        return;
    html_markup(&view->html, "<section class=\"actions no-print\"><h2>Changes</h2>");
    write_visit_form(view, system);
    page_radon_test_form(view, system);
    write_service_form(view, system);
    write_share_form(view, system);
    html_markup(&view->html, "</section>");
}

/* ---- the sheet ---- */

static void write_service(struct page_view *view, size_t system, const json_t *show) {
    const json_t *out = json_object_get(show, "out_of_service");
    if (!json_is_object(out))
        return;
    html_markup(&view->html, "<p class=\"notice\">Out of service until ");
    page_time(view, page_json_time(out, "until"), page_zone(view, system));
    if (!view->share)
        html_format(&view->html, ", by %s: %s", page_json_text(out, "by"),
                    page_json_text(out, "why"));
    html_markup(&view->html, ".</p>");
}

static void write_top(struct page_view *view, size_t system, const json_t *show) {
    const struct system_description *about = view->api->fleet->systems[system].description;
    const struct time_zone *zone = page_zone(view, system);
    struct html_address record = page_system_address(view, system, "/record");
    int64_t since_ms = 0;
    enum monitor_status status =
        monitor_status(pipeline_monitor(view->api->pipeline), system, &since_ms);
    html_element(&view->html, "h1", about->name, NULL);
    html_markup(&view->html, "<p class=\"lead\">");
    page_status(view, status);
    if (since_ms != TIMESTAMP_NONE) {
        html_markup(&view->html, " since ");
        page_date(view, since_ms, zone);
    }
    html_markup(&view->html, " · last reading ");
    page_age(view, monitor_system_newest_ms(pipeline_monitor(view->api->pipeline), system), zone);
    html_markup(&view->html, " · ");
    page_link(view, &record, "Record for the files");
    html_markup(&view->html, "</p>");
    const char *foundation = view->share ? NULL : about->foundation; /* the technician's */
    if (about->address || foundation) {
        html_markup(&view->html, "<p>");
        html_text(&view->html, about->address);
        html_text(&view->html, about->address && foundation ? " · " : "");
        html_text(&view->html, foundation);
        html_markup(&view->html, "</p>");
    }
    write_service(view, system, show);
}

static void write_records(struct page_view *view, size_t system, const json_t *show,
                          const json_t *history) {
    html_markup(&view->html, "<section><h2>What was measured and done</h2><h3>Commissioning</h3>");
    page_commissioning(view, system, show, RECORDS_MOST);
    page_radon_tests(view, system, show, RECORDS_MOST);
    html_markup(&view->html, "<h3>Visits</h3>");
    page_past_visits(view, system, show, RECORDS_MOST);
    html_markup(&view->html, "<h3>Alarms</h3>");
    page_alarm_history(view, history, system);
    html_markup(&view->html, "</section>");
}

static void write_cautions(struct page_view *view) {
    html_markup(&view->html,
                "<section class=\"cautions\"><p>Radon is a long-term risk: a fault of some days is "
                "no emergency. Leave fan and pipe to your contractor: depressurization can draw "
                "combustion gases into the house, so a changed system needs a back-draft test; "
                "electrical work belongs to a licensed electrician. Local codes and licensed "
                "practice come first.</p></section>");
}

void page_system(struct page_view *view, size_t system) {
    const struct system_description *about = view->api->fleet->systems[system].description;
    const struct page_head head = {.title = about->name, .system = system};
    json_t *show = page_show(view, system);
    const struct api_alarm_choice past = {
        .all = true, .system = system, .since_ms = TIMESTAMP_NONE, .limit = PAST_ALARMS_MOST};
    json_t *history = api_alarms(view->api, &past);
    page_begin(view, &head);
    write_top(view, system, show);
    html_markup(&view->html, "<section><h2>Open alarms</h2>");
    page_alarm_items(view, json_object_get(show, "alarms"), system);
    html_markup(&view->html, "</section><section><h2>The system now</h2>");
    page_drawing(view, system);
    html_markup(&view->html, "</section><section><h2>Fan and ground apart</h2>");
    page_fan_and_ground(view, show);
    html_markup(&view->html, "</section>");
    write_points(view, system, show);
    write_radon(view, show);
    write_actions(view, system);
    write_charts(view, system, show, history);
    write_records(view, system, show, history);
    write_cautions(view);
    json_decref(history);
    json_decref(show);
    page_end(view, 200);
}
