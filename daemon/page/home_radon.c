#include "page/home.h"

#include "api/home_reports.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { TESTS_MOST = 12 };
static const double coverage_factor = 1.96; /* 95 % of a normal distribution */

static size_t count_monitors(const struct page_view *view, size_t system) {
    const struct system_description *about = view->api->fleet->systems[system].description;
    size_t count = 0;
    for (size_t i = 0; i < about->point_count; i++)
        count += about->points[i].quantity == QUANTITY_RADON;
    return count;
}

/* ---- averages ---- */

static void write_between(struct page_view *view, const struct average *average) {
    char low[PAGE_TEXT_SIZE], high[PAGE_TEXT_SIZE];
    double half = coverage_factor * average->standard_uncertainty;
    home_write_with(view, HOME_BETWEEN_VALUES,
                    page_value_text(view, low, fmax(average->mean - half, 0.0), DIMENSION_RADON),
                    page_value_text(view, high, average->mean + half, DIMENSION_RADON), NULL);
}

static void begin_cell(struct page_view *view, const char *tag, enum home_text label) {
    html_open(&view->html, tag, "data-label", home_words(view, label), "scope",
              strcmp(tag, "th") == 0 ? "row" : NULL, NULL);
}

static void write_average(struct page_view *view, const struct assessment_average *average) {
    char percent[PAGE_TEXT_SIZE];
    html_markup(&view->html, "<tr>");
    begin_cell(view, "th", HOME_SPAN);
    html_text(&view->html, average->window);
    html_markup(&view->html, "</th>");
    begin_cell(view, "td", HOME_MEAN);
    if (average->has_mean)
        page_value(view, average->average.mean, DIMENSION_RADON);
    else
        home_write(view, HOME_TOO_FEW);
    html_markup(&view->html, "</td>");
    begin_cell(view, "td", HOME_BETWEEN);
    if (average->has_mean && average->average.has_uncertainty)
        write_between(view, &average->average);
    else
        html_markup(&view->html, "–");
    html_markup(&view->html, "</td>");
    begin_cell(view, "td", HOME_COVERED);
    html_text(&view->html,
              home_percent(percent, average->has_mean ? average->average.coverage : 0.0));
    html_markup(&view->html, "</td></tr>");
}

static void write_head(struct page_view *view, enum home_text text) {
    html_markup(&view->html, "<th scope=\"col\">");
    home_write(view, text);
    html_markup(&view->html, "</th>");
}

/* "since commissioning" is a window of the trade's; a homeowner gets those by the calendar. */
static void write_averages(struct page_view *view, const struct point_facts *facts) {
    html_markup(&view->html, "<table class=\"averages\"><thead><tr>");
    write_head(view, HOME_SPAN);
    write_head(view, HOME_MEAN);
    write_head(view, HOME_BETWEEN);
    write_head(view, HOME_COVERED);
    html_markup(&view->html, "</tr></thead><tbody>");
    for (size_t i = 0; facts->read && i < ASSESSMENT_WINDOWS; i++) {
        if (strlen(facts->assessment.averages[i].window) <= 6)
            write_average(view, &facts->assessment.averages[i]);
    }
    html_markup(&view->html, "</tbody></table>");
}

static void write_year(struct page_view *view, const struct point_facts *facts) {
    const struct year_assessment *found = &facts->year;
    char mean[PAGE_TEXT_SIZE], low[PAGE_TEXT_SIZE], high[PAGE_TEXT_SIZE], part[PAGE_TEXT_SIZE];
    if (!facts->read || !facts->has_year || !found->known)
        return;
    html_markup(&view->html, "<p class=\"year\">");
    home_write_with(view, HOME_YEAR, page_value_text(view, mean, found->year.mean, DIMENSION_RADON),
                    page_value_text(view, low, found->year.lower, DIMENSION_RADON),
                    page_value_text(view, high, found->year.upper, DIMENSION_RADON));
    html_markup(&view->html, " ");
    home_write_with(view, HOME_YEAR_CHANCE, home_percent(part, found->year.probability_at_or_above),
                    NULL, NULL);
    html_markup(&view->html, " ");
    snprintf(part, sizeof part, "%d", found->year.quarters_covered);
    home_write_with(view, HOME_YEAR_SEASONS, part, NULL, NULL);
    html_markup(&view->html, "</p>");
}

static void write_monitors(struct page_view *view, size_t system,
                           const struct system_facts *facts) {
    const struct system_description *about = view->api->fleet->systems[system].description;
    size_t monitors = count_monitors(view, system), number = 0;
    char text[24];
    for (size_t i = 0; i < about->point_count; i++) {
        if (about->points[i].quantity != QUANTITY_RADON)
            continue;
        snprintf(text, sizeof text, "%zu", ++number);
        if (monitors > 1)
            home_element(view, "h3", HOME_MONITOR, text);
        write_year(view, &facts->points[i]);
        write_averages(view, &facts->points[i]);
    }
    if (monitors == 0)
        home_element(view, "p", HOME_NO_MONITOR, NULL);
}

/* ---- tests ---- */

struct tests {
    struct page_view *view;
    size_t system, rows;
};

static void monitor_name(const struct page_view *view, char *text, size_t size, size_t number,
                         size_t monitors) {
    char digits[24];
    snprintf(digits, sizeof digits, "%zu", number);
    if (monitors > 1)
        home_fill(view, text, size, HOME_MONITOR, digits, NULL);
    else
        snprintf(text, size, "%s", home_words(view, HOME_THE_MONITOR));
}

static void write_beside(struct page_view *view, size_t point, const char *name,
                         const struct record_radon_test *test) {
    const struct radon_test_monitor monitor = radon_test_monitor(view->api, point, test);
    char value[PAGE_TEXT_SIZE];
    html_markup(&view->html, " ");
    if (!monitor.enough) {
        home_write_with(view, HOME_MONITOR_TOO_FEW, name, NULL, NULL);
        return;
    }
    home_write_with(view, HOME_MONITOR_READ, name,
                    page_value_text(view, value, monitor.mean_bq_m3, DIMENSION_RADON), NULL);
    html_markup(&view->html, ": ");
    home_write(view, monitor.agrees ? HOME_AGREES : HOME_DISAGREES);
}

/* Place and device are shown of what the household itself wrote. */
static void write_result(struct page_view *view, size_t system,
                         const struct record_radon_test *test) {
    const struct time_zone *zone = page_zone(view, system);
    char from[PAGE_TEXT_SIZE], to[PAGE_TEXT_SIZE];
    bool yours = strcmp(test->by, home_reports_by) == 0;
    html_markup(&view->html, "<strong>");
    page_value(view, test->value_bq_m3, DIMENSION_RADON);
    html_format(&view->html, " ± %.0f %%", 100.0 * test->uncertainty_relative);
    html_markup(&view->html, "</strong> ");
    home_write_with(view, HOME_TEST_DAYS, page_date_text(from, test->from_ms, zone),
                    page_date_text(to, test->to_ms, zone), NULL);
    html_markup(&view->html, ", ");
    home_write(view, strcmp(test->kind, "long") == 0 ? HOME_TEST_LONG : HOME_TEST_SHORT);
    if (test->closed_house == RECORD_YES) {
        html_markup(&view->html, ", ");
        home_write(view, HOME_TEST_CLOSED);
    }
    if (yours) {
        html_format(&view->html, ", %s, %s, ", test->place, test->device);
        home_write(view, HOME_TEST_YOURS);
    }
    html_markup(&view->html, ".");
}

static bool write_test(void *context, const struct record_radon_test *test) {
    struct tests *tests = context;
    struct page_view *view = tests->view;
    const struct fleet_system *owner = &view->api->fleet->systems[tests->system];
    size_t monitors = count_monitors(view, tests->system), number = 0;
    char name[80];
    if (tests->rows == TESTS_MOST)
        return false;
    if (tests->rows++ == 0)
        html_markup(&view->html, "<ul class=\"records\">");
    html_markup(&view->html, "<li>");
    write_result(view, tests->system, test);
    for (size_t i = 0; i < owner->point_count; i++) {
        if (owner->description->points[i].quantity != QUANTITY_RADON)
            continue;
        monitor_name(view, name, sizeof name, ++number, monitors);
        write_beside(view, owner->first_point + i, name, test);
    }
    html_markup(&view->html, "</li>");
    return true;
}

static void write_tests(struct page_view *view, size_t system) {
    struct store *store = pipeline_store(view->api->pipeline);
    struct tests tests = {view, system, 0};
    home_element(view, "h3", HOME_TESTS, NULL);
    if (store)
        record_radon_test_list(store, fleet_system_id(view->api->fleet, system),
                               RECORD_NEWEST_FIRST, write_test, &tests);
    if (tests.rows)
        html_markup(&view->html, "</ul>");
    else
        home_element(view, "p", HOME_NO_TEST, NULL);
}

void home_radon(struct page_view *view, size_t system, const struct system_facts *facts) {
    char level[PAGE_TEXT_SIZE];
    html_markup(&view->html, "<section>");
    home_element(view, "h2", HOME_RADON, NULL);
    home_element(view, "p", HOME_LEVEL,
                 page_value_text(view, level, view->api->fleet->settings->radon_action_level_bq_m3,
                                 DIMENSION_RADON));
    write_monitors(view, system, facts);
    write_tests(view, system);
    html_markup(&view->html, "</section>");
}
