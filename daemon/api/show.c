#include "api/show.h"

#include "analysis/wear.h"
#include "api/radon_tests.h"
#include "api/routes.h"
#include "api/visits.h"
#include "monitor/assessment.h"
#include "monitor/system_assessment.h"
#include "monitor/system_series.h"
#include "pipeline/explain.h"
#include "pipeline/history_store.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- one point ---- */

static void set_why(json_t *object, const char *why) {
    if (why)
        json_object_set_new(object, "why", json_string(why));
}

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
    json_t *json = json_pack(
        "{s:s, s:o, s:o, s:o, s:o, s:o}", "window", result->window, "from",
        api_time(result->from_ms), "mean", api_number(result->has_mean ? average->mean : NAN),
        "coverage", api_number(result->has_mean ? average->coverage : 0.0), "standard_uncertainty",
        api_number(sure ? average->standard_uncertainty : NAN), "probability_above_action",
        api_number(sure && result->judges_action ? average->probability_at_or_above : NAN));
    if (result->why)
        set_why(json, result->why);
    else if (sure && !result->judges_action)
        set_why(json, "an action level is for radon only");
    if (result->has_mean && result->judges_action && average->seasonal_caution)
        json_object_set_new(json, "caution", json_string(average_seasonal_text()));
    return json;
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
    json_t *json = json_pack("{s:o, s:o, s:o, s:o}", "limit", api_number(result->crossing.limit),
                             "date", api_time(result->date_ms), "earliest",
                             api_time(result->earliest_ms), "latest", api_time(result->latest_ms));
    if (result->crossing_status != TREND_CROSSES)
        set_why(json, trend_crossing_why(result->crossing_status));
    return json;
}

static json_t *trend_json(const struct assessment_trend *result) {
    const struct trend *trend = &result->trend;
    if (!result->known)
        return json_pack("{s:n, s:n, s:n, s:n, s:n, s:s?}", "per_year", "lower", "upper", "p_value",
                         "crosses", "why", result->why);
    json_t *json = json_pack(
        "{s:o, s:o, s:o, s:o, s:o, s:I, s:s, s:o}", "per_year", api_number(trend->per_year),
        "lower", api_number(trend->lower), "upper", api_number(trend->upper), "p_value",
        api_number(trend->p_value), "p_value_cautious", api_number(trend->p_value_cautious), "days",
        (json_int_t)trend->n, "method", trend_method_text(trend->method), "crosses",
        crossing_json(result));
    const char *temperature = trend_temperature_text(trend->temperature);
    if (*temperature)
        json_object_set_new(json, "outdoor_temperature", json_string(temperature));
    if (trend->temperature == TREND_TEMPERATURE_REMOVED)
        json_object_set_new(json, "per_kelvin", api_number(trend->per_kelvin));
    return json;
}

static json_t *change_json(const struct assessment *assessment) {
    if (assessment->changed_ms == TIMESTAMP_NONE)
        return json_pack("{s:n, s:s}", "since", "why",
                         "no sure step to another level within the last 365 days");
    return json_pack("{s:o, s:o, s:o}", "since", api_time(assessment->changed_ms), "before",
                     api_number(assessment->level_before), "after",
                     api_number(assessment->level_after));
}

static const char failed_why[] = "the store can't be read";

static void set_assessment(json_t *json, struct api *api, const struct history *history,
                           size_t point) {
    struct assessment assessment;
    static const char *const parts[] = {"trend", "trend_recent", "changed"};
    if (!assessment_make(pipeline_monitor(api->pipeline), history, point, api->now_ms,
                         &assessment)) {
        json_object_set_new(json, "averages", json_array());
        for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++)
            json_object_set_new(json, parts[i], json_pack("{s:s}", "why", failed_why));
        set_why(json, failed_why);
        return;
    }
    json_object_set_new(json, "averages", averages_json(&assessment));
    json_object_set_new(json, "trend", trend_json(&assessment.trend));
    json_object_set_new(json, "trend_recent", trend_json(&assessment.trend_recent));
    json_object_set_new(json, "changed", change_json(&assessment));
}

static void set_busy(json_t *json, const struct api *api, size_t point) {
    char text[256];
    struct busy_point busy;
    if (busy_points_find(pipeline_busy(api->pipeline), api->fleet, point, api->now_ms, &busy))
        json_object_set_new(json, "sends_too_often",
                            json_pack("{s:I, s:f, s:s}", "readings", (json_int_t)busy.readings,
                                      "expected", busy.expected, "text",
                                      busy_points_text(text, sizeof text, api->fleet, &busy)));
}

static bool add_by_hand(void *context, const struct record_by_hand *record) {
    json_array_append_new(context, json_pack("{s:o, s:o, s:s}", "time", api_time(record->time_ms),
                                             "value", api_number(record->value), "by", record->by));
    return true;
}

/* Only where somebody ever took one. */
static void set_by_hand(json_t *json, const struct api *api, size_t point) {
    enum { MOST = 5 };
    json_t *list = json_array();
    struct store *store = pipeline_store(api->pipeline);
    if (store)
        record_by_hand_newest(store, pipeline_key(api->pipeline, point), MOST, add_by_hand, list);
    if (json_array_size(list) > 0)
        json_object_set(json, "by_hand", list);
    json_decref(list);
}

static json_t *point_json(struct api *api, const struct history *history, size_t point) {
    const struct point_description *description = api->fleet->points[point].description;
    const struct point_state *state = monitor_point(pipeline_monitor(api->pipeline), point);
    json_t *json =
        json_pack("{s:s, s:s, s:s, s:s, s:o, s:o}", "id", description->id, "name",
                  description->name, "quantity", quantity_info(description->quantity)->name, "unit",
                  unit_si_word(description->binding.unit->dimension), "last", last_json(state),
                  "baseline", baseline_json(state, api->now_ms));
    if (!json)
        return NULL;
    set_busy(json, api, point);
    set_by_hand(json, api, point);
    set_assessment(json, api, history, point);
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
    json_object_set_new(json, "exponent", api_number(ground->exponent));
    if (ground->known && !ground->exponent_known)
        json_object_set_new(json, "assumed",
                            json_string("no ground exponent on record; the interval holds every "
                                        "one from 1 to 2"));
    return json;
}

/* The daily values of one of them since commissioning, as trend of `json`; trend_recent: of the
   last 60 days, in which wear of the fan shows first. */
static void set_series_trend(json_t *json, struct api *api,
                             const struct system_series_source *source,
                             enum system_series_kind kind, double limit) {
    const struct time_zone *zone = api->fleet->systems[source->system].zone;
    struct assessment_series series;
    struct assessment_trend trend;
    if (!system_series_read(source, kind, api->now_ms, time_zone_local_day(zone, api->now_ms),
                            &series)) {
        json_object_set_new(json, "trend", json_pack("{s:s}", "why", failed_why));
        return;
    }
    assessment_trend_make(&series.series, zone, limit, api->now_ms, &trend);
    json_object_set_new(json, "trend", trend_json(&trend));
    const struct trend_series recent = trend_series_recent(&series.series, WEAR_RECENT_DAYS);
    assessment_trend_make(&recent, zone, limit, api->now_ms, &trend);
    json_object_set_new(json, "trend_recent", trend_json(&trend));
    assessment_series_clear(&series);
}

static void set_air(json_t *json, struct api *api, const struct history *history, size_t system,
                    json_t *points) {
    struct system_assessment assessment;
    const struct monitor *monitor = pipeline_monitor(api->pipeline);
    const struct fleet_system *owner = &api->fleet->systems[system];
    const struct system_points of_system = system_points_of(api->fleet, system);
    struct system_state_of_air then = system_assessment_then(monitor, &of_system, api->now_ms);
    struct system_series_source source = {monitor, history, system, &of_system, &then, FLEET_NONE};
    (void)system_assessment_first_week(monitor, history, &of_system, api->now_ms, &then);
    system_assessment_make(monitor, history, system, api->now_ms, &assessment);
    json_t *fan = fan_json(&assessment.fan);
    set_series_trend(fan, api, &source, SYSTEM_SERIES_SPEED,
                     fleet_rule(api->fleet, system, CONDITION_FAN_WEAK).setpoint.number);
    json_t *ground = ground_json(&assessment.ground);
    set_series_trend(ground, api, &source, SYSTEM_SERIES_RESISTANCE, NAN);
    json_object_set_new(json, "fan", fan);
    json_object_set_new(json, "ground", ground);
    for (size_t i = 0; i < assessment.hole_count; i++) {
        const struct system_hole *hole = &assessment.holes[i];
        json_t *point = json_array_get(points, hole->point - owner->first_point);
        json_t *coupling = ratio_json("ratio", hole->known, &hole->coupling, hole->why);
        source.hole = hole->point;
        set_series_trend(coupling, api, &source, SYSTEM_SERIES_COUPLING, NAN);
        json_object_set_new(point, "coupling", coupling);
    }
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
        record_commissioning_list(store, search.system, add_commissioning, commissioning);
    if (store && monitor_out_of_service_until(monitor, system) != TIMESTAMP_NONE)
        record_service_list(store, on_service, &search);
    json_object_set_new(json, "commissioning", commissioning);
    json_object_set_new(json, "out_of_service", search.found ? search.found : json_null());
    json_object_set_new(json, "last_visit", api_visits_last(api, system));
    json_object_set_new(json, "past_visits", api_visits_past(api, system));
    json_object_set_new(json, "radon_tests",
                        api_radon_tests_of(api, fleet_system_id(api->fleet, system)));
}

static json_t *alarms_json(struct api *api, size_t system) {
    struct alarm_book *book = monitor_alarms(pipeline_monitor(api->pipeline));
    for (const struct alarm *alarm = alarm_book_of_system(book, system); alarm;
         alarm = alarm->next_of_system) {
        struct alarm *open = alarm_book_find(book, alarm->id);
        if (open && alarm_open(open))
            explain_alarm(pipeline_memory(api->pipeline), open);
    }
    const struct api_alarm_choice open = {.system = system, .since_ms = TIMESTAMP_NONE};
    return api_alarms(api, &open);
}

json_t *api_show(struct api *api, size_t system) {
    const struct fleet_system *owner = &api->fleet->systems[system];
    const struct monitor *monitor = pipeline_monitor(api->pipeline);
    const struct history history = history_store_view(pipeline_memory(api->pipeline));
    int64_t since_ms = TIMESTAMP_NONE;
    enum monitor_status status = monitor_status(monitor, system, &since_ms);
    json_t *points = json_array();
    for (size_t i = 0; i < owner->point_count; i++)
        json_array_append_new(points, point_json(api, &history, owner->first_point + i));
    json_t *json = json_pack(
        "{s:s, s:s, s:s?, s:s?, s:s, s:s, s:o, s:o, s:O}", "id", owner->description->id, "name",
        owner->description->name, "address", owner->description->address, "foundation",
        owner->description->foundation, "time_zone", time_zone_name(owner->zone), "status",
        monitor_status_word(status), "since", api_time(since_ms), "last_reading",
        api_time(monitor_system_newest_ms(monitor, system)), "points", points);
    if (json) {
        set_air(json, api, &history, system, points);
        json_object_set_new(json, "alarms", alarms_json(api, system));
        json_object_set_new(json, "visits", api_visits_of_system(api, system));
        set_records(json, api, system);
    }
    json_decref(points);
    return json;
}
