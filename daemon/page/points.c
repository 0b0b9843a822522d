/*
 * The points of a system in numbers: now beside 7 days beside commissioning.
 */
#include "measure/duration.h"
#include "page/facts.h"
#include "page/sections.h"
#include "page/view_text.h"
#include "page/view_words.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static double week_mean(const struct point_facts *facts) {
    for (size_t i = 0; facts->read && i < ASSESSMENT_WINDOWS; i++) {
        const struct assessment_average *average = &facts->assessment.averages[i];
        if (strcmp(average->window, "7 d") == 0 && average->has_mean)
            return average->average.mean;
    }
    return NAN;
}

static void write_cell(struct page_view *view, enum page_text label, double si,
                       enum dimension dimension) {
    page_open_cell(view, label);
    page_value(view, si, dimension);
    html_markup(&view->html, "</td>");
}

static void write_share(struct page_view *view, double value, const struct point_baseline *baseline,
                        enum dimension dimension) {
    char percent[PAGE_TEXT_SIZE];
    bool shares =
        baseline && baseline->value > 0 && isfinite(value) && dimension != DIMENSION_TEMPERATURE;
    page_cell(view, PAGE_NOW_OF_COMMISSIONING,
              shares ? page_ratio_text(percent, value / baseline->value) : "–");
}

static void write_row(struct page_view *view, size_t point, const struct point_facts *facts) {
    const struct api *api = view->api;
    const struct fleet_point *about = &api->fleet->points[point];
    const struct point_state *state = monitor_point(pipeline_monitor(api->pipeline), point);
    const struct point_baseline *baseline = point_state_baseline(state, api->now_ms);
    double value = state->newest_ms == TIMESTAMP_NONE ? NAN : state->newest_value;
    enum dimension dimension = page_dimension(view, point);
    enum unit_system kept = page_units_of_point(view, point);
    html_markup(&view->html, "<tr>");
    html_element(&view->html, "th", about->description->name, "scope", "row", "data-label",
                 page_words(view, PAGE_POINT), NULL);
    write_cell(view, PAGE_NOW, value, dimension);
    write_cell(view, PAGE_MEAN_OF_7, week_mean(facts), dimension);
    write_cell(view, PAGE_AT_COMMISSIONING, baseline ? baseline->value : NAN, dimension);
    write_share(view, value, baseline, dimension);
    page_open_cell(view, PAGE_READ);
    page_age(view, state->newest_ms, page_zone(view, about->system));
    if (about->description->by_hand)
        page_due(view, point);
    html_markup(&view->html, "</td></tr>");
    view->units = kept;
}

static void write_trends(struct page_view *view, const struct fleet_system *owner,
                         const struct system_facts *facts) {
    page_open_details(view, PAGE_TRENDS);
    html_markup(&view->html, "<dl class=\"facts-list\">");
    for (size_t i = 0; i < owner->point_count; i++) {
        size_t point = owner->first_point + i;
        enum unit_system kept = page_units_of_point(view, point);
        html_element(&view->html, "dt", owner->description->points[i].name, NULL);
        html_markup(&view->html, "<dd>");
        page_trend_sentence(view, &facts->points[i], page_dimension(view, point));
        html_markup(&view->html, "</dd>");
        view->units = kept;
    }
    html_markup(&view->html, "</dl></details>");
}

static void write_busy_points(struct page_view *view, const struct fleet_system *owner) {
    const struct api *api = view->api;
    char every[40], expected[40];
    for (size_t i = 0; i < owner->point_count; i++) {
        struct busy_point busy;
        if (!busy_points_find(pipeline_busy(api->pipeline), api->fleet, owner->first_point + i,
                              api->now_ms, &busy))
            continue;
        snprintf(expected, sizeof expected, "%.3g", busy.expected);
        duration_format(every, sizeof every, owner->description->points[i].every_ms);
        page_fill_element(view, "p", "notice", PAGE_BUSY_POINT,
                          slot_text(owner->description->points[i].name), slot_count(busy.readings),
                          slot_text(expected), slot_text(every));
    }
}

void page_points(struct page_view *view, size_t system, const struct system_facts *facts) {
    const struct fleet_system *owner = &view->api->fleet->systems[system];
    static const enum page_text columns[] = {
        PAGE_POINT, PAGE_NOW, PAGE_MEAN_OF_7, PAGE_AT_COMMISSIONING, PAGE_NOW_OF_COMMISSIONING,
        PAGE_READ};
    html_markup(&view->html, "<section>");
    page_element(view, "h2", PAGE_IN_NUMBERS);
    html_markup(&view->html, "<table class=\"points\">");
    page_table_head(view, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < owner->point_count; i++)
        write_row(view, owner->first_point + i, &facts->points[i]);
    html_markup(&view->html, "</tbody></table>");
    write_busy_points(view, owner);
    write_trends(view, owner, facts);
    html_markup(&view->html, "</section>");
}
