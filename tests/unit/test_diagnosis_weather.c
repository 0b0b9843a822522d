/* Diagnosis where frost, a draft or the season is what stands behind it. */
#include "diagnosis_bench.h"

#include <string.h>

START_TEST(frost_speaks_for_ice_and_a_slow_change_for_the_fan) {
    struct diagnosis_input cold = case_input(0.49, 0.68, NOT_MEASURED), slow = cold;
    cold.outdoor_lowest_celsius = -15.0;
    cold.change_span_days = 0.5;
    slow.outdoor_lowest_celsius = 15.0;
    slow.change_span_days = 90.0;
    struct diagnosis by_cold, by_slow;
    diagnosis_make(&cold, &by_cold);
    diagnosis_make(&slow, &by_slow);
    ck_assert_int_eq(by_cold.cause, CAUSE_BLOCKED_DISCHARGE);
    ck_assert_int_eq(by_slow.cause, CAUSE_FAN_WORN);
}
END_TEST

/* 11 Pa of draft are 22 % of 50 Pa; by the ground law a seventh of the suction is a third of the
   flow. Without the draft this is a slower fan. */
START_TEST(a_fan_that_stands_in_winter_leaves_a_draft) {
    struct diagnosis_input input = case_input(0.14, 0.30, NOT_MEASURED);
    input.suction.baseline = 50.0;
    input.suction.now = 7.0;
    input.change_span_days = 0.1;
    struct diagnosis without, with;
    diagnosis_make(&input, &without);
    input.draft_pa = 11.0;
    diagnosis_make(&input, &with);
    ck_assert_int_ne(without.cause, CAUSE_FAN_OFF);
    ck_assert_int_eq(with.cause, CAUSE_FAN_OFF);
    /* and one that runs at half its suction is none */
    input.suction.now = 25.0;
    input.flow.now = 0.65 * input.flow.baseline;
    diagnosis_make(&input, &with);
    ck_assert_int_ne(with.cause, CAUSE_FAN_OFF);
}
END_TEST

START_TEST(damp_air_and_a_roof_make_ice_more_likely) {
    struct diagnosis_input input = case_input(0.6, NOT_MEASURED, NOT_MEASURED);
    input.outdoor_lowest_celsius = -15.0;
    struct diagnosis dry, damp;
    diagnosis_make(&input, &dry);
    input.humidity_percent = 95.0;
    input.roof_discharge = true;
    diagnosis_make(&input, &damp);
    ck_assert_int_eq(damp.cause, CAUSE_BLOCKED_DISCHARGE);
    ck_assert(damp.confidence > dry.candidates[0].confidence);
}
END_TEST

START_TEST(frost_is_told_where_it_freezes_or_may) {
    struct diagnosis_input input = case_input(0.5, NOT_MEASURED, NOT_MEASURED);
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert(!diagnosis.frost);
    input.month = 1;
    diagnosis_make(&input, &diagnosis);
    ck_assert(diagnosis.frost);
    input.outdoor_lowest_celsius = 6.0;
    diagnosis_make(&input, &diagnosis);
    ck_assert(!diagnosis.frost);
    input.outdoor_lowest_celsius = -3.0;
    diagnosis_make(&input, &diagnosis);
    ck_assert(diagnosis.frost);
}
END_TEST

START_TEST(what_was_so_last_year_is_said) {
    struct diagnosis_input input = case_input(1.5, 0.75, 0.95);
    struct diagnosis diagnosis;
    bool told = false;
    input.last_year_month = 4;
    diagnosis_make(&input, &diagnosis);
    for (size_t i = 0; i < diagnosis.evidence_count; i++)
        told = told || strstr(sentence(&diagnosis, i), "in April last year, and passed") != NULL;
    ck_assert(told);
    ck_assert_int_eq(diagnosis.cause, CAUSE_WATER_HIGH);
}
END_TEST

/* An exhaust fan turns all holes of a weak field by some pascals at once, sixteen times what the
   weakest was, while suction holds: that is no unknown. */
START_TEST(an_exhaust_fan_turns_every_hole) {
    struct diagnosis_input input = case_input(0.95, NOT_MEASURED, NOT_MEASURED);
    static const double base[] = {0.8, 1.2, 0.4}, now[] = {-1.6, -5.6, -6.4};
    input.change_span_days = 0.5;
    input.hole_count = 3;
    for (size_t i = 0; i < 3; i++)
        input.holes[i] = (struct diagnosis_hole){"hole", of(base[i], now[i] / base[i]), false};
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_FIELD_LOST);
}
END_TEST

int main(void) {
    TCase *diagnosis = tcase_create("diagnosis");
    tcase_add_test(diagnosis, frost_speaks_for_ice_and_a_slow_change_for_the_fan);
    tcase_add_test(diagnosis, a_fan_that_stands_in_winter_leaves_a_draft);
    tcase_add_test(diagnosis, damp_air_and_a_roof_make_ice_more_likely);
    tcase_add_test(diagnosis, frost_is_told_where_it_freezes_or_may);
    tcase_add_test(diagnosis, what_was_so_last_year_is_said);
    tcase_add_test(diagnosis, an_exhaust_fan_turns_every_hole);
    return run_test_case(diagnosis);
}
