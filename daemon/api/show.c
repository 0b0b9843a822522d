#include "api/show.h"

#include "api/home_reports.h"
#include "api/in_spec.h"
#include "api/radon_tests.h"
#include "api/routes.h"
#include "api/system_facts.h"
#include "api/visits.h"
#include "measure/duration.h"
#include "pipeline/equipment_json.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- one point ---- */

static json_t *last_json(const struct point_state *state) {
    if (state->newest_ms == TIMESTAMP_NONE)
        return json_pack("{s:n, s:n, s:s}", "value", "time", "why", "no reading yet");
    return json_pack("{s:o, s:o}", "value", api_number(state->newest_value), "time",
                     api_time(state->newest_ms));
}

static json_t *baseline_json(const struct point_state *state, int64_t now_ms) {
    const struct point_baseline *baseline = point_state_baseline(state, now_ms);
    if (!baseline)
        return json_pack("{s:n, s:n, s:n, s:s}", "value", "from", "by", "why",
                         "no commissioning value of this point");
    return json_pack("{s:o, s:o, s:s, s:b}", "value", api_number(baseline->value), "from",
                     api_time(baseline->from_ms), "by", baseline->by, "learned", baseline->learned);
}

static json_t *average_json(const struct assessment_average *result) {
    const struct average *average = &result->average;
    bool sure = result->has_mean && average->has_uncertainty;
    bool seasonal = result->has_mean && result->judges_action && average->seasonal_caution;
    const char *why = result->why                      ? result->why
                      : sure && !result->judges_action ? "an action level is for radon only"
                                                       : NULL;
    return json_pack(
        "{s:s, s:o, s:o, s:o, s:o, s:o, s:s*, s:s*}", "window", result->window, "from",
        api_time(result->from_ms), "mean", api_number(result->has_mean ? average->mean : NAN),
        "coverage", api_number(result->has_mean ? average->coverage : 0.0), "standard_uncertainty",
        api_number(sure ? average->standard_uncertainty : NAN), "probability_above_action",
        api_number(sure && result->judges_action ? average->probability_at_or_above : NAN), "why",
        why, "caution", seasonal ? average_seasonal_text() : NULL);
}

static json_t *averages_json(const struct assessment *assessment) {
    json_t *list = json_array();
    for (size_t i = 0; i < ASSESSMENT_WINDOWS; i++)
        json_array_append_new(list, average_json(&assessment->averages[i]));
    return list;
}

static json_t *crossing_json(const struct assessment_trend *result) {
    if (!result->has_limit)
        return json_pack("{s:n, s:n, s:n, s:n, s:s}", "limit", "date", "earliest", "latest", "why",
                         "no low limit in force for it");
    bool crosses = result->crossing_status == TREND_CROSSES;
    return json_pack("{s:o, s:o, s:o, s:o, s:s*}", "limit", api_number(result->crossing.limit),
                     "date", api_time(result->date_ms), "earliest", api_time(result->earliest_ms),
                     "latest", api_time(result->latest_ms), "why",
                     crosses ? NULL : trend_crossing_why(result->crossing_status));
}

static json_t *trend_json(const struct assessment_trend *result) {
    const struct trend *trend = &result->trend;
    if (!result->known)
        return json_pack("{s:n, s:n, s:n, s:n, s:n, s:s?}", "per_year", "lower", "upper", "p_value",
                         "crosses", "why", result->why);
    const char *temperature = trend_temperature_text(trend->temperature);
    bool removed = trend->temperature == TREND_TEMPERATURE_REMOVED;
    return json_pack("{s:o, s:o, s:o, s:o, s:o, s:I, s:s, s:o, s:s*, s:o*}", "per_year",
                     api_number(trend->per_year), "lower", api_number(trend->lower), "upper",
                     api_number(trend->upper), "p_value", api_number(trend->p_value),
                     "p_value_cautious", api_number(trend->p_value_cautious), "days",
                     (json_int_t)trend->n, "method", trend_method_text(trend->method), "crosses",
                     crossing_json(result), "outdoor_temperature",
                     *temperature ? temperature : NULL, "per_kelvin",
                     removed ? api_number(trend->per_kelvin) : NULL);
}

static json_t *change_json(const struct assessment *assessment) {
    if (assessment->changed_ms == TIMESTAMP_NONE)
        return json_pack("{s:n, s:s}", "since", "why",
                         "no sure step to another level within the last 365 days");
    return json_pack("{s:o, s:o, s:o}", "since", api_time(assessment->changed_ms), "before",
                     api_number(assessment->level_before), "after",
                     api_number(assessment->level_after));
}

/* `year` of a radon point: what its readings say of a year's mean. */
static json_t *year_json(const struct year_assessment *result) {
    const struct year_mean *year = &result->year;
    bool known = result->known;
    return json_pack("{s:o, s:o, s:o, s:o, s:i, s:o, s:s, s:I, s:s*, s:s*}", "mean",
                     api_number(known ? year->mean : NAN), "lower",
                     api_number(known ? year->lower : NAN), "upper",
                     api_number(known ? year->upper : NAN), "probability_above_action",
                     api_number(known ? year->probability_at_or_above : NAN), "quarters_covered",
                     year->quarters_covered, "since", api_time(result->since_ms), "basis",
                     year_basis_text(result->basis), "days", (json_int_t)year->days, "why",
                     result->why, "caution", year_assessment_caution(result));
}

static void set_assessment(json_t *json, const struct point_facts *facts) {
    static const char *const parts[] = {"trend", "trend_recent", "changed"};
    if (!facts->read) {
        json_object_set_new(json, "averages", json_array());
        for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++)
            json_object_set_new(json, parts[i], json_pack("{s:s}", "why", system_facts_unread));
        json_object_set_new(json, "why", json_string(system_facts_unread));
        return;
    }
    json_object_set_new(json, "averages", averages_json(&facts->assessment));
    json_object_set_new(json, "trend", trend_json(&facts->assessment.trend));
    json_object_set_new(json, "trend_recent", trend_json(&facts->assessment.trend_recent));
    json_object_set_new(json, "changed", change_json(&facts->assessment));
    if (facts->has_year)
        json_object_set_new(json, "year", year_json(&facts->year));
}

/* NULL of one that does not send too often. */
static json_t *busy_json(const struct api *api, size_t point) {
    char text[256];
    struct busy_point busy;
    if (!busy_points_find(pipeline_busy(api->pipeline), api->fleet, point, api->now_ms, &busy))
        return NULL;
    return json_pack("{s:I, s:f, s:s}", "readings", (json_int_t)busy.readings, "expected",
                     busy.expected, "text", busy_points_text(text, sizeof text, api->fleet, &busy));
}

static bool add_by_hand(void *context, const struct record_by_hand *record) {
    json_array_append_new(context, json_pack("{s:o, s:o, s:s}", "time", api_time(record->time_ms),
                                             "value", api_number(record->value), "by", record->by));
    return true;
}

/* NULL where nobody ever took one. */
static json_t *by_hand_json(const struct api *api, size_t point) {
    enum { MOST = 5 };
    json_t *list = json_array();
    struct store *store = pipeline_store(api->pipeline);
    if (store)
        record_by_hand_newest(store, pipeline_key(api->pipeline, point), MOST, add_by_hand, list);
    if (json_array_size(list) > 0)
        return list;
    json_decref(list);
    return NULL;
}

static json_t *point_json(struct api *api, size_t point, const struct point_facts *facts) {
    const struct point_description *description = api->fleet->points[point].description;
    const struct point_state *state = monitor_point(pipeline_monitor(api->pipeline), point);
    /* What a person reads is never silent, but may be due. */
    int64_t due_ms = monitor_reading_due_ms(pipeline_monitor(api->pipeline), point);
    bool by_hand = description->by_hand;
    json_t *json = json_pack(
        "{s:s, s:s, s:s, s:s, s:o, s:o, s:s*, s:s*, s:s*, s:o*, s:o*, s:o*}", "id", description->id,
        "name", description->name, "quantity", quantity_info(description->quantity)->name, "unit",
        unit_si_word(description->binding.unit->dimension), "last", last_json(state), "baseline",
        baseline_json(state, api->now_ms), "branch",
        description->branch == BRANCH_NONE
            ? NULL
            : fleet_branch_id(api->fleet, api->fleet->points[point].system, point, CONDITION_COUNT),
        "place", description->place, "read_by", by_hand ? "hand" : NULL, "due",
        by_hand ? api_time(due_ms == INT64_MAX ? TIMESTAMP_NONE : due_ms) : NULL, "sends_too_often",
        busy_json(api, point), "by_hand", by_hand_json(api, point));
    if (json)
        set_assessment(json, facts);
    return json;
}

/* ---- fan, ground, holes ---- */

static json_t *fan_json(const struct system_fan *fan) {
    if (!fan->known)
        return json_pack("{s:n, s:n, s:n, s:s?}", "speed_ratio", "lower", "upper", "why", fan->why);
    return json_pack("{s:o, s:o, s:o, s:s}", "speed_ratio", api_number(fan->speed.ratio), "lower",
                     api_number(fan->speed.lower), "upper", api_number(fan->speed.upper), "method",
                     fan_method_text(fan->speed.method));
}

static json_t *ratio_json(const char *name, bool known, const struct ground_ratio *ratio,
                          const char *why) {
    if (!known)
        return json_pack("{s:n, s:n, s:n, s:s?}", name, "lower", "upper", "why", why);
    return json_pack("{s:o, s:o, s:o}", name, api_number(ratio->ratio), "lower",
                     api_number(ratio->lower), "upper", api_number(ratio->upper));
}

static json_t *ground_json(const struct system_ground *ground) {
    json_t *json = ratio_json("resistance_ratio", ground->known, &ground->resistance, ground->why);
    const char *assumed = system_facts_assumed(ground);
    json_object_set_new(json, "exponent", api_number(ground->exponent));
    if (assumed)
        json_object_set_new(json, "assumed", json_string(assumed));
    return json;
}

static void set_trends(json_t *json, const struct ratio_trends *trends) {
    if (!trends->read) {
        json_object_set_new(json, "trend", json_pack("{s:s}", "why", system_facts_unread));
        return;
    }
    json_object_set_new(json, "trend", trend_json(&trends->all));
    json_object_set_new(json, "trend_recent", trend_json(&trends->recent));
}

static json_t *fan_of_json(const char *model, const char *serial, int64_t installed_day,
                           int64_t warranty_until_day, int64_t from_ms) {
    return json_pack("{s:s?, s:s?, s:o, s:o, s:o}", "model", model, "serial", serial, "installed",
                     equipment_json_day(installed_day), "warranty_until",
                     equipment_json_day(warranty_until_day), "from", api_time(from_ms));
}

/* Oldest first: what the system file says, then what the records put in its place. */
static json_t *equipment_of(const struct api *api, size_t system, size_t branch) {
    const struct fan_description *file =
        &api->fleet->systems[system].description->branches[branch].fan;
    const struct fitted_fans *fans = monitor_fans(pipeline_monitor(api->pipeline), system, branch);
    json_t *list = json_array();
    if (file->model || file->serial || file->installed_day != TIMESTAMP_NONE)
        json_array_append_new(list, fan_of_json(file->model, file->serial, file->installed_day,
                                                TIMESTAMP_NONE, TIMESTAMP_NONE));
    for (size_t i = 0; i < fans->count; i++) {
        const struct fitted_fan *fan = &fans->fans[i];
        json_array_append_new(list, fan_of_json(fan->model, fan->serial, fan->installed_day,
                                                fan->warranty_until_day, fan->since_ms));
    }
    return list;
}

static json_t *branch_json(const struct branch_facts *facts, size_t first_point, json_t *points) {
    json_t *fan = fan_json(&facts->air.fan), *ground = ground_json(&facts->air.ground);
    set_trends(fan, &facts->speed);
    set_trends(ground, &facts->resistance);
    json_object_set_new(fan, "last_24_h", fan_json(&facts->day.fan));
    json_object_set_new(ground, "last_24_h", ground_json(&facts->day.ground));
    for (size_t i = 0; i < facts->air.hole_count; i++) {
        const struct system_hole *hole = &facts->air.holes[i];
        json_t *coupling = ratio_json("ratio", hole->known, &hole->coupling, hole->why);
        set_trends(coupling, &facts->couplings[i]);
        json_object_set_new(json_array_get(points, hole->point - first_point), "coupling",
                            coupling);
    }
    return json_pack("{s:s, s:o, s:o}", "id", facts->id, "fan", fan, "ground", ground);
}

/* `fan` and `ground` beside `branches` are those of the first. */
static void set_air(json_t *json, const struct api *api, size_t system,
                    const struct system_facts *facts, json_t *points) {
    size_t first_point = api->fleet->systems[system].first_point;
    json_t *branches = json_array();
    for (size_t b = 0; b < facts->branch_count; b++) {
        json_array_append_new(branches, branch_json(&facts->branches[b], first_point, points));
        json_object_set_new(json_array_get(branches, b), "equipment", equipment_of(api, system, b));
    }
    json_t *first = json_array_get(branches, 0);
    json_object_set(json, "fan", json_object_get(first, "fan"));
    json_object_set(json, "ground", json_object_get(first, "ground"));
    json_object_set_new(json, "branches", branches);
}

/* ---- records ---- */

static bool add_commissioning(void *context, const struct record_commissioning *record) {
    json_t *root = json_loads(record->text, 0, NULL);
    json_t *json = json_is_object(root) ? json_copy(root) : json_object();
    json_t *next = json_object_get(json, "next_calibration");
    if (json_is_integer(next))
        json_object_set_new(json, "next_calibration", api_time(json_integer_value(next)));
    json_object_set_new(json, "from", api_time(record->from_ms));
    json_object_set_new(json, "recorded", api_time(record->recorded_ms));
    json_object_set_new(json, "by", json_string(record->by));
    json_object_set_new(json, "origin", json_string(record->origin));
    json_array_append_new(context, json);
    json_decref(root);
    return true;
}

struct service_search {
    const char *system;
    json_t *found;
};

static bool on_service(void *context, const struct record_service *service) {
    struct service_search *search = context;
    if (strcmp(service->system, search->system) != 0)
        return true;
    search->found = json_pack("{s:o, s:o, s:s?, s:s?}", "from", api_time(service->from_ms), "until",
                              api_time(service->until_ms), "by", service->by, "why", service->why);
    return false;
}

static void set_records(json_t *json, struct api *api, size_t system) {
    const struct monitor *monitor = pipeline_monitor(api->pipeline);
    struct store *store = pipeline_store(api->pipeline);
    json_t *commissioning = json_array();
    struct service_search search = {fleet_system_id(api->fleet, system), NULL};
    if (store)
        record_commissioning_list(store, search.system, RECORD_OLDEST_FIRST, add_commissioning,
                                  commissioning);
    if (store && monitor_out_of_service_until(monitor, system) != TIMESTAMP_NONE)
        record_service_list(store, on_service, &search);
    json_object_set_new(json, "commissioning", commissioning);
    json_object_set_new(json, "out_of_service", search.found ? search.found : json_null());
    json_object_set_new(json, "last_visit", api_visits_last(api, system));
    json_object_set_new(json, "past_visits", api_visits_past(api, system));
    json_object_set_new(json, "home_reports", home_reports_json(api, system));
    json_object_set_new(
        json, "in_spec",
        in_spec_json(api, system, api->now_ms - 365 * DURATION_DAY_MS, api->now_ms, "365 d"));
    json_object_set_new(json, "radon_tests",
                        api_radon_tests_of(api, fleet_system_id(api->fleet, system)));
}

struct alarm_array {
    const struct api *api;
    size_t language;
    json_t *list;
};

static bool add_alarm(void *context, const struct record_alarm *row, const struct alarm *open) {
    const struct alarm_array *array = context;
    (void)row;
    json_array_append_new(array->list, api_alarm_json(array->api, open, array->language));
    return true;
}

static json_t *alarms_json(struct api *api, size_t system, size_t language) {
    const struct api_alarm_choice open = {.system = system, .since_ms = TIMESTAMP_NONE};
    struct alarm_array array = {api, language, json_array()};
    api_alarms_each(api, &open, add_alarm, &array);
    return array.list;
}

static json_t *region_json(const struct monitor *monitor, size_t system) {
    const char *region = NULL;
    size_t houses = neighbours_systems(monitor_neighbours(monitor), system, &region);
    return json_pack("{s:s, s:I}", "id", region, "houses", (json_int_t)houses);
}

json_t *api_show(struct api *api, size_t system, size_t language) {
    const struct fleet_system *owner = &api->fleet->systems[system];
    const struct monitor *monitor = pipeline_monitor(api->pipeline);
    struct system_facts *facts = system_facts_make(api, system);
    if (!facts)
        return NULL;
    int64_t since_ms = TIMESTAMP_NONE;
    enum monitor_status status = monitor_status(monitor, system, &since_ms);
    json_t *points = json_array();
    for (size_t i = 0; i < owner->point_count; i++)
        json_array_append_new(points, point_json(api, owner->first_point + i, &facts->points[i]));
    json_t *json = json_pack(
        "{s:s, s:s, s:s?, s:s?, s:s, s:s, s:o, s:o, s:O}", "id", owner->description->id, "name",
        owner->description->name, "address", owner->description->address, "foundation",
        owner->description->foundation, "time_zone", time_zone_name(owner->zone), "status",
        monitor_status_word(status), "since", api_time(since_ms), "last_reading",
        api_time(monitor_system_newest_ms(monitor, system)), "points", points);
    if (json) {
        json_object_set_new(json, "region", region_json(monitor, system));
        set_air(json, api, system, facts, points);
        json_object_set_new(json, "alarms", alarms_json(api, system, language));
        json_object_set_new(json, "visits", api_visits_of_system(api, system, language));
        set_records(json, api, system);
    }
    json_decref(points);
    free(facts);
    return json;
}
