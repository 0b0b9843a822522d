#include "alarm/patience.h"

#include "test_support.h"

#define HOUR DURATION_HOUR_MS
#define DAY DURATION_DAY_MS

static const int64_t start_ms = INT64_C(1767225600000); /* 2026-01-01T00:00:00Z */

static struct alarm silence(enum condition condition, int64_t since_ms, int64_t lasted_ms) {
    return (struct alarm){.condition = condition,
                          .priority = condition_info(condition)->priority,
                          .since_ms = since_ms,
                          .returned_ms = lasted_ms ? since_ms + lasted_ms : TIMESTAMP_NONE};
}

static void learn(struct patience *patience, int64_t since_ms, int64_t lasted_ms) {
    const struct alarm over = silence(CONDITION_SYSTEM_SILENT, since_ms, lasted_ms);
    patience_learn(patience, &over);
}

/* How long a silence that begins then is not told. */
static int64_t held_ms(const struct patience *patience, enum condition condition,
                       int64_t since_ms) {
    const struct alarm now = silence(condition, since_ms, 0);
    int64_t until_ms = patience_until_ms(patience, &now);
    return until_ms == INT64_MIN ? 0 : until_ms - since_ms;
}

START_TEST(the_first_silence_is_told_at_once) {
    struct patience patience = {0};
    ck_assert_int_eq(held_ms(&patience, CONDITION_SYSTEM_SILENT, start_ms), 0);
}
END_TEST

START_TEST(a_house_that_came_back_after_a_day_gets_a_day) {
    struct patience patience = {0};
    learn(&patience, start_ms, DAY);
    learn(&patience, start_ms + 10 * DAY, 3 * HOUR);
    ck_assert_int_eq(held_ms(&patience, CONDITION_SYSTEM_SILENT, start_ms + 20 * DAY), DAY);
    ck_assert_int_eq(held_ms(&patience, CONDITION_SENSOR_SILENT, start_ms + 20 * DAY), DAY);
    ck_assert_int_eq(held_ms(&patience, CONDITION_SUCTION_LOST, start_ms + 20 * DAY), 0);
}
END_TEST

START_TEST(what_is_over_for_a_year_counts_no_more) {
    struct patience patience = {0};
    learn(&patience, start_ms, DAY);
    learn(&patience, start_ms + 200 * DAY, 3 * HOUR);
    ck_assert_int_eq(held_ms(&patience, CONDITION_SYSTEM_SILENT, start_ms + 366 * DAY), DAY);
    ck_assert_int_eq(held_ms(&patience, CONDITION_SYSTEM_SILENT, start_ms + 367 * DAY), 3 * HOUR);
    ck_assert_int_eq(held_ms(&patience, CONDITION_SYSTEM_SILENT, start_ms + 600 * DAY), 0);
}
END_TEST

/* Whoever was away for longer than a week was most likely mended: a dead one is told in a week. */
START_TEST(no_silence_is_held_for_longer_than_a_week) {
    struct patience patience = {0};
    learn(&patience, start_ms, 7 * DAY + 1);
    ck_assert_int_eq(held_ms(&patience, CONDITION_SYSTEM_SILENT, start_ms + 20 * DAY), 0);
    learn(&patience, start_ms, 7 * DAY);
    ck_assert_int_eq(held_ms(&patience, CONDITION_SYSTEM_SILENT, start_ms + 20 * DAY), 7 * DAY);
}
END_TEST

START_TEST(high_priority_and_ended_by_settings_are_left_alone) {
    struct patience patience = {0};
    struct alarm over = silence(CONDITION_SYSTEM_SILENT, start_ms, DAY);
    over.unwatched = true;
    patience_learn(&patience, &over);
    ck_assert_int_eq(held_ms(&patience, CONDITION_SYSTEM_SILENT, start_ms + 2 * DAY), 0);
    learn(&patience, start_ms, DAY);
    struct alarm high = silence(CONDITION_SYSTEM_SILENT, start_ms + 2 * DAY, 0);
    high.priority = PRIORITY_HIGH;
    ck_assert_int_eq(patience_until_ms(&patience, &high), INT64_MIN);
}
END_TEST

/* As read from the store, the newest first, it knows the same. */
START_TEST(order_does_not_matter) {
    static const int hours[] = {5, 60, 3, 30, 7, 2, 12};
    enum { COUNT = sizeof hours / sizeof hours[0] };
    struct patience forth = {0}, back = {0};
    for (int i = 0; i < COUNT; i++) {
        learn(&forth, start_ms + i * 10 * DAY, hours[i] * HOUR);
        learn(&back, start_ms + (COUNT - 1 - i) * 10 * DAY, hours[COUNT - 1 - i] * HOUR);
    }
    for (int day = COUNT * 10; day < 450; day++) {
        int64_t at_ms = start_ms + day * DAY, expected_ms = 0;
        for (int i = 0; i < COUNT; i++)
            if (at_ms - (start_ms + i * 10 * DAY + hours[i] * HOUR) <= 365 * DAY &&
                hours[i] * HOUR > expected_ms)
                expected_ms = hours[i] * HOUR;
        ck_assert_int_eq(held_ms(&forth, CONDITION_SENSOR_SILENT, at_ms), expected_ms);
        ck_assert_int_eq(held_ms(&back, CONDITION_SENSOR_SILENT, at_ms), expected_ms);
    }
}
END_TEST

/* Records of independent draws (Renyi 1962, from memory): of n lengths 1 + 1/2 + ... + 1/n are
   longer than all before them, whatever their distribution. */
START_TEST(twenty_outages_are_few_messages) {
    enum { HOUSES = 4000, OUTAGES = 20 };
    struct test_random random = {test_seed()};
    double told = 0.0, expected = 0.0;
    for (int house = 0; house < HOUSES; house++) {
        struct patience patience = {0};
        for (int i = 0; i < OUTAGES; i++) {
            int64_t since_ms = start_ms + i * 10 * DAY;
            int64_t lasted_ms = (int64_t)((double)(6 * DAY) * test_random_unit(&random)) + 1;
            told += lasted_ms > held_ms(&patience, CONDITION_SYSTEM_SILENT, since_ms);
            learn(&patience, since_ms, lasted_ms);
        }
    }
    for (int i = 1; i <= OUTAGES; i++)
        expected += 1.0 / i;
    ck_assert_double_eq_tol(told / HOUSES, expected, 0.1); /* standard error 0.023 */
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("patience");
    tcase_add_test(tcase, the_first_silence_is_told_at_once);
    tcase_add_test(tcase, a_house_that_came_back_after_a_day_gets_a_day);
    tcase_add_test(tcase, what_is_over_for_a_year_counts_no_more);
    tcase_add_test(tcase, no_silence_is_held_for_longer_than_a_week);
    tcase_add_test(tcase, high_priority_and_ended_by_settings_are_left_alone);
    tcase_add_test(tcase, order_does_not_matter);
    tcase_add_test(tcase, twenty_outages_are_few_messages);
    return run_test_case(tcase);
}
