/*
 * What is shown beside each other: a learned baseline, the week, the day of a limit, an alarm, from
 * readings through the real pipeline and store.
 */
#include "show_bench.h"

START_TEST(baselines_are_learned_from_a_good_period_only) {
    struct show_bench world;
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
    struct show_bench world;
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

/* What a page writes, until the next call. */
static struct page_view view_of(struct show_bench *world) {
    return (struct page_view){.api = &world->api, .units = UNIT_SYSTEM_US};
}

static const char *written(struct page_view *view) {
    static char *text;
    free(text);
    text = text_buffer_take(&view->html.text);
    ck_assert_ptr_nonnull(text);
    return text;
}

/* Two days after a joint came off the median of a week is still what it was: the window is named,
   and the last day stands beside it. And what is past its limit will not reach it one day. */
START_TEST(a_leak_of_these_days_stands_beside_the_week) {
    struct show_bench world;
    open_world(&world);
    commission(&world, record);
    feed(&world, 0, 40, 0.0);
    feed_air(&world, 40, 42, 0.0, (struct air_left){0.5, 1.5});
    json_t *json = show(&world, 0);
    const json_t *ground = json_object_get(json, "ground");
    ck_assert_double_gt(number(ground, NULL, "resistance_ratio"), 0.9);
    ck_assert_double_lt(number(ground, "last_24_h", "resistance_ratio"), 0.4);
    const json_t *crosses =
        json_object_get(json_object_get(point_of(json, "suction"), "trend"), "crosses");
    ck_assert_str_eq(json_string_value(json_object_get(crosses, "why")), "past its limit now");
    ck_assert(json_is_null(json_object_get(crosses, "date")));
    json_decref(json);
    struct system_facts *facts = system_facts_make(&world.api, 0);
    struct page_view view = view_of(&world);
    page_fan_and_ground(&view, 0, facts);
    const char *text = written(&view);
    ck_assert_msg(strstr(text, "of commissioning over 7 days, 95 % sure between "), "%s", text);
    ck_assert_msg(strstr(text, " % over the last 24 h"), "%s", text);
    ck_assert_msg(!strstr(text, "over 99 %") && !strstr(text, "under 1 %"), "%s", text);
    free(facts);
    close_world(&world);
}
END_TEST

/* 02:00 UTC is still the evening before in Denver. */
START_TEST(the_day_of_a_limit_is_that_of_the_house) {
    struct show_bench world;
    open_world(&world);
    struct point_facts facts = {.read = true, .zone = world.fleet->systems[0].zone};
    facts.assessment.changed_ms = TIMESTAMP_NONE;
    facts.assessment.trend = (struct assessment_trend){
        .known = true,
        .trend = {.per_year = -50.0, .lower = -60.0, .upper = -40.0, .p_value = 0.001},
        .has_limit = true,
        .crossing_status = TREND_CROSSES,
        .crossing = {.limit = 210.0},
        .date_ms = INT64_C(1786068000000), /* 2026-08-07T02:00:00Z */
        .earliest_ms = TIMESTAMP_NONE,
        .latest_ms = TIMESTAMP_NONE};
    struct page_view view = view_of(&world);
    page_trend_sentence(&view, &facts, DIMENSION_PRESSURE);
    const char *text = written(&view);
    ck_assert_msg(strstr(text, "the limit is reached on <time"), "%s", text);
    ck_assert_msg(strstr(text, ">2026-08-06</time> ("), "%s", text);
    facts.assessment.changed_ms = INT64_C(1786068000000);
    facts.assessment.level_before = 274.0;
    facts.assessment.level_after = 137.0;
    page_trend_sentence(&view, &facts, DIMENSION_PRESSURE);
    text = written(&view);
    ck_assert_msg(strstr(text, ">2026-08-06</time> its level changed from "
                               "<span class=\"value\">1.1 inH2O</span> to "
                               "<span class=\"value\">0.55 inH2O</span>"),
                  "%s", text);
    close_world(&world);
}
END_TEST

/* What a sensor read before is no limit of it; and a field is in Pa whatever the fleet's units. */
START_TEST(an_alarm_on_the_page_compares_like_with_like) {
    static const struct {
        enum condition condition;
        size_t point;
        double value, setpoint;
        const char *says;
    } rows[] = {
        {CONDITION_SENSOR_IMPLAUSIBLE, SUCTION, 2.7, 274.0,
         "0.011 inH2O; the reading before was 1.1 inH2O"},
        {CONDITION_SUCTION_LOW, SUCTION, 137.0, 192.0, "0.55 inH2O against a limit of 0.771 inH2O"},
        {CONDITION_FIELD_WEAK, HOLE, 2.3, 3.0, "2.3 Pa against a limit of 3 Pa"}};
    struct show_bench world;
    open_world(&world);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct alarm alarm = {.id = 7,
                                    .system = 0,
                                    .point = rows[i].point,
                                    .condition = rows[i].condition,
                                    .since_ms = world.start_ms,
                                    .raised_ms = world.start_ms,
                                    .returned_ms = TIMESTAMP_NONE,
                                    .acknowledged.time_ms = TIMESTAMP_NONE,
                                    .shelved.until_ms = TIMESTAMP_NONE,
                                    .value = rows[i].value,
                                    .setpoint = rows[i].setpoint,
                                    .baseline = (double)NAN};
        struct page_view view = view_of(&world);
        page_alarm_item(&view, &alarm, 0);
        const char *text = written(&view);
        char plain[8000];
        size_t used = 0;
        bool tag = false;
        for (const char *at = text; *at && used + 1 < sizeof plain; at++) {
            tag = *at == '<' || (tag && *at != '>');
            if (!tag && *at != '>')
                plain[used++] = *at;
        }
        plain[used] = '\0';
        ck_assert_msg(strstr(plain, rows[i].says), "no \"%s\" in: %s", rows[i].says, plain);
    }
    close_world(&world);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("api_show");
    tcase_set_timeout(tcase, 300);
    tcase_add_test(tcase, baselines_are_learned_from_a_good_period_only);
    tcase_add_test(tcase, a_period_in_alarm_teaches_nothing);
    tcase_add_test(tcase, a_leak_of_these_days_stands_beside_the_week);
    tcase_add_test(tcase, the_day_of_a_limit_is_that_of_the_house);
    tcase_add_test(tcase, an_alarm_on_the_page_compares_like_with_like);
    return run_test_case(tcase);
}
