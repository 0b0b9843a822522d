#include "words/visit.h"

#include "measure/duration.h"
#include "measure/timestamp.h"
#include "test_support.h"
#include "words/visit_texts.h"
#include "words/wording_texts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define DAY DURATION_DAY_MS
static const int64_t now_ms = INT64_C(1767225600000); /* 2026-01-01T00:00:00Z */

static struct visit_input empty_input(void) {
    return (struct visit_input){.system = "birch-lane-12",
                                .name = "12 Birch Lane",
                                .address = "12 Birch Lane",
                                .counted_ms = TIMESTAMP_NONE,
                                .last_visit_ms = TIMESTAMP_NONE,
                                .changed_ms = TIMESTAMP_NONE};
}

static const char *english(enum visit_item item) {
    return wording_languages[WORDING_ENGLISH].texts->items[item];
}

static struct visit_alarm alarm_at(enum condition condition, enum priority priority,
                                   int64_t raised) {
    return (struct visit_alarm){.condition = condition,
                                .priority = priority,
                                .raised_ms = raised,
                                .quantity = QUANTITY_COUNT};
}

START_TEST(nothing_calls_for_no_visit) {
    struct visit_input input = empty_input();
    struct visit visit = {.reason_count = 77};
    ck_assert(!visit_plan(&input, now_ms, &visit));
    ck_assert_uint_eq(visit.reason_count, 77);
    struct visit_alarm daemon = alarm_at(CONDITION_STORE_FAILING, PRIORITY_HIGH, now_ms);
    input.alarms = &daemon;
    input.alarm_count = 1;
    ck_assert(!visit_plan(&input, now_ms, &visit));
}
END_TEST

static const struct {
    enum priority priority;
    int due_days, latest_days;
} rules[] = {{PRIORITY_HIGH, 2, 7}, {PRIORITY_MEDIUM, 14, 30}, {PRIORITY_LOW, 60, 120}};

START_TEST(window_of_an_alarm_follows_its_priority) {
    struct visit_input input = empty_input();
    struct visit_alarm alarm = alarm_at(CONDITION_SUCTION_LOW, rules[_i].priority, now_ms - DAY);
    input.alarms = &alarm;
    input.alarm_count = 1;
    struct visit visit;
    ck_assert(visit_plan(&input, now_ms, &visit));
    ck_assert_int_eq(visit.earliest_ms, now_ms - DAY);
    ck_assert_int_eq(visit.due_ms, now_ms + (rules[_i].due_days - 1) * DAY);
    ck_assert_int_eq(visit.latest_ms, now_ms + (rules[_i].latest_days - 1) * DAY);
    ck_assert_int_eq(visit.priority, rules[_i].priority);
    ck_assert_str_eq(visit.reasons[0].text, "suction low");
    ck_assert_uint_ge(visit.check_count, 1);
    ck_assert_uint_ge(visit.bring_count, 1);
}
END_TEST

/* The mean of a year took weeks to show: it asks for no two days' haste, and stays of high
 * priority. */
START_TEST(what_weeks_have_shown_leaves_a_fortnight) {
    struct visit_input input = empty_input();
    struct visit_alarm alarm = alarm_at(CONDITION_RADON_ABOVE_ACTION, PRIORITY_HIGH, now_ms - DAY);
    input.alarms = &alarm;
    input.alarm_count = 1;
    struct visit visit;
    ck_assert(visit_plan(&input, now_ms, &visit));
    ck_assert_int_eq(visit.due_ms, now_ms + 13 * DAY);
    ck_assert_int_eq(visit.latest_ms, now_ms + 29 * DAY);
    ck_assert_int_eq(visit.priority, PRIORITY_HIGH);
}
END_TEST

/* Contract: a visit for a date is listed from 60 days before it. */
START_TEST(a_date_is_listed_sixty_days_before) {
    struct visit_input input = empty_input();
    struct visit_date date = {CONDITION_RETEST_DUE, now_ms + 60 * DAY, NULL};
    input.dates = &date;
    input.date_count = 1;
    struct visit visit;
    ck_assert(!visit_plan(&input, now_ms - 1, &visit));
    ck_assert(visit_plan(&input, now_ms, &visit));
    ck_assert_int_eq(visit.earliest_ms, now_ms);
    ck_assert_int_eq(visit.due_ms, now_ms + 60 * DAY);
    ck_assert_int_eq(visit.latest_ms, now_ms + 90 * DAY);
    ck_assert(visit_plan(&input, now_ms + 365 * DAY, &visit)); /* overdue, and still says so */
    ck_assert_int_eq(visit.due_ms, now_ms + 60 * DAY);
}
END_TEST

START_TEST(a_projection_is_planned_before_its_earliest_crossing) {
    struct visit_input input = empty_input();
    struct visit_projection projection = {CONDITION_SUCTION_FADING, now_ms + 90 * DAY,
                                          now_ms + 50 * DAY, TIMESTAMP_NONE, NULL};
    input.projections = &projection;
    input.projection_count = 1;
    struct visit visit;
    ck_assert(visit_plan(&input, now_ms, &visit));
    ck_assert_int_eq(visit.due_ms, now_ms + 50 * DAY);
    ck_assert_int_eq(visit.latest_ms, now_ms + 90 * DAY);
    projection.earliest_ms = now_ms + 61 * DAY;
    ck_assert(!visit_plan(&input, now_ms, &visit));
    projection.crossing_ms = TIMESTAMP_NONE; /* not within 10 years */
    ck_assert(!visit_plan(&input, now_ms, &visit));
}
END_TEST

START_TEST(reasons_are_merged_into_one_visit) {
    const char *const check[] = {"Capacitor", english(VISIT_BACK_DRAFT)};
    const char *const bring[] = {"Micromanometer", "Run capacitor"};
    struct visit_alarm alarms[] = {alarm_at(CONDITION_BATTERY_LOW, PRIORITY_LOW, now_ms - 3 * DAY),
                                   alarm_at(CONDITION_FAN_STOPPED, PRIORITY_HIGH, now_ms - DAY),
                                   alarm_at(CONDITION_SUCTION_LOW, PRIORITY_MEDIUM, now_ms)};
    alarms[1].check = (struct text_list){check, 2};
    alarms[1].bring = (struct text_list){bring, 2};
    alarms[1].text = "the fan has stopped";
    struct visit_date dates[] = {{CONDITION_RETEST_DUE, now_ms + 30 * DAY, NULL},
                                 {CONDITION_VISIT_DUE, now_ms + 300 * DAY, NULL}};
    struct visit_baseline baseline[] = {
        {"suction", "riser", 274.0, DIMENSION_PRESSURE, QUANTITY_SUCTION}};
    struct visit_input input = empty_input();
    input.alarms = alarms;
    input.alarm_count = 3;
    input.dates = dates;
    input.date_count = 2;
    input.baseline = baseline;
    input.baseline_count = 1;
    struct visit visit;
    ck_assert(visit_plan(&input, now_ms, &visit));
    ck_assert_uint_eq(visit.reason_count, 4); /* the visit in 300 days is not yet due */
    ck_assert_int_eq(visit.reasons[0].condition, CONDITION_FAN_STOPPED);
    ck_assert_str_eq(visit.reasons[0].text, "the fan has stopped");
    ck_assert_int_eq(visit.priority, PRIORITY_HIGH);
    ck_assert_int_eq(visit.due_ms, now_ms + DAY);
    ck_assert_int_eq(visit.latest_ms, now_ms + 6 * DAY);
    ck_assert(visit.earliest_ms <= visit.due_ms && visit.due_ms <= visit.latest_ms);
    ck_assert_str_eq(visit.check[0], "Capacitor");
    ck_assert_str_eq(visit.check[visit.check_count - 2], english(VISIT_BACK_DRAFT));
    ck_assert_str_eq(visit.check[visit.check_count - 1], english(VISIT_LEAVE_RUNNING));
    for (size_t i = 0; i < visit.bring_count; i++)
        for (size_t j = 0; j < i; j++)
            ck_assert_str_ne(visit.bring[i], visit.bring[j]);
    ck_assert_ptr_eq(visit.baseline, baseline);
}
END_TEST

/* Of the lists of a sensor only what has to do with it. */
START_TEST(a_sensor_is_visited_with_what_fits_it) {
    static const struct {
        enum quantity quantity;
        bool tubing;
    } rows[] = {{QUANTITY_SUCTION, true},
                {QUANTITY_FIELD, true},
                {QUANTITY_OUTDOOR_TEMPERATURE, false},
                {QUANTITY_RADON, false},
                {QUANTITY_FAN_POWER, false}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct visit_alarm alarm = alarm_at(CONDITION_SENSOR_STUCK, PRIORITY_LOW, now_ms);
        struct visit_input input = empty_input();
        struct visit visit;
        bool tubing = false, gauge = false;
        alarm.quantity = rows[i].quantity;
        input.alarms = &alarm;
        input.alarm_count = 1;
        ck_assert(visit_plan(&input, now_ms, &visit));
        for (size_t k = 0; k < visit.bring_count; k++)
            tubing = tubing || strcmp(visit.bring[k], english(VISIT_TUBING)) == 0;
        for (size_t k = 0; k < visit.check_count; k++)
            gauge = gauge || strcmp(visit.check[k], english(VISIT_GAUGE_TUBE)) == 0;
        ck_assert_int_eq(tubing, rows[i].tubing);
        ck_assert_int_eq(gauge, rows[i].tubing);
    }
}
END_TEST

/* Whatever it is for, it ends with the fan running. */
START_TEST(a_visit_is_told_in_the_language_of_who_makes_it) {
    struct visit_alarm alarm = alarm_at(CONDITION_FAN_STOPPED, PRIORITY_HIGH, now_ms);
    struct visit_input input = empty_input();
    struct visit visit;
    input.alarms = &alarm;
    input.alarm_count = 1;
    ck_assert(wording_language_find("es", &input.reader.language));
    ck_assert(visit_plan(&input, now_ms, &visit));
    ck_assert_str_eq(visit.reasons[0].text, "ventilador parado");
    ck_assert_str_eq(visit.check[visit.check_count - 1],
                     "Antes de irse: el ventilador está en marcha; anote el medidor en U");
}
END_TEST

START_TEST(id_stays_until_a_visit_is_recorded) {
    struct visit_alarm alarms[] = {alarm_at(CONDITION_FAN_STOPPED, PRIORITY_HIGH, now_ms),
                                   alarm_at(CONDITION_BATTERY_LOW, PRIORITY_LOW, now_ms)};
    struct visit_input input = empty_input();
    input.alarms = alarms;
    input.alarm_count = 1;
    struct visit one, other;
    ck_assert(visit_plan(&input, now_ms, &one));
    input.alarm_count = 2;
    ck_assert(visit_plan(&input, now_ms + DAY, &other));
    ck_assert_str_eq(one.id, other.id);
    input.counted_ms = now_ms;
    ck_assert(visit_plan(&input, now_ms + DAY, &other));
    ck_assert_str_ne(one.id, other.id);
}
END_TEST

static int compare_places(const void *one, const void *other) {
    return visit_place_compare(one, other);
}

START_TEST(most_urgent_first) {
    struct visit_alarm high = alarm_at(CONDITION_FAN_STOPPED, PRIORITY_HIGH, now_ms);
    struct visit_alarm medium = alarm_at(CONDITION_SUCTION_LOW, PRIORITY_MEDIUM, now_ms - 60 * DAY);
    struct visit_alarm early = alarm_at(CONDITION_FAN_STOPPED, PRIORITY_HIGH, now_ms - DAY);
    struct visit_input inputs[4] = {empty_input(), empty_input(), empty_input(), empty_input()};
    inputs[0].system = "a", inputs[0].alarms = &medium, inputs[0].alarm_count = 1;
    inputs[1].system = "b", inputs[1].alarms = &high, inputs[1].alarm_count = 1;
    inputs[2].system = "c";
    inputs[3].system = "d", inputs[3].alarms = &early, inputs[3].alarm_count = 1;
    struct visit visit;
    struct visit_place places[4];
    size_t count = 0;
    for (size_t i = 0; i < 4; i++) {
        if (visit_plan(&inputs[i], now_ms, &visit))
            places[count++] = visit_place_of(&visit);
    }
    ck_assert_uint_eq(count, 3);
    qsort(places, count, sizeof places[0], compare_places);
    ck_assert_str_eq(places[0].system, "d");
    ck_assert_str_eq(places[1].system, "b");
    ck_assert_str_eq(places[2].system, "a");
}
END_TEST

/* Whatever comes, the window is in order, nothing overflows and the most urgent reason is kept. */
START_TEST(random_reasons_keep_the_window_in_order) {
    struct test_random random = {test_seed()};
    for (int run = 0; run < 500; run++) {
        struct visit_alarm alarms[40];
        struct visit_date dates[5];
        struct visit_input input = empty_input();
        input.alarms = alarms;
        input.alarm_count = test_random_below(&random, 41);
        bool any_high = false;
        for (size_t i = 0; i < input.alarm_count; i++) {
            alarms[i] =
                alarm_at((enum condition)(test_random_next(&random) % CONDITION_FLEET_SILENT),
                         (enum priority)(test_random_next(&random) % 3),
                         now_ms - (int64_t)(test_random_next(&random) % 400) * DAY);
            any_high = any_high || alarms[i].priority == PRIORITY_HIGH;
        }
        input.dates = dates;
        input.date_count = 5;
        for (size_t i = 0; i < 5; i++)
            dates[i] = (struct visit_date){
                CONDITION_RETEST_DUE,
                now_ms + ((int64_t)(test_random_next(&random) % 300) - 150) * DAY, NULL};
        struct visit visit;
        if (!visit_plan(&input, now_ms, &visit))
            continue;
        ck_assert(visit.earliest_ms <= visit.due_ms && visit.due_ms <= visit.latest_ms);
        ck_assert(visit.earliest_ms <= now_ms);
        ck_assert_uint_le(visit.reason_count, VISIT_REASONS_MAX);
        ck_assert_uint_le(visit.check_count, VISIT_LIST_MAX);
        ck_assert_int_eq(visit.priority == PRIORITY_HIGH, any_high);
    }
}
END_TEST

START_TEST(conditions_of_a_system_have_words) {
    for (int i = 0; i < CONDITION_COUNT; i++) {
        const struct visit_condition_items *items = visit_condition_items((enum condition)i);
        if (i < CONDITION_FLEET_SILENT ||
            (i >= CONDITION_RETEST_DUE && i <= CONDITION_CALIBRATION_DUE)) {
            ck_assert_msg(items->calls, "%s has no row in visit_texts.c",
                          condition_info((enum condition)i)->name);
            ck_assert_int_ne(items->check[0], VISIT_NONE);
            ck_assert_int_ne(items->bring[0], VISIT_NONE);
        } else {
            ck_assert(!items->calls);
        }
    }
}
END_TEST

int main(void) {
    TCase *visit = tcase_create("visit");
    tcase_add_test(visit, nothing_calls_for_no_visit);
    tcase_add_loop_test(visit, window_of_an_alarm_follows_its_priority, 0,
                        sizeof(rules) / sizeof(rules[0]));
    tcase_add_test(visit, what_weeks_have_shown_leaves_a_fortnight);
    tcase_add_test(visit, a_date_is_listed_sixty_days_before);
    tcase_add_test(visit, a_projection_is_planned_before_its_earliest_crossing);
    tcase_add_test(visit, reasons_are_merged_into_one_visit);
    tcase_add_test(visit, a_sensor_is_visited_with_what_fits_it);
    tcase_add_test(visit, a_visit_is_told_in_the_language_of_who_makes_it);
    tcase_add_test(visit, id_stays_until_a_visit_is_recorded);
    tcase_add_test(visit, most_urgent_first);
    tcase_add_test(visit, random_reasons_keep_the_window_in_order);
    tcase_add_test(visit, conditions_of_a_system_have_words);
    return run_test_case(visit);
}
