/*
 * show, visits and learned baselines, from readings through the real pipeline and store.
 */
#include "api/show.h"
#include "api/visits.h"
#include "measure/duration.h"
#include "pipeline/pipeline.h"
#include "small_fleet.h"
#include "store_support.h"
#include "upkeep/daily_upkeep.h"
#include "upkeep/upkeep.h"

#include <math.h>

static const char settings[] = "broker: {host: 127.0.0.1, client_id: subslabd}\n"
                               "store: {file: test.db}\n"
                               "operator_socket: test.sock\n"
                               "units: us\n"
                               "systems: systems/\n"
                               "retest_every: 2 y\n"
                               "contacts:\n"
                               "  - id: office\n"
                               "    role: contractor\n"
                               "    webhook: {url: \"http://127.0.0.1:9/\"}\n";
static const char house[] =
    "id: house\nname: The House\naddress: 1 Test Way\nfoundation: drain tile\n"
    "time_zone: America/Denver\n"
    "fan: {curve: [[0 L/s, 500 Pa], [20 L/s, 420 Pa], [40 L/s, 180 Pa], [48 L/s, 38 Pa]]}\n"
    "points:\n"
    "  - {id: suction, quantity: suction, unit: Pa, every: 1 h}\n"
    "  - {id: flow, quantity: airflow, unit: L/s, every: 1 h}\n"
    "  - {id: radon, quantity: radon, unit: Bq/m3, every: 1 h}\n"
    "  - {id: hole, quantity: field, unit: Pa, every: 1 h}\n"
    "  - {id: spare, quantity: field, unit: Pa, every: 1 h}\n";
static const char bare[] = "id: bare\nname: Bare\npoints:\n"
                           "  - {id: suction, quantity: suction, unit: Pa, every: 1 h}\n";

enum { SUCTION, FLOW, RADON, HOLE };
static const int64_t first_day = 20360;

struct world {
    const char *folder;
    struct fleet *fleet;
    struct store *store;
    struct pipeline *pipeline;
    struct upkeep *upkeep;
    struct api api;
    int64_t start_ms;
};

static void open_world(struct world *world) {
    const char *const systems[] = {house, bare};
    char why[200] = "";
    world->fleet = small_fleet(settings, systems, 2);
    world->folder = store_test_folder();
    world->store = store_test_open(store_test_path(world->folder, "house.db"), NULL);
    world->pipeline = pipeline_open(world->fleet, world->store, 0, why, sizeof why);
    ck_assert_msg(world->pipeline != NULL, "%s", why);
    world->upkeep = upkeep_open(world->fleet);
    ck_assert_ptr_nonnull(world->upkeep);
    world->start_ms = time_zone_day_start_ms(world->fleet->systems[0].zone, first_day);
    world->api = (struct api){.pipeline = world->pipeline,
                              .upkeep = world->upkeep,
                              .fleet = world->fleet,
                              .store_why = "",
                              .now_ms = world->start_ms,
                              .lost_since_ms = TIMESTAMP_NONE};
}

static void close_world(struct world *world) {
    pipeline_close(world->pipeline);
    upkeep_close(world->upkeep);
    store_close(world->store);
    fleet_destroy(world->fleet);
    store_test_remove(world->folder);
}

static void commission(struct world *world, const char *text) {
    int64_t id = 0;
    const struct record_commissioning record = {
        .system = "house",
        .from_ms = world->start_ms,
        .recorded_ms = world->start_ms,
        .by = "the installer",
        .origin = "commissioned",
        .text = text,
    };
    ck_assert_int_eq(record_commissioning_add(world->store, &record, &id), STORE_OK);
    ck_assert_int_eq(pipeline_read_records(world->pipeline, 0), STORE_OK);
}

static const char record[] =
    "{\"points\":{\"suction\":300.0,\"flow\":0.0316,\"hole\":6.0},"
    "\"ground_exponent\":1.5,\"radon_after\":40.0,\"instruments\":\"micromanometer 12\"}";

/* Feeds `days` more days; suction falls by `fade` a day from 300 Pa. */
static void feed(struct world *world, int64_t from_day, int64_t to_day, double fade) {
    struct test_random random = {7 + (uint64_t)from_day};
    for (int64_t hour = from_day * 24; hour < to_day * 24; hour++) {
        double day = (double)hour / 24.0, share = 1.0 - fade * day;
        const double values[] = {300.0 * share, 0.0316 * sqrt(share), 50.0, 6.0 * share};
        for (size_t point = 0; point < 4; point++) {
            const struct reading reading = {
                world->start_ms + hour * DURATION_HOUR_MS,
                values[point] *
                    (1.0 + (point == RADON ? 0.2 : 0.004) * test_random_normal(&random))};
            ck_assert_int_eq(pipeline_take(world->pipeline, point, &reading, SERIES_FROM_SENSOR,
                                           reading.time_ms),
                             PIPELINE_NEW);
        }
        world->api.now_ms = world->start_ms + hour * DURATION_HOUR_MS + 1;
        pipeline_tick(world->pipeline, world->api.now_ms);
        if (hour % 24 == 0)
            daily_upkeep_step(upkeep_daily(world->upkeep), world->pipeline, world->api.now_ms);
        ck_assert_int_eq(pipeline_settle(world->pipeline, world->api.now_ms), STORE_OK);
    }
}

/* Every null of an object has a why beside it, and no number is anything but finite. */
static void check_whys(const json_t *json, const char *path) {
    const char *key;
    json_t *value;
    size_t i;
    char inner[300];
    ck_assert(!json_is_real(json) || isfinite(json_real_value(json)));
    json_object_foreach((json_t *)json, key, value) {
        snprintf(inner, sizeof inner, "%s.%s", path, key);
        bool number = strcmp(key, "mean") == 0 || strcmp(key, "value") == 0 ||
                      strcmp(key, "per_year") == 0 || strcmp(key, "speed_ratio") == 0 ||
                      strcmp(key, "resistance_ratio") == 0 || strcmp(key, "date") == 0 ||
                      strcmp(key, "standard_uncertainty") == 0 ||
                      strcmp(key, "probability_above_action") == 0;
        if (number && json_is_null(value))
            ck_assert_msg(json_is_string(json_object_get(json, "why")), "%s is null without why",
                          inner);
        check_whys(value, inner);
    }
    json_array_foreach((json_t *)json, i, value) {
        snprintf(inner, sizeof inner, "%s[%zu]", path, i);
        check_whys(value, inner);
    }
}

static json_t *show(struct world *world, size_t system) {
    json_t *json = api_show(&world->api, system);
    ck_assert_ptr_nonnull(json);
    check_whys(json, "show");
    char *text = json_dumps(json, 0); /* refuses what is no JSON */
    ck_assert_ptr_nonnull(text);
    free(text);
    return json;
}

static json_t *point_of(const json_t *json, const char *id) {
    json_t *point;
    size_t i;
    json_array_foreach(json_object_get(json, "points"), i, point) {
        if (strcmp(json_string_value(json_object_get(point, "id")), id) == 0)
            return point;
    }
    ck_abort_msg("no point %s", id);
    return NULL;
}

static double number(const json_t *json, const char *object, const char *key) {
    const json_t *value = json_object_get(object ? json_object_get(json, object) : json, key);
    ck_assert_msg(json_is_number(value), "%s.%s is no number", object ? object : "", key);
    return json_number_value(value);
}

START_TEST(a_system_without_anything_is_shown_with_whys) {
    struct world world;
    open_world(&world);
    json_t *json = show(&world, 1);
    const json_t *point = point_of(json, "suction");
    ck_assert_uint_eq(json_array_size(json_object_get(point, "averages")), 6);
    ck_assert(json_is_null(json_object_get(json_object_get(point, "last"), "value")));
    ck_assert_str_eq(json_string_value(json_object_get(json_object_get(point, "trend"), "why")),
                     "a trend needs at least 30 daily values");
    ck_assert_ptr_nonnull(strstr(
        json_string_value(json_object_get(json_object_get(json, "fan"), "why")), "suction alone"));
    ck_assert_uint_eq(json_array_size(json_object_get(json, "alarms")), 0);
    ck_assert_uint_eq(json_array_size(json_object_get(json, "visits")), 0);
    ck_assert(json_is_null(json_object_get(json, "last_visit")));
    json_decref(json);
    close_world(&world);
}
END_TEST

START_TEST(a_healthy_system_is_shown_with_its_numbers) {
    struct world world;
    open_world(&world);
    commission(&world, record);
    feed(&world, 0, 40, 0.0);
    json_t *json = show(&world, 0);
    ck_assert_str_eq(json_string_value(json_object_get(json, "status")), "in spec");
    ck_assert_str_eq(json_string_value(json_object_get(json, "address")), "1 Test Way");
    const json_t *suction = point_of(json, "suction");
    ck_assert_double_eq(number(suction, "baseline", "value"), 300.0);
    ck_assert_double_lt(fabs(number(suction, "trend", "per_year")), 30.0);
    const json_t *month = json_array_get(json_object_get(point_of(json, "radon"), "averages"), 2);
    ck_assert_str_eq(json_string_value(json_object_get(month, "window")), "30 d");
    ck_assert_double_eq_tol(number(month, NULL, "mean"), 50.0, 2.0);
    ck_assert_double_ge(number(month, NULL, "coverage"), 0.99);
    ck_assert_double_le(number(month, NULL, "coverage"), 1.0);
    /* Calibration alone is 10 % of 50. */
    ck_assert_double_ge(number(month, NULL, "standard_uncertainty"), 5.0 * 0.95);
    ck_assert_double_le(number(month, NULL, "probability_above_action"), 0.01);
    /* Of a window of 91 days only 40 are covered: a mean, but no uncertainty. */
    const json_t *quarter = json_array_get(json_object_get(point_of(json, "radon"), "averages"), 3);
    ck_assert_double_eq_tol(number(quarter, NULL, "coverage"), 40.0 / 91.0, 0.01);
    ck_assert(json_is_null(json_object_get(quarter, "standard_uncertainty")));
    ck_assert_double_eq_tol(number(json, "fan", "speed_ratio"), 1.0, 0.01);
    ck_assert_double_eq_tol(number(json, "ground", "resistance_ratio"), 1.0, 0.02);
    ck_assert_double_le(number(json, "fan", "lower"), number(json, "fan", "upper"));
    ck_assert_double_eq_tol(number(point_of(json, "hole"), "coupling", "ratio"), 1.0, 0.02);
    ck_assert(json_is_null(
        json_object_get(json_object_get(point_of(json, "spare"), "coupling"), "ratio")));
    ck_assert_str_eq(json_string_value(json_object_get(
                         json_array_get(json_object_get(json, "commissioning"), 0), "by")),
                     "the installer");
    json_decref(json);
    close_world(&world);
}
END_TEST

START_TEST(a_fading_fan_is_shown_diagnosed_and_planned) {
    struct world world;
    open_world(&world);
    commission(&world, record);
    feed(&world, 0, 70, 0.003); /* 70 % on day 100 */
    json_t *json = show(&world, 0);
    const json_t *trend = json_object_get(point_of(json, "suction"), "trend");
    ck_assert_double_eq_tol(number(trend, NULL, "per_year"), -300.0 * 0.003 * 365.2425, 10.0);
    ck_assert_double_eq_tol(number(trend, "crosses", "limit"), 210.0, 1e-9);
    int64_t crosses_ms = 0;
    const char *date =
        json_string_value(json_object_get(json_object_get(trend, "crosses"), "date"));
    ck_assert(timestamp_parse(date, strlen(date), &crosses_ms));
    double day = (double)(crosses_ms - world.start_ms) / DURATION_DAY_MS;
    ck_assert_msg(fabs(day - 100.0) < 3.0, "crosses on day %.1f", day);
    ck_assert_double_eq_tol(number(json, "fan", "speed_ratio"), 0.9, 0.02);
    /* The fan is the cause: its fading stands alone, that of suction follows from it. Suction 1 - x
       is speed (1 - x)^(1/2) at least: 0.9 of it before suction is at 81 %, on day 63. */
    const json_t *slower = json_object_get(json_object_get(json, "fan"), "trend");
    ck_assert_double_lt(number(slower, NULL, "upper"), -0.3);
    ck_assert_double_eq_tol(number(slower, "crosses", "limit"), 0.9, 1e-9);
    const json_t *lately = json_object_get(json_object_get(json, "fan"), "trend_recent");
    ck_assert_double_eq(number(lately, NULL, "days"), 60.0);
    ck_assert_double_lt(number(lately, NULL, "upper"), -0.3);
    ck_assert_double_gt(
        number(json_object_get(json_object_get(json, "ground"), "trend"), NULL, "p_value"), 0.0);
    ck_assert_double_eq_tol(
        number(json_object_get(point_of(json, "hole"), "coupling"), "trend", "per_year"), 0.0,
        0.05);
    json_t *alarm = json_array_get(json_object_get(json, "alarms"), 0);
    ck_assert_str_eq(json_string_value(json_object_get(alarm, "condition")), "fan-fading");
    for (size_t i = 1; i < json_array_size(json_object_get(json, "alarms")); i++) {
        const json_t *other = json_array_get(json_object_get(json, "alarms"), i);
        ck_assert_str_eq(json_string_value(json_object_get(other, "condition")), "suction-fading");
        ck_assert_str_eq(json_string_value(json_object_get(other, "state")),
                         "suppressed by design");
    }
    json_t *diagnosis = json_object_get(alarm, "diagnosis");
    ck_assert_str_eq(json_string_value(json_object_get(diagnosis, "cause")), "fan-worn");
    ck_assert_uint_gt(json_array_size(json_object_get(diagnosis, "evidence")), 0);
    ck_assert_uint_gt(json_array_size(json_object_get(alarm, "check")), 0);
    json_t *visits = api_visits_of_system(&world.api, 0);
    ck_assert_uint_eq(json_array_size(visits), 1);
    const json_t *visit = json_array_get(visits, 0);
    ck_assert_str_eq(json_string_value(json_object_get(visit, "system")), "house");
    ck_assert_uint_gt(json_array_size(json_object_get(visit, "bring")), 0);
    ck_assert_double_eq(
        number(json_object_get(json_object_get(visit, "baseline"), "suction"), NULL, "value"),
        300.0);
    json_decref(visits);
    json_decref(json);
    close_world(&world);
}
END_TEST

START_TEST(a_date_is_listed_from_sixty_days_before_it) {
    struct world world;
    open_world(&world);
    commission(&world, record);
    int64_t due_ms = monitor_due_ms(pipeline_monitor(world.pipeline), 0, CONDITION_RETEST_DUE);
    world.api.now_ms = due_ms - 61 * DURATION_DAY_MS;
    json_t *none = api_visits_of_system(&world.api, 0);
    ck_assert_uint_eq(json_array_size(none), 0);
    world.api.now_ms = due_ms - 59 * DURATION_DAY_MS;
    json_t *visits = api_visits_of_system(&world.api, 0);
    ck_assert_uint_eq(json_array_size(visits), 1);
    const json_t *reason = json_array_get(json_object_get(json_array_get(visits, 0), "reasons"), 0);
    ck_assert_str_eq(json_string_value(json_object_get(reason, "condition")), "retest-due");
    json_decref(none);
    json_decref(visits);
    close_world(&world);
}
END_TEST

START_TEST(baselines_are_learned_from_a_good_period_only) {
    struct world world;
    open_world(&world);
    feed(&world, 0, 20, 0.0);
    json_t *json = api_learn(&world.api, 0, world.start_ms, world.start_ms + 10 * DURATION_DAY_MS,
                             "the office", world.api.now_ms);
    ck_assert_int_eq(pipeline_settle(world.pipeline, world.api.now_ms), STORE_OK);
    const json_t *points = json_object_get(json, "points");
    ck_assert_double_eq_tol(number(json_object_get(points, "suction"), NULL, "value"), 300.0, 1.0);
    ck_assert_int_eq(
        json_integer_value(json_object_get(json_object_get(points, "suction"), "days")), 10);
    ck_assert_ptr_nonnull(json_object_get(json_object_get(json, "refused"), "spare"));
    ck_assert_ptr_null(json_object_get(points, "spare"));
    const struct point_baseline *baseline = point_state_baseline(
        monitor_point(pipeline_monitor(world.pipeline), SUCTION), world.api.now_ms);
    ck_assert_ptr_nonnull(baseline);
    ck_assert(baseline->learned);
    ck_assert_int_eq(baseline->from_ms, world.start_ms);
    json_decref(json);
    /* Three days teach nothing, and nothing is kept of the try. */
    json = api_learn(&world.api, 0, world.start_ms + 15 * DURATION_DAY_MS,
                     world.start_ms + 18 * DURATION_DAY_MS, "the office", world.api.now_ms);
    ck_assert_uint_eq(json_object_size(json_object_get(json, "points")), 0);
    ck_assert_uint_eq(json_object_size(json_object_get(json, "refused")), 5);
    json_decref(json);
    json = show(&world, 0);
    ck_assert_uint_eq(json_array_size(json_object_get(json, "commissioning")), 1);
    json_decref(json);
    close_world(&world);
}
END_TEST

START_TEST(a_period_in_alarm_teaches_nothing) {
    struct world world;
    open_world(&world);
    commission(&world, "{\"points\":{\"suction\":600.0}}"); /* 300 Pa is 50 % of it */
    feed(&world, 0, 20, 0.0);
    json_t *json = api_learn(&world.api, 0, world.start_ms + 5 * DURATION_DAY_MS,
                             world.start_ms + 18 * DURATION_DAY_MS, "the office", world.api.now_ms);
    ck_assert_uint_eq(json_object_size(json_object_get(json, "points")), 0);
    const char *why =
        json_string_value(json_object_get(json_object_get(json, "refused"), "suction"));
    ck_assert_ptr_nonnull(why);
    ck_assert_ptr_nonnull(strstr(why, "suction-low"));
    json_decref(json);
    close_world(&world);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("api_show");
    tcase_set_timeout(tcase, 300);
    tcase_add_test(tcase, a_system_without_anything_is_shown_with_whys);
    tcase_add_test(tcase, a_healthy_system_is_shown_with_its_numbers);
    tcase_add_test(tcase, a_fading_fan_is_shown_diagnosed_and_planned);
    tcase_add_test(tcase, a_date_is_listed_from_sixty_days_before_it);
    tcase_add_test(tcase, baselines_are_learned_from_a_good_period_only);
    tcase_add_test(tcase, a_period_in_alarm_teaches_nothing);
    return run_test_case(tcase);
}
