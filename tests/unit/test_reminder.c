/* When people are told again. Dates by the Gregorian calendar: 2026-03-09 is a Monday. */
#include "alarm/reminder.h"

#include "measure/duration.h"
#include "test_support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define NOW INT64_C(1773303300000)
#define HOUR DURATION_HOUR_MS

static struct alarm unacknowledged(void) {
    return (struct alarm){.id = 1,
                          .told = true,
                          .returned_ms = TIMESTAMP_NONE,
                          .acknowledged.time_ms = TIMESTAMP_NONE,
                          .shelved.until_ms = TIMESTAMP_NONE};
}

static struct reminder daily_told(int64_t ago_ms) {
    return (struct reminder){
        .first_ms = NOW - ago_ms, .last_ms = NOW - ago_ms, .every_ms = 24 * HOUR};
}

START_TEST(a_reminder_comes_when_its_time_is_over) {
    struct alarm alarm = unacknowledged();
    struct reminder reminder = daily_told(24 * HOUR - 1);
    struct reminder_decision decision = reminder_decide(&alarm, &reminder, NOW);
    ck_assert(!decision.remind);
    ck_assert_int_eq(decision.next_ms, NOW + 1);
    reminder = daily_told(24 * HOUR);
    decision = reminder_decide(&alarm, &reminder, NOW);
    ck_assert(decision.remind);
    ck_assert_int_eq(decision.next_ms, NOW + 24 * HOUR);
    reminder.every_ms = 0;
    decision = reminder_decide(&alarm, &reminder, NOW);
    ck_assert(!decision.remind);
    ck_assert_int_eq(decision.next_ms, INT64_MAX);
}
END_TEST

START_TEST(whoever_acknowledges_ends_it_for_all) {
    struct reminder reminder = daily_told(48 * HOUR);
    reminder.escalate_after_ms = HOUR;
    struct alarm cases[6];
    for (int i = 0; i < 6; i++)
        cases[i] = unacknowledged();
    cases[0].acknowledged.time_ms = NOW - 1;
    cases[1].returned_ms = NOW - 1;
    cases[2].shelved.until_ms = NOW + HOUR;
    cases[3].suppressed = true;
    cases[4].out_of_service = true;
    cases[5].told = false;
    for (int i = 0; i < 6; i++) {
        struct reminder_decision decision = reminder_decide(&cases[i], &reminder, NOW);
        ck_assert_msg(!decision.remind && !decision.escalate, "%d", i);
        ck_assert_int_eq(decision.next_ms, INT64_MAX);
    }
}
END_TEST

START_TEST(escalation_comes_once_and_counts_from_the_first_message) {
    struct alarm alarm = unacknowledged();
    struct reminder reminder = {
        .first_ms = NOW - 4 * HOUR + 1, .last_ms = NOW, .escalate_after_ms = 4 * HOUR};
    struct reminder_decision decision = reminder_decide(&alarm, &reminder, NOW);
    ck_assert(!decision.escalate);
    ck_assert_int_eq(decision.next_ms, NOW + 1);
    decision = reminder_decide(&alarm, &reminder, NOW + 1);
    ck_assert(decision.escalate);
    reminder.escalated = true;
    decision = reminder_decide(&alarm, &reminder, NOW + 1);
    ck_assert(!decision.escalate);
    ck_assert_int_eq(decision.next_ms, INT64_MAX);
}
END_TEST

START_TEST(who_cannot_be_reached_is_not_reminded_but_escalated) {
    struct alarm alarm = unacknowledged();
    struct reminder reminder = daily_told(48 * HOUR);
    reminder.escalate_after_ms = HOUR;
    reminder.undelivered = true;
    struct reminder_decision decision = reminder_decide(&alarm, &reminder, NOW);
    ck_assert(!decision.remind);
    ck_assert(decision.escalate);
}
END_TEST

START_TEST(an_end_is_said_once_a_day_before) {
    int64_t until = NOW + 24 * HOUR;
    ck_assert(!reminder_end_is_near(until, TIMESTAMP_NONE, NOW - 1));
    ck_assert(reminder_end_is_near(until, TIMESTAMP_NONE, NOW));
    ck_assert(reminder_end_is_near(until, NOW - HOUR, NOW)); /* that was about the raise */
    ck_assert(!reminder_end_is_near(until, NOW, NOW + 1));
    ck_assert(!reminder_end_is_near(NOW + 5 * HOUR, TIMESTAMP_NONE, NOW)); /* shelved for hours */
}
END_TEST

static struct time_zone *zone_of(const char *name) {
    char path[200];
    size_t length = 0;
    snprintf(path, sizeof path, "/usr/share/zoneinfo/%s", name);
    char *bytes = test_read_file(path, &length);
    struct time_zone *zone = time_zone_create(name, bytes, length);
    free(bytes);
    ck_assert_ptr_nonnull(zone);
    return zone;
}

static const struct {
    const char *zone;
    bool weekly;
    const char *after, *at;
} digests[] = {
    {"America/Denver", false, "2026-03-12T13:59:59Z", "2026-03-12T14:00:00Z"},
    {"America/Denver", false, "2026-03-12T14:00:00Z", "2026-03-13T14:00:00Z"},
    {"America/Denver", false, "2026-03-07T16:00:00Z", "2026-03-08T14:00:00Z"}, /* spring: 23 h */
    {"America/Denver", false, "2026-10-31T15:00:00Z", "2026-11-01T15:00:00Z"}, /* autumn: 25 h */
    {"America/Denver", true, "2026-03-12T14:00:00Z", "2026-03-16T14:00:00Z"},
    {"America/Denver", true, "2026-03-09T13:59:59Z", "2026-03-09T14:00:00Z"},
    {"America/Denver", true, "2026-03-09T14:00:00Z", "2026-03-16T14:00:00Z"},
    {"Asia/Kathmandu", false, "2026-03-12T00:00:00Z", "2026-03-12T02:15:00Z"}, /* UTC+5:45 */
};

START_TEST(a_digest_comes_at_eight_by_the_clock_on_the_wall) {
    struct time_zone *zone = zone_of(digests[_i].zone);
    int64_t after_ms = 0, at_ms = 0;
    ck_assert(timestamp_parse(digests[_i].after, strlen(digests[_i].after), &after_ms));
    ck_assert(timestamp_parse(digests[_i].at, strlen(digests[_i].at), &at_ms));
    ck_assert_int_eq(reminder_digest_at(zone, digests[_i].weekly, after_ms), at_ms);
    time_zone_destroy(zone);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("reminder");
    tcase_add_test(tcase, a_reminder_comes_when_its_time_is_over);
    tcase_add_test(tcase, whoever_acknowledges_ends_it_for_all);
    tcase_add_test(tcase, escalation_comes_once_and_counts_from_the_first_message);
    tcase_add_test(tcase, who_cannot_be_reached_is_not_reminded_but_escalated);
    tcase_add_test(tcase, an_end_is_said_once_a_day_before);
    tcase_add_loop_test(tcase, a_digest_comes_at_eight_by_the_clock_on_the_wall, 0,
                        sizeof digests / sizeof digests[0]);
    return run_test_case(tcase);
}
