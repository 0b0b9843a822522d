/* Alarms, trackers, commissioning, visits, service states, bounded tables and notes. */
#include "records_bench.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- alarms ---- */

static const struct record_alarm full = {.id = 7,
                                         .system = "elm-3",
                                         .point = "suction",
                                         .condition = "suction-low",
                                         .state = "acknowledged",
                                         .priority = "medium",
                                         .since_ms = 100,
                                         .raised_ms = 200,
                                         .returned_ms = 300,
                                         .acknowledged_ms = 400,
                                         .acknowledged_by = "the technician",
                                         .note = "it's \"wet\"; DROP TABLE alarms",
                                         .shelved_until_ms = 500,
                                         .shelved_by = "office",
                                         .shelved_why = "part ordered",
                                         .value = 123.25,
                                         .setpoint = 174.36,
                                         .unit = "Pa",
                                         .told = true,
                                         .open = true,
                                         .reminded_ms = 600,
                                         .escalated_ms = 700,
                                         .details = "{\"check\":[]}"};

static bool expect_full(void *context, const struct record_alarm *alarm) {
    ++*(int *)context;
    ck_assert_int_eq(alarm->id, full.id);
    ck_assert_str_eq(alarm->system, full.system);
    ck_assert_str_eq(alarm->point, full.point);
    ck_assert_str_eq(alarm->condition, full.condition);
    ck_assert_str_eq(alarm->state, full.state);
    ck_assert_str_eq(alarm->priority, full.priority);
    ck_assert_int_eq(alarm->since_ms, full.since_ms);
    ck_assert_int_eq(alarm->raised_ms, full.raised_ms);
    ck_assert_int_eq(alarm->returned_ms, full.returned_ms);
    ck_assert_int_eq(alarm->acknowledged_ms, full.acknowledged_ms);
    ck_assert_str_eq(alarm->acknowledged_by, full.acknowledged_by);
    ck_assert_str_eq(alarm->note, full.note);
    ck_assert_int_eq(alarm->shelved_until_ms, full.shelved_until_ms);
    ck_assert_str_eq(alarm->shelved_by, full.shelved_by);
    ck_assert_str_eq(alarm->shelved_why, full.shelved_why);
    ck_assert_double_eq(alarm->value, full.value);
    ck_assert_double_eq(alarm->setpoint, full.setpoint);
    ck_assert_str_eq(alarm->unit, full.unit);
    ck_assert(alarm->told && alarm->open);
    ck_assert_int_eq(alarm->reminded_ms, full.reminded_ms);
    ck_assert_int_eq(alarm->escalated_ms, full.escalated_ms);
    ck_assert_str_eq(alarm->details, full.details);
    return true;
}

static struct record_alarm bare(int64_t id, const char *system, int64_t raised_ms) {
    return (struct record_alarm){.id = id,
                                 .system = system,
                                 .point = "",
                                 .condition = "system-silent",
                                 .state = "unacknowledged",
                                 .priority = "medium",
                                 .since_ms = raised_ms - 10,
                                 .raised_ms = raised_ms,
                                 .returned_ms = TIMESTAMP_NONE,
                                 .acknowledged_ms = TIMESTAMP_NONE,
                                 .shelved_until_ms = TIMESTAMP_NONE,
                                 .value = (double)NAN,
                                 .setpoint = (double)NAN,
                                 .unit = "",
                                 .open = true,
                                 .reminded_ms = TIMESTAMP_NONE,
                                 .escalated_ms = TIMESTAMP_NONE};
}

static bool expect_bare(void *context, const struct record_alarm *alarm) {
    ++*(int *)context;
    ck_assert_int_eq(alarm->returned_ms, TIMESTAMP_NONE);
    ck_assert_int_eq(alarm->acknowledged_ms, TIMESTAMP_NONE);
    ck_assert_int_eq(alarm->shelved_until_ms, TIMESTAMP_NONE);
    ck_assert_int_eq(alarm->reminded_ms, TIMESTAMP_NONE);
    ck_assert_int_eq(alarm->escalated_ms, TIMESTAMP_NONE);
    ck_assert_ptr_null(alarm->acknowledged_by);
    ck_assert_ptr_null(alarm->note);
    ck_assert_ptr_null(alarm->details);
    ck_assert(isnan(alarm->value) && isnan(alarm->setpoint));
    ck_assert_str_eq(alarm->unit, "");
    ck_assert_str_eq(alarm->point, "");
    ck_assert(!alarm->told);
    return true;
}

START_TEST(an_alarm_comes_back_as_it_went_in) {
    int seen = 0;
    int64_t highest = -1;
    ck_assert_int_eq(record_alarm_highest(store, &highest), STORE_OK);
    ck_assert_int_eq(highest, 0);
    struct record_alarm none = bare(7, "elm-3", 5);
    ck_assert_int_eq(record_alarm_put(store, &none), STORE_OK);
    ck_assert_int_eq(record_alarm_get(store, 7, expect_bare, &seen), STORE_OK);
    ck_assert_int_eq(record_alarm_put(store, &full), STORE_OK); /* replaces */
    ck_assert_int_eq(record_alarm_get(store, 7, expect_full, &seen), STORE_OK);
    ck_assert_int_eq(seen, 2);
    ck_assert_int_eq(record_alarm_highest(store, &highest), STORE_OK);
    ck_assert_int_eq(highest, 7);
    ck_assert_int_eq(record_alarm_delete(store, 7), STORE_OK);
    ck_assert_int_eq(record_alarm_get(store, 7, expect_full, &seen), STORE_NOT_FOUND);
}
END_TEST

static char listed[200];

static bool list_id(void *context, const struct record_alarm *alarm) {
    size_t length = strlen(listed);
    snprintf(listed + length, sizeof listed - length, "%lld ", (long long)alarm->id);
    return context == NULL || --*(int *)context > 0;
}

static void expect_list(struct record_alarm_filter filter, const char *want) {
    listed[0] = '\0';
    ck_assert_int_eq(record_alarm_list(store, &filter, list_id, NULL), STORE_OK);
    ck_assert_str_eq(listed, want);
}

START_TEST(alarms_are_listed_newest_first_by_every_filter) {
    for (int64_t id = 1; id <= 6; id++) {
        struct record_alarm alarm = bare(id, id % 2 ? "a" : "b", id * 100);
        alarm.point = id == 3 ? "radon" : "";
        alarm.condition = id == 4 ? "radon-high" : "system-silent";
        alarm.open = id > 2;
        alarm.returned_ms = id < 5 ? id * 100 + 50 : TIMESTAMP_NONE;
        ck_assert_int_eq(record_alarm_put(store, &alarm), STORE_OK);
    }
    const int64_t all = TIMESTAMP_NONE;
    expect_list((struct record_alarm_filter){.since_ms = all}, "6 5 4 3 2 1 ");
    expect_list((struct record_alarm_filter){.since_ms = all, .limit = 2}, "6 5 ");
    expect_list((struct record_alarm_filter){.since_ms = all, .only_open = true}, "6 5 4 3 ");
    expect_list((struct record_alarm_filter){.since_ms = all, .system = "a"}, "5 3 1 ");
    expect_list((struct record_alarm_filter){.since_ms = all, .system = "b", .only_open = true},
                "6 4 ");
    expect_list((struct record_alarm_filter){.since_ms = all, .point = "radon"}, "3 ");
    expect_list((struct record_alarm_filter){.since_ms = all, .condition = "radon-high"}, "4 ");
    expect_list((struct record_alarm_filter){.since_ms = 350}, "6 5 4 3 ");
    expect_list((struct record_alarm_filter){.since_ms = 451}, "6 5 ");
    expect_list((struct record_alarm_filter){.since_ms = 9999}, "6 5 "); /* they still stand */
    expect_list((struct record_alarm_filter){.since_ms = all, .system = "c"}, "");
    int most = 2;
    listed[0] = '\0';
    const struct record_alarm_filter every = {.since_ms = all};
    ck_assert_int_eq(record_alarm_list(store, &every, list_id, &most), STORE_OK);
    ck_assert_str_eq(listed, "6 5 "); /* the callback ended it */
    expect_list((struct record_alarm_filter){.since_ms = all}, "6 5 4 3 2 1 ");
}
END_TEST

/* ---- trackers ---- */

static bool list_tracker(void *context, const struct record_tracker *tracker) {
    (void)context;
    size_t length = strlen(listed);
    snprintf(listed + length, sizeof listed - length, "%s/%s/%s:%d:%lld ", tracker->system,
             tracker->point, tracker->condition, tracker->phase, (long long)tracker->since_ms);
    return true;
}

START_TEST(trackers_are_put_replaced_and_deleted) {
    struct record_tracker one = {"a", "p", "suction-low", 1, 50}, two = one;
    ck_assert_int_eq(record_tracker_put(store, &one), STORE_OK);
    two.condition = "suction-lost";
    ck_assert_int_eq(record_tracker_put(store, &two), STORE_OK);
    one.phase = 2;
    ck_assert_int_eq(record_tracker_put(store, &one), STORE_OK);
    listed[0] = '\0';
    ck_assert_int_eq(record_tracker_list(store, list_tracker, NULL), STORE_OK);
    ck_assert_str_eq(listed, "a/p/suction-lost:1:50 a/p/suction-low:2:50 ");
    ck_assert_int_eq(record_tracker_delete(store, "a", "p", "suction-lost"), STORE_OK);
    ck_assert_int_eq(record_tracker_delete(store, "a", "p", "none"), STORE_OK);
    listed[0] = '\0';
    ck_assert_int_eq(record_tracker_list(store, list_tracker, NULL), STORE_OK);
    ck_assert_str_eq(listed, "a/p/suction-low:2:50 ");
}
END_TEST

/* ---- commissioning, visits, service ---- */

static bool list_commissioning(void *context, const struct record_commissioning *record) {
    (void)context;
    size_t length = strlen(listed);
    snprintf(listed + length, sizeof listed - length, "%lld:%s:%lld:%lld:%s:%s:%s ",
             (long long)record->id, record->system, (long long)record->from_ms,
             (long long)record->recorded_ms, record->by, record->origin, record->text);
    return true;
}

START_TEST(commissioning_is_listed_oldest_first) {
    struct record_commissioning record = {0, "a", 200, 900, "installer", "commissioned", "{}"};
    int64_t id;
    ck_assert_int_eq(record_commissioning_add(store, &record, &id), STORE_OK);
    ck_assert_int_eq(id, 1);
    record.from_ms = 100;
    record.origin = "learned";
    ck_assert_int_eq(record_commissioning_add(store, &record, &id), STORE_OK);
    record.system = "b";
    ck_assert_int_eq(record_commissioning_add(store, &record, NULL), STORE_OK);
    listed[0] = '\0';
    ck_assert_int_eq(
        record_commissioning_list(store, "a", RECORD_OLDEST_FIRST, list_commissioning, NULL),
        STORE_OK);
    ck_assert_str_eq(listed, "2:a:100:900:installer:learned:{} "
                             "1:a:200:900:installer:commissioned:{} ");
    listed[0] = '\0';
    ck_assert_int_eq(
        record_commissioning_list(store, NULL, RECORD_OLDEST_FIRST, list_commissioning, NULL),
        STORE_OK);
    ck_assert_ptr_nonnull(strstr(listed, "3:b:"));
}
END_TEST

static bool list_visit(void *context, const struct record_visit *visit) {
    (void)context;
    size_t length = strlen(listed);
    snprintf(listed + length, sizeof listed - length, "%lld:%s:%lld:%lld:%s:%s:%s:%s ",
             (long long)visit->id, visit->system, (long long)visit->on_ms,
             (long long)visit->recorded_ms, visit->by, visit->found, visit->did,
             visit->text ? visit->text : "-");
    return true;
}

START_TEST(visits_are_listed_oldest_first) {
    struct record_visit visit = {0, "a", 20, 90, "technician", "ice", "cleared it", NULL};
    int64_t id;
    ck_assert_int_eq(record_visit_add(store, &visit, &id), STORE_OK);
    visit.on_ms = 10;
    visit.text = "{}";
    ck_assert_int_eq(record_visit_add(store, &visit, &id), STORE_OK);
    listed[0] = '\0';
    ck_assert_int_eq(record_visit_list(store, NULL, RECORD_OLDEST_FIRST, list_visit, NULL),
                     STORE_OK);
    ck_assert_str_eq(listed, "2:a:10:90:technician:ice:cleared it:{} "
                             "1:a:20:90:technician:ice:cleared it:- ");
    listed[0] = '\0';
    ck_assert_int_eq(record_visit_list(store, "b", RECORD_OLDEST_FIRST, list_visit, NULL),
                     STORE_OK);
    ck_assert_str_eq(listed, "");
}
END_TEST

static bool list_by_hand(void *context, const struct record_by_hand *record) {
    (void)context;
    size_t length = strlen(listed);
    snprintf(listed + length, sizeof listed - length, "%lld:%g:%s ", (long long)record->time_ms,
             record->value, record->by);
    return true;
}

static bool list_tests(void *context, const struct record_radon_test *test) {
    (void)context;
    size_t length = strlen(listed);
    snprintf(listed + length, sizeof listed - length, "%s:%lld-%lld:%g±%g:%s:%s:%s:%d:%s ",
             test->system, (long long)test->from_ms, (long long)test->to_ms, test->value_bq_m3,
             test->uncertainty_relative, test->kind, test->place, test->device,
             (int)test->closed_house, test->by);
    return true;
}

START_TEST(radon_tests_are_kept_by_system_oldest_first) {
    const struct record_radon_test tests[] = {{.system = "a",
                                               .from_ms = 30,
                                               .to_ms = 40,
                                               .recorded_ms = 50,
                                               .value_bq_m3 = 55.5,
                                               .uncertainty_relative = 0.1,
                                               .kind = "short",
                                               .place = "basement",
                                               .device = "canister",
                                               .by = "Ann",
                                               .closed_house = RECORD_YES},
                                              {.system = "b",
                                               .from_ms = 5,
                                               .to_ms = 20,
                                               .recorded_ms = 50,
                                               .value_bq_m3 = 74.0,
                                               .uncertainty_relative = 0.2,
                                               .kind = "long",
                                               .place = "den",
                                               .device = "film",
                                               .by = "Ben",
                                               .closed_house = RECORD_UNKNOWN},
                                              {.system = "a",
                                               .from_ms = 1,
                                               .to_ms = 9,
                                               .recorded_ms = 50,
                                               .value_bq_m3 = 37.0,
                                               .uncertainty_relative = 0.1,
                                               .kind = "short",
                                               .place = "den",
                                               .device = "canister",
                                               .by = "Cy",
                                               .closed_house = RECORD_NO}};
    int64_t id = 0;
    for (size_t i = 0; i < 3; i++)
        ck_assert_int_eq(record_radon_test_add(store, &tests[i], &id), STORE_OK);
    ck_assert_int_eq(id, 3);
    listed[0] = '\0';
    ck_assert_int_eq(record_radon_test_list(store, "a", RECORD_OLDEST_FIRST, list_tests, NULL),
                     STORE_OK);
    ck_assert_str_eq(listed, "a:1-9:37±0.1:short:den:canister:0:Cy "
                             "a:30-40:55.5±0.1:short:basement:canister:1:Ann ");
    listed[0] = '\0';
    ck_assert_int_eq(record_radon_test_list(store, NULL, RECORD_OLDEST_FIRST, list_tests, NULL),
                     STORE_OK);
    ck_assert_ptr_nonnull(strstr(listed, "b:5-20:74±0.2:long:den:film:2:Ben "));
}
END_TEST

static const struct record_radon_test short_test = {.system = "a",
                                                    .from_ms = 30,
                                                    .to_ms = 40,
                                                    .recorded_ms = 50,
                                                    .value_bq_m3 = 55.5,
                                                    .uncertainty_relative = 0.1,
                                                    .kind = "short",
                                                    .place = "Basement",
                                                    .device = "canister",
                                                    .by = "Ann",
                                                    .closed_house = RECORD_YES};

/* Each of what makes a test another one; 1.5 pCi/L is 55.5 Bq/m3 but for the last bits. */
START_TEST(the_same_radon_test_is_found_whoever_writes_it) {
    const struct record_radon_test first = short_test;
    struct record_radon_test other = first;
    int64_t id = 0, found = 0;
    ck_assert_int_eq(record_radon_test_find(store, &first, &found), STORE_NOT_FOUND);
    ck_assert_int_eq(record_radon_test_add(store, &first, &id), STORE_OK);
    other.value_bq_m3 = nextafter(55.5, 60.0);
    other.place = "basement";
    other.by = "Ben";
    other.recorded_ms = 70;
    ck_assert_int_eq(record_radon_test_find(store, &other, &found), STORE_OK);
    ck_assert_int_eq(found, id);
    for (int part = 0; part < 6; part++) {
        other = first;
        other.system = part == 0 ? "b" : "a";
        other.from_ms += part == 1;
        other.to_ms += part == 2;
        other.value_bq_m3 += 0.1 * (part == 3);
        other.place = part == 4 ? "den" : first.place;
        other.device = part == 5 ? "film" : first.device;
        ck_assert_msg(record_radon_test_find(store, &other, &found) == STORE_NOT_FOUND, "part %d",
                      part);
    }
}
END_TEST

START_TEST(a_radon_test_goes_with_what_the_household_sent_of_it) {
    struct record_radon_test test = short_test;
    const struct record_home_report sent = {"a", 50, 40, "radon-test", NULL, 55.5, NULL},
                                    tube = {"a", 50, 40, "u-tube", NULL, 55.5, NULL};
    int64_t id = 0, count = 0;
    test.place = "den";
    test.by = "homeowner";
    ck_assert_int_eq(record_radon_test_add(store, &test, &id), STORE_OK);
    ck_assert_int_eq(record_home_report_add(store, &sent), STORE_OK);
    ck_assert_int_eq(record_home_report_add(store, &tube), STORE_OK);
    ck_assert_int_eq(record_radon_test_delete(store, id + 1), STORE_OK);
    listed[0] = '\0';
    ck_assert_int_eq(record_radon_test_get(store, id, list_tests, NULL), STORE_OK);
    ck_assert_str_eq(listed, "a:30-40:55.5±0.1:short:den:canister:1:homeowner ");
    ck_assert_int_eq(record_radon_test_delete(store, id), STORE_OK);
    ck_assert_int_eq(record_radon_test_get(store, id, list_tests, NULL), STORE_NOT_FOUND);
    ck_assert_int_eq(record_home_report_count(store, "a", 0, &count), STORE_OK);
    ck_assert_int_eq(count, 1);
}
END_TEST

static bool list_home_report(void *context, const struct record_home_report *report) {
    (void)context;
    size_t length = strlen(listed);
    snprintf(listed + length, sizeof listed - length, "%s:%lld:%lld:%s:%s:%g:%s ", report->system,
             (long long)report->sent_ms, (long long)report->time_ms, report->kind,
             report->branch ? report->branch : "-", report->value,
             report->note ? report->note : "-");
    return true;
}

START_TEST(what_a_household_sent_is_listed_newest_first_and_counted) {
    const struct record_home_report reports[] = {
        {"a", 100, 90, "u-tube", "east", 250.0, NULL},
        {"b", 150, 150, "off", NULL, NAN, "no hum"},
        {"a", 200, 60, "radon-test", NULL, 44.4, NULL},
        {"a", 200, 200, "sounds-different", NULL, NAN, "it hums"}};
    int64_t count = -1;
    for (size_t i = 0; i < sizeof reports / sizeof reports[0]; i++)
        ck_assert_int_eq(record_home_report_add(store, &reports[i]), STORE_OK);
    listed[0] = '\0';
    ck_assert_int_eq(record_home_report_newest(store, "a", 2, list_home_report, NULL), STORE_OK);
    ck_assert_str_eq(listed,
                     "a:200:200:sounds-different:-:nan:it hums a:200:60:radon-test:-:44.4:- ");
    ck_assert_int_eq(record_home_report_count(store, "a", 101, &count), STORE_OK);
    ck_assert_int_eq(count, 2);
    ck_assert_int_eq(record_home_report_count(store, "c", 0, &count), STORE_OK);
    ck_assert_int_eq(count, 0);
}
END_TEST

START_TEST(readings_by_hand_keep_who_took_them_first) {
    int64_t a, b;
    ck_assert_int_eq(series_key(store, "a", "tube", &a), STORE_OK);
    ck_assert_int_eq(series_key(store, "a", "gauge", &b), STORE_OK);
    const struct record_by_hand records[] = {
        {10, 1.5, "Ann"}, {30, 2.5, "Ben"}, {20, 3.5, "Cy"}, {30, 2.5, "Dee"}};
    for (size_t i = 0; i < sizeof records / sizeof records[0]; i++)
        ck_assert_int_eq(record_by_hand_add(store, a, &records[i]), STORE_OK);
    listed[0] = '\0';
    ck_assert_int_eq(record_by_hand_newest(store, a, 2, list_by_hand, NULL), STORE_OK);
    ck_assert_str_eq(listed, "30:2.5:Ben 20:3.5:Cy ");
    listed[0] = '\0';
    ck_assert_int_eq(record_by_hand_newest(store, b, 2, list_by_hand, NULL), STORE_OK);
    ck_assert_str_eq(listed, "");
}
END_TEST

static bool list_service(void *context, const struct record_service *service) {
    (void)context;
    size_t length = strlen(listed);
    snprintf(listed + length, sizeof listed - length, "%s:%lld:%lld:%s:%s ", service->system,
             (long long)service->from_ms, (long long)service->until_ms, service->by, service->why);
    return true;
}

START_TEST(service_states_are_put_and_taken_back) {
    struct record_service service = {"a", 1, 2, "office", "sale"};
    ck_assert_int_eq(record_service_put(store, &service), STORE_OK);
    service.until_ms = 3;
    ck_assert_int_eq(record_service_put(store, &service), STORE_OK);
    listed[0] = '\0';
    ck_assert_int_eq(record_service_list(store, list_service, NULL), STORE_OK);
    ck_assert_str_eq(listed, "a:1:3:office:sale ");
    ck_assert_int_eq(record_service_delete(store, "a"), STORE_OK);
    listed[0] = '\0';
    ck_assert_int_eq(record_service_list(store, list_service, NULL), STORE_OK);
    ck_assert_str_eq(listed, "");
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("records");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, an_alarm_comes_back_as_it_went_in);
    tcase_add_test(tcase, alarms_are_listed_newest_first_by_every_filter);
    tcase_add_test(tcase, trackers_are_put_replaced_and_deleted);
    tcase_add_test(tcase, commissioning_is_listed_oldest_first);
    tcase_add_test(tcase, visits_are_listed_oldest_first);
    tcase_add_test(tcase, radon_tests_are_kept_by_system_oldest_first);
    tcase_add_test(tcase, the_same_radon_test_is_found_whoever_writes_it);
    tcase_add_test(tcase, a_radon_test_goes_with_what_the_household_sent_of_it);
    tcase_add_test(tcase, readings_by_hand_keep_who_took_them_first);
    tcase_add_test(tcase, what_a_household_sent_is_listed_newest_first_and_counted);
    tcase_add_test(tcase, service_states_are_put_and_taken_back);
    return run_test_case(tcase);
}
