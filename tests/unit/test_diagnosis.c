/* Exact cases: ratios worked from the fan laws and the ground law by hand, one for each cause. */
#include "diagnosis_bench.h"

#include <string.h>

static const struct {
    const char *why;
    double suction, flow, power;
    enum diagnosis_cause expected;
    const char *claim;
} cases[] = {
    {"as at commissioning", 1.0, 1.0, 1.0, CAUSE_NONE, "none"},
    {"speed 0.8 by the fan laws", 0.64, 0.8, 0.512, CAUSE_FAN_WORN, "fan-worn"},
    {"the same without flow", 0.64, NOT_MEASURED, 0.512, CAUSE_FAN_WORN, "fan-worn"},
    {"dead", 0.0, 0.0, 0.0, CAUSE_FAN_OFF, "fan-off"},
    {"dead, no flow sensor", 0.01, NOT_MEASURED, 0.0, CAUSE_FAN_OFF, "fan-off"},
    {"leak: less suction, more flow and power", 0.55, 1.4, 1.15, CAUSE_LEAK, "leak"},
    /* whether a pipe or the ground lets less air through only the field tells */
    {"blockage: more suction, less flow and power", 1.5, 0.5, 0.8, CAUSE_BLOCKED_BEFORE,
     "blocked-before-fan or water-high"},
    /* in front of the fan or behind it: one and the same to every sensor at the gauge */
    {"discharge: as a slow fan, but power holds", 0.49, 0.65, 0.85, CAUSE_BLOCKED_DISCHARGE,
     "blocked-discharge or blocked-before-fan"},
    {"tube off", 0.0, 1.0, 1.0, CAUSE_GAUGE_TUBE, "gauge-tube"},
    {"inH2O taken for Pa", 249.0, 1.0, 1.0, CAUSE_UNIT_MIX_UP, "unit-mix-up"},
    {"power meter off", 1.0, 1.0, 0.0, CAUSE_SENSOR_FAULT, "sensor-fault"},
    {"flow tube blocked", 1.0, 0.15, 1.0, CAUSE_SENSOR_FAULT, "sensor-fault"},
};

START_TEST(each_cause_by_its_signature) {
    struct diagnosis_input input = case_input(cases[_i].suction, cases[_i].flow, cases[_i].power);
    struct diagnosis diagnosis;
    char claim[DIAGNOSIS_CLAIM_BYTES];
    diagnosis_make(&input, &diagnosis);
    ck_assert_msg(diagnosis.cause == cases[_i].expected, "%s: %s (%.2f)", cases[_i].why,
                  diagnosis_cause_word(diagnosis.cause), diagnosis.confidence);
    ck_assert_str_eq(diagnosis_claim(&diagnosis, claim), cases[_i].claim);
    ck_assert(diagnosis_claim_confidence(&diagnosis) <= 0.97);
    ck_assert_uint_ge(diagnosis.evidence_count, 2);
    if (diagnosis.cause != CAUSE_NONE) {
        ck_assert(diagnosis_claim_confidence(&diagnosis) >= 0.8);
        ck_assert_uint_ge(diagnosis.check_count, 1);
        ck_assert_uint_ge(diagnosis.bring_count, 1);
    }
}
END_TEST

/* Suction alone has halved: leak, worn fan, blocked discharge, gauge. None is claimed, and what
   would tell is named. */
START_TEST(what_cannot_be_told_is_not_claimed) {
    struct diagnosis_input input = case_input(0.5, NOT_MEASURED, NOT_MEASURED);
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert_str_eq(claim_of(&input), "undecided");
    ck_assert_uint_eq(diagnosis.claim_count, 0);
    ck_assert_int_ne(diagnosis.deciding_sensor, QUANTITY_COUNT);
}
END_TEST

/* Suction is gone in a moment and nothing else is measured: the fan stands, the tube is off, or the
   riser is open. No two of them are sure enough, the three are. */
START_TEST(one_of_three_is_claimed) {
    struct diagnosis_input input = case_input(0.02, NOT_MEASURED, NOT_MEASURED);
    struct diagnosis diagnosis;
    input.change_span_days = 0.1;
    diagnosis_make(&input, &diagnosis);
    ck_assert_str_eq(claim_of(&input), "gauge-tube or leak or fan-off");
    ck_assert_uint_eq(diagnosis.claim_count, 3);
    char text[EVIDENCE_CLAIM_BYTES];
    const char *told = evidence_claim_text(text, WORDING_ENGLISH, claim_of(&input));
    ck_assert_ptr_nonnull(strstr(told, "; or: leak before the fan"));
    ck_assert_ptr_nonnull(strstr(told, "; or: fan off"));
    ck_assert(diagnosis_claim_confidence(&diagnosis) > 0.5);
}
END_TEST

/* Two fans pull at one slab and one of them stands: its suction, flow and power are gone, and the
   hole keeps what the other fan pulls. */
START_TEST(a_hole_that_two_fans_share_keeps_a_part) {
    struct diagnosis_input input = case_input(0.02, 0.05, 0.0);
    input.change_span_days = 0.02;
    input.hole_count = 2;
    for (size_t i = 0; i < 2; i++)
        input.holes[i] = (struct diagnosis_hole){"hole", of(12.0, 0.6 + 0.2 * (double)i), true};
    ck_assert_str_eq(claim_of(&input), "fan-off");
}
END_TEST

/* A fan with control at the end of its speed, 1.2 times that of commissioning, behind which the
   pipe closes: suction 0.7, flow 0.8, power 1.2^3 (1 - 0.35 + 0.35 * 0.8 / 1.2) = 1.53. A fan
   without control would take less. What holds its suction can only leak or be blocked. */
START_TEST(control_at_its_end_is_no_sure_leak) {
    struct diagnosis_input input = case_input(0.7, 0.8, 1.53);
    enum diagnosis_cause causes[DIAGNOSIS_CAUSES_MAX];
    bool blocked = false;
    input.riser.holds_suction = true;
    input.change_span_days = 40.0;
    size_t count = diagnosis_claim_causes(claim_of(&input), causes);
    for (size_t i = 0; i < count; i++)
        blocked = blocked || causes[i] == CAUSE_BLOCKED_DISCHARGE;
    ck_assert_msg(blocked, "%s", claim_of(&input));
    ck_assert_uint_ge(count, 2);
}
END_TEST

/* A slope through a step, as ice makes it over night: the fan is not said to wear. */
START_TEST(a_step_is_no_wear) {
    struct diagnosis_input input = case_input(0.41, 0.60, 0.985);
    input.change_span_days = 0.5;
    input.speed_per_year = -0.7;
    ck_assert_ptr_null(strstr(claim_of(&input), "fan-worn"));
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    for (size_t i = 0; i < diagnosis.evidence_count; i++)
        ck_assert_int_ne(diagnosis.evidence[i].kind, FACT_FADING);
}
END_TEST

/* Suction, flow and power all fall in months, power by far less than by the fan laws
   (0.82^3 = 0.55): the pipe closes beyond the gauge, and on which side of the fan nobody can tell.
 */
START_TEST(a_pipe_that_closes_beyond_the_gauge_names_both_sides_of_the_fan) {
    struct diagnosis_input input = case_input(0.67, 0.82, 0.93);
    input.change_span_days = 50.0;
    ck_assert_ptr_nonnull(strstr(claim_of(&input), "blocked-discharge"));
    ck_assert_ptr_nonnull(strstr(claim_of(&input), "blocked-before-fan"));
}
END_TEST

START_TEST(a_claim_can_be_read_back) {
    enum diagnosis_cause causes[DIAGNOSIS_CAUSES_MAX];
    ck_assert_uint_eq(diagnosis_claim_causes("leak", causes), 1);
    ck_assert_int_eq(causes[0], CAUSE_LEAK);
    ck_assert_uint_eq(diagnosis_claim_causes("fan-off or gauge-tube", causes), 2);
    ck_assert_int_eq(causes[0], CAUSE_FAN_OFF);
    ck_assert_int_eq(causes[1], CAUSE_GAUGE_TUBE);
    ck_assert_uint_eq(diagnosis_claim_causes("leak or fan-off or gauge-tube", causes), 3);
    ck_assert_int_eq(causes[2], CAUSE_GAUGE_TUBE);
    ck_assert_uint_eq(diagnosis_claim_causes("leak or leak or leak or leak", causes), 0);
    ck_assert_uint_eq(diagnosis_claim_causes("leak or mice", causes), 0);
    ck_assert_uint_eq(diagnosis_claim_causes("mice", causes), 0);
    ck_assert_uint_eq(diagnosis_claim_causes(NULL, causes), 0);
}
END_TEST

/* Suction gone and all of the field with it, and nothing else measured: no leak is claimed, for a
   fan that stands does the same. */
START_TEST(a_field_that_is_gone_is_no_sure_leak) {
    struct diagnosis_input input = case_input(0.0, NOT_MEASURED, NOT_MEASURED);
    input.hole_count = 3;
    for (size_t i = 0; i < 3; i++)
        input.holes[i] = (struct diagnosis_hole){"hole", of(12.0, 0.0), false};
    input.change_span_days = 0.02;
    ck_assert_str_eq(claim_of(&input), "fan-off or leak");
}
END_TEST

/* A fan that stands in winter: what the house itself pulls turns a field of 2 Pa over by more than
   it was, and three holes of that agree with each other, so it is nothing unknown. */
START_TEST(a_fan_that_stands_turns_a_weak_field) {
    struct diagnosis_input input = case_input(0.02, NOT_MEASURED, 0.0);
    input.hole_count = 3;
    for (size_t i = 0; i < 3; i++)
        input.holes[i] = (struct diagnosis_hole){"hole", of(2.0, -2.4 - 0.3 * (double)i), false};
    input.outdoor_celsius = -8.0;
    input.change_span_days = 0.02;
    ck_assert_str_eq(claim_of(&input), "fan-off");
}
END_TEST

/* A leak grows in months between flow sensor and fan: the sensor knows nothing of it, and suction
   and flow say a slower fan; but the fan moves more air and takes more power, not less. */
START_TEST(a_fan_that_slows_and_takes_more_power_is_hardly_worn) {
    struct diagnosis_input input = case_input(0.90, 0.935, 1.04);
    input.change_span_days = 60.0;
    input.speed_per_year = -0.25;
    ck_assert(strncmp(claim_of(&input), "fan-worn", 8) != 0);
    input = case_input(0.90, 0.94, 0.84);
    input.change_span_days = 60.0;
    input.speed_per_year = -0.25;
    ck_assert_str_eq(claim_of(&input), "fan-worn");
}
END_TEST

/* Without a water sensor and a field both would do; the field tells: what blocks the pipe takes it
   down with the flow, wet ground takes away what is under water. Who measures water knows. */
START_TEST(water_is_told_by_who_measures_it) {
    struct diagnosis_input input = case_input(1.5, 0.5, 0.8);
    input.water_level_m = 0.15;
    input.water_limit_m = 0.30;
    input.water_rise_m = 0.0;
    ck_assert_str_eq(claim_of(&input), "blocked-before-fan");
    input.water_level_m = 0.28;
    input.water_rise_m = 0.13;
    ck_assert_str_eq(claim_of(&input), "water-high or blocked-before-fan");
    input.water_level_m = 0.32;
    input.water_rise_m = 0.17;
    ck_assert_str_eq(claim_of(&input), "water-high");
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
    input.asked.alarm_stands = true;
    diagnosis_make(&input, &unaware);
    ck_assert_int_ne(unaware.cause, CAUSE_FAN_WORN);
    input.speed_per_year = -0.098;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_FAN_WORN);
    ck_assert(diagnosis_claim_confidence(&diagnosis) > 0.6);
    ck_assert_ptr_nonnull(strstr(sentence(&diagnosis, 0), "falls by 10 % a year"));
    ck_assert_uint_ge(diagnosis.check_count, 2);
    ck_assert_uint_ge(diagnosis.bring_count, 1);
    ck_assert_int_eq(diagnosis.candidates[1].cause, CAUSE_BLOCKED_DISCHARGE);
    /* by the fan laws power would have to fall to 0.985^3 = 0.956 */
    input = case_input(0.82, 0.92, 1.0);
    input.speed_per_year = -0.3;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_BLOCKED_DISCHARGE);
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
        told = told || strstr(sentence(&diagnosis, i), "would decide") != NULL;
    ck_assert(told);
    ck_assert(!diagnosis.has_speed);
}
END_TEST

static struct diagnosis_input with_holes(double one, double two, double three) {
    struct diagnosis_input input = case_input(1.0, 1.0, 1.0);
    input.hole_count = 3;
    const double ratios[] = {one, two, three};
    static const char *const names[] = {"north hole", "middle hole", "south hole"};
    for (size_t i = 0; i < 3; i++)
        input.holes[i] = (struct diagnosis_hole){names[i], of(12.0, ratios[i]), false};
    return input;
}

/* Hydrostatics: 31 K over 2.5 m are 3.5 Pa, over 6 m 8.3 Pa. */
START_TEST(a_higher_house_takes_more_off_the_field) {
    struct diagnosis_input input = with_holes(0.6, 0.6, 0.6);
    struct diagnosis diagnosis;
    input.outdoor_celsius = -10.0;
    input.outdoor_baseline_celsius = 21.0;
    input.stack_height_m = 6.0;
    diagnosis_make(&input, &diagnosis);
    bool told = false;
    for (size_t i = 0; i < diagnosis.evidence_count; i++)
        told = told || strstr(sentence(&diagnosis, i), "about 8.3 Pa") != NULL;
    ck_assert(told);
}
END_TEST

START_TEST(field_lost_at_one_hole) {
    struct diagnosis_input input = with_holes(1.0, 0.95, 0.1);
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_FIELD_LOST);
    bool named = false;
    for (size_t i = 0; i < diagnosis.evidence_count; i++)
        named = named || strstr(sentence(&diagnosis, i), "south hole") != NULL;
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

/* A thermometer in other degrees is no matter of fan and ground, whatever radon does meanwhile. */
START_TEST(a_sensor_beside_the_system_gets_no_cause_of_it) {
    struct diagnosis_input input = case_input(1.0, 1.0, 1.0);
    struct diagnosis diagnosis;
    input.radon = of(50.0, 5.0);
    input.asked.other_unit = true;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_UNIT_MIX_UP);
    for (size_t i = 0; i < diagnosis.candidate_count; i++)
        ck_assert_int_ne(diagnosis.candidates[i].cause, CAUSE_RADON_ENTRY);
    ck_assert_ptr_nonnull(strstr(sentence(&diagnosis, 0), "another unit"));
}
END_TEST

START_TEST(nothing_measured_is_said_plainly) {
    struct diagnosis_input input = diagnosis_input_empty();
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_UNKNOWN);
    ck_assert_double_eq(diagnosis.confidence, 0.0);
    ck_assert_uint_eq(diagnosis.evidence_count, 1);
    ck_assert_ptr_nonnull(strstr(sentence(&diagnosis, 0), "Nothing can be compared"));
    input.suction.silent = input.flow.silent = true;
    diagnosis_make(&input, &diagnosis);
    ck_assert_uint_eq(diagnosis.evidence_count, 3);
    ck_assert_ptr_nonnull(strstr(sentence(&diagnosis, 1), "silent"));
}
END_TEST

START_TEST(sentences_have_numbers_in_the_readers_units) {
    struct diagnosis_input input = case_input(0.64, 0.8, 0.512);
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    ck_assert_str_eq(sentence(&diagnosis, 0),
                     "Suction is 0.704 inH2O, 64 % of the 1.1 inH2O at commissioning.");
    ck_assert_str_eq(sentence_in(UNIT_SYSTEM_SI, &diagnosis, 0),
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
        electrician = electrician || diagnosis.check[i] == VISIT_ELECTRICIAN;
        back_draft = back_draft || diagnosis.check[i] == VISIT_BACK_DRAFT;
    }
    ck_assert(electrician && back_draft);
}
END_TEST

START_TEST(every_cause_has_its_words) {
    for (int i = 0; i < CAUSE_COUNT; i++) {
        const struct diagnosis_cause_items *items = diagnosis_cause_items((enum diagnosis_cause)i);
        const char *word = diagnosis_cause_word((enum diagnosis_cause)i);
        ck_assert_ptr_nonnull(word);
        ck_assert((items->check[0] == VISIT_NONE) == (i == CAUSE_NONE));
        ck_assert((items->bring[0] == VISIT_NONE) == (i == CAUSE_NONE));
        for (int j = 0; j < i; j++)
            ck_assert_str_ne(word, diagnosis_cause_word((enum diagnosis_cause)j));
    }
}
END_TEST

START_TEST(what_neighbours_did_is_told) {
    static const struct {
        double own, theirs, uncertainty;
        enum quantity quantity;
        const char *says;
    } rows[] = {
        {-0.40, 0.01, 0.01, QUANTITY_SUCTION, "Its neighbours did not fall: over 90 days suction"},
        {-0.40, -0.10, 0.01, QUANTITY_SUCTION, "did not fall"}, /* a quarter of it */
        {-0.40, -0.30, 0.20, QUANTITY_SUCTION, "did not fall"}, /* not sure */
        {-0.40, -0.30, 0.02, QUANTITY_FIELD,
         "fell as well: over 90 days pressure field in 14 houses"},
        {0.50, 0.40, 0.02, QUANTITY_WATER_LEVEL,
         "rose as well: over 90 days water level in 14 houses"},
        {0.50, 0.40, 0.05, QUANTITY_RADON, "the level counts all the same"},
        {0.50, -0.40, 0.05, QUANTITY_RADON, "did not rise"},
        {0.03, 0.03, 0.001, QUANTITY_SUCTION, NULL}, /* not worth a word */
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct diagnosis diagnosis = {.cause = CAUSE_LEAK};
        const struct diagnosis_neighbours neighbours = {
            rows[i].quantity, "quillmere",        14, 90, rows[i].own,
            rows[i].theirs,   rows[i].uncertainty};
        diagnosis_tell_neighbours(&diagnosis, &neighbours);
        ck_assert_uint_eq(diagnosis.evidence_count, rows[i].says ? 1 : 0);
        if (rows[i].says)
            ck_assert_msg(strstr(sentence(&diagnosis, 0), rows[i].says) != NULL, "%s",
                          sentence(&diagnosis, 0));
        ck_assert_int_eq(diagnosis.cause, CAUSE_LEAK);
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
    tcase_add_test(diagnosis, what_cannot_be_told_is_not_claimed);
    tcase_add_test(diagnosis, a_claim_can_be_read_back);
    tcase_add_test(diagnosis, one_of_three_is_claimed);
    tcase_add_test(diagnosis, a_hole_that_two_fans_share_keeps_a_part);
    tcase_add_test(diagnosis, control_at_its_end_is_no_sure_leak);
    tcase_add_test(diagnosis, a_step_is_no_wear);
    tcase_add_test(diagnosis, a_pipe_that_closes_beyond_the_gauge_names_both_sides_of_the_fan);
    tcase_add_test(diagnosis, a_field_that_is_gone_is_no_sure_leak);
    tcase_add_test(diagnosis, a_fan_that_stands_turns_a_weak_field);
    tcase_add_test(diagnosis, a_fan_that_slows_and_takes_more_power_is_hardly_worn);
    tcase_add_test(diagnosis, water_is_told_by_who_measures_it);
    tcase_add_test(diagnosis, slow_fan_and_blocked_discharge_stay_level_without_power);
    tcase_add_test(diagnosis, a_sure_slope_of_the_speed_names_the_fan);
    tcase_add_test(diagnosis, suction_alone_names_no_culprit_and_says_what_would_decide);
    tcase_add_test(diagnosis, a_higher_house_takes_more_off_the_field);
    tcase_add_test(diagnosis, field_lost_at_one_hole);
    tcase_add_test(diagnosis, a_whole_field_clears_the_system_of_a_lost_suction);
    tcase_add_test(diagnosis, radon_up_while_all_else_holds);
    tcase_add_test(diagnosis, high_water_is_named);
    tcase_add_test(diagnosis, a_sensor_beside_the_system_gets_no_cause_of_it);
    tcase_add_test(diagnosis, nothing_measured_is_said_plainly);
    tcase_add_test(diagnosis, sentences_have_numbers_in_the_readers_units);
    tcase_add_test(diagnosis, cautions_are_in_the_lists);
    tcase_add_test(diagnosis, every_cause_has_its_words);
    tcase_add_test(diagnosis, what_neighbours_did_is_told);
    tcase_add_test(diagnosis, random_input_never_breaks_it);
    return run_test_case(diagnosis);
}
