/*
 * statistics against the NIST Statistical Reference Datasets, JCGM 100:2008 and tables of
 * quantiles. Certified figures are NIST's; where a tolerance is wider than rounding, the reason
 * stands beside it. The t, normal and quantile figures were computed with R 4.2.2.
 */
#include "analysis/statistics.h"
#include "published_univariate.h"
#include "test_support.h"

#include <math.h>
#include <stdlib.h>

static void assert_relative(double got, double expected, double tolerance, const char *what) {
    ck_assert_msg(fabs(got - expected) <= tolerance * fabs(expected), "%s: %.17g, expected %.17g",
                  what, got, expected);
}

static void check_set(const char *name, const double *values, size_t n, double mean, double sd,
                      double r1, double sd_tolerance) {
    struct statistics_summary summary;
    double r = 0.0;
    ck_assert_int_eq(statistics_summarize(values, n, &summary), STATISTICS_OK);
    ck_assert_int_eq(statistics_autocorrelation(values, n, 1, &r), STATISTICS_OK);
    assert_relative(summary.mean, mean, 1e-14, name);
    assert_relative(summary.sd, sd, sd_tolerance, name);
    assert_relative(r, r1, fmax(1e-10, 10.0 * sd_tolerance), name);
}

/* NIST StRD univariate, listed sets. */
START_TEST(listed_sets_agree_with_the_certified_values) {
    check_set("Lew", published_nist_lew, PUBLISHED_COUNT(published_nist_lew), -177.435,
              277.332168044316, -0.307304800605679, 1e-12);
    check_set("Lottery", published_nist_lottery, PUBLISHED_COUNT(published_nist_lottery),
              518.958715596330, 291.699727470969, -0.120948622967393, 1e-12);
    check_set("Mavro", published_nist_mavro, PUBLISHED_COUNT(published_nist_mavro), 2.001856,
              0.000429123454003053, 0.937989183438248, 1e-11);
    check_set("Michelso", published_nist_michelson, PUBLISHED_COUNT(published_nist_michelson),
              299.8524, 0.0790105478190518, 0.535199668621283, 1e-11);
}
END_TEST

/* NIST StRD NumAcc1 to 4, by their recipes: the sets that expose sums of squares. NumAcc3 and 4
 * can't be better than their rounded inputs: 3.5e-10 and 5.6e-9. */
static const struct {
    double first, low, high;
    size_t pairs;
    double mean, sd, r1, tolerance;
} recipes[] = {
    {1.2, 1.1, 1.3, 500, 1.2, 0.1, -0.999, 1e-13},
    {1000000.2, 1000000.1, 1000000.3, 500, 1000000.2, 0.1, -0.999, 1e-9},
    {10000000.2, 10000000.1, 10000000.3, 500, 10000000.2, 0.1, -0.999, 1e-8},
};

START_TEST(accuracy_sets_keep_their_digits) {
    double values[1001];
    size_t n = 0;
    values[n++] = recipes[_i].first;
    for (size_t i = 0; i < recipes[_i].pairs; i++) {
        values[n++] = recipes[_i].low;
        values[n++] = recipes[_i].high;
    }
    check_set("NumAcc2..4", values, n, recipes[_i].mean, recipes[_i].sd, recipes[_i].r1,
              recipes[_i].tolerance);
}
END_TEST

START_TEST(accuracy_set_1_is_exact) {
    const double values[] = {10000001, 10000003, 10000002};
    check_set("NumAcc1", values, 3, 10000002, 1.0, -0.5, 1e-15);
}
END_TEST

/* The first 5000 digits of pi, made here by the spigot of Rabinowitz & Wagon, Am. Math. Monthly 102
 * (1995) 195, against figures from Machin's formula in Python integers and numpy. (NIST's set
 * PiDigits certifies 4.5348 and 2.86733906: its listing is not quite these digits.) */
static void pi_digits(double *digits, size_t wanted) {
    size_t length = wanted * 10 / 3 + 20, count = 0, nines = 0;
    int64_t *a = malloc(length * sizeof(*a)), held = -1;
    ck_assert_ptr_nonnull(a);
    for (size_t i = 0; i < length; i++)
        a[i] = 2;
    while (count < wanted) {
        int64_t carry = 0;
        for (size_t i = length; i-- > 0;) {
            int64_t x = 10 * a[i] + carry * (int64_t)(i + 1), base = i ? 2 * (int64_t)i + 1 : 10;
            a[i] = x % base;
            carry = x / base;
        }
        if (carry == 9) {
            nines++;
            continue;
        }
        if (held >= 0 && count < wanted)
            digits[count++] = (double)(held + carry / 10);
        for (; nines > 0; nines--)
            if (count < wanted)
                digits[count++] = carry >= 10 ? 0.0 : 9.0;
        held = carry % 10;
    }
    free(a);
}

START_TEST(digits_of_pi) {
    static double digits[5000];
    pi_digits(digits, 5000);
    ck_assert_double_eq(digits[0], 3.0);
    ck_assert_double_eq(digits[4], 5.0);
    check_set("pi", digits, 5000, 4.5358, 2.8676755521876114, -0.0038020976321151375, 1e-12);
}
END_TEST

/* JCGM 100:2008, H.2: means of five sets of V, I and phase. */
START_TEST(simultaneous_readings_agree_with_the_guide) {
    const double volt[] = {5.007, 4.994, 5.005, 4.990, 4.999};
    const double ampere[] = {19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3};
    const double phase[] = {1.0456, 1.0438, 1.0468, 1.0428, 1.0433};
    struct statistics_summary v, i, p;
    ck_assert_int_eq(statistics_summarize(volt, 5, &v), STATISTICS_OK);
    ck_assert_int_eq(statistics_summarize(ampere, 5, &i), STATISTICS_OK);
    ck_assert_int_eq(statistics_summarize(phase, 5, &p), STATISTICS_OK);
    ck_assert_double_eq_tol(v.mean, 4.9990, 5e-5);
    ck_assert_double_eq_tol(v.sd / sqrt(5.0), 0.0032, 5e-5);
    ck_assert_double_eq_tol(i.mean * 1e3, 19.6610, 5e-5);
    ck_assert_double_eq_tol(i.sd * 1e3 / sqrt(5.0), 0.0095, 5e-5);
    ck_assert_double_eq_tol(p.mean, 1.04446, 5e-6);
    ck_assert_double_eq_tol(p.sd / sqrt(5.0), 0.00075, 5e-6);
}
END_TEST

/* R qt, five in the last digit printed. Columns 0.90, 0.95, 0.975, 0.995. */
static const struct {
    double degrees, at[4];
} t_table[] = {
    {1, {3.077684, 6.313752, 12.706205, 63.656741}}, {2, {1.885618, 2.919986, 4.302653, 9.924843}},
    {3, {1.637744, 2.353363, 3.182446, 5.840909}},   {5, {1.475884, 2.015048, 2.570582, 4.032143}},
    {9, {1.383029, 1.833113, 2.262157, 3.249836}},   {10, {1.372184, 1.812461, 2.228139, 3.169273}},
    {19, {1.327728, 1.729133, 2.093024, 2.860935}},  {29, {1.311434, 1.699127, 2.045230, 2.756386}},
    {60, {1.295821, 1.670649, 2.000298, 2.660283}},
};

START_TEST(t_distribution_agrees_with_the_table) {
    const double probability[] = {0.90, 0.95, 0.975, 0.995};
    for (size_t k = 0; k < 4; k++) {
        double t = t_table[_i].at[k], rounding = 5.1e-7;
        ck_assert_double_lt(statistics_t_cdf(t - rounding, t_table[_i].degrees), probability[k]);
        ck_assert_double_gt(statistics_t_cdf(t + rounding, t_table[_i].degrees), probability[k]);
    }
}
END_TEST

START_TEST(normal_distribution_agrees_with_the_table) { /* R qnorm, pnorm */
    const double probability[] = {0.90, 0.95, 0.975, 0.99, 0.995, 0.999, 0.9995};
    const double z_of[] = {1.2815515655, 1.6448536270, 1.9599639845, 2.3263478740,
                           2.5758293035, 3.0902323062, 3.2905267315};
    for (size_t k = 0; k < 7; k++) {
        double z = 0.0;
        ck_assert_int_eq(statistics_normal_quantile(probability[k], &z), STATISTICS_OK);
        ck_assert_double_eq_tol(z, z_of[k], 6e-11);
    }
    ck_assert_double_eq_tol(statistics_normal_cdf(1.0), 0.8413447461, 6e-11);
    ck_assert_double_eq_tol(statistics_normal_cdf(2.0), 0.9772498681, 6e-11);
    ck_assert_double_eq_tol(statistics_normal_cdf(3.0), 0.9986501020, 6e-11);
    ck_assert_double_eq_tol(1.0 / STATISTICS_MAD_TO_SD, 0.6744897501960817, 1e-14);
}
END_TEST

/* JCGM 100:2008, H.1.6: 99 % point of t at 16 degrees of freedom, 2.92. */
START_TEST(coverage_factor_of_the_end_gauge) {
    ck_assert_double_lt(statistics_t_cdf(2.92075, 16.0), 0.995);
    ck_assert_double_gt(statistics_t_cdf(2.92085, 16.0), 0.995);
}
END_TEST

/* Bayley & Hammersley 1946; figures of round numbers computed with Python. */
START_TEST(effective_sizes) {
    ck_assert_double_eq_tol(statistics_effective_size(365, 0.5), 121.666667, 1e-6);
    ck_assert_double_eq_tol(statistics_effective_size(30, 0.3), 16.153846, 1e-6);
    ck_assert_double_eq_tol(statistics_effective_size(100, 0.498408184), 33.474978, 1e-5);
    ck_assert_double_eq_tol(statistics_effective_size(98, 0.831911210), 8.992085, 1e-5);
    ck_assert_double_eq_tol(statistics_effective_size(48, 0.575524476), 12.932091, 1e-5);
}
END_TEST

int main(void) {
    TCase *t = tcase_create("statistics reference");
    tcase_add_test(t, listed_sets_agree_with_the_certified_values);
    tcase_add_loop_test(t, accuracy_sets_keep_their_digits, 0, 3);
    tcase_add_test(t, accuracy_set_1_is_exact);
    tcase_add_test(t, digits_of_pi);
    tcase_add_test(t, simultaneous_readings_agree_with_the_guide);
    tcase_add_loop_test(t, t_distribution_agrees_with_the_table, 0,
                        sizeof(t_table) / sizeof(t_table[0]));
    tcase_add_test(t, normal_distribution_agrees_with_the_table);
    tcase_add_test(t, coverage_factor_of_the_end_gauge);
    tcase_add_test(t, effective_sizes);
    return run_test_case(t);
}
