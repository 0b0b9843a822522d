/* The axis of a chart, for whatever values there are. */
#include "page/axis.h"
#include "test_support.h"

#include <float.h>
#include <math.h>
#include <string.h>

static const struct {
    double lowest, highest, least_span;
    double low, high, step;
} fits[] = {
    {0.0, 150.0, 0.01, 0.0, 200.0, 50.0},
    {0.0, 100.0, 0.01, 0.0, 120.0, 20.0},
    {20.0, 20.0, 0.001, 19.99, 20.015, 0.005}, /* a constant: a thousandth of it */
    {20.0, 20.000000000000004, 0.001, 19.99, 20.015, 0.005},
    {0.0, 0.0, 0.5, 0.0, 0.6, 0.1},
    {0.0, DBL_TRUE_MIN, 0.5, 0.0, 0.6, 0.1},
    {-DBL_TRUE_MIN, 0.0, 0.5, -0.5, 0.1, 0.1},
    {INFINITY, -INFINITY, 0.5, 0.0, 0.6, 0.1}, /* no value at all */
    {0.0, 0.0, 0.0, 0.0, 1.2e-9, 2e-10},       /* not even a least span */
    {-1e12, 1e12, 0.5, -1e12, 1.5e12, 5e11},
};

START_TEST(axes_have_round_ends) {
    struct page_axis axis = page_axis_fit(fits[_i].lowest, fits[_i].highest, fits[_i].least_span);
    double near = fits[_i].step * 1e-6;
    ck_assert_double_eq_tol(axis.low, fits[_i].low, near);
    ck_assert_double_eq_tol(axis.high, fits[_i].high, near);
    ck_assert_double_eq_tol(axis.step, fits[_i].step, near);
}
END_TEST

/* Any finite double that an axis can hold, of all sizes alike. */
static double any_value(struct test_random *random) {
    double value;
    do {
        uint64_t bits = test_random_next(random);
        memcpy(&value, &bits, sizeof value);
    } while (!page_axis_can_draw(value));
    return value;
}

static void check_axis(double one, double other, double least_span) {
    char text[400], before[400] = "";
    double lowest = fmin(one, other), highest = fmax(one, other);
    struct page_axis axis = page_axis_fit(lowest, highest, least_span);
    size_t ticks = page_axis_tick_count(&axis);
    double low = page_axis_part(&axis, lowest), high = page_axis_part(&axis, highest);
    ck_assert_double_lt(axis.low, axis.high);
    ck_assert_double_ge(axis.high - axis.low, 0.999 * least_span);
    ck_assert_double_le(axis.low, lowest + 1e-6 * axis.step);
    ck_assert_double_ge(axis.high, highest - 1e-6 * axis.step);
    ck_assert(0.0 <= low && low <= high && high <= 1.0);
    ck_assert_uint_ge(ticks, 3);
    ck_assert_double_ge(page_axis_tick(&axis, ticks - 1), axis.high - 0.001 * axis.step);
    for (size_t i = 0; i < ticks; i++) {
        page_axis_tick_text(&axis, i, text, sizeof text);
        ck_assert_str_ne(text, before);
        memcpy(before, text, sizeof text);
    }
}

START_TEST(any_values_have_an_axis) {
    struct test_random random = {test_seed()};
    for (int i = 0; i < 300; i++) {
        double one = any_value(&random);
        double least_span = pow(10.0, 8.0 * test_random_unit(&random) - 6.0);
        check_axis(one, any_value(&random), least_span);
        check_axis(one, one, least_span);
        check_axis(one, nextafter(one, INFINITY), least_span);
        check_axis(one, 0.0, least_span);
    }
}
END_TEST

START_TEST(what_is_no_number_or_too_large_is_not_drawn) {
    ck_assert(page_axis_can_draw(0.0));
    ck_assert(page_axis_can_draw(DBL_TRUE_MIN));
    ck_assert(page_axis_can_draw(-1e12));
    ck_assert(!page_axis_can_draw(NAN));
    ck_assert(!page_axis_can_draw(INFINITY));
    ck_assert(!page_axis_can_draw(-DBL_MAX));
}
END_TEST

int main(void) {
    TCase *axes = tcase_create("page axis");
    tcase_add_loop_test(axes, axes_have_round_ends, 0, (int)(sizeof fits / sizeof fits[0]));
    tcase_add_test(axes, any_values_have_an_axis);
    tcase_add_test(axes, what_is_no_number_or_too_large_is_not_drawn);
    return run_test_case(axes);
}
