/* How often something is told: lists, what waits, what comes and goes. */
#include "announce_offices.h"

START_TEST(a_lone_alarm_is_told_at_once) {
    begin(office, 3);
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    ck_assert_uint_eq(sent_count, 1);
    ck_assert_str_eq(sent[0].type, "subslab.alarm.raised");
    end_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    ck_assert_uint_eq(sent_count, 2);
    ck_assert_str_eq(sent[1].type, "subslab.alarm.returned");
    ck_assert_str_eq(sent[1].system, "house-0");
}
END_TEST

START_TEST(a_raise_and_its_return_that_wait_are_one_message) {
    begin(office, 3);
    endpoint_works = false;
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    struct outbox_message *message = NULL;
    size_t count = 0;
    ck_assert_int_eq(outbox_list(store, false, 0, &message, 1, &count), STORE_OK);
    now += DURATION_HOUR_MS;
    end_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    endpoint_works = true;
    settle();
    ck_assert_uint_eq(sent_count, 1);
    ck_assert_str_eq(sent[0].id, message->id);
    ck_assert_str_eq(sent[0].type, "subslab.alarm.returned");
    ck_assert_msg(strstr(sent[0].body, "Came and went: Fan weak: House 0\n") == sent[0].body,
                  "%.300s", sent[0].body);
    outbox_message_free(message);
}
END_TEST

START_TEST(what_a_try_has_begun_is_followed_by_its_return) {
    begin(office, 3);
    endpoint_works = false;
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    struct outbox_message *message = NULL;
    size_t count = 0;
    ck_assert_int_eq(outbox_list(store, false, 0, &message, 1, &count), STORE_OK);
    ck_assert_int_eq(outbox_begun(store, message->row), STORE_OK);
    ck_assert_int_eq(outbox_retry(store, message->row, now + MINUTE, "503"), STORE_OK);
    end_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    endpoint_works = true;
    settle();
    ck_assert_uint_eq(sent_count, 0); /* the return does not overtake the raise */
    now += 2 * MINUTE;
    settle();
    ck_assert_uint_eq(sent_count, 2);
    ck_assert_str_eq(sent[0].id, message->id);
    ck_assert_str_eq(sent[0].body, message->body);
    ck_assert_str_eq(sent[0].type, "subslab.alarm.raised");
    ck_assert_str_eq(sent[1].type, "subslab.alarm.returned");
    outbox_message_free(message);
}
END_TEST

/* "texts merged per endpoint and minute; high priority first" (2000 raises in one turn). */
START_TEST(two_thousand_raises_in_one_turn_are_two_messages) {
    begin(office, 2000);
    for (size_t i = 0; i < 2000; i++) {
        struct alarm *alarm =
            raise_alarm(i, FLEET_NONE, i % 2 ? CONDITION_FAN_WEAK : CONDITION_GROUND_CHANGED);
        alarm->priority = i % 2 ? PRIORITY_MEDIUM : PRIORITY_HIGH;
    }
    run(MINUTE);
    ck_assert_uint_eq(sent_count, 2);
    ck_assert_str_eq(sent[0].type, "subslab.digest");
    ck_assert_msg(strstr(sent[0].body, "Ground changed: House 0"), "%.300s", sent[0].body);
    ck_assert_msg(strstr(sent[1].body, "Alarms at once (1000)"), "%.300s", sent[1].body);
    ck_assert_msg(strstr(sent[1].body, "- and 900 more\n"), "%.300s", sent[1].body);
}
END_TEST

START_TEST(a_trickle_of_raises_becomes_a_list_a_minute) {
    begin(office, 60);
    for (size_t i = 0; i < 60; i++) {
        raise_alarm(i, FLEET_NONE, CONDITION_FAN_WEAK);
        if (i % 3 == 2)
            run(10 * DURATION_SECOND_MS);
    }
    run(2 * MINUTE);
    ck_assert_uint_le(sent_count, ANNOUNCE_SINGLES + 2 + 5);
    ck_assert_uint_ge(count_sent("office", "subslab.digest"), 1);
}
END_TEST

/* A spring in which the tests of thirty houses are due. */
START_TEST(dates_that_come_are_visits_due_and_many_are_one_list) {
    begin(office, 31);
    raise_alarm(0, FLEET_NONE, CONDITION_VISIT_DUE);
    settle();
    ck_assert_uint_eq(sent_count, 1);
    ck_assert_str_eq(sent[0].type, "subslab.visit.due");
    end_alarm(0, FLEET_NONE, CONDITION_VISIT_DUE);
    settle();
    ck_assert_uint_eq(sent_count, 2);
    ck_assert_str_eq(sent[1].type, "subslab.alarm.returned");
    for (size_t i = 1; i < 31; i++)
        raise_alarm(i, FLEET_NONE, CONDITION_RETEST_DUE);
    run(2 * MINUTE);
    ck_assert_uint_eq(sent_count, 3);
    ck_assert_str_eq(sent[2].type, "subslab.digest");
    ck_assert_msg(strstr(sent[2].body, "Alarms at once (30)"), "%.300s", sent[2].body);
}
END_TEST

static json_t *event_data(const char *body) {
    json_t *event = json_loads(body, 0, NULL);
    json_t *data = json_incref(json_object_get(event, "data"));
    json_decref(event);
    return data;
}

START_TEST(a_list_is_an_event_with_all_alarms) {
    begin(SETTINGS("  - {id: office, role: contractor, webhook: {url: \"http://127.0.0.1:9/\"}}\n"),
          12);
    for (size_t i = 0; i < 12; i++)
        raise_alarm(i, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    ck_assert_uint_eq(sent_count, 1);
    json_t *data = event_data(sent[0].body), *alarms = json_object_get(data, "alarms");
    ck_assert_uint_eq(json_array_size(alarms), 12);
    ck_assert_int_eq(json_integer_value(json_object_get(data, "count")), 12);
    json_t *first = json_array_get(alarms, 0);
    ck_assert_str_eq(json_string_value(json_object_get(first, "system")), "house-0");
    ck_assert_str_eq(json_string_value(json_object_get(first, "condition")), "fan-weak");
    ck_assert(strstr(json_string_value(json_object_get(data, "text")), "House 11"));
    json_decref(data);
}
END_TEST

/* One list a priority waits; of each an alarm ends in the same turn. */
START_TEST(each_waiting_list_says_what_has_ended) {
    begin(office, 24);
    endpoint_works = false;
    for (size_t i = 0; i < 24; i++)
        raise_alarm(i, FLEET_NONE, CONDITION_FAN_WEAK)->priority =
            i < 12 ? PRIORITY_HIGH : PRIORITY_MEDIUM;
    settle();
    now += MINUTE;
    end_alarm(3, FLEET_NONE, CONDITION_FAN_WEAK);
    end_alarm(15, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    endpoint_works = true;
    settle();
    ck_assert_uint_eq(sent_count, 2);
    for (size_t i = 0; i < 2; i++)
        ck_assert_msg(strstr(sent[i].body, i == 0 ? "Came and went: Fan weak: House 3;"
                                                  : "Came and went: Fan weak: House 15;"),
                      "%.1200s", sent[i].body);
}
END_TEST

/* ---- chattering ---- */

START_TEST(what_comes_and_goes_is_told_once_and_then_when_it_is_calm) {
    begin(office, 3);
    for (int i = 0; i < 12; i++) {
        raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
        run(2 * MINUTE);
        end_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
        run(2 * MINUTE);
    }
    ck_assert_uint_eq(sent_count, 5);
    ck_assert_msg(strstr(sent[4].body, "On and off: Fan weak: House 0\n") == sent[4].body, "%.300s",
                  sent[4].body);
    ck_assert_msg(strstr(sent[4].body, "Changes within an hour: 5\n"), "%.300s", sent[4].body);
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    /* A restart forgets nothing of it. */
    close_pipeline();
    open_pipeline();
    raise_alarm(1, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    ck_assert_uint_eq(sent_count, 6); /* the other system is told of */
    ck_assert_str_eq(sent[5].system, "house-1");
    end_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    ck_assert_uint_eq(sent_count, 6);
}
END_TEST

/* Each time it says something else of itself: why the broker was lost, which readings are missing.
 */
START_TEST(the_daemons_own_trouble_that_comes_and_goes_is_told_once_too) {
    begin(office, 3);
    for (int i = 0; i < 12; i++) {
        struct alarm *alarm = raise_alarm(FLEET_NONE, FLEET_NONE, CONDITION_BROKER_LOST);
        ck_assert_int_gt(asprintf(&alarm->subject, "reason %d", i), 0);
        run(2 * MINUTE);
        end_alarm(FLEET_NONE, FLEET_NONE, CONDITION_BROKER_LOST);
        run(2 * MINUTE);
    }
    ck_assert_uint_eq(sent_count, 5);
    ck_assert_msg(strstr(sent[4].body, "On and off: ") == sent[4].body, "%.300s", sent[4].body);
    raise_alarm(FLEET_NONE, FLEET_NONE, CONDITION_DELIVERY_FAILING)->subject = strdup("van");
    settle();
    ck_assert_uint_eq(sent_count, 6); /* other trouble is told of */
    run(70 * MINUTE);
    ck_assert_uint_eq(sent_count, 7); /* calm again, and over */
    ck_assert_str_eq(sent[6].type, "subslab.alarm.returned");
}
END_TEST

/* One occurrence of an hour; then nothing for so many days. */
static void comes_and_goes(size_t system, size_t point, enum condition condition, int days) {
    raise_alarm(system, point, condition);
    run(60 * MINUTE);
    end_alarm(system, point, condition);
    run(days * DURATION_DAY_MS - 60 * MINUTE);
}

START_TEST(what_comes_back_for_weeks_is_told_three_times_and_when_it_is_calm) {
    begin(office, 3);
    run_step_ms = 60 * MINUTE;
    for (int i = 0; i < 10; i++) {
        comes_and_goes(0, FLEET_NONE, CONDITION_FAN_WEAK, 5);
        ck_assert_uint_eq(sent_count, i < 2 ? 2 * (size_t)i + 2 : 5);
    }
    ck_assert_msg(strstr(sent[4].body, "On and off: Fan weak: House 0\n") == sent[4].body, "%.300s",
                  sent[4].body);
    /* Its last three raises took ten days: five without one are not calm yet. */
    run(5 * DURATION_DAY_MS - 2 * 60 * MINUTE);
    ck_assert_uint_eq(sent_count, 5);
    run(6 * 60 * MINUTE);
    ck_assert_uint_eq(sent_count, 6);
    ck_assert_str_eq(sent[5].type, "subslab.alarm.returned");
    run_step_ms = 10 * DURATION_SECOND_MS;
}
END_TEST

START_TEST(high_priority_and_what_comes_back_rarely_are_always_told) {
    begin(office, 3);
    run_step_ms = 60 * MINUTE;
    size_t point = fleet->systems[0].first_point;
    for (int i = 0; i < 6; i++)
        comes_and_goes(0, point, CONDITION_SUCTION_LOST, 5);
    ck_assert_uint_eq(sent_count, 12);
    for (int i = 0; i < 6; i++)
        comes_and_goes(1, FLEET_NONE, CONDITION_FAN_WEAK, 46);
    ck_assert_uint_eq(sent_count, 24);
    run_step_ms = 10 * DURATION_SECOND_MS;
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("announce");
    tcase_set_timeout(tcase, 120);
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, a_lone_alarm_is_told_at_once);
    tcase_add_test(tcase, a_raise_and_its_return_that_wait_are_one_message);
    tcase_add_test(tcase, what_a_try_has_begun_is_followed_by_its_return);
    tcase_add_test(tcase, two_thousand_raises_in_one_turn_are_two_messages);
    tcase_add_test(tcase, a_trickle_of_raises_becomes_a_list_a_minute);
    tcase_add_test(tcase, dates_that_come_are_visits_due_and_many_are_one_list);
    tcase_add_test(tcase, a_list_is_an_event_with_all_alarms);
    tcase_add_test(tcase, each_waiting_list_says_what_has_ended);
    tcase_add_test(tcase, what_comes_and_goes_is_told_once_and_then_when_it_is_calm);
    tcase_add_test(tcase, what_comes_back_for_weeks_is_told_three_times_and_when_it_is_calm);
    tcase_add_test(tcase, high_priority_and_what_comes_back_rarely_are_always_told);
    tcase_add_test(tcase, the_daemons_own_trouble_that_comes_and_goes_is_told_once_too);
    return run_test_case(tcase);
}
