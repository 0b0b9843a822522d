/* statistics: properties over random series, and bad input with a defined answer. */
#include "analysis/statistics.h"
#include "test_support.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static int by_number(const void *a, const void *b) {
    double left = *(const double *)a, right = *(const double *)b;
    return (left > right) - (left < right);
}

/* kind 0: continuous, 1: few different values, 2: sorted, 3: sorted down, 4: one outlier */
static void fill(struct test_random *random, double *values, size_t n, int kind) {
    for (size_t i = 0; i < n; i++) {
        double u = test_random_normal(random);
        values[i] = kind == 1 ? floor(2.0 * u) : kind == 4 ? 1.0 : u;
    }
    if (kind == 2 || kind == 3)
        qsort(values, n, sizeof(*values), by_number);
    for (size_t i = 0; kind == 3 && i < n / 2; i++) {
        double kept = values[i];
        values[i] = values[n - 1 - i];
        values[n - 1 - i] = kept;
    }
    if (kind == 4)
        values[n / 2] = 1e9;
}

START_TEST(selection_agrees_with_sorting) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    double values[2000], sorted[2000], copy[2000];
    for (int run = 0; run < 60; run++) {
        size_t n = 1 + (size_t)(test_random_unit(&random) * 1999.0);
        fill(&random, values, n, _i);
        memcpy(sorted, values, n * sizeof(*values));
        qsort(sorted, n, sizeof(*sorted), by_number);
        for (int k = 0; k < 8; k++) {
            size_t rank = (size_t)(test_random_unit(&random) * (double)n);
            memcpy(copy, values, n * sizeof(*values));
            ck_assert_double_eq(statistics_select(copy, n, rank), sorted[rank]);
            for (size_t i = 0; i < n; i++) /* what others rely on: a partition around the rank */
                ck_assert(i < rank ? copy[i] <= copy[rank] : copy[i] >= copy[rank]);
        }
        double median = 0.0, quantile = 0.0;
        ck_assert_int_eq(statistics_median(values, n, &median), STATISTICS_OK);
        ck_assert_double_eq(median, (sorted[(n - 1) / 2] + sorted[n / 2]) / 2);
        ck_assert_int_eq(statistics_quantile(values, n, 0.0, &quantile), STATISTICS_OK);
        ck_assert_double_eq(quantile, sorted[0]);
        ck_assert_int_eq(statistics_quantile(values, n, 1.0, &quantile), STATISTICS_OK);
        ck_assert_double_eq(quantile, sorted[n - 1]);
    }
}
END_TEST

/* Hyndman & Fan 1996, type 7; R quantile. */
START_TEST(quantiles_of_one_to_ten) {
    const double values[] = {10, 1, 9, 2, 8, 3, 7, 4, 6, 5};
    const double probability[] = {0.1, 0.25, 0.5, 0.9, 0.95},
                 expected[] = {1.9, 3.25, 5.5, 9.1, 9.55};
    for (size_t i = 0; i < 5; i++) {
        double quantile = 0.0;
        ck_assert_int_eq(statistics_quantile(values, 10, probability[i], &quantile), STATISTICS_OK);
        ck_assert_double_eq_tol(quantile, expected[i], 1e-12);
    }
}
END_TEST

START_TEST(textbook_spread) { /* R sd, median, mad */
    const double a[] = {2, 4, 4, 4, 5, 5, 7, 9}, b[] = {1, 1, 2, 2, 4, 6, 9};
    struct statistics_summary summary;
    double median = 0.0, mad = 0.0;
    ck_assert_int_eq(statistics_summarize(a, 8, &summary), STATISTICS_OK);
    ck_assert_double_eq_tol(summary.sd, 2.13808993530, 1e-11);
    ck_assert_int_eq(statistics_mad(a, 8, &median, &mad), STATISTICS_OK);
    ck_assert_double_eq(median, 4.5);
    ck_assert_double_eq(mad, 0.5);
    ck_assert_int_eq(statistics_mad(b, 7, &median, &mad), STATISTICS_OK);
    ck_assert_double_eq(median, 2.0);
    ck_assert_double_eq(mad, 1.0);
}
END_TEST

START_TEST(shifting_and_scaling_move_the_summary_alike) {
    struct test_random random = {test_seed()};
    double a[200], b[200];
    struct statistics_summary of_a, of_b;
    double r_a = 0.0, r_b = 0.0;
    fill(&random, a, 200, 0);
    for (size_t i = 0; i < 200; i++)
        b[i] = 3.0 * a[i] + 1000.0;
    ck_assert_int_eq(statistics_summarize(a, 200, &of_a), STATISTICS_OK);
    ck_assert_int_eq(statistics_summarize(b, 200, &of_b), STATISTICS_OK);
    ck_assert_double_eq_tol(of_b.mean, 3.0 * of_a.mean + 1000.0, 1e-9);
    ck_assert_double_eq_tol(of_b.sd, 3.0 * of_a.sd, 1e-9);
    ck_assert_int_eq(statistics_autocorrelation(a, 200, 3, &r_a), STATISTICS_OK);
    ck_assert_int_eq(statistics_autocorrelation(b, 200, 3, &r_b), STATISTICS_OK);
    ck_assert_double_eq_tol(r_a, r_b, 1e-9);
}
END_TEST

START_TEST(autocorrelation_with_and_without_holes) {
    struct test_random random = {test_seed()};
    double y[4000];
    int64_t place[4000];
    double x = 0.0, plain = 0.0, at = 0.0;
    for (size_t i = 0; i < 4000; i++) {
        x = 0.6 * x + 0.8 * test_random_normal(&random);
        y[i] = x;
        place[i] = (int64_t)i;
    }
    ck_assert_int_eq(statistics_autocorrelation(y, 4000, 1, &plain), STATISTICS_OK);
    ck_assert_int_eq(statistics_autocorrelation_at(place, y, 4000, 1, &at), STATISTICS_OK);
    ck_assert_double_eq_tol(plain, at, 1e-12);
    size_t n = 0; /* a third of the days is lost */
    for (size_t i = 0; i < 4000; i++)
        if (test_random_unit(&random) < 0.67) {
            y[n] = y[i];
            place[n++] = (int64_t)i;
        }
    ck_assert_int_eq(statistics_autocorrelation_at(place, y, n, 1, &at), STATISTICS_OK);
    ck_assert_double_eq_tol(at, 0.6, 0.1); /* four standard errors and more */
    const int64_t sparse[] = {0, 2, 4, 6};
    ck_assert_int_eq(statistics_autocorrelation_at(sparse, y, 4, 1, &at), STATISTICS_TOO_SHORT);
}
END_TEST

START_TEST(bias_of_r1_is_taken_off) { /* AR(1), r = 0.5, n = 30: plain r1 averages about 0.40 */
    struct test_random random = {test_seed()};
    double plain_sum = 0.0, unbiased_sum = 0.0;
    const int runs = 4000;
    for (int run = 0; run < runs; run++) {
        double y[30], x = test_random_normal(&random), r = 0.0;
        for (size_t i = 0; i < 30; i++) {
            x = 0.5 * x + sqrt(0.75) * test_random_normal(&random);
            y[i] = x;
        }
        ck_assert_int_eq(statistics_autocorrelation(y, 30, 1, &r), STATISTICS_OK);
        plain_sum += r;
        unbiased_sum += statistics_unbiased_r1(r, 30);
    }
    ck_assert_double_eq_tol(plain_sum / runs, 0.5 - 3.0 / 30.0, 0.03);
    ck_assert_double_eq_tol(unbiased_sum / runs, 0.5, 0.03);
    ck_assert_double_eq(statistics_effective_size(30, -0.5), 30.0);
    ck_assert_double_eq(statistics_effective_size(30, 1.0), 1.0);
}
END_TEST

START_TEST(ranks_share_ties) {
    const double values[] = {5, 1, 5, 3, 5, 1};
    const double expected[] = {5, 1.5, 5, 3, 5, 1.5};
    double ranks[6];
    ck_assert_int_eq(statistics_ranks(values, 6, ranks), STATISTICS_OK);
    for (size_t i = 0; i < 6; i++)
        ck_assert_double_eq(ranks[i], expected[i]);
}
END_TEST

START_TEST(distributions_are_symmetric_and_quantiles_inverse) {
    for (double degrees = 0.7; degrees < 5e8; degrees *= 3.1)
        for (double t = 0.0, p = 0.5; t < 40.0; t += 0.37) { /* symmetric, and rising */
            double above = statistics_t_cdf(t, degrees);
            ck_assert_double_ge(above, p);
            ck_assert_double_eq_tol(statistics_t_cdf(-t, degrees), 1.0 - above, 1e-10);
            p = above;
        }
    for (double p = 1e-12; p < 1.0; p += 0.0137) {
        double z = 0.0;
        ck_assert_int_eq(statistics_normal_quantile(p, &z), STATISTICS_OK);
        ck_assert_double_eq_tol(statistics_normal_cdf(z) / p, 1.0, 1e-10);
    }
    double at_half = 1.0;
    ck_assert_int_eq(statistics_normal_quantile(0.5, &at_half), STATISTICS_OK);
    ck_assert_double_eq(at_half, 0.0);
    ck_assert_double_eq(statistics_t_cdf(INFINITY, 3.0), 1.0);
    ck_assert_double_eq_tol(statistics_t_cdf(1.0, 1.0), 0.75, 1e-14); /* Cauchy */
}
END_TEST

START_TEST(bad_input_has_a_defined_answer) {
    const double holes[] = {1, NAN, 3, 4}, endless[] = {1, INFINITY, 2, 3}, same[] = {2, 2, 2, 2};
    const double huge[] = {1e308, -1e308, 1e308, -1e308};
    double result = -7.0, second = -7.0, ranks[4];
    struct statistics_summary summary;
    const double *const broken[] = {holes, endless};
    for (size_t i = 0; i < 2; i++) {
        ck_assert_int_eq(statistics_summarize(broken[i], 4, &summary), STATISTICS_NOT_FINITE);
        ck_assert_int_eq(statistics_median(broken[i], 4, &result), STATISTICS_NOT_FINITE);
        ck_assert_int_eq(statistics_mad(broken[i], 4, &result, &second), STATISTICS_NOT_FINITE);
        ck_assert_int_eq(statistics_quantile(broken[i], 4, 0.5, &result), STATISTICS_NOT_FINITE);
        ck_assert_int_eq(statistics_autocorrelation(broken[i], 4, 1, &result),
                         STATISTICS_NOT_FINITE);
        ck_assert_int_eq(statistics_ranks(broken[i], 4, ranks), STATISTICS_NOT_FINITE);
    }
    ck_assert_int_eq(statistics_summarize(huge, 4, &summary), STATISTICS_NOT_FINITE);
    ck_assert_int_eq(statistics_summarize(same, 1, &summary), STATISTICS_TOO_SHORT);
    ck_assert_int_eq(statistics_median(same, 0, &result), STATISTICS_TOO_SHORT);
    ck_assert_int_eq(statistics_quantile(same, 4, 1.5, &result), STATISTICS_OUT_OF_RANGE);
    ck_assert_int_eq(statistics_quantile(same, 4, NAN, &result), STATISTICS_OUT_OF_RANGE);
    ck_assert_int_eq(statistics_autocorrelation(same, 4, 1, &result), STATISTICS_CONSTANT);
    ck_assert_int_eq(statistics_autocorrelation(same, 4, 0, &result), STATISTICS_OUT_OF_RANGE);
    ck_assert_int_eq(statistics_autocorrelation(same, 4, 4, &result), STATISTICS_TOO_SHORT);
    ck_assert_int_eq(statistics_normal_quantile(0.0, &result), STATISTICS_OUT_OF_RANGE);
    ck_assert_double_eq(result, -7.0); /* written only on success */
    ck_assert_double_eq(second, -7.0);
    ck_assert_int_eq(statistics_summarize(same, 4, &summary), STATISTICS_OK);
    ck_assert_double_eq(summary.sd, 0.0);
}
END_TEST

int main(void) {
    TCase *t = tcase_create("statistics");
    tcase_add_loop_test(t, selection_agrees_with_sorting, 0, 5);
    tcase_add_test(t, quantiles_of_one_to_ten);
    tcase_add_test(t, textbook_spread);
    tcase_add_test(t, shifting_and_scaling_move_the_summary_alike);
    tcase_add_test(t, autocorrelation_with_and_without_holes);
    tcase_add_test(t, bias_of_r1_is_taken_off);
    tcase_add_test(t, ranks_share_ties);
    tcase_add_test(t, distributions_are_symmetric_and_quantiles_inverse);
    tcase_add_test(t, bad_input_has_a_defined_answer);
    test_seed();
    return run_test_case(t);
}
