/* control_chart: run lengths by simulation against published designs and against our own header. */
#include "analysis/control_chart.h"
#include "test_support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Lucas & Saccucci, Technometrics 32 (1990) 1, with R spc: weight 0.1, L 2.7: 368.99 in control,
 * 9.730 after a rise of one sd. Montgomery, SQC, k 0.5, h 5: 465.44 and 10.376. */
static const struct {
    bool cusum;
    double shift, expected;
} arl_rows[] = {
    {false, 0.0, 368.99}, {false, 1.0, 9.730}, {true, 0.0, 465.44}, {true, 1.0, 10.376}};

static size_t run_length(struct test_random *random, bool cusum, double shift) {
    static double values[12000];
    static struct control_chart_ewma points[12000];
    static struct control_chart_cusum sums[12000];
    const size_t n = shift > 0.0 ? 400 : 12000;
    size_t first = n;
    for (size_t i = 0; i < n; i++)
        values[i] = shift + test_random_normal(random);
    if (cusum) {
        ck_assert_int_eq(control_chart_cusum(values, n, 0.0, 0.5, 5.0, sums, &first),
                         CONTROL_CHART_OK);
        return first + 1;
    }
    ck_assert_int_eq(control_chart_ewma(values, n, 0.0, 1.0, 0.1, 2.7, true, points),
                     CONTROL_CHART_OK);
    for (size_t i = 0; i < n; i++)
        if (points[i].value > points[i].upper || points[i].value < points[i].lower)
            return i + 1;
    return n;
}

START_TEST(run_lengths_agree_with_the_published_designs) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    const int runs = arl_rows[_i].shift > 0.0 ? 3000 : 700;
    double sum = 0.0;
    for (int run = 0; run < runs; run++)
        sum += (double)run_length(&random, arl_rows[_i].cusum, arl_rows[_i].shift);
    double error = arl_rows[_i].expected / sqrt(runs); /* run lengths are nearly exponential */
    printf("%s, shift %.0f: mean run %.2f, published %.2f\n", arl_rows[_i].cusum ? "CUSUM" : "EWMA",
           arl_rows[_i].shift, sum / runs, arl_rows[_i].expected);
    ck_assert_double_eq_tol(sum / runs, arl_rows[_i].expected, 4.5 * error);
}
END_TEST

/* The table of control_chart.h. */
static const struct {
    double r, shift, least_share, most_share; /* of runs that signal within 365 days */
    double least_median, most_median;         /* days, where there is a rise */
} watch_rows[] = {
    {0.0, 0.0, 0.0, 0.02, 0, 1e9}, {0.5, 0.0, 0.005, 0.08, 0, 1e9}, {0.7, 0.0, 0.02, 0.125, 0, 1e9},
    {0.0, 1.0, 0.98, 1.0, 20, 29}, {0.5, 2.0, 0.98, 1.0, 14, 20},   {0.7, 2.0, 0.93, 1.0, 18, 30},
};

static int by_number(const void *a, const void *b) {
    double left = *(const double *)a, right = *(const double *)b;
    return (left > right) - (left < right);
}

/* Days until control_chart_watch signals, 366 for never; each day is judged as the daemon would. */
static double days_to_signal(struct test_random *random, double r, double shift) {
    double reference[90], values[365], value = test_random_normal(random);
    struct control_chart_reference level;
    struct control_chart_watch watch;
    for (size_t i = 0; i < 90 + 365; i++) {
        value = r * value + sqrt(1.0 - r * r) * test_random_normal(random);
        if (i < 90)
            reference[i] = 50.0 + 8.0 * value;
        else
            values[i - 90] = 50.0 + 8.0 * (value + shift);
    }
    ck_assert_int_eq(control_chart_learn(reference, 90, &level), CONTROL_CHART_OK);
    for (size_t n = 1; n <= 365; n++) {
        ck_assert_int_eq(control_chart_watch(&level, values, n, CONTROL_CHART_WEIGHT,
                                             CONTROL_CHART_WIDTH, &watch),
                         CONTROL_CHART_OK);
        if (watch.lasting) {
            ck_assert_uint_eq(watch.since, n - CONTROL_CHART_LASTING);
            return (double)n;
        }
    }
    return 366.0;
}

START_TEST(the_watch_keeps_what_its_header_says) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    enum { runs = 600 };
    double days[runs];
    int signals = 0;
    for (int run = 0; run < runs; run++) {
        days[run] = days_to_signal(&random, watch_rows[_i].r, watch_rows[_i].shift);
        signals += days[run] <= 365.0;
    }
    qsort(days, runs, sizeof(*days), by_number);
    double share = (double)signals / runs;
    printf("watch, r %.1f, rise %.0f sd: signal within a year %.3f, median %.0f days\n",
           watch_rows[_i].r, watch_rows[_i].shift, share, days[runs / 2]);
    ck_assert(share >= watch_rows[_i].least_share && share <= watch_rows[_i].most_share);
    ck_assert(days[runs / 2] >= watch_rows[_i].least_median &&
              days[runs / 2] <= watch_rows[_i].most_median);
}
END_TEST

START_TEST(a_short_peak_is_no_lasting_rise) {
    double values[60];
    const struct control_chart_reference level = {90, 50.0, 8.0, 0.3, 48.0};
    struct control_chart_watch watch;
    for (size_t i = 0; i < 60; i++)
        values[i] = i == 55 ? 130.0 : 50.0;
    ck_assert_int_eq(control_chart_watch(&level, values, 56, 0.1, 3.0, &watch), CONTROL_CHART_OK);
    ck_assert(!watch.lasting);
    ck_assert_int_eq(control_chart_watch(&level, values, 60, 0.1, 3.0, &watch), CONTROL_CHART_OK);
    ck_assert(!watch.lasting);
    for (size_t i = 40; i < 60; i++)
        values[i] = 90.0;
    ck_assert_int_eq(control_chart_watch(&level, values, 60, 0.1, 3.0, &watch), CONTROL_CHART_OK);
    ck_assert(watch.lasting && watch.above && watch.since >= 40 && watch.since < 46);
}
END_TEST

START_TEST(bad_input_has_a_defined_answer) {
    double values[40] = {0};
    struct control_chart_reference level;
    struct control_chart_watch watch;
    struct control_chart_ewma points[40];
    struct control_chart_cusum sums[40];
    size_t first = 77;
    ck_assert_int_eq(control_chart_learn(values, 29, &level), CONTROL_CHART_TOO_SHORT);
    ck_assert_int_eq(control_chart_learn(values, 40, &level), CONTROL_CHART_CONSTANT);
    ck_assert_int_eq(control_chart_ewma(values, 0, 0, 1, 0.1, 3, true, points),
                     CONTROL_CHART_TOO_SHORT);
    ck_assert_int_eq(control_chart_ewma(values, 40, 0, 0, 0.1, 3, true, points),
                     CONTROL_CHART_OUT_OF_RANGE);
    ck_assert_int_eq(control_chart_ewma(values, 40, 0, 1, 1.1, 3, true, points),
                     CONTROL_CHART_OUT_OF_RANGE);
    ck_assert_int_eq(control_chart_cusum(values, 40, 0, -1, 5, sums, &first),
                     CONTROL_CHART_OUT_OF_RANGE);
    values[3] = NAN;
    ck_assert_int_eq(control_chart_learn(values, 40, &level), CONTROL_CHART_NOT_FINITE);
    ck_assert_int_eq(control_chart_cusum(values, 40, 0, 1, 5, sums, &first),
                     CONTROL_CHART_NOT_FINITE);
    ck_assert_uint_eq(first, 77);
    const struct control_chart_reference good = {90, 0.0, 1.0, 0.0, 90.0}, odd = {0};
    ck_assert_int_eq(control_chart_watch(&good, values, 40, 0.1, 3, &watch),
                     CONTROL_CHART_NOT_FINITE);
    ck_assert_int_eq(control_chart_watch(&odd, values, 2, 0.1, 3, &watch),
                     CONTROL_CHART_OUT_OF_RANGE);
}
END_TEST

int main(void) {
    TCase *t = tcase_create("control chart");
    tcase_add_loop_test(t, run_lengths_agree_with_the_published_designs, 0,
                        sizeof(arl_rows) / sizeof(arl_rows[0]));
    tcase_add_loop_test(t, the_watch_keeps_what_its_header_says, 0,
                        sizeof(watch_rows) / sizeof(watch_rows[0]));
    tcase_add_test(t, a_short_peak_is_no_lasting_rise);
    tcase_add_test(t, bad_input_has_a_defined_answer);
    test_seed();
    return run_test_case(t);
}
