#include "page/facts.h"

#include "page/view_text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double coverage_factor = 1.96; /* 95 % of a normal distribution */

/* ---- averages ---- */

const json_t *page_average_of(const json_t *point, const char *window) {
    const json_t *list = json_object_get(point, "averages");
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *average = json_array_get(list, i);
        const char *name = page_json_text(average, "window");
        if (name && strcmp(name, window) == 0)
            return average;
    }
    return NULL;
}

const json_t *page_point_of(const json_t *show, const char *quantity) {
    const json_t *list = json_object_get(show, "points");
    for (size_t i = 0; i < json_array_size(list); i++) {
        const char *name = page_json_text(json_array_get(list, i), "quantity");
        if (name && strcmp(name, quantity) == 0)
            return json_array_get(list, i);
    }
    return NULL;
}

static void write_interval(struct page_view *view, double mean, double uncertainty,
                           enum dimension dimension) {
    char low[PAGE_TEXT_SIZE], high[PAGE_TEXT_SIZE];
    double half = coverage_factor * uncertainty;
    double lowest = dimension == DIMENSION_RADON ? fmax(mean - half, 0.0) : mean - half;
    html_format(&view->html, "95 %% sure between %s and %s",
                page_value_text(view, low, lowest, dimension),
                page_value_text(view, high, mean + half, dimension));
}

void page_average_sentence(struct page_view *view, const json_t *average,
                           enum dimension dimension) {
    double mean = page_json_number(average, "mean");
    double uncertainty = page_json_number(average, "standard_uncertainty");
    double chance = page_json_number(average, "probability_above_action");
    const char *why = page_json_text(average, "why");
    char text[PAGE_TEXT_SIZE];
    if (!isfinite(mean)) {
        html_text(&view->html, why ? why : "not known");
        return;
    }
    page_value(view, mean, dimension);
    if (isfinite(uncertainty)) {
        html_markup(&view->html, ", ");
        write_interval(view, mean, uncertainty, dimension);
    } else if (why) {
        html_format(&view->html, " (%s)", why);
    }
    html_format(&view->html, "; readings cover %s of the time",
                page_percent_text(text, page_json_number(average, "coverage")));
    if (isfinite(chance))
        html_format(&view->html, "; chance that the true mean is at or above the action level: %s",
                    page_percent_text(text, chance));
    html_markup(&view->html, ".");
}

static void write_average_row(struct page_view *view, const json_t *average,
                              enum dimension dimension) {
    double mean = page_json_number(average, "mean");
    double uncertainty = page_json_number(average, "standard_uncertainty");
    double chance = page_json_number(average, "probability_above_action");
    const char *why = page_json_text(average, "why");
    char text[PAGE_TEXT_SIZE];
    html_markup(&view->html, "<tr>");
    html_element(&view->html, "th", page_json_text(average, "window"), "scope", "row", "data-label",
                 "Window", NULL);
    html_markup(&view->html, "<td data-label=\"Mean\">");
    page_value(view, mean, dimension);
    html_markup(&view->html, "</td><td data-label=\"How sure\">");
    if (isfinite(uncertainty))
        write_interval(view, mean, uncertainty, dimension);
    else
        html_text(&view->html, why ? why : "–");
    html_markup(&view->html, "</td>");
    html_element(&view->html, "td", page_percent_text(text, page_json_number(average, "coverage")),
                 "data-label", "Covered", NULL);
    if (dimension == DIMENSION_RADON)
        html_element(&view->html, "td", isfinite(chance) ? page_percent_text(text, chance) : "–",
                     "data-label", "Chance at or above action level", NULL);
    html_markup(&view->html, "</tr>");
}

void page_averages(struct page_view *view, const json_t *point, enum dimension dimension) {
    const json_t *list = json_object_get(point, "averages");
    html_markup(&view->html, "<table class=\"averages\"><thead><tr><th scope=\"col\">Window</th>"
                             "<th scope=\"col\">Mean</th><th scope=\"col\">How sure</th>"
                             "<th scope=\"col\">Covered by readings</th>");
    if (dimension == DIMENSION_RADON)
        html_markup(&view->html, "<th scope=\"col\">Chance that the true mean is at or above the "
                                 "action level</th>");
    html_markup(&view->html, "</tr></thead><tbody>");
    for (size_t i = 0; i < json_array_size(list); i++)
        write_average_row(view, json_array_get(list, i), dimension);
    html_markup(&view->html, "</tbody></table>");
}

/* ---- trend ---- */

static void write_crossing(struct page_view *view, const json_t *crosses) {
    const char *date = page_json_text(crosses, "date"), *why = page_json_text(crosses, "why");
    const char *earliest = page_json_text(crosses, "earliest");
    const char *latest = page_json_text(crosses, "latest");
    if (date)
        html_format(&view->html,
                    " If it goes on, the limit is reached on %.10s (%s %.10s, %s %.10s).", date,
                    earliest ? "earliest" : "earliest not known", earliest ? earliest : "",
                    latest ? "latest" : "latest not within 10 years", latest ? latest : "");
    else if (why && isfinite(page_json_number(crosses, "limit")))
        html_format(&view->html, " Its limit: %s.", why);
}

void page_trend_sentence(struct page_view *view, const json_t *trend, enum dimension dimension) {
    double per_year = page_json_number(trend, "per_year"), p = page_json_number(trend, "p_value");
    char rate[PAGE_TEXT_SIZE], low[PAGE_TEXT_SIZE], high[PAGE_TEXT_SIZE];
    if (!isfinite(per_year)) {
        const char *why = page_json_text(trend, "why");
        html_text(&view->html, why ? why : "not known");
        return;
    }
    const struct unit *unit = unit_shown(dimension, view->units);
    double scale = unit->scale;
    snprintf(rate, sizeof rate, "%+.3g", per_year / scale);
    snprintf(low, sizeof low, "%+.3g", page_json_number(trend, "lower") / scale);
    snprintf(high, sizeof high, "%+.3g", page_json_number(trend, "upper") / scale);
    if (p < 0.01)
        html_format(&view->html, "%s, %s %s a year (95 %% sure between %s and %s).",
                    per_year < 0 ? "Falling" : "Rising", rate, unit->spelling, low, high);
    else
        html_format(&view->html, "No sure trend (%s %s a year, between %s and %s).", rate,
                    unit->spelling, low, high);
    if (p < 0.01)
        write_crossing(view, json_object_get(trend, "crosses"));
}

/* ---- fan and ground ---- */

/* Only what is sure: a slope by chance would worry people. */
static void write_ratio_trend(struct page_view *view, const json_t *trend, const char *when) {
    double per_year = page_json_number(trend, "per_year");
    double p = page_json_number(trend, "p_value_cautious");
    char rate[PAGE_TEXT_SIZE];
    if (!isfinite(per_year) || !(p < 0.01))
        return;
    html_format(&view->html, " %s: %s by %s of commissioning a year.", when,
                per_year < 0 ? "falling" : "rising", page_percent_text(rate, fabs(per_year)));
    if (per_year < 0)
        write_crossing(view, json_object_get(trend, "crosses"));
}

static void write_ratio(struct page_view *view, const char *what, const json_t *object,
                        const char *name) {
    double ratio = page_json_number(object, name);
    const char *method = page_json_text(object, "method"), *why = page_json_text(object, "why");
    const char *assumed = page_json_text(object, "assumed");
    char value[PAGE_TEXT_SIZE], low[PAGE_TEXT_SIZE], high[PAGE_TEXT_SIZE];
    html_element(&view->html, "dt", what, NULL);
    html_markup(&view->html, "<dd>");
    if (isfinite(ratio)) {
        html_element(&view->html, "strong", page_percent_text(value, ratio), NULL);
        html_format(&view->html, " of commissioning, 95 %% sure between %s and %s",
                    page_percent_text(low, page_json_number(object, "lower")),
                    page_percent_text(high, page_json_number(object, "upper")));
        if (method)
            html_format(&view->html, "; %s", method);
        if (assumed)
            html_format(&view->html, "; %s", assumed);
        html_markup(&view->html, ".");
        write_ratio_trend(view, json_object_get(object, "trend"), "Since commissioning");
        write_ratio_trend(view, json_object_get(object, "trend_recent"), "In the last 60 days");
    } else {
        html_format(&view->html, "No claim: %s.", why ? why : "not enough is measured");
    }
    html_markup(&view->html, "</dd>");
}

void page_fan_and_ground(struct page_view *view, const json_t *show) {
    html_markup(&view->html, "<dl class=\"facts-list\">");
    write_ratio(view, "Fan speed", json_object_get(show, "fan"), "speed_ratio");
    write_ratio(view, "Resistance of the ground", json_object_get(show, "ground"),
                "resistance_ratio");
    html_markup(&view->html, "</dl>");
}

/* ---- records ---- */

static void write_values(struct page_view *view, size_t system, json_t *values) {
    const char *id;
    json_t *value;
    bool first = true;
    json_object_foreach(values, id, value) {
        size_t point = fleet_find_point(view->api->fleet, system, id);
        if (point == FLEET_NONE || !json_is_number(value))
            continue;
        html_text(&view->html, first ? "" : "; ");
        enum unit_system kept = page_units_of_point(view, point);
        html_format(&view->html, "%s ", view->api->fleet->points[point].description->name);
        page_value(view, json_number_value(value), page_dimension(view, point));
        view->units = kept;
        first = false;
    }
    if (!first)
        html_markup(&view->html, ". ");
}

static void write_radon_tests(struct page_view *view, const json_t *record) {
    double before = page_json_number(record, "radon_before");
    double after = page_json_number(record, "radon_after");
    if (isfinite(before)) {
        html_markup(&view->html, "Radon before: ");
        page_value(view, before, DIMENSION_RADON);
        html_markup(&view->html, ". ");
    }
    if (isfinite(after)) {
        html_markup(&view->html, "Radon after: ");
        page_value(view, after, DIMENSION_RADON);
        html_markup(&view->html, ". ");
    }
}

/* What somebody of the trade wrote for others of the trade (names with telephones, a gate's code,
   where the key lies) is nothing for whoever holds a link. */
static const char *trade_text(const struct page_view *view, const json_t *object,
                              const char *name) {
    return view->share ? NULL : page_json_text(object, name);
}

static void write_record(struct page_view *view, size_t system, const json_t *record) {
    const struct time_zone *zone = page_zone(view, system);
    const char *origin = page_json_text(record, "origin"), *by = trade_text(view, record, "by");
    const char *instruments = trade_text(view, record, "instruments");
    html_markup(&view->html, "<li><strong>");
    page_date(view, page_json_time(record, "from"), zone);
    html_markup(&view->html, "</strong> ");
    html_format(&view->html, "%s%s%s. ",
                origin && strcmp(origin, "learned") == 0 ? "learned from readings" : "measured",
                by ? " by " : "", by ? by : "");
    write_values(view, system, json_object_get(record, "points"));
    write_radon_tests(view, record);
    if (instruments)
        html_format(&view->html, "Instruments: %s. ", instruments);
    if (page_json_time(record, "next_calibration") != TIMESTAMP_NONE) {
        html_markup(&view->html, "Next calibration: ");
        page_date(view, page_json_time(record, "next_calibration"), zone);
        html_markup(&view->html, ". ");
    }
    html_text(&view->html, trade_text(view, record, "notes"));
    html_markup(&view->html, "</li>");
}

void page_commissioning(struct page_view *view, size_t system, const json_t *show, size_t most) {
    const json_t *list = json_object_get(show, "commissioning");
    size_t count = json_array_size(list);
    if (count == 0) {
        html_markup(&view->html,
                    "<p class=\"none\">No commissioning record: nothing can be held against the "
                    "day the system was proved to work.</p>");
        return;
    }
    html_markup(&view->html, "<ul class=\"records\">");
    for (size_t i = 0; i < count && i < most; i++)
        write_record(view, system, json_array_get(list, count - 1 - i));
    html_markup(&view->html, "</ul>");
}

static void write_past_visit(struct page_view *view, size_t system, const json_t *visit) {
    const json_t *facts = json_object_get(visit, "facts");
    html_markup(&view->html, "<li><strong>");
    page_date(view, page_json_time(visit, "on"), page_zone(view, system));
    html_markup(&view->html, "</strong> ");
    const char *found = page_json_text(visit, "found"), *did = page_json_text(visit, "did");
    const char *by = page_json_text(visit, "by");
    if (view->share)
        html_markup(&view->html, "The system was visited. ");
    else
        html_format(&view->html, "%s. Found: %s. Done: %s. ", by ? by : "", found ? found : "–",
                    did ? did : "–");
    write_values(view, system, json_object_get(facts, "values"));
    if (json_is_true(json_object_get(facts, "radon_tested")))
        html_markup(&view->html, "Radon was tested. ");
    html_markup(&view->html, "</li>");
}

void page_past_visits(struct page_view *view, size_t system, const json_t *show, size_t most) {
    const json_t *list = json_object_get(show, "past_visits");
    size_t count = json_array_size(list);
    if (count == 0) {
        html_markup(&view->html, "<p class=\"none\">No visit written down so far.</p>");
        return;
    }
    html_markup(&view->html, "<ul class=\"records\">");
    for (size_t i = 0; i < count && i < most; i++)
        write_past_visit(view, system, json_array_get(list, count - 1 - i));
    html_markup(&view->html, "</ul>");
}
