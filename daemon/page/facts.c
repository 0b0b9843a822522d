#include "page/facts.h"

#include "api/replaced.h"
#include "page/view_text.h"
#include "page/view_words.h"
#include "store/records.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double coverage_factor = 1.96; /* 95 % of a normal distribution */

/* ---- averages ---- */

static void write_interval(struct page_view *view, double mean, double uncertainty,
                           enum dimension dimension) {
    double half = coverage_factor * uncertainty;
    double lowest = dimension == DIMENSION_RADON ? fmax(mean - half, 0.0) : mean - half;
    page_fill(view, PAGE_SURE_BETWEEN, slot_value(lowest, dimension),
              slot_value(mean + half, dimension));
}

/* What is known of an average, NaN for what is not. */
struct average_shown {
    double mean, uncertainty, coverage, chance;
};

static struct average_shown shown_of(const struct assessment_average *average) {
    const struct average *of = &average->average;
    bool sure = average->has_mean && of->has_uncertainty;
    return (struct average_shown){
        .mean = average->has_mean ? of->mean : NAN,
        .uncertainty = sure ? of->standard_uncertainty : NAN,
        .coverage = average->has_mean ? of->coverage : 0.0,
        .chance = sure && average->judges_action ? of->probability_at_or_above : NAN,
    };
}

static void write_why(struct page_view *view, const char *why) {
    html_text(&view->html, why ? page_words_of(view, why) : page_words(view, PAGE_NOT_KNOWN));
}

static void write_average_sentence(struct page_view *view, const struct assessment_average *average,
                                   enum dimension dimension) {
    const struct average_shown shown = shown_of(average);
    if (!isfinite(shown.mean)) {
        write_why(view, average->why);
        return;
    }
    page_value(view, shown.mean, dimension);
    if (isfinite(shown.uncertainty)) {
        html_markup(&view->html, ", ");
        write_interval(view, shown.mean, shown.uncertainty, dimension);
    } else if (average->why) {
        html_format(&view->html, " (%s)", page_words_of(view, average->why));
    }
    page_fill(view, PAGE_COVER_OF_TIME, slot_percent(shown.coverage));
    if (isfinite(shown.chance))
        page_fill(view, PAGE_CHANCE_ABOVE, slot_percent(shown.chance));
    html_markup(&view->html, ".");
}

void page_average_sentences(struct page_view *view, const struct point_facts *facts,
                            const char *const *windows, size_t count, enum dimension dimension) {
    html_markup(&view->html, "<dl class=\"facts-list\">");
    for (size_t i = 0; facts->read && i < count; i++) {
        for (size_t j = 0; j < ASSESSMENT_WINDOWS; j++) {
            const struct assessment_average *average = &facts->assessment.averages[j];
            if (strcmp(average->window, windows[i]) != 0)
                continue;
            html_element(&view->html, "dt", page_words_of(view, windows[i]), NULL);
            html_markup(&view->html, "<dd>");
            write_average_sentence(view, average, dimension);
            html_markup(&view->html, "</dd>");
        }
    }
    html_markup(&view->html, "</dl>");
}

static void write_average_row(struct page_view *view, const struct assessment_average *average,
                              enum dimension dimension) {
    const struct average_shown shown = shown_of(average);
    char text[PAGE_TEXT_SIZE];
    html_markup(&view->html, "<tr>");
    html_element(&view->html, "th", page_words_of(view, average->window), "scope", "row",
                 "data-label", page_words(view, PAGE_WINDOW), NULL);
    page_open_cell(view, PAGE_MEAN);
    page_value(view, shown.mean, dimension);
    html_markup(&view->html, "</td>");
    page_open_cell(view, PAGE_HOW_SURE_COLUMN);
    if (isfinite(shown.uncertainty))
        write_interval(view, shown.mean, shown.uncertainty, dimension);
    else
        html_text(&view->html, average->why ? page_words_of(view, average->why) : "–");
    html_markup(&view->html, "</td>");
    page_cell(view, PAGE_COVERED, page_percent_text(view, text, shown.coverage));
    if (dimension == DIMENSION_RADON)
        page_cell(view, PAGE_CHANCE_COLUMN,
                  isfinite(shown.chance) ? page_percent_text(view, text, shown.chance) : "–");
    html_markup(&view->html, "</tr>");
}

void page_averages(struct page_view *view, const struct point_facts *facts,
                   enum dimension dimension) {
    static const enum page_text columns[] = {PAGE_WINDOW, PAGE_MEAN, PAGE_HOW_SURE_COLUMN,
                                             PAGE_COVERED_BY_READINGS, PAGE_CHANCE_HEAD};
    html_markup(&view->html, "<table class=\"averages\">");
    page_table_head(view, columns, dimension == DIMENSION_RADON ? 5 : 4);
    for (size_t i = 0; facts->read && i < ASSESSMENT_WINDOWS; i++)
        write_average_row(view, &facts->assessment.averages[i], dimension);
    html_markup(&view->html, "</tbody></table>");
}

/* ---- the year ---- */

/* For a person in the house: what is known, and how much of the year was measured. */
void page_year(struct page_view *view, const struct point_facts *facts) {
    const struct year_assessment *found = &facts->year;
    if (!facts->read || !facts->has_year)
        return;
    html_markup(&view->html, "<p class=\"year\">");
    page_element(view, "strong", PAGE_YEAR_SAYS);
    html_markup(&view->html, " ");
    if (!found->known) {
        page_fill(view, PAGE_YEAR_NOTHING,
                  slot_text(found->why ? page_words_of(view, found->why)
                                       : page_words(view, PAGE_NOT_KNOWN)));
        html_markup(&view->html, "</p>");
        return;
    }
    page_fill(view, PAGE_YEAR_IS, slot_value(found->year.mean, DIMENSION_RADON),
              slot_value(found->year.lower, DIMENSION_RADON),
              slot_value(found->year.upper, DIMENSION_RADON),
              slot_percent(found->year.probability_at_or_above), slot_count(found->year.days),
              slot_text(page_words_of(view, year_basis_text(found->basis))));
    if (found->year.quarters_covered == 4)
        page_write(view, PAGE_YEAR_ALL_SEASONS);
    else
        page_fill(view, PAGE_YEAR_SOME_SEASONS, slot_count((size_t)found->year.quarters_covered));
    html_markup(&view->html, "</p>");
    if (year_assessment_caution(found)) {
        page_fill_element(view, "p", "notice", PAGE_YEAR_READS,
                          slot_text(page_words_of(view, year_assessment_caution(found))));
    }
}

void page_radon_name(struct page_view *view, size_t system, size_t point) {
    const struct fleet_system *owner = &view->api->fleet->systems[system];
    const struct point_description *about = view->api->fleet->points[point].description;
    size_t count = 0;
    for (size_t i = 0; i < owner->point_count; i++)
        count += owner->description->points[i].quantity == QUANTITY_RADON;
    if (count < 2)
        return;
    html_markup(&view->html, "<h3>");
    html_text(&view->html, about->name);
    if (about->place)
        html_format(&view->html, ", %s", about->place);
    html_markup(&view->html, "</h3>");
}

/* ---- trend ---- */

/* "earliest 2027-03-12". Returns text. */
static const char *bound_text(const struct page_view *view, char text[2 * PAGE_TEXT_SIZE],
                              int64_t time_ms, const struct time_zone *zone, enum page_text known,
                              enum page_text unknown) {
    char date[PAGE_TEXT_SIZE];
    if (time_ms == TIMESTAMP_NONE)
        return page_words(view, unknown);
    return page_name_in(view, text, (size_t)2 * PAGE_TEXT_SIZE, known,
                        page_date_text(date, time_ms, zone));
}

static void write_crossing(struct page_view *view, const struct assessment_trend *trend,
                           const struct time_zone *zone) {
    char first[2 * PAGE_TEXT_SIZE], last[2 * PAGE_TEXT_SIZE];
    if (!trend->has_limit)
        return;
    if (trend->date_ms == TIMESTAMP_NONE) {
        if (trend->crossing_status != TREND_CROSSES && isfinite(trend->crossing.limit))
            page_fill(view, PAGE_TREND_LIMIT,
                      slot_text(page_words_of(view, trend_crossing_why(trend->crossing_status))));
        return;
    }
    page_fill(view, PAGE_TREND_REACHED, slot_date(trend->date_ms, zone),
              slot_text(bound_text(view, first, trend->earliest_ms, zone, PAGE_EARLIEST,
                                   PAGE_EARLIEST_UNKNOWN)),
              slot_text(bound_text(view, last, trend->latest_ms, zone, PAGE_LATEST,
                                   PAGE_LATEST_UNKNOWN)));
}

/* A line over months says nothing true of what changed in a day. */
static void write_step(struct page_view *view, const struct assessment *assessment,
                       enum dimension dimension, const struct time_zone *zone) {
    if (assessment->changed_ms != TIMESTAMP_NONE)
        page_fill(view, PAGE_TREND_STEP, slot_date(assessment->changed_ms, zone),
                  slot_value(assessment->level_before, dimension),
                  slot_value(assessment->level_after, dimension));
}

void page_trend_sentence(struct page_view *view, const struct point_facts *facts,
                         enum dimension dimension) {
    const struct assessment_trend *result = &facts->assessment.trend;
    const struct trend *trend = &result->trend;
    char rate[PAGE_TEXT_SIZE], low[PAGE_TEXT_SIZE], high[PAGE_TEXT_SIZE];
    if (!facts->read || !result->known || !isfinite(trend->per_year)) {
        write_why(view, facts->read ? result->why : system_facts_unread);
        return;
    }
    const struct unit *unit = unit_shown(dimension, view->units);
    snprintf(rate, sizeof rate, "%+.3g", trend->per_year / unit->scale);
    snprintf(low, sizeof low, "%+.3g", trend->lower / unit->scale);
    snprintf(high, sizeof high, "%+.3g", trend->upper / unit->scale);
    bool sure = trend->p_value < 0.01;
    page_fill(view,
              !sure                 ? PAGE_TREND_NONE
              : trend->per_year < 0 ? PAGE_TREND_FALLING
                                    : PAGE_TREND_RISING,
              slot_text(rate), slot_text(unit->spelling), slot_text(low), slot_text(high));
    if (sure)
        write_crossing(view, result, facts->zone);
    write_step(view, &facts->assessment, dimension, facts->zone);
}

/* ---- fan and ground ---- */

/* Only what is sure: a slope by chance would worry people. */
static void write_ratio_trend(struct page_view *view, const struct assessment_trend *result,
                              enum page_text falling, enum page_text rising,
                              const struct time_zone *zone) {
    const struct trend *trend = &result->trend;
    char rate[PAGE_TEXT_SIZE];
    if (!result->known || !isfinite(trend->per_year) || !(trend->p_value_cautious < 0.01))
        return;
    page_fill(view, trend->per_year < 0 ? falling : rising,
              slot_text(page_ratio_text(rate, fabs(trend->per_year))));
    if (trend->per_year < 0)
        write_crossing(view, result, zone);
}

/* A median of 7 days; `day`: of the last 24 h, NaN where not known. `how`: by which method, or
   under which assumption; or NULL. */
struct shown_ratio {
    double ratio, lower, upper, day;
    const char *how;
    const struct ratio_trends *trends;
};

static void write_ratio(struct page_view *view, const struct shown_ratio *shown,
                        const struct time_zone *zone) {
    char value[PAGE_TEXT_SIZE], low[PAGE_TEXT_SIZE], high[PAGE_TEXT_SIZE];
    page_fill(view, PAGE_RATIO, slot_strong(page_ratio_text(value, shown->ratio)),
              slot_text(page_ratio_text(low, shown->lower)),
              slot_text(page_ratio_text(high, shown->upper)));
    if (isfinite(shown->day))
        page_fill(view, PAGE_RATIO_DAY, slot_text(page_ratio_text(value, shown->day)));
    if (shown->how)
        html_format(&view->html, "; %s", page_words_of(view, shown->how));
    html_markup(&view->html, ".");
    if (!shown->trends->read)
        return;
    write_ratio_trend(view, &shown->trends->all, PAGE_ALL_FALLING, PAGE_ALL_RISING, zone);
    write_ratio_trend(view, &shown->trends->recent, PAGE_RECENT_FALLING, PAGE_RECENT_RISING, zone);
}

static void write_no_claim(struct page_view *view, const char *why) {
    page_fill(view, PAGE_NO_CLAIM,
              slot_text(why ? page_words_of(view, why) : page_words(view, PAGE_NOT_ENOUGH)));
}

static void write_branch(struct page_view *view, const struct branch_facts *facts,
                         const struct time_zone *zone) {
    const struct system_fan *fan = &facts->air.fan;
    const struct system_ground *ground = &facts->air.ground;
    const struct shown_ratio speed = {fan->speed.ratio,
                                      fan->speed.lower,
                                      fan->speed.upper,
                                      facts->day.fan.known ? facts->day.fan.speed.ratio : NAN,
                                      fan_method_text(fan->speed.method),
                                      &facts->speed};
    const struct shown_ratio resistance = {
        ground->resistance.ratio,
        ground->resistance.lower,
        ground->resistance.upper,
        facts->day.ground.known ? facts->day.ground.resistance.ratio : NAN,
        system_facts_assumed(ground),
        &facts->resistance};
    html_markup(&view->html, "<dl class=\"facts-list\">");
    page_element(view, "dt", PAGE_FAN_SPEED);
    html_markup(&view->html, "<dd>");
    if (fan->known && isfinite(speed.ratio))
        write_ratio(view, &speed, zone);
    else
        write_no_claim(view, fan->why);
    html_markup(&view->html, "</dd>");
    page_element(view, "dt", PAGE_GROUND_RESISTANCE);
    html_markup(&view->html, "<dd>");
    if (ground->known && isfinite(resistance.ratio))
        write_ratio(view, &resistance, zone);
    else
        write_no_claim(view, ground->why);
    html_markup(&view->html, "</dd></dl>");
}

static void write_day(struct page_view *view, enum page_text what, int64_t day) {
    char text[40];
    if (day != TIMESTAMP_NONE)
        page_fill(view, what, slot_text(timestamp_format_day(text, sizeof text, day)));
}

void page_equipment(struct page_view *view, size_t system, size_t branch) {
    const struct fan_description *file =
        &view->api->fleet->systems[system].description->branches[branch].fan;
    const struct fitted_fan of_file = {.since_ms = INT64_MIN,
                                       .model = file->model,
                                       .serial = file->serial,
                                       .installed_day = file->installed_day,
                                       .warranty_until_day = TIMESTAMP_NONE};
    const struct fitted_fan *fitted = fitted_fans_at(
        monitor_fans(pipeline_monitor(view->api->pipeline), system, branch), view->api->now_ms);
    const struct fitted_fan *fan = fitted ? fitted : &of_file;
    if (!fan->model && !fan->serial && fan->installed_day == TIMESTAMP_NONE)
        return;
    html_markup(&view->html, "<dl class=\"facts-list\">");
    page_element(view, "dt", PAGE_FAN);
    html_markup(&view->html, "<dd>");
    html_text(&view->html, fan->model ? fan->model : page_words(view, PAGE_MODEL_UNKNOWN));
    if (fan->serial)
        page_fill(view, PAGE_SERIAL, slot_text(fan->serial));
    write_day(view, PAGE_INSTALLED, fan->installed_day);
    write_day(view, PAGE_WARRANTY, fan->warranty_until_day);
    html_markup(&view->html, "</dd></dl>");
}

void page_fan_and_ground(struct page_view *view, size_t system, const struct system_facts *facts) {
    for (size_t b = 0; b < facts->branch_count; b++) {
        if (facts->branch_count > 1)
            html_element(&view->html, "h3", facts->branches[b].id, NULL);
        page_equipment(view, system, b);
        write_branch(view, &facts->branches[b], page_zone(view, system));
    }
}

/* ---- records ---- */

bool page_records_next(struct page_records *records) {
    if (records->rows == records->most)
        return false;
    if (records->rows++ == 0)
        html_markup(&records->view->html, "<ul class=\"records\">");
    html_markup(&records->view->html, "<li><strong>");
    return true;
}

void page_records_end(const struct page_records *records, const char *none) {
    if (records->rows)
        html_markup(&records->view->html, "</ul>");
    else if (none)
        html_element(&records->view->html, "p", none, "class", "none", NULL);
}

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

static void write_radon(struct page_view *view, enum page_text when, const json_t *value) {
    if (json_is_number(value))
        page_fill(view, when, slot_value(json_number_value(value), DIMENSION_RADON));
}

/* The fans that a record or a visit names, with what the trade keeps of them. */
static void write_fans(struct page_view *view, size_t system, const json_t *list,
                       int64_t record_ms) {
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *fan = json_array_get(list, i);
        const char *model = json_string_value(json_object_get(fan, "model"));
        const char *branch = json_string_value(json_object_get(fan, "branch"));
        const char *serial = json_string_value(json_object_get(fan, "serial"));
        struct replaced_fan before;
        page_fill(view, serial ? PAGE_FAN_OF_BRANCH_SERIAL : PAGE_FAN_OF_BRANCH, slot_text(branch),
                  slot_text(model), slot_text(serial));
        if (replaced_fan(view->api, system, fan, record_ms, &before))
            page_fill(view, before.serial ? PAGE_IN_PLACE_OF_SERIAL : PAGE_IN_PLACE_OF,
                      slot_text(before.model ? before.model : page_words(view, PAGE_MODEL_UNKNOWN)),
                      slot_text(before.serial));
    }
}

static bool write_commissioning(void *context, const struct record_commissioning *record) {
    struct page_records *records = context;
    struct page_view *view = records->view;
    const struct time_zone *zone = page_zone(view, records->system);
    if (!page_records_next(records))
        return false;
    json_t *facts = json_loads(record->text, 0, NULL);
    const char *instruments = json_string_value(json_object_get(facts, "instruments"));
    page_date(view, record->from_ms, zone);
    html_markup(&view->html, "</strong> ");
    page_fill(view, strcmp(record->origin, "learned") == 0 ? PAGE_LEARNED_BY : PAGE_MEASURED_BY,
              slot_text(record->by));
    write_values(view, records->system, json_object_get(facts, "points"));
    write_fans(view, records->system, json_object_get(facts, "equipment"), record->from_ms);
    write_radon(view, PAGE_RADON_BEFORE, json_object_get(facts, "radon_before"));
    write_radon(view, PAGE_RADON_AFTER, json_object_get(facts, "radon_after"));
    if (instruments)
        page_fill(view, PAGE_INSTRUMENTS, slot_text(instruments));
    const json_t *next = json_object_get(facts, "next_calibration");
    if (json_is_integer(next))
        page_fill(view, PAGE_NEXT_CALIBRATION_IS, slot_date(json_integer_value(next), zone));
    if (strcmp(record->origin, "learned") != 0)
        page_back_draft(view, facts);
    html_text(&view->html, json_string_value(json_object_get(facts, "notes")));
    page_test_holes(view, facts);
    html_markup(&view->html, "</li>");
    json_decref(facts);
    return true;
}

void page_commissioning(struct page_view *view, size_t system, size_t most) {
    struct page_records records = {view, system, most, 0};
    struct store *store = pipeline_store(view->api->pipeline);
    if (store)
        record_commissioning_list(store, fleet_system_id(view->api->fleet, system),
                                  RECORD_NEWEST_FIRST, write_commissioning, &records);
    page_records_end(&records, page_words(view, PAGE_NO_COMMISSIONING));
}

static bool write_visit(void *context, const struct record_visit *visit) {
    struct page_records *records = context;
    struct page_view *view = records->view;
    if (!page_records_next(records))
        return false;
    json_t *facts = visit->text ? json_loads(visit->text, 0, NULL) : NULL;
    page_date(view, visit->on_ms, page_zone(view, records->system));
    html_markup(&view->html, "</strong> ");
    page_fill(view, PAGE_VISIT_WAS, slot_text(visit->by),
              slot_text(visit->found ? visit->found : "–"),
              slot_text(visit->did ? visit->did : "–"));
    write_values(view, records->system, json_object_get(facts, "values"));
    write_fans(view, records->system, json_object_get(facts, "equipment"), visit->on_ms);
    if (json_is_true(json_object_get(facts, "radon_tested")))
        page_write(view, PAGE_RADON_TESTED);
    html_markup(&view->html, "</li>");
    json_decref(facts);
    return true;
}

void page_past_visits(struct page_view *view, size_t system, size_t most) {
    struct page_records records = {view, system, most, 0};
    struct store *store = pipeline_store(view->api->pipeline);
    if (store)
        record_visit_list(store, fleet_system_id(view->api->fleet, system), RECORD_NEWEST_FIRST,
                          write_visit, &records);
    page_records_end(&records, page_words(view, PAGE_NO_VISIT));
}
