/*
 * show, visits and learned baselines, from readings through the real pipeline and store.
 */
#include "show_bench.h"

START_TEST(a_system_without_anything_is_shown_with_whys) {
    struct show_bench world;
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
    struct show_bench world;
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
    /* Of a year 40 days say less than of themselves: 50 Bq/m3, in an interval wider than 20 %. */
    const json_t *year = json_object_get(point_of(json, "radon"), "year");
    ck_assert_double_eq_tol(number(year, NULL, "mean"), 50.0, 2.0);
    ck_assert_double_lt(number(year, NULL, "lower"), 30.0);
    ck_assert_double_gt(number(year, NULL, "upper"), 70.0);
    ck_assert_double_le(number(year, NULL, "probability_above_action"), 0.05);
    ck_assert_int_le(json_integer_value(json_object_get(year, "quarters_covered")), 1);
    ck_assert_str_eq(json_string_value(json_object_get(year, "basis")), "since the commissioning");
    ck_assert_ptr_null(json_object_get(point_of(json, "suction"), "year"));
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

static void take(struct show_bench *world, size_t point, int64_t hour, double value) {
    const struct reading reading = {world->start_ms + hour * DURATION_HOUR_MS, value};
    ck_assert_int_eq(
        pipeline_take(world->pipeline, point, &reading, SERIES_FROM_SENSOR, reading.time_ms),
        PIPELINE_NEW);
}

/* Two monitors of one house: both stand in the list, the higher one first, and no mean of both. */
START_TEST(several_radon_monitors_are_all_listed) {
    struct show_bench world;
    open_world(&world);
    for (int64_t hour = 0; hour < 48; hour++) {
        take(&world, 6, hour, 40.0);
        take(&world, 7, hour, 120.0);
    }
    world.api.now_ms = world.start_ms + 47 * DURATION_HOUR_MS + 1;
    pipeline_tick(world.pipeline, world.api.now_ms);
    ck_assert_int_eq(pipeline_settle(world.pipeline, world.api.now_ms), STORE_OK);
    const struct system_line line = api_system_line(&world.api, 1);
    ck_assert_uint_eq(line.radon_count, 2);
    ck_assert_uint_eq(line.radons[0].point, 7);
    ck_assert_double_eq_tol(line.radons[0].mean_bq_m3, 120.0, 1e-9);
    ck_assert_uint_eq(line.radons[1].point, 6);
    ck_assert_double_eq_tol(line.radons[1].mean_bq_m3, 40.0, 1e-9);
    const struct system_line one = api_system_line(&world.api, 0);
    ck_assert_uint_eq(one.radon_count, 1);
    ck_assert_str_eq(one.radons[0].why, "no reading in the window");
    close_world(&world);
}
END_TEST

START_TEST(what_is_read_by_hand_is_due_and_has_no_mean) {
    struct show_bench world;
    open_world(&world);
    take(&world, 8, 0, 249.0);
    world.api.now_ms = world.start_ms + 100 * DURATION_DAY_MS;
    pipeline_tick(world.pipeline, world.api.now_ms);
    ck_assert_int_eq(pipeline_settle(world.pipeline, world.api.now_ms), STORE_OK);
    json_t *json = show(&world, 1), *sensor = point_of(json, "suction");
    const json_t *point = point_of(json, "tube");
    char due[40];
    timestamp_format(due, sizeof due, world.start_ms + 183 * DURATION_DAY_MS);
    ck_assert_str_eq(json_string_value(json_object_get(point, "read_by")), "hand");
    ck_assert_str_eq(json_string_value(json_object_get(point, "due")), due);
    ck_assert_ptr_null(json_object_get(sensor, "due"));
    for (size_t w = 0; w < 6; w++) {
        const json_t *average = json_array_get(json_object_get(point, "averages"), w);
        ck_assert(json_is_null(json_object_get(average, "mean")));
    }
    const char *why = json_string_value(
        json_object_get(json_array_get(json_object_get(point, "averages"), 0), "why"));
    ck_assert(strncmp(why, "read by hand", 12) == 0);
    ck_assert_str_eq(json_string_value(json_object_get(json, "status")), "in spec");
    json_decref(json);
    close_world(&world);
}
END_TEST

START_TEST(a_fading_fan_is_shown_diagnosed_and_planned) {
    struct show_bench world;
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
    /* Of suction and flow alone the same is seen when the discharge slowly closes. */
    const char *cause = json_string_value(json_object_get(diagnosis, "cause"));
    ck_assert_msg(strncmp(cause, "fan-worn", strlen("fan-worn")) == 0, "%s", cause);
    ck_assert_uint_gt(json_array_size(json_object_get(diagnosis, "evidence")), 0);
    ck_assert_uint_gt(json_array_size(json_object_get(alarm, "check")), 0);
    json_t *visits = api_visits_of_system(&world.api, 0, WORDING_ENGLISH);
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
    struct show_bench world;
    open_world(&world);
    commission(&world, record);
    int64_t due_ms = monitor_due_ms(pipeline_monitor(world.pipeline), 0, CONDITION_RETEST_DUE);
    world.api.now_ms = due_ms - 61 * DURATION_DAY_MS;
    json_t *none = api_visits_of_system(&world.api, 0, WORDING_ENGLISH);
    ck_assert_uint_eq(json_array_size(none), 0);
    world.api.now_ms = due_ms - 59 * DURATION_DAY_MS;
    json_t *visits = api_visits_of_system(&world.api, 0, WORDING_ENGLISH);
    ck_assert_uint_eq(json_array_size(visits), 1);
    const json_t *reason = json_array_get(json_object_get(json_array_get(visits, 0), "reasons"), 0);
    ck_assert_str_eq(json_string_value(json_object_get(reason, "condition")), "retest-due");
    json_decref(none);
    json_decref(visits);
    close_world(&world);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("api_show");
    tcase_set_timeout(tcase, 300);
    tcase_add_test(tcase, a_system_without_anything_is_shown_with_whys);
    tcase_add_test(tcase, a_healthy_system_is_shown_with_its_numbers);
    tcase_add_test(tcase, several_radon_monitors_are_all_listed);
    tcase_add_test(tcase, what_is_read_by_hand_is_due_and_has_no_mean);
    tcase_add_test(tcase, a_fading_fan_is_shown_diagnosed_and_planned);
    tcase_add_test(tcase, a_date_is_listed_from_sixty_days_before_it);
    return run_test_case(tcase);
}
