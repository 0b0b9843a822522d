/*
 * The record: one or two printed pages for the homeowner's files or the sale of a house. What was
 * installed and measured, the averages with what they are worth, what happened, and what all this
 * does and does not prove.
 */
#include "page/alarm_items.h"
#include "page/facts.h"
#include "page/radon_tests.h"
#include "page/view_text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { ALARMS_MOST = 8, LOOKED_AT_MOST = 200, VISITS_MOST = 5, RECORDS_MOST = 2 };

static void write_installed(struct page_view *view, size_t system) {
    const struct system_description *about = view->api->fleet->systems[system].description;
    char text[PAGE_TEXT_SIZE];
    html_markup(&view->html, "<section><h2>What is installed</h2><dl class=\"facts-list\">");
    if (about->address) {
        html_markup(&view->html, "<dt>Address</dt><dd>");
        html_text(&view->html, about->address);
        html_markup(&view->html, "</dd>");
    }
    if (about->foundation && !view->share) { /* the technician's */
        html_markup(&view->html, "<dt>Foundation</dt><dd>");
        html_text(&view->html, about->foundation);
        html_markup(&view->html, "</dd>");
    }
    if (about->pipe_inside_diameter_m > 0) {
        html_markup(&view->html, "<dt>Pipe</dt><dd>");
        html_format(&view->html, "%s inside",
                    unit_format(text, sizeof text, about->pipe_inside_diameter_m, DIMENSION_LENGTH,
                                view->units));
        html_markup(&view->html, "</dd>");
    }
    html_markup(&view->html, "<dt>Watched by</dt><dd>");
    for (size_t i = 0; i < about->point_count; i++)
        html_format(&view->html, "%s%s", i ? "; " : "", about->points[i].name);
    html_markup(&view->html, "</dd></dl></section>");
}

static void write_radon(struct page_view *view, const json_t *show) {
    static const char *const windows[] = {"91 d", "365 d", "since commissioning"};
    const json_t *radon = page_point_of(show, "radon");
    html_markup(&view->html, "<section><h2>Radon, on average</h2>");
    if (!radon) {
        html_markup(&view->html, "<p>Radon is not measured by this system. Whether the house is "
                                 "below the action level, a test must show.</p></section>");
        return;
    }
    html_markup(&view->html, "<dl class=\"facts-list\">");
    for (size_t i = 0; i < sizeof windows / sizeof windows[0]; i++) {
        const json_t *average = page_average_of(radon, windows[i]);
        if (!average)
            continue;
        html_element(&view->html, "dt", windows[i], NULL);
        html_markup(&view->html, "<dd>");
        page_average_sentence(view, average, DIMENSION_RADON);
        html_markup(&view->html, "</dd>");
    }
    html_markup(&view->html, "</dl></section>");
}

static void write_suction(struct page_view *view, const json_t *show) {
    static const char *const windows[] = {"30 d", "365 d"};
    const json_t *suction = page_point_of(show, "suction");
    if (!suction)
        return;
    const json_t *baseline = json_object_get(suction, "baseline");
    html_markup(&view->html, "<section><h2>Suction, on average</h2><p>At commissioning: ");
    page_value(view, page_json_number(baseline, "value"), DIMENSION_PRESSURE);
    html_markup(&view->html, ".</p><dl class=\"facts-list\">");
    for (size_t i = 0; i < sizeof windows / sizeof windows[0]; i++) {
        const json_t *average = page_average_of(suction, windows[i]);
        if (!average)
            continue;
        html_element(&view->html, "dt", windows[i], NULL);
        html_markup(&view->html, "<dd>");
        page_average_sentence(view, average, DIMENSION_PRESSURE);
        html_markup(&view->html, "</dd>");
    }
    html_markup(&view->html, "</dl></section>");
}

/* Trouble of the sensors alone says nothing of the house; how many there were is told. */
static size_t leave_out_sensors(json_t *history) {
    size_t left_out = 0;
    for (size_t i = json_array_size(history); i-- > 0;) {
        const char *condition = page_json_text(json_array_get(history, i), "condition");
        if (condition &&
            (strncmp(condition, "sensor-", 7) == 0 || strncmp(condition, "battery-", 8) == 0)) {
            json_array_remove(history, i);
            left_out++;
        }
    }
    return left_out;
}

static void write_reading_by_hand(struct page_view *view, size_t point, const json_t *reading) {
    const struct fleet_point *about = &view->api->fleet->points[point];
    enum unit_system kept = page_units_of_point(view, point);
    html_markup(&view->html, "<li><strong>");
    page_date(view, page_json_time(reading, "time"), page_zone(view, about->system));
    html_markup(&view->html, "</strong> ");
    html_format(&view->html, "%s: ", about->description->name);
    page_value(view, page_json_number(reading, "value"), page_dimension(view, point));
    if (!view->share)
        html_format(&view->html, ", by %s", page_json_text(reading, "by"));
    html_markup(&view->html, "</li>");
    view->units = kept;
}

static void write_by_hand(struct page_view *view, size_t system, const json_t *show) {
    const json_t *points = json_object_get(show, "points");
    const size_t first = view->api->fleet->systems[system].first_point;
    bool any = false;
    for (size_t i = 0; i < json_array_size(points); i++) {
        const json_t *list = json_object_get(json_array_get(points, i), "by_hand");
        for (size_t j = 0; j < json_array_size(list); j++) {
            if (!any)
                html_markup(&view->html, "<h3>Readings by hand</h3><ul class=\"records\">");
            any = true;
            write_reading_by_hand(view, first + i, json_array_get(list, j));
        }
    }
    if (any)
        html_markup(&view->html, "</ul>");
}

static void write_happened(struct page_view *view, size_t system, const json_t *show) {
    const struct api_alarm_choice past = {
        .all = true, .system = system, .since_ms = TIMESTAMP_NONE, .limit = LOOKED_AT_MOST};
    json_t *history = api_alarms(view->api, &past);
    size_t of_sensors = leave_out_sensors(history), count = json_array_size(history);
    while (json_array_size(history) > ALARMS_MOST)
        json_array_remove(history, json_array_size(history) - 1);
    html_markup(&view->html, "<section><h2>What happened, and what was done</h2>");
    page_radon_tests(view, system, show, VISITS_MOST);
    html_markup(&view->html, "<h3>Visits</h3>");
    page_past_visits(view, system, show, VISITS_MOST);
    write_by_hand(view, system, show);
    html_markup(&view->html, "<h3>Alarms</h3>");
    page_alarm_history(view, history, system);
    if (count > ALARMS_MOST)
        html_markup(&view->html, "<p>Earlier ones are on the page of the system.</p>");
    if (of_sensors) {
        html_markup(&view->html, "<p>");
        html_format(&view->html,
                    "Not listed: %zu about sensors alone (silent, stuck, battery). What they "
                    "missed is missing from the share of the time that readings cover.",
                    of_sensors);
        html_markup(&view->html, "</p>");
    }
    html_markup(&view->html, "</section>");
    json_decref(history);
}

/* EPA: A Citizen's Guide to Radon (EPA 402/K-12/002); WHO Handbook on Indoor Radon, 2009. */
static void write_worth(struct page_view *view) {
    html_markup(&view->html, "<section><h2>What this proves, and what not</h2><p>Held against an "
                             "action level of ");
    page_value(view, view->api->fleet->settings->radon_action_level_bq_m3, DIMENSION_RADON);
    html_markup(
        &view->html,
        ". The United States Environmental Protection Agency recommends to act at 4 pCi/L (148 "
        "Bq/m3) or more; the World Health Organization's Handbook on Indoor Radon (2009) proposes "
        "a reference level of 100 Bq/m3, and where that can't be reached not above 300 Bq/m3. "
        "Below any of them some risk is left.</p>"
        "<p>It shows what the installed sensors reported, where they stand, for the share of the "
        "time that their readings cover, with the uncertainty stated; it holds suction against "
        "what was measured when the system was commissioned. A mean of less than a year leaves out "
        "seasons; winter is usually higher. It says nothing of rooms without a monitor, nor of "
        "time to come.</p>"
        "<p>It is no substitute for a radon test by a licensed professional where one is required, "
        "such as at the sale of a house. After a change to fan, pipe or openings a back-draft test "
        "of the combustion appliances is due; electrical work belongs to a licensed electrician. "
        "Local codes and licensed practice come first.</p></section>");
}

void page_record(struct page_view *view, size_t system) {
    const struct system_description *about = view->api->fleet->systems[system].description;
    char title[200];
    snprintf(title, sizeof title, "Record of %s", about->name);
    const struct page_head head = {.title = title, .style = "record", .system = system};
    struct html_address back = page_system_address(view, system, "");
    int64_t since_ms = 0;
    json_t *show = page_show(view, system);
    page_begin(view, &head);
    html_element(&view->html, "h1", title, NULL);
    html_markup(&view->html, "<p class=\"no-print\">To keep or hand over: print it, or save it as "
                             "PDF; it fits A4 and letter paper. ");
    page_link(view, &back, "Back to the system");
    html_markup(&view->html, "</p><p class=\"lead\">Made on ");
    page_time(view, view->api->now_ms, page_zone(view, system));
    html_markup(&view->html, ". At that time: ");
    page_status(view, monitor_status(pipeline_monitor(view->api->pipeline), system, &since_ms));
    html_markup(&view->html, ".</p>");
    write_installed(view, system);
    html_markup(&view->html, "<section><h2>Measured at commissioning</h2>");
    page_commissioning(view, system, show, RECORDS_MOST);
    html_markup(&view->html, "</section>");
    write_radon(view, show);
    write_suction(view, show);
    write_happened(view, system, show);
    write_worth(view);
    json_decref(show);
    page_end(view, 200);
}
