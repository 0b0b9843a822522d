#include "analysis/rollup.h"
#include "test_support.h"

#include <math.h>

#define HOUR ROLLUP_HOUR_MS
#define MINUTE INT64_C(60000)

static struct rollup_hour closed[64];
static size_t closed_count;

static void keep(void *context, const struct rollup_hour *hour) {
    (void)context;
    closed[closed_count++] = *hour;
}

START_TEST(a_span_is_shared_among_its_hours) {
    struct rollup_hour hour = {.hour_ms = INT64_MIN};
    closed_count = 0;
    const struct reading first = {9 * HOUR + 50 * MINUTE, 4.0},
                         second = {10 * HOUR + 10 * MINUTE, 6.0};
    rollup_add(&hour, &first, 10 * MINUTE, keep, NULL);
    rollup_add(&hour, &second, 20 * MINUTE, keep, NULL);
    ck_assert_uint_eq(closed_count, 1);
    ck_assert_int_eq(closed[0].covered_ms, 20 * MINUTE); /* 9:40-9:50 and 9:50-10:00 */
    ck_assert_double_eq_tol(closed[0].value_ms, (4.0 + 6.0) * 10 * MINUTE, 1e-6);
    ck_assert_int_eq(closed[0].count, 1);
    ck_assert_int_eq(hour.hour_ms, 10 * HOUR);
    ck_assert_int_eq(hour.covered_ms, 10 * MINUTE);
    ck_assert_double_eq(hour.lowest, 6.0);
}
END_TEST

START_TEST(a_gap_leaves_hours_out) {
    struct rollup_hour hour = {.hour_ms = INT64_MIN};
    closed_count = 0;
    const struct reading first = {HOUR / 2, 1.0}, second = {10 * HOUR + HOUR / 2, 2.0};
    rollup_add(&hour, &first, 10 * MINUTE, keep, NULL);
    rollup_add(&hour, &second, 10 * MINUTE, keep, NULL);
    ck_assert_uint_eq(closed_count, 1);
    ck_assert_int_eq(hour.hour_ms, 10 * HOUR);
}
END_TEST

START_TEST(a_long_span_fills_every_hour) {
    struct rollup_hour hour = {.hour_ms = INT64_MIN};
    closed_count = 0;
    const struct reading reading = {5 * HOUR, 3.0};
    rollup_add(&hour, &reading, 4 * HOUR, keep, NULL);
    ck_assert_uint_eq(closed_count, 4);
    for (size_t i = 0; i < 4; i++) {
        ck_assert_int_eq(closed[i].covered_ms, HOUR);
        ck_assert_int_eq(closed[i].count, 0);
        ck_assert(isnan(closed[i].lowest));
    }
    ck_assert_int_eq(hour.count, 1);
    ck_assert_int_eq(hour.covered_ms, 0);
}
END_TEST

START_TEST(hours_before_1970_begin_earlier_not_later) {
    ck_assert_int_eq(rollup_hour_start(-1), -HOUR);
    ck_assert_int_eq(rollup_hour_start(-HOUR), -HOUR);
    ck_assert_int_eq(rollup_hour_start(HOUR + 1), HOUR);
}
END_TEST

/* Against a plain sum over the same spans, whatever the steps and gaps. */
START_TEST(the_window_agrees_with_a_plain_sum) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    struct rollup_window window;
    rollup_window_clear(&window);
    enum { COUNT = 600 };
    struct reading readings[COUNT];
    int64_t spans[COUNT], time_ms = 1700000000000;
    for (int i = 0; i < COUNT; i++) {
        int64_t step_ms = MINUTE + (int64_t)(test_random_unit(&random) * 20 * MINUTE);
        if (test_random_unit(&random) < 0.01)
            step_ms += (int64_t)(test_random_unit(&random) * 40 * HOUR);
        time_ms += step_ms;
        readings[i] = (struct reading){time_ms, 100.0 * test_random_unit(&random)};
        spans[i] = step_ms < 10 * MINUTE ? step_ms : 10 * MINUTE;
        rollup_window_add(&window, &readings[i], spans[i]);
        double mean = NAN, coverage = NAN, value_ms = 0, covered_ms = 0;
        /* The window begins within an hour whose part counts; compare where it begins on one. */
        int64_t end_ms = rollup_hour_start(time_ms) + HOUR;
        for (int j = 0; j <= i; j++) {
            int64_t from_ms = readings[j].time_ms - spans[j];
            if (from_ms < end_ms - 24 * HOUR)
                from_ms = end_ms - 24 * HOUR;
            if (from_ms < readings[j].time_ms) {
                value_ms += readings[j].value * (double)(readings[j].time_ms - from_ms);
                covered_ms += (double)(readings[j].time_ms - from_ms);
            }
        }
        ck_assert(rollup_window_mean(&window, end_ms, &mean, &coverage));
        ck_assert_double_eq_tol(mean, value_ms / covered_ms, 1e-9);
        ck_assert_double_eq_tol(coverage, covered_ms / (24.0 * HOUR), 1e-12);
    }
}
END_TEST

START_TEST(an_empty_window_has_no_mean) {
    struct rollup_window window;
    double mean = -1, coverage = -1;
    rollup_window_clear(&window);
    ck_assert(!rollup_window_mean(&window, 0, &mean, &coverage));
    ck_assert_double_eq(mean, -1);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("rollup");
    tcase_add_test(tcase, a_span_is_shared_among_its_hours);
    tcase_add_test(tcase, a_gap_leaves_hours_out);
    tcase_add_test(tcase, a_long_span_fills_every_hour);
    tcase_add_test(tcase, hours_before_1970_begin_earlier_not_later);
    tcase_add_loop_test(tcase, the_window_agrees_with_a_plain_sum, 0, 10);
    tcase_add_test(tcase, an_empty_window_has_no_mean);
    return run_test_case(tcase);
}
