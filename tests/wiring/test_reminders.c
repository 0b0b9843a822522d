/* Telling people again: reminders, escalation, shelvings that end, digests. */
#include "announce_bench.h"

#include "store/records.h"

#define HOUR DURATION_HOUR_MS

static struct alarm_book *book(void) {
    return pipeline_alarms(pipeline);
}

static const char chain[] = SETTINGS(
    CONTACT("office", "contractor", ", remind_every: 24 h, escalate_to: {contact: van, after: 4 h}")
        CONTACT("van", "technician", ", escalate_to: {contact: boss, after: 2 h}")
            CONTACT("boss", "technician", ", remind_every: 10 h"));

START_TEST(reminders_come_until_somebody_acknowledges) {
    begin(chain, 2);
    run_step_ms = MINUTE;
    struct alarm *alarm = raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    run(23 * HOUR);
    ck_assert_uint_eq(count_sent("office", "subslab.alarm.reminder"), 0);
    run(2 * HOUR);
    ck_assert_uint_eq(count_sent("office", "subslab.alarm.reminder"), 1);
    ck_assert_int_ge(alarm->reminded_ms, now - 2 * HOUR);
    /* A restart neither repeats nor forgets. */
    close_pipeline();
    open_pipeline();
    run(23 * HOUR + 10 * MINUTE);
    ck_assert_uint_eq(count_sent("office", "subslab.alarm.reminder"), 2);
    alarm = alarm_book_find(book(), 1);
    ck_assert(alarm_book_acknowledge(book(), alarm, "van", "on my way", now));
    run(60 * HOUR);
    ck_assert_uint_eq(count_sent("office", "subslab.alarm.reminder"), 2);
}
END_TEST

START_TEST(what_nobody_takes_up_goes_to_the_next_and_the_one_after) {
    begin(chain, 2);
    run_step_ms = MINUTE;
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    run(4 * HOUR - MINUTE);
    ck_assert_uint_eq(count_sent("van", NULL), 0);
    run(3 * MINUTE);
    ck_assert_uint_eq(count_sent("van", "subslab.alarm.escalated"), 1);
    ck_assert_uint_eq(count_sent("boss", NULL), 0);
    run(2 * HOUR);
    ck_assert_uint_eq(count_sent("boss", "subslab.alarm.escalated"), 1);
    run(12 * HOUR);
    ck_assert_uint_eq(count_sent("van", NULL), 1);
    ck_assert_uint_eq(count_sent("boss", "subslab.alarm.reminder"), 1);
    ck_assert_msg(strstr(sent[1].body, "Not taken up: Fan weak: House 0\n") == sent[1].body,
                  "%.300s", sent[1].body);
}
END_TEST

START_TEST(a_returned_alarm_is_not_reminded_of) {
    begin(chain, 2);
    run_step_ms = MINUTE;
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    run(HOUR);
    end_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    run(40 * HOUR);
    ck_assert_uint_eq(sent_count, 2);
}
END_TEST

START_TEST(escalation_counts_from_the_end_of_quiet_hours) {
    begin(SETTINGS(CONTACT("office", "contractor",
                           ", quiet_hours: \"11:00-20:00\", "
                           "escalate_to: {contact: van, after: 4 h}")
                       CONTACT("van", "technician", "")),
          1);
    run_step_ms = MINUTE;
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK); /* 12:00 */
    run(8 * HOUR + 30 * MINUTE);
    ck_assert_uint_eq(count_sent("office", NULL), 1);
    ck_assert_uint_eq(count_sent("van", NULL), 0);
    run(4 * HOUR);
    ck_assert_uint_eq(count_sent("van", "subslab.alarm.escalated"), 1);
}
END_TEST

START_TEST(a_shelving_is_announced_a_day_before_its_end_and_told_again_at_it) {
    begin(SETTINGS(CONTACT("office", "contractor", "")), 1);
    run_step_ms = MINUTE;
    struct alarm *alarm = raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    ck_assert(alarm_book_shelve(book(), alarm, now + 72 * HOUR, "office", "part on order"));
    run(48 * HOUR - 2 * MINUTE);
    ck_assert_uint_eq(sent_count, 1);
    run(10 * MINUTE);
    ck_assert_uint_eq(sent_count, 2);
    ck_assert_str_eq(sent[1].type, "subslab.alarm.reminder");
    ck_assert_msg(strstr(sent[1].body, "Shelving ends: Fan weak"), "%.300s", sent[1].body);
    ck_assert_msg(strstr(sent[1].body, "Why: part on order"), "%.300s", sent[1].body);
    run(23 * HOUR);
    ck_assert_uint_eq(sent_count, 2);
    run(HOUR + 10 * MINUTE);
    ck_assert_uint_eq(sent_count, 3);
    ck_assert_str_eq(sent[2].type, "subslab.alarm.raised");
}
END_TEST

START_TEST(a_time_out_of_service_is_announced_a_day_before_its_end) {
    begin(SETTINGS(CONTACT("office", "contractor", "")), 2);
    run_step_ms = MINUTE;
    const struct record_service service = {"house-1", now, now + 48 * HOUR, "van", "new floor"};
    ck_assert_int_eq(record_service_put(store, &service), STORE_OK);
    monitor_set_out_of_service(pipeline_monitor(pipeline), 1, service.until_ms);
    run(23 * HOUR);
    ck_assert_uint_eq(sent_count, 0);
    run(3 * HOUR);
    ck_assert_uint_eq(sent_count, 1);
    ck_assert_msg(strstr(sent[0].body, "Out of service: House 1\n") == sent[0].body, "%.300s",
                  sent[0].body);
    ck_assert_msg(strstr(sent[0].body, "Why: new floor\n"), "%.300s", sent[0].body);
    run(20 * HOUR);
    ck_assert_uint_eq(sent_count, 1);
}
END_TEST

static void take_reading(size_t system) {
    const struct reading reading = {now, 250.0 + 0.1 * (double)(now / MINUTE % 7)};
    pipeline_take(pipeline, fleet->systems[system].first_point, &reading, SERIES_FROM_SENSOR, now);
}

/* The sensor of system 0 goes on talking. */
static void run_heard(int64_t span_ms) {
    for (int64_t ran_ms = 0; ran_ms < span_ms; ran_ms += 20 * MINUTE) {
        take_reading(0);
        run(20 * MINUTE);
    }
}

START_TEST(a_daily_digest_lists_what_is_not_as_it_should_be) {
    begin(SETTINGS(CONTACT("office", "contractor", ", digest: daily")), 4);
    run_step_ms = MINUTE;
    for (size_t i = 0; i < 3; i++)
        take_reading(i);
    settle();
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    raise_alarm(1, FLEET_NONE, CONDITION_VISIT_DUE);
    const struct record_service service = {"house-2", now - 80 * HOUR, now + 900 * HOUR, "van",
                                           "new floor"};
    ck_assert_int_eq(record_service_put(store, &service), STORE_OK);
    monitor_set_out_of_service(pipeline_monitor(pipeline), 2, service.until_ms);
    settle();
    size_t before = sent_count;
    pipeline_set_backlog(pipeline, true, now); /* silence is not judged here */
    run(20 * HOUR - 2 * MINUTE);               /* 07:58 */
    ck_assert_uint_eq(sent_count, before);
    run(5 * MINUTE);
    ck_assert_uint_eq(sent_count, before + 1);
    ck_assert_str_eq(sent[before].type, "subslab.digest");
    static const char *const lines[] = {
        "Summary (5): the whole fleet\n",      "- Out of spec for 20 h: House 0\n",
        "- Silent for 20 h: House 1\n",        "- Silent: House 3\n",
        "- Out of service for 4 d: House 2\n", "- Due for 20 h: Visit due, House 1\n"};
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++)
        ck_assert_msg(strstr(sent[before].body, lines[i]) != NULL, "%s in %.600s", lines[i],
                      sent[before].body);
    run(10 * HOUR);
    ck_assert_uint_eq(sent_count, before + 1);
    close_pipeline();
    open_pipeline();
    pipeline_set_backlog(pipeline, true, now);
    run(14 * HOUR);
    ck_assert_uint_eq(count_sent("office", "subslab.digest"), 2);
}
END_TEST

START_TEST(only_a_weekly_digest_says_that_all_is_well) {
    begin(SETTINGS(CONTACT("office", "contractor", ", digest: daily")
                       CONTACT("van", "contractor", ", digest: weekly")),
          1);
    run_step_ms = 5 * MINUTE;
    take_reading(0);
    settle();
    run_heard(3 * 24 * HOUR); /* Thursday to Sunday */
    ck_assert_uint_eq(sent_count, 0);
    run_heard(2 * 24 * HOUR);
    ck_assert_uint_eq(sent_count, 1);
    ck_assert_str_eq(sent[0].contact, "van");
    ck_assert_msg(strstr(sent[0].body, "Every system is in spec and heard from"), "%.300s",
                  sent[0].body);
    run_heard(7 * 24 * HOUR);
    ck_assert_uint_eq(sent_count, 2);
}
END_TEST

START_TEST(what_chattered_is_told_once_more_when_it_is_calm) {
    begin(SETTINGS(CONTACT("office", "contractor", "")), 1);
    for (int i = 0; i < 4; i++) {
        raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
        run(2 * MINUTE);
        end_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
        run(2 * MINUTE);
    }
    ck_assert_uint_eq(sent_count, 5);
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    run(50 * MINUTE);
    ck_assert_uint_eq(sent_count, 5);
    run(15 * MINUTE);
    ck_assert_uint_eq(sent_count, 6);
    ck_assert_msg(strstr(sent[5].body, "Fan weak: House 0\n") == sent[5].body, "%.300s",
                  sent[5].body);
    end_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    run(MINUTE);
    ck_assert_uint_eq(sent_count, 7);
}
END_TEST

START_TEST(a_dead_contacts_queue_loses_its_oldest_reminders_and_no_raise) {
    begin(SETTINGS(CONTACT("office", "contractor", "")), 1);
    struct outbox_message message = {.contact = "office",
                                     .content_type = "text/plain",
                                     .body = "x",
                                     .alarm = 1,
                                     .created_ms = now,
                                     .not_before_ms = now + 1000 * HOUR};
    char system[20];
    ck_assert_int_eq(store_begin(store), STORE_OK);
    for (int i = 0; i < 700; i++) {
        snprintf(message.id, sizeof message.id, "msg_%d", i);
        snprintf(system, sizeof system, "s%d", i % 350);
        message.system = system;
        message.type = i < 350 ? "subslab.alarm.raised" : "subslab.alarm.reminder";
        ck_assert_int_eq(outbox_insert(store, &message, NULL), STORE_OK);
    }
    ck_assert_int_eq(store_commit(store), STORE_OK);
    run(3 * MINUTE);
    int64_t rows = 0, oldest = 0;
    ck_assert_int_eq(outbox_waiting(store, "office", &rows, &oldest), STORE_OK);
    ck_assert_int_eq(rows, 500);
    struct outbox_message *found = NULL;
    ck_assert_int_eq(outbox_find(store, "msg_350", &found), STORE_OK);
    ck_assert_int_eq(found->state, OUTBOX_FAILED);
    outbox_message_free(found);
    ck_assert_int_eq(outbox_find(store, "msg_0", &found), STORE_OK);
    ck_assert_int_eq(found->state, OUTBOX_WAITING);
    outbox_message_free(found);
}
END_TEST

/* Nothing is tried of a contact that answered 410. */
START_TEST(what_waited_for_ninety_days_waits_no_longer) {
    begin(SETTINGS(CONTACT("office", "contractor", "")), 1);
    endpoint_works = false;
    int64_t begun = now, counts[3];
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    end_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    raise_alarm(0, FLEET_NONE, CONDITION_GROUND_CHANGED);
    settle();
    now = begun + 90 * DURATION_DAY_MS - MINUTE;
    run(30 * DURATION_SECOND_MS);
    ck_assert_int_eq(outbox_counts(store, counts), STORE_OK);
    ck_assert_int_ge(counts[OUTBOX_WAITING], 2);
    int64_t waiting = counts[OUTBOX_WAITING];
    run(3 * MINUTE);
    ck_assert_int_eq(outbox_counts(store, counts), STORE_OK);
    ck_assert_int_le(counts[OUTBOX_WAITING], waiting - 2);
    ck_assert_int_eq(counts[OUTBOX_FAILED], 2);
    now += 90 * DURATION_DAY_MS;
    take_reading(0); /* age goes by the newest reading */
    run(3 * MINUTE);
    ck_assert_int_eq(outbox_counts(store, counts), STORE_OK);
    ck_assert_int_eq(counts[OUTBOX_SENT], 0);
    struct outbox_message *rows[20];
    size_t count = 0;
    ck_assert_int_eq(outbox_list(store, false, 0, rows, 20, &count), STORE_OK);
    for (size_t i = 0; i < count; i++) {
        ck_assert_int_gt(rows[i]->created_ms, begun);
        outbox_message_free(rows[i]);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("reminders");
    tcase_set_timeout(tcase, 120);
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, reminders_come_until_somebody_acknowledges);
    tcase_add_test(tcase, what_nobody_takes_up_goes_to_the_next_and_the_one_after);
    tcase_add_test(tcase, a_returned_alarm_is_not_reminded_of);
    tcase_add_test(tcase, escalation_counts_from_the_end_of_quiet_hours);
    tcase_add_test(tcase, a_shelving_is_announced_a_day_before_its_end_and_told_again_at_it);
    tcase_add_test(tcase, a_time_out_of_service_is_announced_a_day_before_its_end);
    tcase_add_test(tcase, a_daily_digest_lists_what_is_not_as_it_should_be);
    tcase_add_test(tcase, only_a_weekly_digest_says_that_all_is_well);
    tcase_add_test(tcase, what_chattered_is_told_once_more_when_it_is_calm);
    tcase_add_test(tcase, a_dead_contacts_queue_loses_its_oldest_reminders_and_no_raise);
    tcase_add_test(tcase, what_waited_for_ninety_days_waits_no_longer);
    return run_test_case(tcase);
}
