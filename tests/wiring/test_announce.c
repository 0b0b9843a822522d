/* Who is told what, and how often. */
#include "announce_offices.h"

static struct alarm example(enum condition condition) {
    return (struct alarm){.system = FLEET_NONE,
                          .point = FLEET_NONE,
                          .condition = condition,
                          .priority = condition_info(condition)->priority};
}

START_TEST(each_role_hears_what_concerns_it) {
    begin(SETTINGS(CONTACT("office", "contractor", "") CONTACT("owner", "homeowner", "")
                       CONTACT("van", "technician", "")),
          1);
    for (int c = 0; c < CONDITION_COUNT; c++) {
        struct alarm alarm = example((enum condition)c);
        const struct condition_info *info = condition_info((enum condition)c);
        if (info->scope == SCOPE_DAEMON || info->scope == SCOPE_FLEET) {
            ck_assert(announce_hears(fleet, &fleet->settings->contacts[0], &alarm));
            ck_assert(!announce_hears(fleet, &fleet->settings->contacts[1], &alarm));
        }
    }
}
END_TEST

START_TEST(a_contact_and_a_condition_change_who_hears) {
    static const char systems[] =
        "id: house\nname: House\ncontacts: [office, owner, van]\n"
        "conditions: {fan-weak: {tell: [technician]}}\n"
        "points:\n  - {id: s, quantity: suction, unit: Pa, every: 10 min}\n";
    static const char *const list[] = {systems};
    static const char text[] = SETTINGS(
        CONTACT("office", "contractor", ", hears: {low: no, radon-rising: yes}")
            CONTACT("owner", "homeowner", ", hears: {suction-lost: no, fan-weak: yes}")
                CONTACT("van", "technician", "")) "conditions: {suction-high: {tell: none}}\n";
    static const struct {
        enum condition condition;
        bool hears[3];
    } cases[] = {
        {CONDITION_SUCTION_LOST, {true, false, true}},
        {CONDITION_SUCTION_LOW, {true, true, true}},
        {CONDITION_FAN_WEAK, {false, true, true}},
        {CONDITION_SUCTION_HIGH, {false, false, false}},
        {CONDITION_RADON_RISING, {true, false, true}},
        {CONDITION_BATTERY_LOW, {false, false, true}},
        {CONDITION_FAN_STOPPED, {true, true, true}},
        {CONDITION_RETEST_DUE, {false, true, true}},
    };
    begin(three, 1);
    close_pipeline();
    fleet_destroy(fleet);
    fleet = small_fleet(text, list, 1);
    open_pipeline();
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct alarm alarm = example(cases[i].condition);
        alarm.system = 0;
        alarm.point = condition_info(cases[i].condition)->scope == SCOPE_POINT ? 0 : FLEET_NONE;
        for (size_t c = 0; c < 3; c++)
            ck_assert_msg(
                announce_hears(fleet, &fleet->settings->contacts[c], &alarm) == cases[i].hears[c],
                "%s %s", condition_info(cases[i].condition)->name, fleet->settings->contacts[c].id);
    }
}
END_TEST

START_TEST(a_contact_that_cannot_be_reached_is_told_of_by_another) {
    begin(SETTINGS(CONTACT("office", "contractor", "") CONTACT("van", "technician", "")), 1);
    struct alarm *alarm = raise_alarm(FLEET_NONE, FLEET_NONE, CONDITION_DELIVERY_FAILING);
    alarm->subject = strdup("office");
    settle();
    ck_assert_uint_eq(sent_count, 1);
    ck_assert_str_eq(sent[0].contact, "van");
}
END_TEST

static struct outbox_message *waiting_of(const char *contact) {
    struct outbox_message *rows[50], *found = NULL;
    size_t count = 0;
    ck_assert_int_eq(outbox_list(store, false, 0, rows, 50, &count), STORE_OK);
    for (size_t i = 0; i < count; i++) {
        if (!found && strcmp(rows[i]->contact, contact) == 0 && rows[i]->state == OUTBOX_WAITING)
            found = rows[i];
        else
            outbox_message_free(rows[i]);
    }
    return found;
}

static bool waits(const char *contact) {
    struct outbox_message *message = waiting_of(contact);
    bool found = message != NULL;
    outbox_message_free(message);
    return found;
}

/* As dispatch does when it gives up the newest message that waits for a contact. */
static void give_up(const char *contact) {
    struct outbox_message *message = waiting_of(contact);
    ck_assert_ptr_nonnull(message);
    ck_assert_int_eq(store_begin(store), STORE_OK);
    ck_assert_int_eq(announce_undelivered(pipeline_announce(pipeline),
                                          fleet_contact(fleet, contact), message, "HTTP 404", now),
                     STORE_OK);
    ck_assert_int_eq(outbox_failed(store, message->row, now, "HTTP 404"), STORE_OK);
    ck_assert_int_eq(store_commit(store), STORE_OK);
    outbox_message_free(message);
}

START_TEST(what_did_not_reach_a_contact_is_told_to_the_others_once_an_outage) {
    begin(two_offices, 4);
    endpoint_works = false;
    raise_alarm(0, FLEET_NONE, CONDITION_RETEST_DUE);
    settle();
    give_up("office"); /* low priority: nobody else is told */
    ck_assert(!waits("boss"));
    raise_alarm(1, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    give_up("office");
    raise_alarm(2, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    /* A restart does not tell it again. */
    close_pipeline();
    open_pipeline();
    give_up("office");
    endpoint_works = true;
    now += MINUTE;
    settle();
    ck_assert_uint_eq(count_sent("office", NULL), 0);
    ck_assert_uint_eq(count_sent("van", NULL), 0);
    ck_assert_uint_eq(count_sent("boss", NULL), 1);
    ck_assert_str_eq(sent[0].type, "subslab.digest");
    static const char *const says[] = {"Alarms not delivered (1): ", "Details: office: HTTP 404\n",
                                       "\n- Fan weak: House 1; "};
    for (size_t i = 0; i < 3; i++)
        ck_assert_msg(strstr(sent[0].body, says[i]), "%s in %.600s", says[i], sent[0].body);
    /* It works, and fails again: that is another outage. */
    ck_assert_int_eq(announce_reached(pipeline_announce(pipeline), fleet_contact(fleet, "office")),
                     STORE_OK);
    endpoint_works = false;
    raise_alarm(3, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    give_up("office");
    endpoint_works = true;
    now += MINUTE;
    settle();
    ck_assert_uint_eq(count_sent("boss", NULL), 2);
}
END_TEST

START_TEST(what_was_tried_in_vain_is_told_with_what_is_given_up) {
    begin(two_offices, 14);
    endpoint_works = false;
    for (size_t i = 0; i < 3; i++) {
        raise_alarm(i, FLEET_NONE, CONDITION_FAN_WEAK);
        settle();
        struct outbox_message *message = waiting_of("office");
        if (i == 1) /* the first and the third were not tried */
            ck_assert_int_eq(outbox_retry(store, message->row, now, "HTTP 404"), STORE_OK);
        outbox_message_free(message);
    }
    give_up("office"); /* the third */
    struct outbox_message *told = waiting_of("boss");
    ck_assert_ptr_nonnull(told);
    ck_assert_int_eq(told->priority, PRIORITY_MEDIUM);
    ck_assert_msg(strstr(told->body, "Alarms not delivered (2): "), "%s", told->body);
    ck_assert_msg(strstr(told->body, "House 1;") && strstr(told->body, "House 2;"), "%s",
                  told->body);
    outbox_message_free(told);
}
END_TEST

/* ---- a power cut in a region: 500 of 2000 systems, back after three hours ---- */

enum { FLEET_SIZE = 2000, CUT = 500 };

static void speak(size_t system) {
    struct reading reading = {now, 100.0 + (double)(now / 1000 % 97)};
    for (size_t i = 0; i < 2; i++)
        pipeline_take(pipeline, fleet->systems[system].first_point + i, &reading,
                      SERIES_FROM_SENSOR, now);
}

/* Each system reports every ten minutes at its own second. */
static void run_fleet(int64_t span_ms, size_t silent_from, size_t silent_to) {
    for (int64_t until = now + span_ms; now < until;) {
        now += 10 * DURATION_SECOND_MS;
        for (size_t i = 0; i < FLEET_SIZE; i++)
            if ((int64_t)(i * 7 % 60) == now / 10000 % 60 && !(i >= silent_from && i < silent_to))
                speak(i);
        pipeline_tick(pipeline, now);
        settle();
    }
}

START_TEST(a_power_cut_in_a_region_makes_three_messages) {
    begin(office, FLEET_SIZE);
    run_fleet(DURATION_HOUR_MS, 0, 0);
    ck_assert_uint_eq(sent_count, 0);
    run_fleet(3 * DURATION_HOUR_MS, 100, 100 + CUT);
    size_t told = sent_count;
    run_fleet(DURATION_HOUR_MS, 0, 0);
    for (size_t i = 0; i < sent_count; i++)
        ck_assert_str_eq(sent[i].type, "subslab.digest");
    ck_assert_msg(sent_count <= 3, "%zu", sent_count);
    ck_assert_uint_le(told, 2);
    ck_assert_msg(strstr(sent[sent_count - 1].body, "Alarms over (500)"), "%.300s",
                  sent[sent_count - 1].body);
}
END_TEST

START_TEST(one_silent_system_is_told_within_a_minute) {
    begin(office, FLEET_SIZE);
    run_fleet(DURATION_HOUR_MS, 0, 0);
    run_fleet(90 * MINUTE, 5, 6);
    ck_assert_uint_eq(sent_count, 1);
    ck_assert_str_eq(sent[0].system, "house-5");
}
END_TEST

/* ---- quiet hours ---- */

/* Denver sets its clocks forward on 2026-03-08 at 02:00 (to 03:00) and back on 2026-11-01 at 02:00
   (America/Denver in the IANA time zone database). */
static const struct {
    const char *quiet;
    const char *now, *then;
} nights[] = {
    {"21:00-07:00", "2026-03-08T05:00:00Z", "2026-03-08T13:00:00Z"}, /* 22:00 MST to 07:00 MDT */
    {"21:00-07:00", "2026-11-01T04:00:00Z", "2026-11-01T14:00:00Z"}, /* 22:00 MDT to 07:00 MST */
    {"21:00-02:30", "2026-03-08T05:00:00Z", "2026-03-08T09:00:00Z"}, /* 02:30 does not exist */
    {"21:00-01:30", "2026-11-01T04:00:00Z", "2026-11-01T07:30:00Z"}, /* 01:30 comes twice */
    {"21:00-07:00", "2026-03-12T18:00:00Z", "2026-03-12T18:00:00Z"}, /* noon */
    {"21:00-07:00", "2026-03-13T02:59:59Z", "2026-03-13T02:59:59Z"}, /* one second before 21:00 */
    {"21:00-07:00", "2026-03-13T03:00:00Z", "2026-03-13T13:00:00Z"},
};

START_TEST(quiet_hours_end_by_the_clock_on_the_wall) {
    char settings[600];
    int64_t from = 0, to = 0;
    snprintf(settings, sizeof settings,
             SETTINGS("  - {id: office, role: contractor, quiet_hours: \"%s\", webhook: {url: "
                      "\"http://127.0.0.1:9/\"}}\n"),
             nights[_i].quiet);
    begin(settings, 1);
    ck_assert(timestamp_parse(nights[_i].now, strlen(nights[_i].now), &from));
    ck_assert(timestamp_parse(nights[_i].then, strlen(nights[_i].then), &to));
    ck_assert_int_eq(announce_after_quiet_hours(fleet, &fleet->settings->contacts[0], 0, from), to);
}
END_TEST

START_TEST(high_priority_takes_along_what_quiet_hours_held_back) {
    begin(SETTINGS(CONTACT("office", "contractor", ", quiet_hours: \"11:00-13:00\"")), 2);
    raise_alarm(0, FLEET_NONE, CONDITION_FAN_WEAK);
    raise_alarm(1, FLEET_NONE, CONDITION_FAN_WEAK);
    settle();
    ck_assert_uint_eq(sent_count, 0);
    raise_alarm(0, fleet->systems[0].first_point, CONDITION_SUCTION_LOST);
    settle();
    ck_assert_uint_eq(sent_count, 2);
    ck_assert_msg(strstr(sent[0].body, "Fan weak"), "%.300s", sent[0].body);
    ck_assert_msg(strstr(sent[1].body, "Suction lost"), "%.300s", sent[1].body);
    run(2 * DURATION_HOUR_MS);
    ck_assert_uint_eq(sent_count, 3);
    ck_assert_str_eq(sent[2].system, "house-1");
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("announce");
    tcase_set_timeout(tcase, 120);
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, each_role_hears_what_concerns_it);
    tcase_add_test(tcase, a_contact_and_a_condition_change_who_hears);
    tcase_add_test(tcase, a_contact_that_cannot_be_reached_is_told_of_by_another);
    tcase_add_test(tcase, what_did_not_reach_a_contact_is_told_to_the_others_once_an_outage);
    tcase_add_test(tcase, what_was_tried_in_vain_is_told_with_what_is_given_up);
    tcase_add_test(tcase, a_power_cut_in_a_region_makes_three_messages);
    tcase_add_test(tcase, one_silent_system_is_told_within_a_minute);
    tcase_add_loop_test(tcase, quiet_hours_end_by_the_clock_on_the_wall, 0,
                        sizeof nights / sizeof nights[0]);
    tcase_add_test(tcase, high_priority_takes_along_what_quiet_hours_held_back);
    return run_test_case(tcase);
}
