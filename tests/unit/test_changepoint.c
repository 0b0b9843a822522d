/* changepoint: places, false-signal rates on random series, bad input. */
#include "analysis/changepoint.h"
#include "test_support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static double y[1000];

static void autoregression(struct test_random *random, double r, size_t n) {
    double value = test_random_normal(random);
    for (size_t i = 0; i < n; i++) {
        value = r * value + sqrt(1.0 - r * r) * test_random_normal(random);
        y[i] = value;
    }
}

START_TEST(a_clear_step_is_placed) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    struct changepoint by_squares;
    size_t n = 200, place = 40 + 30 * (size_t)_i;
    autoregression(&random, 0.0, n);
    for (size_t i = place; i < n; i++)
        y[i] += 6.0;
    ck_assert_int_eq(changepoint_least_squares(y, n, 0.15, &by_squares), CHANGEPOINT_OK);
    ck_assert_int_le(llabs((long long)by_squares.before - (long long)place), 2);
    ck_assert_double_lt(by_squares.p_autocorrelated, 1e-6);
    ck_assert_double_eq_tol(by_squares.mean_after - by_squares.mean_before, 6.0, 1.5);
}
END_TEST

START_TEST(a_perfect_step_has_a_finite_answer) {
    struct changepoint found;
    for (size_t i = 0; i < 20; i++)
        y[i] = i < 8 ? 1.0 : 2.0;
    ck_assert_int_eq(changepoint_least_squares(y, 20, 0.15, &found), CHANGEPOINT_OK);
    ck_assert_uint_eq(found.before, 8);
    ck_assert(isfinite(found.statistic) && found.p_value < 1e-6);
}
END_TEST

/* Share of p < 0.05 without a step. Independent values: near or below 5 %. r1 = 0.5: far more by
 * the plain p, which is why there is another. */
static const struct {
    double r;
    size_t n;
    double most;
} rows[] = {{0.0, 100, 0.08}, {0.0, 365, 0.08}, {0.5, 180, 0.10}, {0.5, 365, 0.09}};

START_TEST(false_signals_keep_their_level) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    const int runs = 1500;
    int squares = 0, squares_plain = 0;
    for (int run = 0; run < runs; run++) {
        struct changepoint found;
        autoregression(&random, rows[_i].r, rows[_i].n);
        ck_assert_int_eq(changepoint_least_squares(y, rows[_i].n, 0.15, &found), CHANGEPOINT_OK);
        squares += found.p_autocorrelated < 0.05;
        squares_plain += found.p_value < 0.05;
    }
    double share = 1.0 / runs;
    printf("n %zu, r %.1f: least squares %.3f (plain %.3f)\n", rows[_i].n, rows[_i].r,
           squares * share, squares_plain * share);
    ck_assert_double_le(squares * share, rows[_i].most);
    ck_assert_double_ge(squares * share, 0.01);
    if (rows[_i].r == 0.0)
        ck_assert_double_le(squares_plain * share, 0.08);
}
END_TEST

START_TEST(bad_input_has_a_defined_answer) {
    struct changepoint found;
    for (size_t i = 0; i < 20; i++)
        y[i] = 3.0;
    ck_assert_int_eq(changepoint_least_squares(y, 9, 0.15, &found), CHANGEPOINT_TOO_SHORT);
    ck_assert_int_eq(changepoint_least_squares(y, 20, 0.15, &found), CHANGEPOINT_CONSTANT);
    ck_assert_int_eq(changepoint_least_squares(y, 20, 0.5, &found), CHANGEPOINT_OUT_OF_RANGE);
    ck_assert_int_eq(changepoint_least_squares(y, 20, NAN, &found), CHANGEPOINT_OUT_OF_RANGE);
    y[4] = NAN;
    ck_assert_int_eq(changepoint_least_squares(y, 20, 0.15, &found), CHANGEPOINT_NOT_FINITE);
    y[4] = INFINITY;
    ck_assert_int_eq(changepoint_least_squares(y, 20, 0.15, &found), CHANGEPOINT_NOT_FINITE);
}
END_TEST

int main(void) {
    TCase *t = tcase_create("changepoint");
    tcase_add_loop_test(t, a_clear_step_is_placed, 0, 5);
    tcase_add_test(t, a_perfect_step_has_a_finite_answer);
    tcase_add_loop_test(t, false_signals_keep_their_level, 0, sizeof(rows) / sizeof(rows[0]));
    tcase_add_test(t, bad_input_has_a_defined_answer);
    test_seed();
    return run_test_case(t);
}
