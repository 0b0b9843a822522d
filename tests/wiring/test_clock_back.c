/*
 * A clock that was ahead for a while, was believed, and is set right: what was written down by it
 * must not silence anybody until the time that it said.
 */
#include "announce_bench.h"

#define HOUR DURATION_HOUR_MS
#define AHEAD (20 * DURATION_DAY_MS)

static void move_clock(int64_t by_ms) {
    now += by_ms;
    pipeline_clock_moved(pipeline, by_ms, now);
    settle();
}

static size_t count_with(const char *contact, const char *words) {
    size_t count = 0;
    for (size_t i = 0; i < sent_count; i++)
        count += strcmp(sent[i].contact, contact) == 0 && strstr(sent[i].body, words) != NULL;
    return count;
}

START_TEST(what_quiet_hours_hold_back_goes_at_their_end) {
    begin(SETTINGS(CONTACT("office", "contractor", ", quiet_hours: \"11:00-20:00\"")), 1);
    run_step_ms = MINUTE;
    move_clock(AHEAD); /* 12:00 */
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    run(10 * MINUTE);
    move_clock(-AHEAD);
    run(7 * HOUR);
    ck_assert_uint_eq(count_with("office", "Fan weak"), 0);
    run(2 * HOUR);
    ck_assert_uint_eq(count_with("office", "Fan weak"), 1);
}
END_TEST

START_TEST(what_is_to_be_tried_again_is_tried) {
    begin(SETTINGS(CONTACT("office", "contractor", "")), 1);
    run_step_ms = MINUTE;
    endpoint_works = false;
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    run(5 * MINUTE);
    move_clock(AHEAD);
    struct outbox_message *due[4];
    size_t count = 0;
    ck_assert_int_eq(outbox_due(store, now, NULL, 0, due, 4, &count), STORE_OK);
    ck_assert_uint_gt(count, 0);
    for (size_t i = 0; i < count; i++) {
        ck_assert_int_eq(outbox_begun(store, due[i]->row), STORE_OK);
        ck_assert_int_eq(outbox_retry(store, due[i]->row, now + 6 * HOUR, "503"), STORE_OK);
        outbox_message_free(due[i]);
    }
    move_clock(-AHEAD);
    endpoint_works = true;
    run(6 * HOUR + 10 * MINUTE);
    ck_assert_uint_eq(count_with("office", "Fan weak"), 1);
}
END_TEST

START_TEST(reminders_and_escalations_go_on) {
    begin(SETTINGS(CONTACT("office", "contractor",
                           ", remind_every: 10 h, escalate_to: {contact: van, after: 15 h}")
                       CONTACT("van", "technician", "")),
          1);
    run_step_ms = MINUTE;
    move_clock(AHEAD);
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    run(10 * MINUTE);
    ck_assert_uint_eq(count_with("office", "Fan weak"), 1);
    move_clock(-AHEAD);
    run(11 * HOUR);
    ck_assert_uint_eq(count_sent("office", "subslab.alarm.reminder"), 1);
    run(5 * HOUR);
    ck_assert_uint_eq(count_sent("van", "subslab.alarm.escalated"), 1);
}
END_TEST

START_TEST(the_next_digest_comes_on_its_day) {
    begin(SETTINGS(CONTACT("office", "contractor", ", digest: daily")), 1);
    run_step_ms = MINUTE;
    run(25 * HOUR);
    size_t before = count_sent("office", "subslab.digest");
    ck_assert_uint_gt(before, 0);
    move_clock(AHEAD);
    run(25 * HOUR);
    move_clock(-AHEAD);
    before = count_sent("office", "subslab.digest");
    run(25 * HOUR);
    ck_assert_uint_eq(count_sent("office", "subslab.digest"), before + 1);
}
END_TEST

START_TEST(a_clock_set_right_while_we_were_away_silences_nobody) {
    begin(SETTINGS(CONTACT("office", "contractor",
                           ", remind_every: 10 h, quiet_hours: "
                           "\"11:00-20:00\"")),
          2);
    run_step_ms = MINUTE;
    move_clock(AHEAD);
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    run(10 * MINUTE);
    close_pipeline();
    now -= AHEAD;
    open_pipeline();
    run(9 * HOUR);
    ck_assert_uint_eq(count_with("office", "Fan weak"), 1);
    run(20 * HOUR);
    ck_assert_uint_ge(count_sent("office", "subslab.alarm.reminder"), 1);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("clock back");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, what_quiet_hours_hold_back_goes_at_their_end);
    tcase_add_test(tcase, what_is_to_be_tried_again_is_tried);
    tcase_add_test(tcase, reminders_and_escalations_go_on);
    tcase_add_test(tcase, the_next_digest_comes_on_its_day);
    tcase_add_test(tcase, a_clock_set_right_while_we_were_away_silences_nobody);
    tcase_set_timeout(tcase, 120);
    return run_test_case(tcase);
}
