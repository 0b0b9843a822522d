/* Exact cases: ratios worked from the fan laws and the ground law by hand, one for each cause. */
#include "diagnosis/diagnosis.h"
#include "diagnosis/diagnosis_texts.h"
#include "test_support.h"

#include <math.h>
#include <string.h>

#define NOT_MEASURED (-1.0)

static struct diagnosis_signal of(double baseline, double ratio) {
    return (struct diagnosis_signal){ratio == NOT_MEASURED ? NAN : baseline * ratio, baseline, NAN,
                                     false};
}

static struct diagnosis_input case_input(double suction, double flow, double power) {
    struct diagnosis_input input = diagnosis_input_empty(UNIT_SYSTEM_US);
    input.suction = of(274.0, suction);
    input.flow = of(0.0194, flow);
    input.power = of(22.0, power);
    input.alarm_stands = true;
    return input;
}

static const struct {
    const char *why;
    double suction, flow, power;
    enum diagnosis_cause expected;
    double least_confidence;
} cases[] = {
    {"as at commissioning", 1.0, 1.0, 1.0, CAUSE_NONE, 0.6},
    {"speed 0.8 by the fan laws", 0.64, 0.8, 0.512, CAUSE_FAN_WORN, 0.8},
    {"the same without flow", 0.64, NOT_MEASURED, 0.512, CAUSE_FAN_WORN, 0.6},
    {"dead", 0.0, 0.0, 0.0, CAUSE_FAN_OFF, 0.8},
    {"dead, no flow sensor", 0.01, NOT_MEASURED, 0.0, CAUSE_FAN_OFF, 0.8},
    {"leak: less suction, more flow and power", 0.55, 1.4, 1.15, CAUSE_LEAK, 0.8},
    {"leak without flow", 0.5, NOT_MEASURED, 1.2, CAUSE_LEAK, 0.5},
    {"blockage: more suction, less flow and power", 1.5, 0.5, 0.8, CAUSE_BLOCKED_BEFORE, 0.8},
    {"blockage without flow", 1.6, NOT_MEASURED, 0.75, CAUSE_BLOCKED_BEFORE, 0.5},
    {"discharge: as a slow fan, but power holds", 0.49, 0.65, 0.85, CAUSE_BLOCKED_DISCHARGE, 0.7},
    {"tube off", 0.0, 1.0, 1.0, CAUSE_GAUGE_TUBE, 0.6},
    {"inH2O taken for Pa", 249.0, 1.0, 1.0, CAUSE_UNIT_MIX_UP, 0.8},
    {"power meter off", 1.0, 1.0, 0.0, CAUSE_SENSOR_FAULT, 0.7},
    {"flow tube blocked", 1.0, 0.15, 1.0, CAUSE_SENSOR_FAULT, 0.7},
};

START_TEST(each_cause_by_its_signature) {
    struct diagnosis_input input = case_input(cases[_i].suction, cases[_i].flow, cases[_i].power);
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert_msg(diagnosis.cause == cases[_i].expected, "%s: %s (%.2f)", cases[_i].why,
                  diagnosis_cause_word(diagnosis.cause), diagnosis.confidence);
    ck_assert_msg(diagnosis.confidence >= cases[_i].least_confidence, "%s: %.2f", cases[_i].why,
                  diagnosis.confidence);
    ck_assert(diagnosis.confidence <= 0.97);
    ck_assert_uint_ge(diagnosis.evidence_count, 2);
    if (diagnosis.cause != CAUSE_NONE) {
        ck_assert_uint_ge(diagnosis.check_count, 1);
        ck_assert_uint_ge(diagnosis.bring_count, 1);
    }
}
END_TEST

/* Suction and flow fall together for a slow fan and for a blocked discharge: only power can tell.
 */
START_TEST(slow_fan_and_blocked_discharge_stay_level_without_power) {
    struct diagnosis_input input = case_input(0.49, 0.7, NOT_MEASURED);
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert_uint_ge(diagnosis.candidate_count, 2);
    bool worn = false, discharge = false;
    for (size_t i = 0; i < diagnosis.candidate_count; i++) {
        worn = worn || diagnosis.candidates[i].cause == CAUSE_FAN_WORN;
        discharge = discharge || diagnosis.candidates[i].cause == CAUSE_BLOCKED_DISCHARGE;
    }
    ck_assert(worn && discharge);
    ck_assert_int_eq(diagnosis.deciding_sensor, QUANTITY_FAN_POWER);
    ck_assert(diagnosis.confidence < 0.75);
}
END_TEST

/* Found day by day, long before the loss is large enough to be told by the signatures. */
START_TEST(a_sure_slope_of_the_speed_names_the_fan) {
    struct diagnosis_input input = case_input(0.97, 0.985, NOT_MEASURED);
    struct diagnosis unaware, diagnosis;
    input.alarm_stands = true;
    diagnosis_make(&input, &unaware);
    ck_assert_int_ne(unaware.cause, CAUSE_FAN_WORN);
    input.speed_per_year = -0.098;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_FAN_WORN);
    ck_assert(diagnosis.confidence > 0.6 && diagnosis.confidence <= 0.85);
    ck_assert_ptr_nonnull(strstr(diagnosis.evidence[0], "falls by 10 % a year"));
    ck_assert_uint_ge(diagnosis.check_count, 2);
    ck_assert_uint_ge(diagnosis.bring_count, 1);
    input.outdoor_lowest_celsius = -12.0; /* ice on the discharge does the same, bit by bit */
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_FAN_WORN);
    ck_assert_uint_eq(diagnosis.candidate_count, 2);
    ck_assert_int_eq(diagnosis.candidates[1].cause, CAUSE_BLOCKED_DISCHARGE);
}
END_TEST

START_TEST(suction_alone_names_no_culprit_and_says_what_would_decide) {
    struct diagnosis_input input = case_input(0.5, NOT_MEASURED, NOT_MEASURED);
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert_uint_ge(diagnosis.candidate_count, 2);
    ck_assert(diagnosis.confidence < 0.5);
    ck_assert(diagnosis.deciding_sensor == QUANTITY_AIRFLOW ||
              diagnosis.deciding_sensor == QUANTITY_FAN_POWER);
    bool told = false;
    for (size_t i = 0; i < diagnosis.evidence_count; i++)
        told = told || strstr(diagnosis.evidence[i], "would decide") != NULL;
    ck_assert(told);
    ck_assert(!diagnosis.has_speed);
}
END_TEST

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

static struct diagnosis_input with_holes(double one, double two, double three) {
    struct diagnosis_input input = case_input(1.0, 1.0, 1.0);
    input.hole_count = 3;
    const double ratios[] = {one, two, three};
    static const char *const names[] = {"north hole", "middle hole", "south hole"};
    for (size_t i = 0; i < 3; i++)
        input.holes[i] = (struct diagnosis_hole){names[i], of(12.0, ratios[i])};
    return input;
}

START_TEST(field_lost_at_one_hole) {
    struct diagnosis_input input = with_holes(1.0, 0.95, 0.1);
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_FIELD_LOST);
    bool named = false;
    for (size_t i = 0; i < diagnosis.evidence_count; i++)
        named = named || strstr(diagnosis.evidence[i], "south hole") != NULL;
    ck_assert(named);
}
END_TEST

/* Suction gone but flow-less, with a whole field: the system works, its gauge does not. */
START_TEST(a_whole_field_clears_the_system_of_a_lost_suction) {
    struct diagnosis_input input = with_holes(1.0, 0.95, 1.05);
    input.suction.now = 0.0;
    input.flow.now = NAN;
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_GAUGE_TUBE);
    ck_assert_int_eq(diagnosis.culprit, QUANTITY_SUCTION);
    ck_assert(diagnosis.confidence > 0.6);
}
END_TEST

START_TEST(radon_up_while_all_else_holds) {
    struct diagnosis_input input = with_holes(1.0, 0.95, 1.05);
    input.radon = of(50.0, 5.0);
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_RADON_ENTRY);
    input.radon = of(50.0, 1.4); /* a season does that */
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_NONE);
}
END_TEST

START_TEST(high_water_is_named) {
    struct diagnosis_input input = case_input(1.6, 0.5, 0.8);
    input.water_level_m = 0.40;
    input.water_limit_m = 0.30;
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_WATER_HIGH);
    input.water_level_m = 0.10;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_BLOCKED_BEFORE);
}
END_TEST

/* Power and flow as ever tell nothing of a gauge whose values are refused. */
START_TEST(refused_readings_are_no_leak) {
    struct diagnosis_input input = diagnosis_input_empty(UNIT_SYSTEM_SI);
    struct diagnosis diagnosis;
    input.suction = (struct diagnosis_signal){NAN, 250.0, NAN, true};
    input.power = (struct diagnosis_signal){20.6, 20.0, NAN, false};
    input.refused = input.alarm_stands = true;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_UNIT_MIX_UP);
    ck_assert_int_eq(diagnosis.candidates[1].cause, CAUSE_SENSOR_FAULT);
    ck_assert(diagnosis.confidence > 0.2 && diagnosis.confidence < 0.5);
    ck_assert_ptr_nonnull(strstr(diagnosis.evidence[0], "physically impossible"));
}
END_TEST

START_TEST(nothing_measured_is_said_plainly) {
    struct diagnosis_input input = diagnosis_input_empty(UNIT_SYSTEM_SI);
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_UNKNOWN);
    ck_assert_double_eq(diagnosis.confidence, 0.0);
    ck_assert_uint_eq(diagnosis.evidence_count, 1);
    ck_assert_ptr_nonnull(strstr(diagnosis.evidence[0], "Nothing can be compared"));
    input.suction.silent = input.flow.silent = true;
    diagnosis_make(&input, &diagnosis);
    ck_assert_uint_eq(diagnosis.evidence_count, 3);
    ck_assert_ptr_nonnull(strstr(diagnosis.evidence[1], "silent"));
}
END_TEST

START_TEST(sentences_have_numbers_in_the_readers_units) {
    struct diagnosis_input input = case_input(0.64, 0.8, 0.512);
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert_str_eq(diagnosis.evidence[0],
                     "Suction is 0.704 inH2O, 64 % of the 1.1 inH2O at commissioning.");
    input.units = UNIT_SYSTEM_SI;
    diagnosis_make(&input, &diagnosis);
    ck_assert_str_eq(diagnosis.evidence[0],
                     "Suction is 175 Pa, 64 % of the 274 Pa at commissioning.");
    ck_assert(diagnosis.has_speed);
    ck_assert_int_eq(diagnosis.speed.method, FAN_METHOD_BOUNDS);
    ck_assert_double_eq_tol(diagnosis.speed.ratio, 0.8, 1e-9);
}
END_TEST

START_TEST(cautions_are_in_the_lists) {
    struct diagnosis_input input = case_input(0.64, 0.8, 0.512);
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    bool electrician = false, back_draft = false;
    for (size_t i = 0; i < diagnosis.check_count; i++) {
        electrician = electrician || diagnosis.check[i] == diagnosis_text_electrician;
        back_draft = back_draft || diagnosis.check[i] == diagnosis_text_back_draft;
    }
    ck_assert(electrician && back_draft);
}
END_TEST

START_TEST(every_cause_has_its_words) {
    for (int i = 0; i < CAUSE_COUNT; i++) {
        const struct diagnosis_cause_texts *texts = diagnosis_cause_texts((enum diagnosis_cause)i);
        ck_assert_ptr_nonnull(texts->word);
        ck_assert_ptr_nonnull(texts->text);
        if (i != CAUSE_NONE) {
            ck_assert_ptr_nonnull(texts->check[0]);
            ck_assert_ptr_nonnull(texts->bring[0]);
        }
        for (int j = 0; j < i; j++)
            ck_assert_str_ne(texts->word, diagnosis_cause_word((enum diagnosis_cause)j));
    }
}
END_TEST

/* Any mix of values and gaps gives an answer with sound numbers. */
START_TEST(random_input_never_breaks_it) {
    struct test_random random = {test_seed()};
    for (int run = 0; run < 150; run++) {
        struct diagnosis_input input = with_holes(1.0, 1.0, 1.0);
        struct diagnosis_signal *signals[] = {&input.suction,        &input.flow,
                                              &input.power,          &input.radon,
                                              &input.holes[0].field, &input.holes[2].field};
        for (size_t i = 0; i < 6; i++) {
            double u = test_random_unit(&random);
            *signals[i] = of(exp(12.0 * (u - 0.5)), exp(3.0 * test_random_normal(&random)));
            if (u < 0.15)
                signals[i]->now = u < 0.03 ? INFINITY : u < 0.06 ? -5.0 : NAN;
            if (u > 0.95)
                signals[i]->baseline = u > 0.97 ? 0.0 : -1.0;
        }
        struct diagnosis diagnosis;
        diagnosis_make(&input, &diagnosis);
        ck_assert(diagnosis.confidence >= 0.0 && diagnosis.confidence <= 0.97);
        ck_assert_uint_ge(diagnosis.candidate_count, 1);
        ck_assert_uint_le(diagnosis.evidence_count, DIAGNOSIS_EVIDENCE_MAX);
        for (size_t i = 1; i < diagnosis.candidate_count; i++)
            ck_assert(diagnosis.candidates[i].confidence <= diagnosis.candidates[i - 1].confidence);
    }
}
END_TEST

int main(void) {
    TCase *diagnosis = tcase_create("diagnosis");
    tcase_add_loop_test(diagnosis, each_cause_by_its_signature, 0,
                        sizeof(cases) / sizeof(cases[0]));
    tcase_add_test(diagnosis, slow_fan_and_blocked_discharge_stay_level_without_power);
    tcase_add_test(diagnosis, a_sure_slope_of_the_speed_names_the_fan);
    tcase_add_test(diagnosis, suction_alone_names_no_culprit_and_says_what_would_decide);
    tcase_add_test(diagnosis, frost_speaks_for_ice_and_a_slow_change_for_the_fan);
    tcase_add_test(diagnosis, field_lost_at_one_hole);
    tcase_add_test(diagnosis, a_whole_field_clears_the_system_of_a_lost_suction);
    tcase_add_test(diagnosis, radon_up_while_all_else_holds);
    tcase_add_test(diagnosis, high_water_is_named);
    tcase_add_test(diagnosis, refused_readings_are_no_leak);
    tcase_add_test(diagnosis, nothing_measured_is_said_plainly);
    tcase_add_test(diagnosis, sentences_have_numbers_in_the_readers_units);
    tcase_add_test(diagnosis, cautions_are_in_the_lists);
    tcase_add_test(diagnosis, every_cause_has_its_words);
    tcase_add_test(diagnosis, random_input_never_breaks_it);
    return run_test_case(diagnosis);
}
