#include "api/letter.h"

#include "api/back_draft.h"
#include "api/in_spec.h"
#include "api/period_mean.h"
#include "api/routes.h"
#include "measure/duration.h"
#include "words/fill.h"
#include "words/home_texts.h"
#include "words/letter_texts.h"
#include "words/wording.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { EVENTS_MOST = 12, TEXT_SIZE = 80, BY_HAND_MOST = 10000 };
static const double coverage_factor = 1.96; /* 95 % of a normal distribution */

struct letter {
    struct api *api;
    const struct letter_request *request;
    const struct system_description *about;
    const struct time_zone *zone;
    int64_t from_ms, to_ms;
    bool whole_year;
    json_t *sections, *paragraphs; /* paragraphs: of the section being written */
    size_t events, more;
};

/* ---- sections and sentences ---- */

static void begin_section(struct letter *letter, const char *heading) {
    letter->paragraphs = json_array();
    json_array_append_new(letter->sections, json_pack("{s:s, s:o}", "heading", heading,
                                                      "paragraphs", letter->paragraphs));
}

static const char *words(const struct letter *letter, enum letter_text text) {
    return letter_text(letter->request->language, text);
}

static json_t *filled(const char *text, const char *a, const char *b, const char *c) {
    const struct fill_value values[] = {{"a", a}, {"b", b}, {"c", c}};
    struct text_buffer out = {0};
    fill_text(&out, text, values, sizeof values / sizeof values[0]);
    char *bytes = text_buffer_take(&out);
    json_t *json = json_string(bytes ? bytes : "");
    free(bytes);
    return json;
}

static void say(struct letter *letter, const char *text, const char *a, const char *b,
                const char *c) {
    json_array_append_new(letter->paragraphs, filled(text, a, b, c));
}

static void say_home(struct letter *letter, enum home_text text) {
    say(letter, home_text(letter->request->language, text), NULL, NULL, NULL);
}

static const char *value(const struct letter *letter, char text[TEXT_SIZE], double si,
                         enum dimension dimension) {
    return unit_format(text, TEXT_SIZE, si, dimension, letter->request->units);
}

static const char *percent(char text[TEXT_SIZE], double share) {
    bool nearly = share < 1.0 && share > 0.995;
    snprintf(text, TEXT_SIZE, nearly ? "%.1f %%" : "%.0f %%",
             fmin(100.0 * share, nearly ? 99.9 : 100.0));
    return text;
}

static const char *day_text(const struct letter *letter, char text[TEXT_SIZE], int64_t time_ms) {
    return timestamp_format_day(text, TEXT_SIZE, time_zone_local_day(letter->zone, time_ms));
}

static bool within(const struct letter *letter, int64_t time_ms) {
    return time_ms >= letter->from_ms && time_ms < letter->to_ms;
}

/* ---- averages ---- */

static void say_radon(struct letter *letter, size_t point, const char *name) {
    char mean_text[TEXT_SIZE], low[TEXT_SIZE], high[TEXT_SIZE], covered[TEXT_SIZE];
    double level = letter->api->fleet->settings->radon_action_level_bq_m3, mean, coverage;
    bool enough = period_mean(letter->api, point, letter->from_ms, letter->to_ms, &mean, &coverage);
    if (!enough) {
        say(letter, words(letter, LETTER_RADON_TOO_FEW), name, percent(covered, coverage), NULL);
        return;
    }
    double half =
        coverage_factor * point_calibration(letter->api->fleet->points[point].description, mean);
    say(letter, words(letter, LETTER_RADON_MEAN), name,
        value(letter, mean_text, mean, DIMENSION_RADON), percent(covered, coverage));
    say(letter, words(letter, LETTER_RADON_BETWEEN),
        value(letter, low, fmax(0.0, mean - half), DIMENSION_RADON),
        value(letter, high, mean + half, DIMENSION_RADON), NULL);
    say(letter,
        words(letter, mean - half >= level  ? LETTER_RADON_ABOVE
                      : mean + half < level ? LETTER_RADON_BELOW
                                            : LETTER_RADON_NEAR),
        value(letter, mean_text, level, DIMENSION_RADON), NULL, NULL);
}

static void write_radon(struct letter *letter) {
    const struct fleet_system *owner = &letter->api->fleet->systems[letter->request->system];
    size_t monitors = 0, number = 0;
    char name[TEXT_SIZE], digits[24];
    begin_section(letter, home_text(letter->request->language, HOME_RADON));
    for (size_t i = 0; i < owner->point_count; i++)
        monitors += letter->about->points[i].quantity == QUANTITY_RADON;
    for (size_t i = 0; i < owner->point_count; i++) {
        if (letter->about->points[i].quantity != QUANTITY_RADON)
            continue;
        snprintf(digits, sizeof digits, "%zu", ++number);
        json_t *named = filled(words(letter, monitors > 1 ? LETTER_MONITOR : LETTER_THE_MONITOR),
                               digits, NULL, NULL);
        snprintf(name, sizeof name, "%s", json_string_value(named));
        json_decref(named);
        say_radon(letter, owner->first_point + i, name);
    }
    if (monitors == 0)
        say_home(letter, HOME_NO_MONITOR);
    else if (!letter->whole_year)
        say(letter, words(letter, LETTER_RADON_PART), NULL, NULL, NULL);
}

/* The first of them, read by a sensor or by a person; FLEET_NONE: there is none. */
static size_t suction_point(const struct letter *letter, bool by_hand) {
    const struct fleet_system *owner = &letter->api->fleet->systems[letter->request->system];
    for (size_t i = 0; i < owner->point_count; i++) {
        const struct point_description *point = &letter->about->points[i];
        if (point->quantity == QUANTITY_SUCTION && point->by_hand == by_hand)
            return owner->first_point + i;
    }
    return FLEET_NONE;
}

static const struct point_baseline *set_up_value(const struct letter *letter, size_t point) {
    return point_state_baseline(monitor_point(pipeline_monitor(letter->api->pipeline), point),
                                letter->to_ms);
}

static void say_sensor(struct letter *letter, size_t point) {
    const struct point_baseline *baseline = set_up_value(letter, point);
    char mean_text[TEXT_SIZE], set_up[TEXT_SIZE];
    double mean, coverage;
    if (!period_mean(letter->api, point, letter->from_ms, letter->to_ms, &mean, &coverage))
        say(letter, words(letter, LETTER_PULL_TOO_FEW), NULL, NULL, NULL);
    else
        say(letter, words(letter, LETTER_PULL_MEAN),
            value(letter, mean_text, mean, DIMENSION_PRESSURE),
            baseline ? value(letter, set_up, baseline->value, DIMENSION_PRESSURE)
                     : home_text(letter->request->language, HOME_NO_SET_UP),
            NULL);
}

struct letter_readings {
    const struct letter *letter;
    size_t count;
    int64_t last_ms;
    double last;
};

static bool on_reading_by_hand(void *context, const struct record_by_hand *reading) {
    struct letter_readings *found = context;
    if (within(found->letter, reading->time_ms) && found->count++ == 0) { /* the newest first */
        found->last_ms = reading->time_ms;
        found->last = reading->value;
    }
    return reading->time_ms >= found->letter->from_ms;
}

static void say_by_hand(struct letter *letter, size_t point) {
    const struct point_baseline *baseline = set_up_value(letter, point);
    struct store *store = pipeline_store(letter->api->pipeline);
    struct letter_readings found = {.letter = letter};
    char last[TEXT_SIZE], day[TEXT_SIZE], count[24];
    if (store)
        record_by_hand_newest(store, pipeline_key(letter->api->pipeline, point), BY_HAND_MOST,
                              on_reading_by_hand, &found);
    snprintf(count, sizeof count, "%zu", found.count);
    if (found.count)
        say(letter, words(letter, LETTER_PULL_BY_HAND), count,
            value(letter, last, found.last, DIMENSION_PRESSURE),
            day_text(letter, day, found.last_ms));
    else
        say(letter, words(letter, LETTER_PULL_NOT_READ), NULL, NULL, NULL);
    if (baseline)
        say(letter, words(letter, LETTER_PULL_AT_START),
            value(letter, last, baseline->value, DIMENSION_PRESSURE), NULL, NULL);
}

static void write_pull(struct letter *letter) {
    size_t sensor = suction_point(letter, false), tube = suction_point(letter, true);
    if (sensor == FLEET_NONE && tube == FLEET_NONE)
        return;
    begin_section(letter, home_text(letter->request->language, HOME_PULL));
    if (sensor != FLEET_NONE)
        say_sensor(letter, sensor);
    if (tube != FLEET_NONE)
        say_by_hand(letter, tube);
}

/* ---- in order, and not ---- */

static void write_share(struct letter *letter) {
    struct in_spec spec;
    char share[TEXT_SIZE], count[TEXT_SIZE], days[TEXT_SIZE];
    begin_section(letter, words(letter, LETTER_SHARE_TITLE));
    bool read =
        in_spec_read(&spec, letter->api, letter->request->system, letter->from_ms, letter->to_ms);
    const struct in_spec_part *part = &spec.parts[IN_SPEC_SYSTEM];
    int64_t longest_ms = 0;
    for (size_t i = 0; i < part->count; i++) {
        int64_t took_ms = part->outages[i].to_ms - part->outages[i].from_ms;
        longest_ms = took_ms > longest_ms ? took_ms : longest_ms;
    }
    if (!read || !spec.commissioned) {
        say(letter, words(letter, LETTER_NOT_SET_UP), NULL, NULL, NULL);
    } else if (!isfinite(part->share)) {
        say(letter, words(letter, spec.by_hand ? LETTER_SHARE_BY_HAND : LETTER_SHARE_UNKNOWN),
            percent(share, 1.0), NULL, NULL);
    } else {
        say(letter, words(letter, LETTER_SHARE), percent(share, part->share), NULL, NULL);
        snprintf(count, sizeof count, "%zu", part->count);
        snprintf(days, sizeof days, "%.1f", (double)longest_ms / (double)DURATION_DAY_MS);
        say(letter, words(letter, part->count ? LETTER_OUTAGES : LETTER_NO_OUTAGE), count, days,
            NULL);
        if (part->covered <= 0.995)
            say(letter, words(letter, LETTER_SHARE_UNKNOWN), percent(share, 1.0 - part->covered),
                NULL, NULL);
    }
    in_spec_clear(&spec);
}

/* What the owner hears of; trouble of sensors alone is the contractor's. */
static bool on_alarm(void *context, const struct record_alarm *row, const struct alarm *open) {
    struct letter *letter = context;
    enum condition condition;
    char line[300], from[TEXT_SIZE], to[TEXT_SIZE];
    (void)open;
    if (row->since_ms >= letter->to_ms || !condition_find(row->condition, &condition) ||
        !(condition_info(condition)->hears & HEARS_HOMEOWNER) ||
        (row->returned_ms != TIMESTAMP_NONE && row->returned_ms < letter->from_ms))
        return true;
    if (letter->events++ >= EVENTS_MOST)
        return true;
    bool stands = row->returned_ms == TIMESTAMP_NONE;
    json_t *span = filled(home_text(letter->request->language, stands ? HOME_STILL : HOME_FROM_TO),
                          day_text(letter, from, row->since_ms),
                          stands ? NULL : day_text(letter, to, row->returned_ms), NULL);
    snprintf(line, sizeof line, "%s, %s",
             wording_plain_subject(letter->request->language, condition), json_string_value(span));
    say(letter, "{a}", line, NULL, NULL);
    json_decref(span);
    return true;
}

static void write_happened(struct letter *letter) {
    const struct api_alarm_choice choice = {
        .all = true, .system = letter->request->system, .since_ms = letter->from_ms};
    char more[24];
    begin_section(letter, words(letter, LETTER_HAPPENED));
    letter->events = 0;
    api_alarms_each(letter->api, &choice, on_alarm, letter);
    if (letter->events == 0)
        say(letter, words(letter, LETTER_NOTHING_HAPPENED), NULL, NULL, NULL);
    snprintf(more, sizeof more, "%zu", letter->events - EVENTS_MOST);
    if (letter->events > EVENTS_MOST)
        say(letter, words(letter, LETTER_MORE), more, NULL, NULL);
}

static bool on_visit(void *context, const struct record_visit *visit) {
    struct letter *letter = context;
    char day[TEXT_SIZE];
    if (!within(letter, visit->on_ms))
        return true;
    json_t *facts = visit->text ? json_loads(visit->text, 0, NULL) : NULL;
    bool fan = json_array_size(json_object_get(facts, "equipment")) > 0;
    say(letter, words(letter, fan ? LETTER_NEW_FAN : LETTER_VISIT),
        day_text(letter, day, visit->on_ms), NULL, NULL);
    json_decref(facts);
    letter->events++;
    return true;
}

static bool on_test(void *context, const struct record_radon_test *test) {
    struct letter *letter = context;
    char result[TEXT_SIZE], from[TEXT_SIZE], to[TEXT_SIZE];
    if (!within(letter, test->to_ms))
        return true;
    say(letter, words(letter, LETTER_TEST),
        value(letter, result, test->value_bq_m3, DIMENSION_RADON),
        day_text(letter, from, test->from_ms), day_text(letter, to, test->to_ms));
    letter->events++;
    return true;
}

static void write_done(struct letter *letter) {
    struct store *store = pipeline_store(letter->api->pipeline);
    begin_section(letter, words(letter, LETTER_DONE));
    letter->events = 0;
    if (store)
        record_visit_list(store, letter->about->id, RECORD_OLDEST_FIRST, on_visit, letter);
    if (letter->events == 0)
        say(letter, words(letter, LETTER_NOTHING_DONE), NULL, NULL, NULL);
    begin_section(letter, home_text(letter->request->language, HOME_TESTS));
    letter->events = 0;
    if (store)
        record_radon_test_list(store, letter->about->id, RECORD_OLDEST_FIRST, on_test, letter);
    if (letter->events == 0)
        say(letter, words(letter, LETTER_NO_TEST), NULL, NULL, NULL);
}

/* ---- what comes, and what to know ---- */

static void write_next(struct letter *letter) {
    const struct monitor *monitor = pipeline_monitor(letter->api->pipeline);
    int64_t test_ms = monitor_due_ms(monitor, letter->request->system, CONDITION_RETEST_DUE);
    int64_t visit_ms = monitor_due_ms(monitor, letter->request->system, CONDITION_VISIT_DUE);
    char day[TEXT_SIZE];
    begin_section(letter, words(letter, LETTER_NEXT));
    if (test_ms != INT64_MAX)
        say(letter,
            words(letter, test_ms < letter->api->now_ms ? LETTER_NEXT_TEST_LATE : LETTER_NEXT_TEST),
            day_text(letter, day, test_ms), NULL, NULL);
    if (visit_ms != INT64_MAX)
        say(letter, words(letter, LETTER_NEXT_VISIT), day_text(letter, day, visit_ms), NULL, NULL);
    if (test_ms == INT64_MAX && visit_ms == INT64_MAX)
        say(letter, words(letter, LETTER_NEXT_NOTHING), NULL, NULL, NULL);
}

static void write_end(struct letter *letter) {
    static const enum home_text cautions[] = {HOME_CAUTION_ALARM, HOME_CAUTION_RISK,
                                              HOME_CAUTION_LEAVE, HOME_CAUTION_CODES};
    const struct contractor *whom = fleet_contractor(letter->api->fleet, letter->request->system);
    char text[400];
    begin_section(letter, home_text(letter->request->language, HOME_WORTH));
    say_home(letter, HOME_WORTH_SHOWS);
    say_home(letter, HOME_WORTH_NOT);
    begin_section(letter, words(letter, LETTER_KEEP_IN_MIND));
    enum letter_text back_draft = back_draft_text(letter->api, letter->request->system);
    if (back_draft != LETTER_TEXT_COUNT)
        say(letter, words(letter, back_draft), NULL, NULL, NULL);
    for (size_t i = 0; i < sizeof cautions / sizeof cautions[0]; i++)
        say_home(letter, cautions[i]);
    snprintf(text, sizeof text, "%s%s%s", whom->name ? whom->name : "",
             whom->name && whom->telephone ? ", " : "", whom->telephone ? whom->telephone : "");
    if (*text)
        say(letter, home_text(letter->request->language, HOME_CALL), text, NULL, NULL);
}

/* ---- the letter ---- */

size_t letter_language(const struct fleet *fleet, size_t system) {
    size_t language = WORDING_ENGLISH;
    for (size_t i = 0; i < fleet->settings->contact_count; i++) {
        const struct settings_contact *contact = &fleet->settings->contacts[i];
        if (contact->role == ROLE_HOMEOWNER && fleet_concerns(fleet, contact, system)) {
            wording_language_find(contact->language, &language);
            break;
        }
    }
    return language;
}

static json_t *title_of(const struct letter *letter) {
    char year[24], day[TEXT_SIZE];
    snprintf(year, sizeof year, "%d", letter->request->year);
    bool over = letter->to_ms < letter->api->now_ms;
    return filled(words(letter, over ? LETTER_TITLE : LETTER_TITLE_SO_FAR), year,
                  day_text(letter, day, letter->to_ms), NULL);
}

/* The calendar year where the house is, up to now, from its first commissioning on. */
static bool find_span(struct letter *letter) {
    const struct monitor_dates *dates =
        monitor_dates(pipeline_monitor(letter->api->pipeline), letter->request->system);
    int64_t begin_ms = time_zone_day_start_ms(
        letter->zone, timestamp_days_from_civil(letter->request->year, 1, 1));
    int64_t end_ms = time_zone_day_start_ms(
        letter->zone, timestamp_days_from_civil(letter->request->year + 1, 1, 1));
    letter->from_ms = dates->commissioned_ms > begin_ms ? dates->commissioned_ms : begin_ms;
    letter->to_ms = end_ms < letter->api->now_ms ? end_ms : letter->api->now_ms;
    letter->whole_year = letter->from_ms == begin_ms && letter->to_ms == end_ms;
    return letter->from_ms < letter->to_ms;
}

json_t *letter_make(struct api *api, const struct letter_request *request) {
    const struct fleet_system *owner = &api->fleet->systems[request->system];
    struct letter letter = {.api = api,
                            .request = request,
                            .about = owner->description,
                            .zone = owner->zone,
                            .sections = NULL};
    if (!find_span(&letter))
        return NULL;
    letter.sections = json_array();
    write_radon(&letter);
    write_pull(&letter);
    write_share(&letter);
    write_happened(&letter);
    write_done(&letter);
    write_next(&letter);
    write_end(&letter);
    return json_pack("{s:s, s:s, s:s?, s:i, s:s, s:o, s:o, s:o, s:o}", "system", letter.about->id,
                     "name", letter.about->name, "address", letter.about->address, "year",
                     request->year, "language", wording_language_code(request->language), "from",
                     api_time(letter.from_ms), "to", api_time(letter.to_ms), "title",
                     title_of(&letter), "sections", letter.sections);
}

void api_report(struct api_call *call) {
    size_t system = api_system(call, call->parts[1]);
    const char *language = web_query(call->request, "language");
    const char *units = web_query(call->request, "units");
    int64_t year = 0;
    if (system == FLEET_NONE || !api_store(call) || !api_count(call, "year", 9999, &year))
        return;
    struct letter_request request = {
        .system = system, .units = call->api->fleet->settings->units, .year = (int)year};
    request.language = letter_language(call->api->fleet, system);
    if (language && !wording_language_find(language, &request.language)) {
        api_error(call, 400, "language: \"%s\" is not allowed; allowed: en, es", language);
        return;
    }
    if (units)
        request.units = strcmp(units, "si") == 0 ? UNIT_SYSTEM_SI : UNIT_SYSTEM_US;
    json_t *json = year ? letter_make(call->api, &request) : NULL;
    if (json)
        api_json(call, 200, json);
    else if (!year)
        api_error(call, 400, "year: it is missing; allowed: such as 2026");
    else
        api_error(call, 404, "%s: there is nothing of the year %d", call->parts[1], request.year);
}
