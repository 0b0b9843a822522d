/*
 * The monitor as a whole, fed reading by reading with a clock of our own.
 */
#include "monitor_bench.h"

#include <math.h>

#define HOUR DURATION_HOUR_MS

START_TEST(suction_low_needs_six_hours_and_ends_with_its_deadband) {
    live_for(SUCTION, 130.0, 0, 500);
    ck_assert_str_eq(told, "+suction-low@360");
    live_for(SUCTION, 145.0, 500, 700); /* above 70 %, within the deadband of 5 % */
    ck_assert_str_eq(told, "+suction-low@360");
    live_for(SUCTION, 160.0, 700, 720);
    ck_assert_str_eq(told, "+suction-low@360 -suction-low@710");
}
END_TEST

/* A gauge that reads once a day: of a suction that is well, and scatters in the wind, two readings
   in a row are low; then it falls for good. A stop is told by the first reading. */
START_TEST(of_few_readings_several_must_be_low) {
    static const char daily[] = "id: house\nname: House\npoints:\n"
                                "  - {id: suction, quantity: suction, unit: Pa, every: 1 d}\n"
                                "  - {id: hole, quantity: field, unit: Pa, every: 1 d}\n";
    static const double suctions[] = {200, 130, 135, 190, 210, 130, 128, 132, 131, 129};
    static const double fields[] = {8.0, 3.0, 3.5, 7.0, 9.0, 3.1, 3.0, 3.4, 3.2, 3.0};
    const char *const systems[] = {daily};
    tear_down();
    fleet = small_fleet(NULL, systems, 1);
    monitor = monitor_create(fleet);
    ck_assert_ptr_nonnull(monitor);
    monitor_load_baseline(monitor, 0, start_ms, 200.0, "the installer", false);
    monitor_load_baseline(monitor, 1, start_ms, 8.0, "the installer", false);
    told[0] = '\0';
    for (int day = 0; day < 10; day++) {
        live(0, suctions[day], day * 1440);
        live(1, fields[day], day * 1440);
        for (int hour = 1; hour < 24; hour++)
            advance(start_ms + (day * 24 + hour) * HOUR);
    }
    ck_assert_str_eq(told, "+suction-low@11520"); /* day 5 and three more; it hides the field */
    live(0, 180.0, 10 * 1440);                    /* nor is one good reading a recovery */
    live(0, 131.0, 11 * 1440);
    ck_assert_str_eq(told, "+suction-low@11520");
    live(0, 3.0, 12 * 1440);
    advance(start_ms + 12 * 24 * HOUR + 30 * MINUTE);
    ck_assert_ptr_nonnull(strstr(told, "+suction-lost@17310"));
}
END_TEST

START_TEST(suction_lost_hides_suction_low) {
    live_for(SUCTION, 5.0, 0, 500);
    ck_assert_str_eq(told, "+suction-lost@30");
    const struct alarm *low =
        alarm_book_standing(monitor_alarms(monitor), 0, SUCTION, CONDITION_SUCTION_LOW);
    ck_assert_ptr_nonnull(low);
    ck_assert_int_eq(alarm_state(low), ALARM_SUPPRESSED_BY_DESIGN);
}
END_TEST

START_TEST(a_stopped_fan_is_told_once_for_all_that_follows) {
    for (int64_t m = 0; m < 120; m += 10) {
        live(POWER, 0.1 + 0.01 * (double)(m % 30), m);
        live(SUCTION, 1.0 + 0.1 * (double)(m % 30), m);
    }
    ck_assert_str_eq(told, "+fan-stopped@15");
    for (int64_t m = 120; m < 200; m += 10) {
        live(POWER, 20.0 + 0.01 * (double)(m % 30), m);
        live(SUCTION, 199.0 + 0.1 * (double)(m % 30), m);
    }
    ck_assert_str_eq(told, "+fan-stopped@15 -fan-stopped@130");
}
END_TEST

START_TEST(without_a_baseline_relative_limits_do_not_judge) {
    monitor_destroy(monitor);
    monitor = monitor_create(fleet);
    live_for(SUCTION, 1.0, 0, 2000);
    ck_assert_str_eq(told, "");
}
END_TEST

START_TEST(a_delay_ends_only_on_evidence) {
    live(POWER, 0.0, 0);
    live(POWER, 0.0, 10);
    for (int64_t m = 10; m < 60; m++) /* no further reading: 15 min are over at minute 15 */
        advance(start_ms + m * MINUTE);
    ck_assert_msg(strstr(told, "+fan-stopped@15") != NULL, "%s", told);
    tear_down();
    set_up();
    live(SUCTION, 5.0, 0); /* 6 h of suction-low can't end on one reading */
    for (int64_t m = 1; m < 600; m++)
        advance(start_ms + m * MINUTE);
    ck_assert_ptr_null(strstr(told, "suction-low"));
    ck_assert_ptr_nonnull(strstr(told, "suction-lost@30"));
}
END_TEST

START_TEST(a_backlog_says_what_stands_and_keeps_the_rest_as_history) {
    int64_t now_ms = start_ms + 2000 * MINUTE;
    monitor_set_backlog(monitor, true, now_ms);
    for (int64_t m = 0; m < 1990; m += 10) {
        bool fault = (m >= 200 && m < 400) || m >= 1500;
        const struct reading reading = {start_ms + m * MINUTE,
                                        fault ? 5.0 + (double)(m % 7) : 200.0 + (double)(m % 7)};
        monitor_reading(monitor, SUCTION, &reading, now_ms);
        advance(now_ms);
    }
    ck_assert_str_eq(told, "");
    monitor_set_backlog(monitor, false, now_ms);
    advance(now_ms + 3000);
    ck_assert_str_eq(told, "+suction-lost@1530");
}
END_TEST

/* A gateway was cut off for hours and now sends what it kept, one reading after the other: between
   two of them no delay ends, whatever the clock says. */
START_TEST(a_delay_does_not_end_while_its_readings_are_still_on_their_way) {
    int64_t now_ms = start_ms + 1000 * MINUTE;
    live_for(SUCTION, 200.0, 0, 60);
    for (int64_t m = 60; m <= 800; m += 10) {
        const struct reading reading = {start_ms + m * MINUTE + (m == 450 ? 5 * MINUTE : 0),
                                        (m >= 100 && m < 450 ? 100.0 : 200.0) + (double)(m % 7)};
        monitor_reading(monitor, SUCTION, &reading, now_ms);
        advance(now_ms += 5000);
    }
    ck_assert_uint_eq(alarm_book_count(monitor_alarms(monitor)), 0);
}
END_TEST

/* Ours is set two hours ahead, the sensor's is right all the time: six hours are six of its own. */
START_TEST(a_delay_goes_by_the_clock_of_the_sensor) {
    int64_t beside_ms = 0;
    for (int64_t m = 0; m < 600; m += 10) {
        const struct reading reading = {start_ms + m * MINUTE,
                                        (m < 60 ? 200.0 : 100.0) + (double)(m % 7)};
        if (m == 120)
            monitor_clock_moved(monitor, beside_ms = 2 * HOUR);
        advance(reading.time_ms + beside_ms - MINUTE);
        monitor_reading(monitor, SUCTION, &reading, reading.time_ms + beside_ms);
        advance(reading.time_ms + beside_ms);
    }
    ck_assert_ptr_nonnull(strstr(told, "+suction-low@420"));
}
END_TEST

START_TEST(the_mean_of_a_day_decides_radon_high) {
    for (int64_t m = 0; m < 6 * 1440; m += 60)
        live(RADON, (m >= 2 * 1440 && m < 4 * 1440 ? 600.0 : 60.0) + (double)(m % 7), m);
    /* From 60 to 600 Bq/m3 the mean of 24 h passes 296 after (296 - 60) / 540 of a day: 10.5 h;
       then 24 h of on-delay. */
    ck_assert_ptr_nonnull(strstr(told, "+radon-high@"));
    long long at = atoll(strstr(told, "+radon-high@") + strlen("+radon-high@"));
    ck_assert_int_ge(at, 2 * 1440 + 629 + 1440 - 60);
    ck_assert_int_le(at, 2 * 1440 + 629 + 1440 + 60);
}
END_TEST

/* A house that swings by less than half of the action level below its limit is one matter. */
START_TEST(radon_that_swings_is_high_once) {
    for (int64_t m = 0; m < 90 * 1440; m += 60) {
        int64_t day = m / 1440;
        bool high = day >= 2 && day < 60 && day % 10 < 5;
        live(RADON, (high ? 500.0 : day < 60 ? 250.0 : 60.0) + (double)(m % 7), m);
    }
    const char *first = strstr(told, "+radon-high@");
    ck_assert_ptr_nonnull(first);
    ck_assert_ptr_null(strstr(first + 1, "+radon-high@"));
    ck_assert_ptr_nonnull(strstr(told, "-radon-high@"));
}
END_TEST

START_TEST(a_value_that_does_not_move_for_two_days_is_stuck) {
    for (int64_t m = 0; m < 3 * 1440; m += 10)
        live(SUCTION, m < 600 ? 200.0 + (double)(m % 30) : 201.5, m);
    ck_assert_str_eq(told, "+sensor-stuck@3480"); /* minute 600 + 48 h */
}
END_TEST

/* 1 W of display on a fan that draws 19 or 20 W: it rests for a day, then for four, then moves. */
START_TEST(a_coarse_display_on_a_steady_fan_is_not_stuck) {
    for (int64_t m = 0; m < 9 * 1440; m += 10)
        live(POWER, m < 1000 || (m > 2440 && m < 8 * 1440) ? 19.0 : 20.0, m);
    ck_assert_str_eq(told, "");
    for (int64_t m = 9 * 1440; m < 60 * 1440; m += 10) /* ten of its rests of 9080 min are 63 d */
        live(POWER, 19.0, m);
    ck_assert_str_eq(told, "");
}
END_TEST

/* A display of whole steps in a room that is held: it moves by one or two, then rests for days. */
START_TEST(what_moves_by_two_steps_may_rest_for_days) {
    for (int64_t m = 0; m < 8 * 1440; m += 10)
        live(POWER, m < 1440 ? 19.0 : m < 4 * 1440 ? 19.0 + (double)(m / 60 * 2 % 3) : 19.0, m);
    ck_assert_str_eq(told, "");
}
END_TEST

START_TEST(what_moved_by_many_steps_is_stuck_after_two_days) {
    for (int64_t m = 0; m < 6 * 1440; m += 10) /* with a rest of 30 h at first */
        live(POWER, m < 1800 ? 19.0 : m < 3600 ? 19.0 + (double)(m / 10 * (m / 10) % 7) : 31.0, m);
    ck_assert_str_eq(told, "+sensor-stuck@6480"); /* 3600 + 48 h */
}
END_TEST

START_TEST(silence_is_no_standing_still) {
    live_for(SUCTION, 200.0, 0, 600);
    live(SUCTION, 201.0, 600);
    for (int64_t m = 3600; m < 3600 + 2870; m += 10)
        live(SUCTION, 201.0, m);
    ck_assert_ptr_null(strstr(told, "sensor-stuck"));
    for (int64_t m = 3600 + 2870; m < 3600 + 3000; m += 10)
        live(SUCTION, 201.0, m);
    ck_assert_ptr_nonnull(strstr(told, "+sensor-stuck@6480")); /* 3600 + 48 h */
}
END_TEST

START_TEST(a_fan_that_rests_is_not_stuck) {
    for (int64_t m = 0; m < 4 * 1440; m += 10)
        live(POWER, 0.0, m);
    ck_assert_str_eq(told, "+fan-stopped@15");
}
END_TEST

START_TEST(one_silent_sensor_is_one_message) {
    for (int64_t m = 0; m < 300; m += 10) {
        if (m < 100)
            live(POWER, 20.0 + (double)(m % 30) / 10, m);
        live(SUCTION, 200.0 + (double)(m % 30), m);
        live(HOLE, 8.0 + (double)(m % 30) / 10, m);
    }
    ck_assert_str_eq(told, "+sensor-silent@225"); /* 2 h after it should have reported */
}
END_TEST

START_TEST(a_silent_system_is_one_message_not_four) {
    for (int64_t m = 0; m < 100; m += 10) {
        live(POWER, 20.0 + (double)(m % 30) / 10, m);
        live(SUCTION, 200.0 + (double)(m % 30), m);
        live(HOLE, 8.0 + (double)(m % 30) / 10, m);
    }
    for (int64_t m = 100; m < 400; m++)
        advance(start_ms + m * MINUTE);
    ck_assert_str_eq(told, "+system-silent@165");
    live(SUCTION, 200.0, 400);
    ck_assert_ptr_nonnull(strstr(told, "-system-silent@400"));
}
END_TEST

START_TEST(shelved_alarms_come_back_by_themselves) {
    live_for(SUCTION, 5.0, 0, 60);
    struct alarm *alarm =
        alarm_book_standing(monitor_alarms(monitor), 0, SUCTION, CONDITION_SUCTION_LOST);
    ck_assert(alarm_book_shelve(monitor_alarms(monitor), alarm, start_ms + 100 * MINUTE, "Ann",
                                "roof work"));
    live_for(SUCTION, 5.0, 60, 100);
    ck_assert_int_eq(alarm_state(alarm), ALARM_SHELVED);
    live_for(SUCTION, 5.0, 100, 120);
    ck_assert_int_eq(alarm_state(alarm), ALARM_UNACKNOWLEDGED);
    ck_assert_str_eq(told, "+suction-lost@30 +suction-lost@30");
}
END_TEST

START_TEST(out_of_service_is_quiet_and_ends_by_itself) {
    monitor_set_out_of_service(monitor, 0, start_ms + 100 * MINUTE);
    live_for(SUCTION, 5.0, 0, 100);
    ck_assert_str_eq(told, "");
    live_for(SUCTION, 5.0, 100, 130);
    ck_assert_str_eq(told, "+suction-lost@30");
}
END_TEST

/* ---- the daemon itself ---- */

static struct alarm *daemon_alarm(enum condition condition) {
    return alarm_book_standing(monitor_alarms(monitor), FLEET_NONE, FLEET_NONE, condition);
}

/* Loaded from the store it stands, though no delay of it runs. What is said twice is kept once: the
   leak sanitizer looks for the second copy. */
START_TEST(what_is_raised_while_it_stands_keeps_its_first_subject) {
    const struct alarm stored = {.id = 7,
                                 .system = FLEET_NONE,
                                 .point = FLEET_NONE,
                                 .subject = strdup("the first file"),
                                 .condition = CONDITION_STORE_DAMAGED,
                                 .raised_ms = start_ms,
                                 .returned_ms = TIMESTAMP_NONE,
                                 .acknowledged.time_ms = TIMESTAMP_NONE,
                                 .shelved.until_ms = TIMESTAMP_NONE};
    ck_assert(alarm_book_load(monitor_alarms(monitor), &stored));
    monitor_daemon(monitor, CONDITION_STORE_DAMAGED, true, "the second file", NAN, start_ms);
    ck_assert_uint_eq(alarm_book_count(monitor_alarms(monitor)), 1);
    ck_assert_str_eq(daemon_alarm(CONDITION_STORE_DAMAGED)->subject, "the first file");
}
END_TEST

START_TEST(an_alarm_has_the_subject_it_was_raised_with) {
    char subject[] = "a file";
    monitor_daemon(monitor, CONDITION_STORE_DAMAGED, true, subject, NAN, start_ms);
    subject[0] = 'X'; /* it was copied */
    ck_assert_str_eq(daemon_alarm(CONDITION_STORE_DAMAGED)->subject, "a file");
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("monitor");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, suction_low_needs_six_hours_and_ends_with_its_deadband);
    tcase_add_test(tcase, of_few_readings_several_must_be_low);
    tcase_add_test(tcase, suction_lost_hides_suction_low);
    tcase_add_test(tcase, a_stopped_fan_is_told_once_for_all_that_follows);
    tcase_add_test(tcase, without_a_baseline_relative_limits_do_not_judge);
    tcase_add_test(tcase, a_delay_ends_only_on_evidence);
    tcase_add_test(tcase, a_backlog_says_what_stands_and_keeps_the_rest_as_history);
    tcase_add_test(tcase, a_delay_does_not_end_while_its_readings_are_still_on_their_way);
    tcase_add_test(tcase, a_delay_goes_by_the_clock_of_the_sensor);
    tcase_add_test(tcase, the_mean_of_a_day_decides_radon_high);
    tcase_add_test(tcase, radon_that_swings_is_high_once);
    tcase_add_test(tcase, a_value_that_does_not_move_for_two_days_is_stuck);
    tcase_add_test(tcase, a_coarse_display_on_a_steady_fan_is_not_stuck);
    tcase_add_test(tcase, what_moves_by_two_steps_may_rest_for_days);
    tcase_add_test(tcase, what_moved_by_many_steps_is_stuck_after_two_days);
    tcase_add_test(tcase, silence_is_no_standing_still);
    tcase_add_test(tcase, a_fan_that_rests_is_not_stuck);
    tcase_add_test(tcase, one_silent_sensor_is_one_message);
    tcase_add_test(tcase, a_silent_system_is_one_message_not_four);
    tcase_add_test(tcase, shelved_alarms_come_back_by_themselves);
    tcase_add_test(tcase, out_of_service_is_quiet_and_ends_by_itself);
    tcase_add_test(tcase, what_is_raised_while_it_stands_keeps_its_first_subject);
    tcase_add_test(tcase, an_alarm_has_the_subject_it_was_raised_with);
    return run_test_case(tcase);
}
