/*
 * The states and transitions of ISA-18.2 (the state diagram; words from memory).
 */
#include "alarm/alarm.h"
#include "test_support.h"

#include <string.h>

static struct alarm standing(void) {
    return (struct alarm){.raised_ms = 10,
                          .returned_ms = TIMESTAMP_NONE,
                          .acknowledged.time_ms = TIMESTAMP_NONE,
                          .shelved.until_ms = TIMESTAMP_NONE,
                          .told = true};
}

START_TEST(raise_acknowledge_return) {
    struct alarm alarm = standing();
    ck_assert_str_eq(alarm_state_word(alarm_state(&alarm)), "unacknowledged");
    alarm.acknowledged.time_ms = 20;
    ck_assert_str_eq(alarm_state_word(alarm_state(&alarm)), "acknowledged");
    alarm.returned_ms = 30;
    ck_assert_str_eq(alarm_state_word(alarm_state(&alarm)), "normal");
    ck_assert(!alarm_open(&alarm));
}
END_TEST

START_TEST(raise_return_acknowledge) {
    struct alarm alarm = standing();
    alarm.returned_ms = 30;
    ck_assert_str_eq(alarm_state_word(alarm_state(&alarm)), "returned unacknowledged");
    ck_assert(alarm_open(&alarm));
    alarm.acknowledged.time_ms = 40;
    ck_assert_str_eq(alarm_state_word(alarm_state(&alarm)), "normal");
}
END_TEST

START_TEST(what_nobody_was_told_of_asks_nobody) {
    struct alarm alarm = standing();
    alarm.told = false;
    alarm.returned_ms = 30;
    alarm.history = true;
    ck_assert_int_eq(alarm_state(&alarm), ALARM_NORMAL);
}
END_TEST

START_TEST(covers_hide_each_other_in_order) {
    struct alarm alarm = standing();
    alarm.suppressed = true;
    ck_assert_str_eq(alarm_state_word(alarm_state(&alarm)), "suppressed by design");
    alarm.shelved.until_ms = 99;
    ck_assert_str_eq(alarm_state_word(alarm_state(&alarm)), "shelved");
    alarm.out_of_service = true;
    ck_assert_str_eq(alarm_state_word(alarm_state(&alarm)), "out of service");
    ck_assert(!alarm_annunciates(&alarm));
    alarm.out_of_service = false;
    alarm.shelved.until_ms = TIMESTAMP_NONE;
    alarm.suppressed = false;
    ck_assert_int_eq(alarm_state(&alarm), ALARM_UNACKNOWLEDGED);
    ck_assert(alarm_annunciates(&alarm));
}
END_TEST

START_TEST(a_shelved_alarm_that_returned_stays_shelved_until_its_end) {
    struct alarm alarm = standing();
    alarm.shelved.until_ms = 99;
    alarm.returned_ms = 50;
    ck_assert_int_eq(alarm_state(&alarm), ALARM_SHELVED);
}
END_TEST

START_TEST(the_table_of_conditions_is_whole) {
    for (int c = 0; c < CONDITION_COUNT; c++) {
        ck_assert_msg(condition_info((enum condition)c)->says != 0, "row %d is not complete", c);
        const struct condition_info *info = condition_info((enum condition)c);
        enum condition found;
        ck_assert_ptr_nonnull(info->name);
        ck_assert(condition_find(info->name, &found));
        ck_assert_int_eq(found, c);
        ck_assert_uint_ne(info->hears, 0);
        ck_assert_uint_eq(info->suppresses >> c & 1U, 0);
    }
    enum condition none;
    ck_assert(!condition_find("suction-lost ", &none));
}
END_TEST

/* The defaults that README lists. */
static const struct {
    const char *name;
    double setpoint;
    int64_t on_delay_min, off_delay_min;
    const char *priority;
} defaults[] = {
    {"suction-lost", 0.10, 30, 10, "high"},      {"suction-low", 0.70, 360, 10, "medium"},
    {"suction-high", 1.40, 1440, 10, "medium"},  {"field-weak", 0.50, 1440, 1440, "medium"},
    {"field-reversed", 0.20, 0, 1440, "medium"}, {"fan-stopped", 0.10, 15, 10, "high"},
    {"power-high", 1.25, 7 * 1440, 10, "low"},   {"fan-weak", 0.90, 7 * 1440, 7 * 1440, "medium"},
    {"radon-high", 2.0, 1440, 1440, "medium"},   {"radon-above-action", 0.95, 0, 1440, "high"},
    {"sensor-stuck", 48 * 3600e3, 0, 0, "low"},  {"fan-fading", 365 * 86400e3, 0, 14 * 1440, "low"},
};

START_TEST(defaults_are_those_of_the_contract) {
    enum condition condition;
    ck_assert(condition_find(defaults[_i].name, &condition));
    struct condition_rule rule = condition_rule_default(condition);
    ck_assert_double_eq(rule.setpoint.number, defaults[_i].setpoint);
    ck_assert_int_eq(rule.on_delay_ms, defaults[_i].on_delay_min * 60000);
    ck_assert_int_eq(rule.off_delay_ms, defaults[_i].off_delay_min * 60000);
    ck_assert_str_eq(priority_word(rule.priority), defaults[_i].priority);
}
END_TEST

START_TEST(a_shorter_on_delay_shortens_the_default_off_delay_only) {
    struct condition_rule rule = condition_rule_default(CONDITION_SUCTION_LOW);
    struct condition_override on = {
        .condition = CONDITION_SUCTION_LOW, .has_on_delay = true, .on_delay_ms = 2000};
    struct condition_override off = {
        .condition = CONDITION_SUCTION_LOW, .has_off_delay = true, .off_delay_ms = 3600000};
    condition_rule_apply(&rule, &on, 1);
    ck_assert_int_eq(rule.off_delay_ms, 2000);
    condition_rule_apply(&rule, &off, 1);
    condition_rule_apply(&rule, &on, 1);
    ck_assert_int_eq(rule.off_delay_ms, 3600000);
}
END_TEST

/* Of a week as of ten minutes; and what one list shortened, the next makes as long as it was. */
START_TEST(a_default_off_delay_is_no_longer_than_a_shortened_on_delay) {
    struct condition_rule rule = condition_rule_default(CONDITION_FAN_WEAK);
    struct condition_override on = {
        .condition = CONDITION_FAN_WEAK, .has_on_delay = true, .on_delay_ms = 2000};
    condition_rule_apply(&rule, &on, 1);
    ck_assert_int_eq(rule.off_delay_ms, 2000);
    on.on_delay_ms = 240 * 3600000;
    condition_rule_apply(&rule, &on, 1);
    ck_assert_int_eq(rule.off_delay_ms, 7 * 24 * 3600000);
}
END_TEST

START_TEST(an_override_of_another_condition_changes_nothing) {
    struct condition_rule rule = condition_rule_default(CONDITION_SUCTION_LOW);
    struct condition_override other = {
        .condition = CONDITION_SUCTION_LOST, .has_priority = true, .priority = PRIORITY_LOW};
    condition_rule_apply(&rule, &other, 1);
    ck_assert_int_eq(rule.priority, PRIORITY_MEDIUM);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("alarm");
    tcase_add_test(tcase, raise_acknowledge_return);
    tcase_add_test(tcase, raise_return_acknowledge);
    tcase_add_test(tcase, what_nobody_was_told_of_asks_nobody);
    tcase_add_test(tcase, covers_hide_each_other_in_order);
    tcase_add_test(tcase, a_shelved_alarm_that_returned_stays_shelved_until_its_end);
    tcase_add_test(tcase, the_table_of_conditions_is_whole);
    tcase_add_loop_test(tcase, defaults_are_those_of_the_contract, 0,
                        sizeof defaults / sizeof defaults[0]);
    tcase_add_test(tcase, a_shorter_on_delay_shortens_the_default_off_delay_only);
    tcase_add_test(tcase, a_default_off_delay_is_no_longer_than_a_shortened_on_delay);
    tcase_add_test(tcase, an_override_of_another_condition_changes_nothing);
    return run_test_case(tcase);
}
