/*
 * Which fan stood where at what time, and what that does to the speed that is judged.
 */
#include "judged_house.h"
#include "monitor/system_assessment.h"
#include "settings/change_words.h"

static const int64_t first_day = 20363; /* 2025-10-02 */

static struct equipment fan_of(char *model, char *serial, int64_t installed_day) {
    static char branch[] = "main";
    return (struct equipment){.branch = branch,
                              .model = model,
                              .serial = serial,
                              .installed_day = installed_day,
                              .warranty_until_day = TIMESTAMP_NONE};
}

START_TEST(the_one_in_force_is_the_last_before) {
    struct fitted_fans fans = {0};
    char a[] = "a", b[] = "b", c[] = "c";
    const struct equipment first = fan_of(a, NULL, TIMESTAMP_NONE);
    const struct equipment second = fan_of(b, NULL, TIMESTAMP_NONE);
    const struct equipment again = fan_of(c, NULL, TIMESTAMP_NONE);
    ck_assert(fitted_fans_add(&fans, 2000, &second));
    ck_assert(fitted_fans_add(&fans, 1000, &first)); /* a record of the past, written later */
    ck_assert_ptr_null(fitted_fans_at(&fans, 999));
    ck_assert_str_eq(fitted_fans_at(&fans, 1000)->model, "a");
    ck_assert_str_eq(fitted_fans_at(&fans, 1999)->model, "a");
    ck_assert_str_eq(fitted_fans_at(&fans, 2000)->model, "b");
    ck_assert(fitted_fans_add(&fans, 2000, &again)); /* of one instant the later record counts */
    ck_assert_uint_eq(fans.count, 2);
    ck_assert_str_eq(fitted_fans_at(&fans, 5000)->model, "c");
    fitted_fans_clear(&fans);
}
END_TEST

static const struct {
    char file_model[4], model[4], serial[4];
    int64_t file_day, day;
    bool replaced;
} replacements[] = {
    {"a", "a", "", TIMESTAMP_NONE, TIMESTAMP_NONE, false}, /* named again */
    {"a", "b", "", TIMESTAMP_NONE, TIMESTAMP_NONE, true},
    {"", "b", "", TIMESTAMP_NONE, TIMESTAMP_NONE, false}, /* nobody knows what stood there */
    {"", "b", "", TIMESTAMP_NONE, 20400, true},           /* but it was put in that day */
    {"a", "a", "2", 20300, 20400, true},                  /* the same model, a new one */
    {"a", "a", "2", 20300, 20300, false},                 /* only its serial is on record now */
};

START_TEST(a_fan_named_again_is_not_replaced) { /* _i is the row */
    char file_model[4], model[4], serial[4];
    memcpy(file_model, replacements[_i].file_model, sizeof file_model);
    memcpy(model, replacements[_i].model, sizeof model);
    memcpy(serial, replacements[_i].serial, sizeof serial);
    const struct fan_description file = {.model = *file_model ? file_model : NULL,
                                         .installed_day = replacements[_i].file_day};
    const struct equipment fan = fan_of(model, *serial ? serial : NULL, replacements[_i].day);
    struct fitted_fans fans = {0};
    ck_assert(fitted_fans_add(&fans, 1000, &fan));
    ck_assert(fitted_fans_replaced(&fans, &file, 0, 1000) == replacements[_i].replaced);
    ck_assert(!fitted_fans_replaced(&fans, &file, 0, 999));
    ck_assert(!fitted_fans_replaced(&fans, &file, 1000, 2000)); /* it was measured since */
    fitted_fans_clear(&fans);
}
END_TEST

/* A fan of another curve after day 20: what was judged before is judged as before, by the old
   curve; afterwards the speed is no claim until it has been measured, and then it is that of the
   new. */

static const char house_text[] =
    "id: house\n"
    "fan: {curve: [[0 L/s, 500 Pa], [20 L/s, 420 Pa], [40 L/s, 180 Pa], [48 L/s, 38 Pa]]}\n"
    "points:\n"
    "  - {id: suction, quantity: suction, unit: Pa, every: 1 h}\n"
    "  - {id: flow, quantity: airflow, unit: L/s, every: 1 h}\n";

static double air_of(void *context, size_t point, double day) {
    (void)context;
    double speed = day < 10.0 ? 1.0 : day < 20.0 ? 0.9 : 1.2;
    double hourly = 1.0 + 0.002 * sin(50.0 * day + (double)point);
    return (point == 0 ? 300.0 * speed * speed : 0.0316 * speed) * hourly;
}

static struct system_fan fan_on(const struct judged_house *house, double day) {
    const struct system_points points = system_points_of(monitor_fleet(house->monitor), 0, 0);
    struct system_assessment assessment;
    system_assessment_make(house->monitor, &house->history, &points,
                           house->start_ms + (int64_t)(day * DURATION_DAY_MS), &assessment);
    return assessment.fan;
}

static void measure(const struct judged_house *house, int64_t from_ms, double suction,
                    double flow) {
    ck_assert(monitor_load_baseline(house->monitor, 0, from_ms, suction, "x", false));
    ck_assert(monitor_load_baseline(house->monitor, 1, from_ms, flow, "x", false));
}

static struct judged_house with_a_model(void) {
    static const char curve[] = "id: big\ncurve: [[0 L/s, 900 Pa], [60 L/s, 50 Pa]]\n";
    struct judged_house house;
    struct settings_errors errors = {0};
    judged_house_open(&house, house_text, first_day);
    struct fan_models *models = &house.fleet->settings->fans;
    models->models = calloc(1, sizeof(struct fan_model *));
    models->models[models->count++] = fan_model_parse("f", curve, strlen(curve), &errors);
    ck_assert_uint_eq(errors.count, 0);
    measure(&house, house.start_ms, 300.0, 0.0316);
    judged_house_live(&house, 30.0, air_of, NULL);
    return house;
}

START_TEST(another_fan_does_not_rewrite_what_was) {
    struct judged_house house = with_a_model();
    char model[] = "big";
    const struct equipment big = fan_of(model, NULL, first_day + 20);
    const struct system_fan before = fan_on(&house, 19.0), mixed = fan_on(&house, 29.0);
    ck_assert(before.known && mixed.known);
    ck_assert_double_eq_tol(before.speed.ratio, 0.9, 0.005);
    ck_assert(monitor_load_fan(house.monitor, 0, house.start_ms + 20 * DURATION_DAY_MS, &big));
    const struct system_fan still = fan_on(&house, 19.0), after = fan_on(&house, 29.0);
    ck_assert(still.known && !after.known);
    ck_assert_double_eq(still.speed.ratio, before.speed.ratio);
    ck_assert_int_eq(still.speed.method, FAN_METHOD_CURVE);
    ck_assert_ptr_nonnull(strstr(after.why, "was replaced"));
    measure(&house, house.start_ms + 21 * DURATION_DAY_MS, 432.0, 0.03792);
    const struct system_fan measured = fan_on(&house, 29.0);
    ck_assert(measured.known);
    ck_assert_int_eq(measured.speed.method, FAN_METHOD_CURVE);
    ck_assert_double_eq_tol(measured.speed.ratio, 1.0, 0.005);
    ck_assert_double_eq(fan_on(&house, 19.0).speed.ratio, before.speed.ratio);
    judged_house_close(&house);
}
END_TEST

/* A record that says only that the fan was changed. */
START_TEST(a_changed_fan_is_another_one) {
    struct judged_house house = with_a_model();
    ck_assert(monitor_load_renewal(house.monitor, 0, house.start_ms + 15 * DURATION_DAY_MS,
                                   CHANGE_GROUND | CHANGE_GAUGE));
    ck_assert(fan_on(&house, 29.0).known);
    ck_assert(
        monitor_load_renewal(house.monitor, 0, house.start_ms + 20 * DURATION_DAY_MS, CHANGE_FAN));
    ck_assert(fan_on(&house, 19.0).known && !fan_on(&house, 29.0).known);
    measure(&house, house.start_ms + 21 * DURATION_DAY_MS, 432.0, 0.03792);
    ck_assert_double_eq_tol(fan_on(&house, 29.0).speed.ratio, 1.0, 0.005);
    judged_house_close(&house);
}
END_TEST

START_TEST(the_curve_is_that_of_the_time) {
    struct judged_house house = with_a_model();
    char model[] = "big", unknown[] = "nowhere";
    const struct equipment big = fan_of(model, NULL, TIMESTAMP_NONE);
    const struct equipment other = fan_of(unknown, NULL, TIMESTAMP_NONE);
    const struct system_points points = system_points_of(house.fleet, 0, 0);
    struct fan_curve curve;
    ck_assert(monitor_load_fan(house.monitor, 0, house.start_ms + 1000, &big));
    ck_assert(monitor_load_fan(house.monitor, 0, house.start_ms + 2000, &other));
    ck_assert(system_assessment_curve(house.monitor, &points, house.start_ms, &curve));
    ck_assert_uint_eq(curve.count, 4);
    ck_assert(system_assessment_curve(house.monitor, &points, house.start_ms + 1000, &curve));
    ck_assert_uint_eq(curve.count, 2);
    ck_assert(!system_assessment_curve(house.monitor, &points, house.start_ms + 2000, &curve));
    judged_house_close(&house);
}
END_TEST

int main(void) {
    TCase *fans = tcase_create("fitted_fans");
    tcase_add_test(fans, the_one_in_force_is_the_last_before);
    tcase_add_loop_test(fans, a_fan_named_again_is_not_replaced, 0,
                        sizeof replacements / sizeof replacements[0]);
    tcase_add_test(fans, another_fan_does_not_rewrite_what_was);
    tcase_add_test(fans, the_curve_is_that_of_the_time);
    tcase_add_test(fans, a_changed_fan_is_another_one);
    return run_test_case(fans);
}
