/* baseline: what teaches, and every refusal with its sentence. */
#include "analysis/baseline.h"
#include "test_support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define DAY_MS INT64_C(86400000)

static struct baseline_day days[400];

static void steady(struct test_random *random, size_t n, double r) {
    double value = test_random_normal(random);
    for (size_t i = 0; i < n; i++) {
        value = r * value + sqrt(1.0 - r * r) * test_random_normal(random);
        days[i] = (struct baseline_day){20000.0 + (double)i, 270.0 + 5.0 * value, DAY_MS};
    }
}

static enum baseline_status learn(size_t n, int64_t period_days, struct baseline *baseline) {
    return baseline_learn(days, n, 0, period_days * DAY_MS, NULL, baseline);
}

START_TEST(a_steady_period_teaches_its_median) {
    struct baseline baseline;
    const double values[] = {270, 268, 275, 271, 269, 900, 272}; /* one day of work on the system */
    for (size_t i = 0; i < 7; i++)
        days[i] = (struct baseline_day){(double)i, values[i], DAY_MS * 9 / 10};
    ck_assert_int_eq(learn(7, 7, &baseline), BASELINE_OK);
    ck_assert_double_eq(baseline.value, 271.0);
    ck_assert_double_eq_tol(baseline.coverage, 0.9, 1e-12);
    ck_assert_double_eq_tol(baseline.spread, 2.0 * 1.482602218505602, 1e-12);
    ck_assert_uint_eq(baseline.days, 7);
}
END_TEST

START_TEST(refusals_say_why) {
    struct test_random random = {test_seed()};
    struct baseline baseline = {.value = -1.0};
    steady(&random, 10, 0.0);
    ck_assert_int_eq(learn(6, 6, &baseline), BASELINE_TOO_SHORT);
    ck_assert_int_eq(learn(10, 14, &baseline), BASELINE_TOO_FEW);
    ck_assert_int_eq(learn(10, 9, &baseline), BASELINE_OUT_OF_ORDER);
    ck_assert_int_eq(learn(10, 0, &baseline), BASELINE_TOO_SHORT);
    ck_assert_int_eq(baseline_learn(days, 10, INT64_MIN, INT64_MAX, NULL, &baseline),
                     BASELINE_OUT_OF_ORDER);
    days[4].median = NAN;
    ck_assert_int_eq(learn(10, 10, &baseline), BASELINE_NOT_FINITE);
    days[4].median = 270.0;
    days[4].day = days[3].day;
    ck_assert_int_eq(learn(10, 10, &baseline), BASELINE_OUT_OF_ORDER);
    for (size_t i = 0; i < 10; i++)
        days[i] = (struct baseline_day){(double)i, 0.0, DAY_MS};
    ck_assert_int_eq(learn(10, 10, &baseline), BASELINE_NO_LEVEL);
    ck_assert_double_eq(baseline.value, -1.0);
    for (int status = BASELINE_OK; status <= BASELINE_NO_MEMORY; status++)
        ck_assert_uint_gt(strlen(baseline_why((enum baseline_status)status)), 3);
}
END_TEST

START_TEST(a_fading_system_is_no_yardstick) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    struct baseline baseline;
    const size_t lengths[] = {8, 14, 30, 60};
    size_t n = lengths[_i];
    steady(&random, n, 0.0);
    for (size_t i = 0; i < n; i++)
        days[i].median -= 90.0 * (double)i / (double)n;
    ck_assert_int_eq(learn(n, (int64_t)n, &baseline), BASELINE_NOT_STABLE);
    for (size_t i = 0; i < n; i++) /* sure but small: 3 % over the period is accepted */
        days[i].median = 270.0 - 8.0 * (double)i / (double)n;
    ck_assert_int_eq(learn(n, (int64_t)n, &baseline), BASELINE_OK);
    ck_assert_double_lt(baseline.p_value, 0.01);
    ck_assert_double_eq_tol(baseline.drift_share, -0.03, 0.01);
}
END_TEST

START_TEST(
    steady_periods_are_hardly_ever_refused) { /* also when days follow each other, r1 = 0.5 */
    struct test_random random = {test_seed()};
    int refused = 0;
    const int runs = 1000;
    for (int run = 0; run < runs; run++) {
        struct baseline baseline;
        size_t n = 7 + (size_t)(test_random_unit(&random) * 40.0);
        steady(&random, n, run % 2 ? 0.5 : 0.0);
        refused += learn(n, (int64_t)n, &baseline) != BASELINE_OK;
    }
    printf("steady periods refused: %d of %d\n", refused, runs);
    ck_assert_int_le(refused, 5);
}
END_TEST

START_TEST(a_negative_level_is_a_level) { /* the field of a hole, signed */
    struct baseline baseline;
    for (size_t i = 0; i < 8; i++)
        days[i] = (struct baseline_day){(double)i, -6.0 - 0.01 * (double)(i * 5 % 7), DAY_MS};
    ck_assert_int_eq(learn(8, 8, &baseline), BASELINE_OK);
    ck_assert_double_lt(baseline.value, -5.9);
}
END_TEST

int main(void) {
    TCase *t = tcase_create("baseline");
    tcase_add_test(t, a_steady_period_teaches_its_median);
    tcase_add_test(t, refusals_say_why);
    tcase_add_loop_test(t, a_fading_system_is_no_yardstick, 0, 4);
    tcase_add_test(t, steady_periods_are_hardly_ever_refused);
    tcase_add_test(t, a_negative_level_is_a_level);
    test_seed();
    return run_test_case(t);
}
