/*
 * average and control_chart against JCGM 100:2008, the NIST/SEMATECH e-Handbook of Statistical
 * Methods and worked sums. Handbook figures are printed to two decimals.
 */
#include "analysis/average.h"
#include "analysis/control_chart.h"
#include "published_charts.h"
#include "test_support.h"

#include <math.h>

#define MINUTE INT64_C(60000)

/* Definition: t = 0, 10, 25, 30, 60 min; values 4, 6, 5, 7 each held to the next time; 6.083333
 * (plain mean 5.5). In this program's terms a reading ends its span: 4 at 10 min and so on. */
START_TEST(held_values_with_unequal_steps) {
    const struct average_reading readings[] = {
        {10 * MINUTE, 4.0}, {25 * MINUTE, 6.0}, {30 * MINUTE, 5.0}, {60 * MINUTE, 7.0}};
    struct average_bucket sum;
    ck_assert_int_eq(average_readings(readings, 4, 60 * MINUTE, 0, 60 * MINUTE, &sum), AVERAGE_OK);
    ck_assert_int_eq(sum.covered_ms, 60 * MINUTE);
    ck_assert_double_eq_tol(sum.value_ms / (double)sum.covered_ms, 6.083333, 1e-6);
}
END_TEST

/* Definition: 100, 200, 100 (3 h) held over 5 h: mean 120. */
START_TEST(held_values_over_hours) {
    const struct average_reading readings[] = {
        {60 * MINUTE, 100.0}, {120 * MINUTE, 200.0}, {300 * MINUTE, 100.0}};
    struct average_bucket sum;
    ck_assert_int_eq(average_readings(readings, 3, 180 * MINUTE, 0, 300 * MINUTE, &sum),
                     AVERAGE_OK);
    ck_assert_double_eq(sum.value_ms / (double)sum.covered_ms, 120.0);
}
END_TEST

/*
 * JCGM 100:2008, 5.1.2 and G.4.1 on an average: days of standard error 3, calibration of 4 units:
 * combined 5, degrees of freedom 5^4 / (3^4 / (n - 1)).
 */
START_TEST(combined_uncertainty_and_its_degrees_of_freedom) {
    enum { days = 16 };
    struct average_bucket day[days];
    /* +- pairs so that r1 is negative (independent days are taken) and sd = 12 */
    double size = 12.0 * sqrt(15.0 / 16.0);
    for (int64_t i = 0; i < days; i++) {
        double value = 40.0 + (i % 2 ? size : -size);
        day[i] = (struct average_bucket){i * AVERAGE_DAY_MS, (i + 1) * AVERAGE_DAY_MS,
                                         value * (double)AVERAGE_DAY_MS, AVERAGE_DAY_MS};
    }
    struct average_bucket sum;
    struct average average;
    const struct average_settings settings = {0.10, 0.0, 45.0, 0.75};
    ck_assert_int_eq(average_sum(day, days, 0, days * AVERAGE_DAY_MS, &sum), AVERAGE_OK);
    ck_assert_int_eq(average_assess(&sum, 0, days * AVERAGE_DAY_MS, day, days, &settings, &average),
                     AVERAGE_OK);
    ck_assert(average.has_uncertainty);
    ck_assert_double_eq_tol(average.random_uncertainty, 3.0, 1e-12);
    ck_assert_double_eq_tol(average.calibration_uncertainty, 4.0, 1e-12);
    ck_assert_double_eq_tol(average.standard_uncertainty, 5.0, 1e-12);
    ck_assert_double_eq_tol(average.degrees_of_freedom, 625.0 / (81.0 / 15.0), 1e-9);
    /* P(T <= -1) with 115.74 degrees of freedom: scipy 1.10.1 t.cdf, 0.15969831 */
    ck_assert_double_eq_tol(average.probability_at_or_above, 0.15969831, 1e-7);
}
END_TEST

/* e-Handbook 6.3.2.4: weight 0.3, centre 50, s = 2.0539, k = 3. */
START_TEST(ewma_chart_of_the_handbook) {
    const double expected[] = {50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75,
                               49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
                               49.38, 49.92, 50.73, 51.23, 51.94, 51.99};
    const struct {
        size_t i;
        double upper;
    } start_up[] = {{1, 51.84851}, {2, 52.25639}, {3, 52.43141}, {5, 52.55161}, {10, 52.58740}};
    struct control_chart_ewma points[20];
    ck_assert_int_eq(
        control_chart_ewma(published_handbook_ewma, 20, 50.0, 2.0539, 0.3, 3.0, true, points),
        CONTROL_CHART_OK);
    for (size_t i = 0; i < 20; i++) {
        ck_assert_double_eq_tol(points[i].value, expected[i], 0.0051);
        ck_assert_double_eq_tol(points[i].upper, 52.588432, 1e-6);
        ck_assert_double_eq_tol(points[i].lower, 47.411568, 1e-6);
        ck_assert(points[i].value < points[i].upper && points[i].value > points[i].lower);
    }
    ck_assert_double_eq_tol(points[19].value, 51.988243, 1e-6);
    ck_assert_int_eq(
        control_chart_ewma(published_handbook_ewma, 20, 50.0, 2.0539, 0.3, 3.0, false, points),
        CONTROL_CHART_OK);
    for (size_t k = 0; k < sizeof(start_up) / sizeof(start_up[0]); k++)
        ck_assert_double_eq_tol(points[start_up[k].i - 1].upper, start_up[k].upper, 1e-5);
}
END_TEST

/* e-Handbook 6.3.2.3: target 325, k = 0.3175, h = 4.1959; first signal at the 14th value. */
START_TEST(cusum_chart_of_the_handbook) {
    const double upper[] = {0, 0, 0,      0,    0.03,   0,     0,       0,      0,       0,
                            0, 0, 3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035};
    const double lower[] = {0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31};
    struct control_chart_cusum points[20];
    size_t first = 0;
    ck_assert_int_eq(
        control_chart_cusum(published_handbook_cusum, 20, 325.0, 0.3175, 4.1959, points, &first),
        CONTROL_CHART_OK);
    for (size_t i = 0; i < 20; i++) {
        ck_assert_double_eq_tol(points[i].upper, upper[i], 0.006);
        ck_assert_double_eq_tol(points[i].lower, i < 11 ? lower[i] : 0.0, 0.006);
    }
    ck_assert_uint_eq(first, 13);
}
END_TEST

int main(void) {
    TCase *t = tcase_create("average and chart reference");
    tcase_add_test(t, held_values_with_unequal_steps);
    tcase_add_test(t, held_values_over_hours);
    tcase_add_test(t, combined_uncertainty_and_its_degrees_of_freedom);
    tcase_add_test(t, ewma_chart_of_the_handbook);
    tcase_add_test(t, cusum_chart_of_the_handbook);
    return run_test_case(t);
}
