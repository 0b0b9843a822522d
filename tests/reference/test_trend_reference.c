/*
 * theil_sen, mann_kendall, seasonal_kendall, changepoint and ranks against published worked
 * examples and independent software; each row names its source.
 */
#include "analysis/changepoint.h"
#include "analysis/mann_kendall.h"
#include "analysis/seasonal_kendall.h"
#include "analysis/statistics.h"
#include "analysis/theil_sen.h"
#include "analysis/trend_few.h"
#include "published_trends.h"
#include "test_support.h"

#include <math.h>

static double index_of[400];

static void fill_index(void) {
    for (size_t i = 0; i < 400; i++)
        index_of[i] = (double)i;
}

/* College of the Holy Cross, "A Mann-Kendall Example (By Hand)": S and Z; the rest scipy 1.10.1. */
START_TEST(example_by_hand) {
    const double y[] = {12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9,
                        11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7};
    struct mann_kendall test;
    struct theil_sen line;
    ck_assert_int_eq(mann_kendall_test(index_of, y, 14, &test), MANN_KENDALL_OK);
    ck_assert_double_eq(test.s, 54.0);
    ck_assert_double_eq_tol(test.variance, 332.666667, 1e-6);
    ck_assert_double_eq_tol(test.z, 2.905837, 1e-6);
    ck_assert_double_eq_tol(test.p_value, 0.00366272, 1e-8);
    ck_assert_double_eq_tol(test.tau, 0.593407, 1e-6);
    ck_assert_int_eq(theil_sen_fit(index_of, y, 14, 0.95, &line), THEIL_SEN_OK);
    ck_assert_double_eq_tol(line.slope, 0.566667, 1e-6);
    ck_assert_double_eq_tol(line.lower, 0.325, 1e-9);
    ck_assert_double_eq_tol(line.upper, 0.866667, 1e-6);
}
END_TEST

/* USEPA 530/R-09-007 (2009), Example 17-6; S, variance with R and pyMannKendall, whole ranks scipy.
 */
START_TEST(sulfate_example) {
    struct mann_kendall test;
    struct theil_sen line;
    ck_assert_int_eq(mann_kendall_test(published_sulfate_time, published_sulfate_ppm, 23, &test),
                     MANN_KENDALL_OK);
    ck_assert_double_eq(test.s, 194.0);
    ck_assert_double_eq_tol(test.variance, 1428.0, 1e-9);
    ck_assert_double_eq_tol(test.z, 5.107322, 1e-6);
    ck_assert_double_eq_tol(test.p_value, 3.267574E-07, 1e-12);
    ck_assert_double_eq_tol(test.tau, 0.766798, 1e-6);
    ck_assert_int_eq(theil_sen_fit(published_sulfate_time, published_sulfate_ppm, 23, 0.95, &line),
                     THEIL_SEN_OK);
    ck_assert_double_eq_tol(line.slope, 26.666667, 1e-6);
    ck_assert_double_eq_tol(line.intercept, -1909.333333, 1e-6);
    ck_assert_double_eq_tol(line.lower, 20.0, 1e-9);
    ck_assert_double_eq_tol(line.upper, 35.849057, 1e-6);
}
END_TEST

/* R 4.2.2 packages trend and rkt, pyMannKendall, scipy. */
START_TEST(nile_trend) {
    struct mann_kendall test;
    struct theil_sen line;
    ck_assert_int_eq(mann_kendall_test(index_of, published_nile, 100, &test), MANN_KENDALL_OK);
    ck_assert_double_eq(test.s, -1387.0);
    ck_assert_double_eq_tol(test.variance, 112728.333333, 1e-6);
    ck_assert_double_eq_tol(test.z, -4.128066523, 1e-9);
    ck_assert_double_eq_tol(test.p_value, 3.65826292E-05, 1e-13);
    ck_assert_double_eq_tol(test.tau, -0.280202, 1e-6);
    ck_assert_int_eq(theil_sen_fit(index_of, published_nile, 100, 0.95, &line), THEIL_SEN_OK);
    ck_assert_double_eq_tol(line.slope, -2.6, 1e-12);
    ck_assert_double_eq_tol(line.intercept, 1022.2, 1e-9);
    ck_assert_double_eq_tol(line.lower, -3.627906977, 1e-9);
    ck_assert_double_eq_tol(line.upper, -1.428571429, 1e-9);
}
END_TEST

/* Hamed & Rao 1998 on the Nile flows: pyMannKendall and R modifiedmk 1.6 agree. */
static const struct {
    size_t most;
    double variance, z, p_value;
} hamed_rao_rows[] = {
    {SIZE_MAX, 241565.35692, -2.8199791956, 0.0048026763},
    {1, 190679.89331, -3.174028194, 0.00150339},
};

START_TEST(nile_with_the_variance_of_hamed_and_rao) {
    struct mann_kendall plain;
    struct mann_kendall_factors factors;
    struct theil_sen line;
    const struct mann_kendall_lags lags = {.most = hamed_rao_rows[_i].most, .may_shrink = true};
    ck_assert_int_eq(theil_sen_fit(index_of, published_nile, 100, 0.95, &line), THEIL_SEN_OK);
    ck_assert_int_eq(mann_kendall_test(index_of, published_nile, 100, &plain), MANN_KENDALL_OK);
    ck_assert_int_eq(
        mann_kendall_factors(index_of, published_nile, 100, line.slope, &lags, &factors),
        MANN_KENDALL_OK);
    struct mann_kendall wide = mann_kendall_with_factor(&plain, factors.hamed_rao);
    ck_assert_double_eq_tol(wide.variance, hamed_rao_rows[_i].variance, 1e-4);
    ck_assert_double_eq_tol(wide.z, hamed_rao_rows[_i].z, 1e-8);
    ck_assert_double_eq_tol(wide.p_value, hamed_rao_rows[_i].p_value, 1e-8);
}
END_TEST

START_TEST(nile_autocorrelation) { /* R acf */
    const double expected[] = {0.498408184, 0.384576904, 0.327860438};
    for (size_t lag = 1; lag <= 3; lag++) {
        double r = 0.0;
        ck_assert_int_eq(statistics_autocorrelation(published_nile, 100, lag, &r), STATISTICS_OK);
        ck_assert_double_eq_tol(r, expected[lag - 1], 6e-10);
    }
}
END_TEST

START_TEST(nile_location_and_quantiles) { /* R mad, quantile type 7 */
    const double probability[] = {0.05, 0.25, 0.75, 0.95};
    const double expected[] = {697.8, 798.5, 1032.5, 1210.5};
    double median = 0.0, mad = 0.0;
    ck_assert_int_eq(statistics_mad(published_nile, 100, &median, &mad), STATISTICS_OK);
    ck_assert_double_eq(median, 893.5);
    ck_assert_double_eq(mad, 121.0);
    for (size_t i = 0; i < 4; i++) {
        double quantile = 0.0;
        ck_assert_int_eq(statistics_quantile(published_nile, 100, probability[i], &quantile),
                         STATISTICS_OK);
        ck_assert_double_eq_tol(quantile, expected[i], 1e-9);
    }
}
END_TEST

/* Gilbert 1987 table A18 (Kendall 1970), one-sided; figures by the inversion-number recurrence. */
static const struct {
    size_t n;
    double s, one_sided;
} exact_rows[] = {
    {4, 4, 4 / 24.0},
    {4, 6, 1 / 24.0},
    {5, 8, 5 / 120.0},
    {5, 10, 1 / 120.0},
    {6, 11, 20 / 720.0},
    {6, 15, 1 / 720.0},
    {7, 13, 174 / 5040.0},
    {8, 16, 1230 / 40320.0},
    {9, 18, 13640 / 362880.0},
    {10, 19, 196524 / 3628800.0},
    {10, 21, 131635 / 3628800.0},
    {10, 45, 1 / 3628800.0},
};

START_TEST(exact_probabilities) {
    double p = mann_kendall_exact_p(exact_rows[_i].n, exact_rows[_i].s);
    ck_assert_double_eq_tol(p, 2.0 * exact_rows[_i].one_sided, 1e-12);
    ck_assert_double_eq(mann_kendall_exact_p(exact_rows[_i].n, -exact_rows[_i].s), p);
}
END_TEST

/* p: R 4.2.2, cor.test(method = "kendall", exact = TRUE). Slopes and their ranks: Hollander &
   Wolfe, Nonparametric Statistical Methods, 9.3, with C of table A.30 (n = 6: 13, n = 9: 20;
   two-sided 0.017 and 0.045), sorted with R. */
static const struct {
    size_t n;
    double days[9], values[9];
    double p_value, per_year, lower, upper;
} few_rows[] = {
    {6,
     {0, 183, 365, 548, 731, 913},
     {250, 246, 247, 240, 236, 231},
     0.0166666666667,
     -7.60088444688,
     -10.9772336066,
     -3.00199315068},
    {9,
     {0, 180, 365, 551, 729, 915, 1096, 1280, 1461},
     {250, 246, 247, 240, 241, 231, 229, 233, 226},
     0.00242504409171,
     -5.95338179458,
     -7.5842704918,
     -3.50712962963},
};

START_TEST(few_readings_by_hand) {
    const struct trend_series series = {
        .n = few_rows[_i].n, .days = few_rows[_i].days, .values = few_rows[_i].values};
    const struct trend_series five = {
        .n = 5, .days = few_rows[_i].days, .values = few_rows[_i].values};
    struct trend trend;
    ck_assert_int_eq(trend_few_fit(&five, 0.95, &trend), TREND_TOO_SHORT);
    ck_assert_int_eq(trend_few_fit(&series, 0.95, &trend), TREND_OK);
    ck_assert_double_eq_tol(trend.p_value, few_rows[_i].p_value, 1e-10);
    ck_assert_double_eq_tol(trend.per_year, few_rows[_i].per_year, 1e-8);
    ck_assert_double_eq_tol(trend.lower, few_rows[_i].lower, 1e-8);
    ck_assert_double_eq_tol(trend.upper, few_rows[_i].upper, 1e-8);
}
END_TEST

/* USEPA 530/R-09-007 (2009), Example 14-10; slope, interval, tau and chi-squared in EnvStats. */
START_TEST(analyte_by_months) {
    double year[36];
    int32_t month[36];
    for (size_t i = 0; i < 36; i++) {
        year[i] = 1983.0 + (double)(i / 12);
        month[i] = (int32_t)(i % 12);
    }
    struct seasonal_kendall test;
    ck_assert_int_eq(
        seasonal_kendall_test(year, published_analyte, month, 36, 12, 0.95, 1.0, &test),
        MANN_KENDALL_OK);
    ck_assert_double_eq(test.s, 35.0);
    ck_assert_double_eq_tol(test.variance, 43.0, 1e-9);
    ck_assert_double_eq_tol(test.z, 5.184951, 1e-6);
    ck_assert_double_eq_tol(test.p_value, 2.160712E-07, 1e-12);
    ck_assert_double_eq_tol(test.slope, 0.06, 1e-12);
    ck_assert_double_eq_tol(test.lower, 0.05786914, 1e-8);
    ck_assert_double_eq_tol(test.upper, 0.07213086, 1e-8);
    ck_assert_double_eq_tol(test.tau, 0.9722222, 1e-7);
    ck_assert_double_eq_tol(test.heterogeneity, 0.1071882, 1e-6);
}
END_TEST

/* Irregular times with one gap; scipy 1.10.1. */
START_TEST(irregular_times) {
    const double t[] = {0, 1, 2, 3, 7, 8, 9}, y[] = {250, 249, 247, 248, 240, 239, 236};
    struct theil_sen line;
    ck_assert_int_eq(theil_sen_fit(t, y, 7, 0.95, &line), THEIL_SEN_OK);
    ck_assert_double_eq_tol(line.slope, -1.5, 1e-12);
    ck_assert_double_eq_tol(line.lower, -2.0, 1e-12);
    ck_assert_double_eq_tol(line.upper, -1.0, 1e-12);
    ck_assert_double_eq_tol(line.intercept, 251.5, 1e-12);
}
END_TEST

START_TEST(small_and_certain_series) {
    const double four[] = {10, 15, 14, 20}; /* scipy 1.10.1 */
    struct mann_kendall test;
    struct theil_sen line;
    ck_assert_int_eq(mann_kendall_test(index_of, four, 4, &test), MANN_KENDALL_OK);
    ck_assert_double_eq(test.s, 4.0);
    ck_assert_double_eq_tol(test.variance, 8.666667, 1e-6);
    ck_assert_double_eq_tol(test.z, 1.019049, 1e-6);
    ck_assert_int_eq(theil_sen_fit(index_of, four, 4, 0.95, &line), THEIL_SEN_OK);
    ck_assert_double_eq_tol(line.slope, 2.916667, 1e-6);
    /* pyMannKendall test suite: 0..359 */
    ck_assert_int_eq(mann_kendall_test(index_of, index_of, 360, &test), MANN_KENDALL_OK);
    ck_assert_double_eq(test.s, 64620.0);
    ck_assert_double_lt(test.p_value, 1e-150);
    ck_assert_int_eq(theil_sen_fit(index_of, index_of, 360, 0.95, &line), THEIL_SEN_OK);
    ck_assert_double_eq(line.slope, 1.0);
}
END_TEST

/* R strucchange 1.5-3, help page of breakpoints; segment means with R. */
START_TEST(least_squares_break_of_the_nile) {
    struct changepoint found;
    ck_assert_int_eq(changepoint_least_squares(published_nile, 100, 0.15, &found), CHANGEPOINT_OK);
    ck_assert_uint_eq(found.before, 28);
    ck_assert_double_eq_tol(found.residual_squares, 1597457.1944, 1e-4);
    ck_assert_double_eq_tol(found.mean_before, 1097.75, 1e-9);
    ck_assert_double_eq_tol(found.mean_after, 849.972222, 1e-6);
    ck_assert_double_eq_tol(found.statistic, (2835156.75 - 1597457.1944) / (1597457.1944 / 98.0),
                            1e-3);
    ck_assert_double_lt(found.p_value, 1e-12);
}
END_TEST

int main(void) {
    fill_index();
    TCase *t = tcase_create("trend reference");
    tcase_add_test(t, example_by_hand);
    tcase_add_test(t, sulfate_example);
    tcase_add_test(t, nile_trend);
    tcase_add_loop_test(t, nile_with_the_variance_of_hamed_and_rao, 0, 2);
    tcase_add_test(t, nile_autocorrelation);
    tcase_add_test(t, nile_location_and_quantiles);
    tcase_add_loop_test(t, exact_probabilities, 0, sizeof(exact_rows) / sizeof(exact_rows[0]));
    tcase_add_loop_test(t, few_readings_by_hand, 0, sizeof few_rows / sizeof few_rows[0]);
    tcase_add_test(t, analyte_by_months);
    tcase_add_test(t, irregular_times);
    tcase_add_test(t, small_and_certain_series);
    tcase_add_test(t, least_squares_break_of_the_nile);
    return run_test_case(t);
}
