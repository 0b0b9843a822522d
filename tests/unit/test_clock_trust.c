#include "monitor/clock_trust.h"

#include "measure/duration.h"
#include "measure/timestamp.h"
#include "test_support.h"

static const int64_t now_ms = INT64_C(1790000000000); /* in 2026 */
static struct clock_sensors sensors;

static void set_up(void) {
    ck_assert(clock_sensors_open(&sensors, 10));
}

static void tear_down(void) {
    clock_sensors_close(&sensors);
}

static enum clock_doubt judge(int64_t at_ms, int64_t newest_ms, int64_t life_ms) {
    const struct clock_evidence evidence = {
        .now_ms = at_ms, .memory = {newest_ms, life_ms}, .sensors = &sensors};
    return clock_trust_judge(&evidence);
}

START_TEST(memory_speaks_against_a_clock) {
    static const struct {
        int64_t now_ms, newest_ms, life_ms;
        enum clock_doubt doubt;
    } cases[] = {
        {now_ms, TIMESTAMP_NONE, TIMESTAMP_NONE, CLOCK_TRUSTED},
        {now_ms, now_ms - DURATION_HOUR_MS, TIMESTAMP_NONE, CLOCK_TRUSTED},
        {now_ms, TIMESTAMP_NONE, now_ms - DURATION_HOUR_MS, CLOCK_TRUSTED},
        {180000, TIMESTAMP_NONE, TIMESTAMP_NONE, CLOCK_NOT_SET}, /* 1970 */
        {180000, now_ms, now_ms, CLOCK_NOT_SET},
        {now_ms, now_ms + CLOCK_TRUST_SLACK_MS, now_ms, CLOCK_TRUSTED},
        {now_ms, now_ms + CLOCK_TRUST_SLACK_MS + 1, now_ms, CLOCK_BEFORE_READINGS},
        {now_ms, now_ms, now_ms + CLOCK_TRUST_SLACK_MS + 1, CLOCK_BEFORE_LIFE},
        {now_ms, now_ms + 2 * DURATION_DAY_MS, TIMESTAMP_NONE, CLOCK_BEFORE_READINGS},
        {now_ms, now_ms - 365 * DURATION_DAY_MS, now_ms - 365 * DURATION_DAY_MS, CLOCK_FAR_AHEAD},
        {now_ms, now_ms - 365 * DURATION_DAY_MS, now_ms - DURATION_DAY_MS, CLOCK_TRUSTED},
        {now_ms, now_ms - 29 * DURATION_DAY_MS, TIMESTAMP_NONE, CLOCK_TRUSTED},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        ck_assert_msg(judge(cases[i].now_ms, cases[i].newest_ms, cases[i].life_ms) ==
                          cases[i].doubt,
                      "case %zu", i);
}
END_TEST

START_TEST(a_clock_set_by_many_small_steps_is_trusted_in_the_end) {
    int64_t at_ms = now_ms - 2 * DURATION_DAY_MS;
    for (; at_ms < now_ms - CLOCK_TRUST_SLACK_MS; at_ms += 20 * DURATION_SECOND_MS)
        ck_assert_int_eq(judge(at_ms, now_ms, now_ms), CLOCK_BEFORE_READINGS);
    ck_assert_int_eq(judge(at_ms, now_ms, now_ms), CLOCK_TRUSTED);
}
END_TEST

START_TEST(several_sensors_ahead_speak_against_it_and_one_does_not) {
    clock_sensors_ahead(&sensors, 3);
    clock_sensors_ahead(&sensors, 3);
    ck_assert_int_eq(judge(now_ms, now_ms, now_ms), CLOCK_TRUSTED);
    clock_sensors_time(&sensors, 4, now_ms + CLOCK_TRUST_SLACK_MS + 1, DURATION_MINUTE_MS, now_ms);
    ck_assert_int_eq(judge(now_ms, now_ms, now_ms), CLOCK_BEHIND_SENSORS);
    /* Outvoted: it is a gateway that is wrong. */
    for (size_t point = 5; point < 8; point++)
        clock_sensors_time(&sensors, point, now_ms - 1000, DURATION_MINUTE_MS, now_ms);
    ck_assert_int_eq(judge(now_ms, now_ms, now_ms), CLOCK_TRUSTED);
    ck_assert(clock_sensors_agree(&sensors));
    clock_sensors_forget(&sensors);
    ck_assert(!clock_sensors_agree(&sensors));
    ck_assert_uint_eq(sensors.ahead, 0);
}
END_TEST

START_TEST(one_sensor_ahead_is_enough_where_the_clock_was_set_back) {
    const struct clock_evidence evidence = {
        .now_ms = now_ms, .memory = {now_ms, now_ms}, .sensors = &sensors, .moved_back = true};
    ck_assert_int_eq(clock_trust_judge(&evidence), CLOCK_TRUSTED);
    clock_sensors_ahead(&sensors, 3);
    ck_assert_int_eq(clock_trust_judge(&evidence), CLOCK_BEHIND_SENSORS);
    clock_sensors_time(&sensors, 4, now_ms - 1000, DURATION_MINUTE_MS, now_ms);
    ck_assert_int_eq(clock_trust_judge(&evidence), CLOCK_TRUSTED);
}
END_TEST

/* Our clock is 13 min slow; a message that waits with the broker comes again and again. */
START_TEST(a_time_that_the_clock_catches_up_with_does_not_agree) {
    const int64_t time_ms = now_ms + 13 * DURATION_MINUTE_MS;
    for (int64_t minute = 0; minute < 20; minute++) {
        clock_sensors_ask_anew(&sensors);
        clock_sensors_time(&sensors, 3, time_ms, DURATION_HOUR_MS,
                           now_ms + minute * DURATION_MINUTE_MS);
        /* Nor does an older one that comes behind it. */
        clock_sensors_time(&sensors, 3, now_ms - DURATION_MINUTE_MS, DURATION_HOUR_MS, now_ms);
        ck_assert_uint_eq(sensors.ahead, 1);
        ck_assert_uint_eq(sensors.agreeing, 0);
    }
    clock_sensors_forget(&sensors); /* the clock is set */
    clock_sensors_time(&sensors, 3, time_ms, DURATION_HOUR_MS, time_ms + DURATION_MINUTE_MS);
    ck_assert_uint_eq(sensors.ahead, 0);
    ck_assert_uint_eq(sensors.agreeing, 1);
}
END_TEST

START_TEST(sensors_that_agree_end_a_doubt_of_our_own_memory) {
    const int64_t year_ahead_ms = now_ms + 365 * DURATION_DAY_MS;
    ck_assert_int_eq(judge(now_ms, year_ahead_ms, year_ahead_ms), CLOCK_BEFORE_READINGS);
    /* A reading from the past says nothing of the clock. */
    clock_sensors_time(&sensors, 0, now_ms - DURATION_DAY_MS, DURATION_HOUR_MS, now_ms);
    clock_sensors_time(&sensors, 1, now_ms - DURATION_DAY_MS, DURATION_HOUR_MS, now_ms);
    ck_assert_int_eq(judge(now_ms, year_ahead_ms, year_ahead_ms), CLOCK_BEFORE_READINGS);
    clock_sensors_time(&sensors, 0, now_ms - DURATION_MINUTE_MS, DURATION_HOUR_MS, now_ms);
    ck_assert_int_eq(judge(now_ms, year_ahead_ms, year_ahead_ms), CLOCK_BEFORE_READINGS);
    clock_sensors_time(&sensors, 1, now_ms - DURATION_MINUTE_MS, DURATION_HOUR_MS, now_ms);
    ck_assert_int_eq(judge(now_ms, year_ahead_ms, year_ahead_ms), CLOCK_TRUSTED);
}
END_TEST

START_TEST(memory_is_given_up_after_a_day_and_sensors_are_not) {
    struct clock_evidence evidence = {.now_ms = now_ms,
                                      .memory = {TIMESTAMP_NONE, now_ms + DURATION_DAY_MS},
                                      .sensors = &sensors,
                                      .held_ms = DURATION_DAY_MS - 1};
    ck_assert_int_eq(clock_trust_judge(&evidence), CLOCK_BEFORE_LIFE);
    evidence.held_ms++;
    ck_assert_int_eq(clock_trust_judge(&evidence), CLOCK_TRUSTED);
    clock_sensors_ahead(&sensors, 0);
    clock_sensors_ahead(&sensors, 1);
    ck_assert_int_eq(clock_trust_judge(&evidence), CLOCK_BEHIND_SENSORS);
    evidence.synchronised = true;
    ck_assert_int_eq(clock_trust_judge(&evidence), CLOCK_TRUSTED);
    evidence.now_ms = 0;
    ck_assert_int_eq(clock_trust_judge(&evidence), CLOCK_NOT_SET);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("clock_trust");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, memory_speaks_against_a_clock);
    tcase_add_test(tcase, a_clock_set_by_many_small_steps_is_trusted_in_the_end);
    tcase_add_test(tcase, several_sensors_ahead_speak_against_it_and_one_does_not);
    tcase_add_test(tcase, one_sensor_ahead_is_enough_where_the_clock_was_set_back);
    tcase_add_test(tcase, a_time_that_the_clock_catches_up_with_does_not_agree);
    tcase_add_test(tcase, sensors_that_agree_end_a_doubt_of_our_own_memory);
    tcase_add_test(tcase, memory_is_given_up_after_a_day_and_sensors_are_not);
    return run_test_case(tcase);
}
