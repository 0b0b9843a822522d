/* trend, theil_sen, mann_kendall, seasonal_kendall: exactness, properties, levels, bad input. */
#include "analysis/mann_kendall.h"
#include "analysis/seasonal_kendall.h"
#include "analysis/slope_selection.h"
#include "analysis/theil_sen.h"
#include "analysis/trend.h"
#include "test_support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { most = 1300 };
static double x[most], y[most], outdoor[most];
static int32_t months[most];

static int by_number(const void *a, const void *b) {
    double left = *(const double *)a, right = *(const double *)b;
    return (left > right) - (left < right);
}

/* kind 0 continuous, 1 rounded (many equal slopes), 2 two values, 3 irregular times, 4 equal times,
 * 5 large offset */
static void make(struct test_random *random, size_t n, int kind) {
    double at = 0.0;
    for (size_t i = 0; i < n; i++) {
        double value = test_random_normal(random) + 0.002 * (double)i;
        at += kind == 3 ? 0.1 + 3.0 * test_random_unit(random) : kind == 4 ? (double)(i % 2) : 1.0;
        x[i] = at;
        y[i] = kind == 1   ? rint(10.0 * value) / 10.0
               : kind == 2 ? (value > 0.5 ? 1.0 : 0.0)
               : kind == 5 ? 1e6 + 1e-3 * value
                           : value;
    }
}

/* All slopes, sorted, as the definition says. */
static size_t all_slopes(size_t n, double *slopes) {
    size_t count = 0;
    for (size_t i = 0; i < n; i++)
        for (size_t j = i + 1; j < n; j++)
            if (x[j] > x[i])
                slopes[count++] = (y[j] - y[i]) / (x[j] - x[i]);
    qsort(slopes, count, sizeof(*slopes), by_number);
    return count;
}

START_TEST(ranks_of_slopes_agree_with_listing_them_all) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    double *slopes = malloc((size_t)most * most / 2 * sizeof(*slopes));
    ck_assert_ptr_nonnull(slopes);
    const size_t sizes[] = {2, 3, 5, 17, 90, 130, 131, 300, 700};
    for (size_t k = 0; k < sizeof(sizes) / sizeof(sizes[0]); k++) {
        make(&random, sizes[k], _i);
        size_t count = all_slopes(sizes[k], slopes);
        if (count == 0)
            continue;
        uint64_t ranks[7];
        double got[7];
        ranks[0] = 0;
        ranks[6] = count - 1;
        for (size_t i = 1; i < 6; i++)
            ranks[i] = (uint64_t)((double)i / 6.0 * (double)count);
        struct slope_selection selection;
        ck_assert(slope_selection_start(&selection, x, y, sizes[k]));
        ck_assert_uint_eq(selection.pairs, count);
        slope_selection_ranks(&selection, ranks, 7, got);
        slope_selection_free(&selection);
        for (size_t i = 0; i < 7; i++)
            ck_assert_double_eq_tol(got[i], slopes[ranks[i]],
                                    1e-11 * fmax(1e-3, fabs(slopes[ranks[i]])));
    }
    free(slopes);
}
END_TEST

START_TEST(s_agrees_with_counting_pairs) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    for (size_t n = 3; n < 200; n += 13) {
        make(&random, n, _i);
        double s = 0.0;
        for (size_t i = 0; i < n; i++)
            for (size_t j = i + 1; j < n; j++)
                s += x[j] > x[i] ? (y[j] > y[i]) - (y[j] < y[i]) : 0;
        struct mann_kendall test;
        ck_assert_int_eq(mann_kendall_test(x, y, n, &test), MANN_KENDALL_OK);
        ck_assert_double_eq(test.s, s);
    }
}
END_TEST

START_TEST(turning_the_series_turns_the_trend) {
    struct test_random random = {test_seed()};
    struct theil_sen up, down, moved;
    double turned[300], shifted[300];
    make(&random, 300, 0);
    for (size_t i = 0; i < 300; i++) {
        turned[i] = -y[i];
        shifted[i] = y[i] + 0.25 * x[i];
    }
    ck_assert_int_eq(theil_sen_fit(x, y, 300, 0.95, &up), THEIL_SEN_OK);
    ck_assert_int_eq(theil_sen_fit(x, turned, 300, 0.95, &down), THEIL_SEN_OK);
    ck_assert_int_eq(theil_sen_fit(x, shifted, 300, 0.95, &moved), THEIL_SEN_OK);
    ck_assert_double_eq(up.slope, -down.slope);
    ck_assert_double_eq_tol(up.slope + 0.25, moved.slope, 1e-12);
    ck_assert(up.lower <= up.slope && up.slope <= up.upper);
    double lower = 0.0, upper = 0.0;
    ck_assert_int_eq(theil_sen_interval(x, y, 300, 0.95, 1.0, &lower, &upper), THEIL_SEN_OK);
    ck_assert_double_eq(lower, up.lower);
    ck_assert_double_eq(upper, up.upper);
    ck_assert_int_eq(theil_sen_interval(x, y, 300, 0.95, 3.0, &lower, &upper), THEIL_SEN_OK);
    ck_assert(lower < up.lower && upper > up.upper);
}
END_TEST

static void autoregression(struct test_random *random, double r, size_t n) {
    double value = test_random_normal(random);
    for (size_t i = 0; i < n; i++) {
        value = r * value + sqrt(1.0 - r * r) * test_random_normal(random);
        x[i] = 20000.0 + (double)i;
        y[i] = 10.0 + value;
        months[i] = (int32_t)((double)i / 30.436875);
    }
}

/* Without a trend: false signals at 5 %, and how often the interval holds the slope 0. Allowed:
 * four standard errors of the runs and what is measured in mann_kendall.h for short series. */
static const struct {
    double r;
    size_t n;
    int runs;
    bool seasonal;
    double most_p, most_cautious, least_cover;
} level_rows[] = {
    {0.0, 91, 1000, false, 0.08, 0.08, 0.92}, {0.5, 91, 1000, false, 0.17, 0.085, 0.915},
    {0.0, 365, 600, false, 0.09, 0.09, 0.91}, {0.5, 365, 600, false, 0.13, 0.09, 0.91},
    {0.5, 1096, 200, true, 0.12, 0.12, 0.88},
};

START_TEST(false_signals_and_interval_keep_their_level) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    int runs = level_rows[_i].runs, signals = 0, cautious = 0, covered = 0, published = 0;
    for (int run = 0; run < runs; run++) {
        struct trend trend;
        autoregression(&random, level_rows[_i].r, level_rows[_i].n);
        const struct trend_series series = {
            level_rows[_i].n, x, y, level_rows[_i].seasonal ? months : NULL, NULL, NULL};
        ck_assert_int_eq(trend_fit(&series, 0.95, &trend), TREND_OK);
        ck_assert_int_eq(trend.method,
                         level_rows[_i].seasonal ? TREND_SEASONAL_KENDALL : TREND_HAMED_RAO);
        signals += trend.p_value < 0.05;
        cautious += trend.p_value_cautious < 0.05;
        covered += trend.lower <= 0.0 && trend.upper >= 0.0;
        published += trend.lower_independent <= 0.0 && trend.upper_independent >= 0.0;
    }
    double share = 1.0 / runs;
    printf(
        "n %zu, r %.1f%s: p < 0.05 in %.3f, cautious %.3f; interval holds %.3f, published %.3f\n",
        level_rows[_i].n, level_rows[_i].r, level_rows[_i].seasonal ? ", by months" : "",
        signals * share, cautious * share, covered * share, published * share);
    ck_assert_double_le(signals * share, level_rows[_i].most_p);
    ck_assert_double_le(cautious * share, level_rows[_i].most_cautious);
    ck_assert_double_ge(covered * share, level_rows[_i].least_cover);
    if (level_rows[_i].r > 0.0 && !level_rows[_i].seasonal)
        ck_assert_double_lt(published * share, 0.9); /* why the wider one is needed */
}
END_TEST

START_TEST(a_true_trend_is_found_with_its_slope) {
    struct test_random random = {test_seed()};
    struct trend trend;
    autoregression(&random, 0.3, 365);
    for (size_t i = 0; i < 365; i++)
        y[i] -= 0.01 * (double)i;
    const struct trend_series series = {365, x, y, NULL, NULL, NULL};
    ck_assert_int_eq(trend_fit(&series, 0.95, &trend), TREND_OK);
    ck_assert_double_lt(trend.p_value, 1e-6);
    ck_assert_double_eq_tol(trend.per_year, -3.652425, 1.0); /* four standard errors and more */
    ck_assert(trend.lower <= trend.per_year && trend.per_year <= trend.upper);
    ck_assert(trend.lower <= trend.lower_independent && trend.upper >= trend.upper_independent);
}
END_TEST

START_TEST(temperature_is_taken_out) {
    struct test_random random = {test_seed()};
    struct trend with, without;
    autoregression(&random, 0.0, 270);
    for (size_t i = 0; i < 270; i++) { /* autumn to summer, 0.2 units lost for each kelvin */
        outdoor[i] = 10.0 - 12.0 * sin(2.0 * 3.14159265 * (double)i / 365.0) +
                     3.0 * test_random_normal(&random);
        y[i] += 50.0 - 0.2 * outdoor[i];
    }
    outdoor[7] = NAN; /* a day without temperature is left out */
    struct trend_series series = {270, x, y, NULL, outdoor, NULL};
    ck_assert_int_eq(trend_fit(&series, 0.95, &with), TREND_OK);
    ck_assert_int_eq(with.temperature, TREND_TEMPERATURE_REMOVED);
    ck_assert_uint_eq(with.n, 269);
    ck_assert_double_eq_tol(with.per_kelvin, -0.2, 0.04);
    series.outdoor_c = NULL;
    ck_assert_int_eq(trend_fit(&series, 0.95, &without), TREND_OK);
    ck_assert_int_eq(without.temperature, TREND_TEMPERATURE_NOT_GIVEN);
    ck_assert_double_lt(fabs(with.per_year), fabs(without.per_year) + 0.5);
    ck_assert(with.lower <= 0.0 + 0.6 && with.upper >= 0.0 - 0.6); /* no trend was put in */
}
END_TEST

/* A wave of 10 % that the neighbours had as well leaves a flat line; a day on which they are not
   known is left out. */
START_TEST(what_the_neighbours_share_is_taken_out) {
    struct test_random random = {test_seed()};
    struct trend alone, among;
    double common[200];
    for (size_t i = 0; i < 200; i++) {
        x[i] = (double)i;
        common[i] = 0.10 * cos(3.14159265 * (double)i / 182.6);
        y[i] = 80.0 * exp(common[i]) * (1.0 + 0.002 * test_random_normal(&random));
    }
    common[3] = NAN;
    struct trend_series series = {200, x, y, NULL, NULL, NULL};
    ck_assert_int_eq(trend_fit(&series, 0.95, &alone), TREND_OK);
    ck_assert_double_lt(alone.per_year, -20.0);
    series.common = common;
    ck_assert_int_eq(trend_fit(&series, 0.95, &among), TREND_OK);
    ck_assert_uint_eq(among.n, 199);
    ck_assert_double_lt(fabs(among.per_year), 0.5); /* standard error 0.15 */
    const struct trend_series recent = trend_series_recent(&series, 50.0);
    ck_assert_ptr_eq(recent.common, common + 150);
    for (size_t i = 29; i < 200; i++)
        common[i] = NAN;
    ck_assert_int_eq(trend_fit(&series, 0.95, &among), TREND_TOO_SHORT);
    ck_assert(!trend_may_reach(&series, 200.0, 0.0, TREND_LOW_LIMIT, 1e6));
}
END_TEST

/* A wave of 10 % falls by 20 % in half a year and by 12.1 % at most in 75 days: 0.2 sin(pi 75 /
 * 365). */
START_TEST(a_fall_that_a_season_can_make_is_like_one) {
    struct test_random random = {test_seed()};
    struct trend trend;
    const struct {
        size_t days;
        double lost;
        bool like_season;
    } cases[] = {{75, 0.10, true},   {75, 0.15, false},  {200, 0.15, true},
                 {200, 0.25, false}, {370, 0.15, false}, {75, 0.0, false}};
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        size_t n = cases[k].days;
        for (size_t i = 0; i < n; i++) {
            x[i] = (double)i;
            y[i] = 100.0 * (1.0 - cases[k].lost * ((double)i / (double)n - 0.5)) +
                   0.1 * test_random_normal(&random);
        }
        const struct trend_series series = {n, x, y, NULL, NULL, NULL};
        ck_assert_int_eq(trend_fit(&series, 0.95, &trend), TREND_OK);
        ck_assert_msg(trend_like_season(&trend, false, 0.10) == cases[k].like_season, "case %zu",
                      k);
        ck_assert(!trend_like_season(&trend, true, 0.10));
        trend.temperature = TREND_TEMPERATURE_REMOVED;
        ck_assert(!trend_like_season(&trend, false, 0.10));
        trend.temperature = TREND_TEMPERATURE_LIKE_TIME;
        ck_assert(cases[k].lost == 0.0 || trend_like_season(&trend, false, 0.10));
    }
}
END_TEST

START_TEST(temperature_that_teaches_nothing_is_said_so) {
    struct test_random random = {test_seed()};
    struct trend trend, plain;
    autoregression(&random, 0.0, 100);
    struct trend_series series = {100, x, y, NULL, NULL, NULL};
    ck_assert_int_eq(trend_fit(&series, 0.95, &plain), TREND_OK);
    series.outdoor_c = outdoor;
    const enum trend_temperature expected[] = {TREND_TEMPERATURE_SAME, TREND_TEMPERATURE_LIKE_TIME,
                                               TREND_TEMPERATURE_TOO_FEW};
    for (int kind = 0; kind < 3; kind++) {
        for (size_t i = 0; i < 100; i++)
            outdoor[i] = kind == 0   ? 20.0 + test_random_unit(&random)
                         : kind == 1 ? 0.3 * (double)i
                                     : (i % 2 ? NAN : 10.0 * test_random_normal(&random));
        ck_assert_int_eq(trend_fit(&series, 0.95, &trend), TREND_OK);
        ck_assert_int_eq(trend.temperature, expected[kind]);
        ck_assert_uint_eq(trend.n, 100);
        ck_assert_double_eq(trend.per_year, plain.per_year);
        ck_assert_uint_gt(strlen(trend_temperature_text(trend.temperature)), 10);
    }
}
END_TEST

START_TEST(seasons_are_not_a_trend) { /* from winter to winter and a half: plain tests see a rise */
    struct test_random random = {test_seed()};
    struct trend trend;
    size_t n = 365 * 3 + 90;
    autoregression(&random, 0.3, n);
    for (size_t i = 0; i < n; i++)
        y[i] += 20.0 * sin(2.0 * 3.14159265358979 * (double)i / 365.2425);
    struct trend_series series = {n, x, y, months, NULL, NULL};
    ck_assert_int_eq(trend_fit(&series, 0.95, &trend), TREND_OK);
    ck_assert_int_eq(trend.method, TREND_SEASONAL_KENDALL);
    ck_assert_double_eq_tol(trend.per_year, 0.0, 1.0);
    for (size_t i = 0; i < n; i++)
        y[i] -= 5.0 * (double)i / 365.2425;
    ck_assert_int_eq(trend_fit(&series, 0.95, &trend), TREND_OK);
    ck_assert_double_eq_tol(trend.per_year, -5.0, 1.0);
    ck_assert_double_lt(trend.p_value, 0.001);
}
END_TEST

START_TEST(projection_to_a_limit) {
    const struct trend falling = {.per_year = -36.52425,
                                  .lower = -73.0485,
                                  .upper = -18.262125,
                                  .level_day = 100.0,
                                  .level = 100.0};
    struct trend unsure = falling;
    struct trend_crossing crossing;
    unsure.upper = 10.0;
    /* 0.1 a day, level 95 on day 150: 70 is 250 days away; 0.2 a day: 90, 100; 0.05: 97.5, 550 */
    ck_assert_int_eq(trend_cross(&falling, 150.0, 70.0, TREND_LOW_LIMIT, &crossing), TREND_CROSSES);
    ck_assert_double_eq_tol(crossing.day, 400.0, 1e-9);
    ck_assert_double_eq_tol(crossing.earliest_day, 250.0, 1e-9);
    ck_assert_double_eq_tol(crossing.latest_day, 700.0, 1e-9);
    ck_assert(crossing.has_earliest && crossing.has_latest);
    ck_assert_int_eq(trend_cross(&unsure, 150.0, 70.0, TREND_LOW_LIMIT, &crossing), TREND_CROSSES);
    ck_assert(!crossing.has_latest);
    ck_assert_int_eq(trend_cross(&falling, 150.0, 96.0, TREND_LOW_LIMIT, &crossing),
                     TREND_BEYOND_ALREADY);
    ck_assert_int_eq(trend_cross(&falling, 150.0, 140.0, TREND_HIGH_LIMIT, &crossing),
                     TREND_NOT_WITHIN_10_YEARS);
    ck_assert_int_eq(trend_cross(&falling, 150.0, -900.0, TREND_LOW_LIMIT, &crossing),
                     TREND_NOT_WITHIN_10_YEARS);
    ck_assert_int_eq(trend_cross(&falling, 150.0, NAN, TREND_LOW_LIMIT, &crossing),
                     TREND_NO_CROSSING);
    const struct trend flat = {.level = 5.0};
    ck_assert_int_eq(trend_cross(&flat, 0.0, 4.0, TREND_LOW_LIMIT, &crossing),
                     TREND_NOT_WITHIN_10_YEARS);
    ck_assert(!crossing.has_earliest && !crossing.has_latest);
    ck_assert_str_eq(trend_crossing_why(TREND_NOT_WITHIN_10_YEARS), "not within 10 years");
}
END_TEST

START_TEST(recent_days_are_counted_from_the_last) {
    const double days[] = {0, 10, 20, 199, 200};
    ck_assert_uint_eq(trend_recent_start(days, 5, 180.0), 3);
    ck_assert_uint_eq(trend_recent_start(days, 5, 181.0), 2);
    ck_assert_uint_eq(trend_recent_start(days, 0, 180.0), 0);
}
END_TEST

START_TEST(constant_and_stepped_series_have_an_answer) {
    struct trend trend;
    for (size_t i = 0; i < 400; i++) {
        x[i] = (double)i;
        y[i] = 7.0;
    }
    const struct trend_series series = {400, x, y, NULL, NULL, NULL};
    ck_assert_int_eq(trend_fit(&series, 0.95, &trend), TREND_OK);
    ck_assert_double_eq(trend.per_year, 0.0);
    ck_assert_double_eq(trend.lower, 0.0);
    ck_assert_double_eq(trend.upper, 0.0);
    ck_assert_double_eq(trend.p_value, 1.0);
    for (size_t i = 200; i < 400; i++)
        y[i] = 8.0;
    ck_assert_int_eq(trend_fit(&series, 0.95, &trend), TREND_OK);
    ck_assert(isfinite(trend.lower) && isfinite(trend.upper) && trend.per_year >= 0.0);
}
END_TEST

START_TEST(bad_input_has_a_defined_answer) {
    struct test_random random = {test_seed()};
    struct trend trend;
    struct theil_sen line;
    struct mann_kendall test;
    struct mann_kendall_factors factors;
    struct seasonal_kendall by_season;
    autoregression(&random, 0.0, 60);
    struct trend_series series = {29, x, y, NULL, NULL, NULL};
    ck_assert_int_eq(trend_fit(&series, 0.95, &trend), TREND_TOO_SHORT);
    series.n = 60;
    ck_assert_int_eq(trend_fit(&series, 1.5, &trend), TREND_OUT_OF_RANGE);
    ck_assert_int_eq(trend_fit(&series, NAN, &trend), TREND_OUT_OF_RANGE);
    ck_assert_int_eq(theil_sen_fit(x, y, 1, 0.95, &line), THEIL_SEN_TOO_SHORT);
    ck_assert_int_eq(mann_kendall_test(x, y, 2, &test), MANN_KENDALL_TOO_SHORT);
    const int32_t wrong[] = {0, 12, 1}, apart[] = {0, 1, 2};
    ck_assert_int_eq(seasonal_kendall_test(x, y, wrong, 3, 12, 0.95, 1.0, &by_season),
                     MANN_KENDALL_OUT_OF_RANGE);
    ck_assert_int_eq(seasonal_kendall_test(x, y, apart, 3, 12, 0.95, 1.0, &by_season),
                     MANN_KENDALL_TOO_SHORT);
    x[30] = x[29];
    ck_assert_int_eq(trend_fit(&series, 0.95, &trend), TREND_OUT_OF_ORDER);
    x[30] = x[29] - 1.0;
    ck_assert_int_eq(mann_kendall_factors(x, y, 60, 0.0, NULL, &factors),
                     MANN_KENDALL_OUT_OF_RANGE);
    y[3] = NAN;
    ck_assert_int_eq(trend_fit(&series, 0.95, &trend), TREND_NOT_FINITE);
    ck_assert_int_eq(theil_sen_fit(x, y, 60, 0.95, &line), THEIL_SEN_NOT_FINITE);
    ck_assert_int_eq(mann_kendall_test(x, y, 60, &test), MANN_KENDALL_NOT_FINITE);
    y[3] = 1e308;
    y[4] = -1e308;
    ck_assert_int_eq(theil_sen_fit(x, y, 60, 0.95, &line), THEIL_SEN_NOT_FINITE);
    for (size_t i = 0; i < 60; i++)
        x[i] = 5.0;
    y[3] = y[4] = 0.0;
    ck_assert_int_eq(theil_sen_fit(x, y, 60, 0.95, &line), THEIL_SEN_SAME_TIME);
    for (int status = TREND_OK; status <= TREND_NO_MEMORY; status++)
        ck_assert_uint_gt(strlen(trend_why((enum trend_status)status)), 3);
}
END_TEST

int main(void) {
    TCase *t = tcase_create("trend");
    tcase_add_loop_test(t, ranks_of_slopes_agree_with_listing_them_all, 0, 6);
    tcase_add_loop_test(t, s_agrees_with_counting_pairs, 0, 6);
    tcase_add_test(t, turning_the_series_turns_the_trend);
    tcase_add_loop_test(t, false_signals_and_interval_keep_their_level, 0,
                        sizeof(level_rows) / sizeof(level_rows[0]));
    tcase_add_test(t, a_true_trend_is_found_with_its_slope);
    tcase_add_test(t, temperature_is_taken_out);
    tcase_add_test(t, what_the_neighbours_share_is_taken_out);
    tcase_add_test(t, a_fall_that_a_season_can_make_is_like_one);
    tcase_add_test(t, temperature_that_teaches_nothing_is_said_so);
    tcase_add_test(t, seasons_are_not_a_trend);
    tcase_add_test(t, projection_to_a_limit);
    tcase_add_test(t, recent_days_are_counted_from_the_last);
    tcase_add_test(t, constant_and_stepped_series_have_an_answer);
    tcase_add_test(t, bad_input_has_a_defined_answer);
    test_seed();
    return run_test_case(t);
}
