/* Diagnosis where a sensor, its unit or its place is what is wrong. */
#include "diagnosis_bench.h"

#include <string.h>

/* All pairs: suction steps by the factor between two units while flow and power stand still. Even
   2.49 (inH2O to hPa), which a blockage might make, is told by the days before it. */
START_TEST(any_pair_of_units_is_a_mix_up) {
    static const struct {
        const char *declared, *sent;
        double factor; /* NIST SP 811 appendix B, inch of water 249.08891 Pa */
    } pairs[] = {
        {"Pa", "inH2O", 0.00401463},   {"inH2O", "Pa", 249.08891},  {"inH2O", "mmH2O", 25.4},
        {"mmH2O", "inH2O", 0.0393701}, {"inH2O", "hPa", 2.4908891}, {"hPa", "inH2O", 0.401463},
        {"mmH2O", "Pa", 9.80665},      {"Pa", "mmH2O", 0.101972},   {"mmH2O", "hPa", 0.0980665},
        {"hPa", "mmH2O", 10.1972},     {"Pa", "kPa", 0.001},        {"inH2O", "psi", 0.0361273}};
    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        struct diagnosis_input input = case_input(pairs[i].factor, 1.0, 1.0);
        struct diagnosis diagnosis;
        input.suction.unit = unit_find(pairs[i].declared, strlen(pairs[i].declared));
        input.suction.before = input.suction.baseline;
        input.suction.scatter = 1.0;
        input.flow.before = input.flow.baseline;
        input.power.before = input.power.baseline;
        input.change_span_days = 0.02;
        diagnosis_make(&input, &diagnosis);
        if (pairs[i].factor < 0.01) /* nothing is left of it: the tube may be off as well */
            continue;
        ck_assert_msg(diagnosis.cause == CAUSE_UNIT_MIX_UP, "%s to %s: %s", pairs[i].declared,
                      pairs[i].sent, diagnosis_cause_word(diagnosis.cause));
        ck_assert_str_eq(diagnosis.declared->spelling, pairs[i].declared);
        ck_assert_str_eq(diagnosis.sent->spelling, pairs[i].sent);
    }
}
END_TEST

/* Flow in m3/h where the point says cfm, a factor of 1.69901: no leak, for suction and power hold.
 */
START_TEST(a_flow_in_another_unit_is_no_leak) {
    struct diagnosis_input input = case_input(1.0, 1.69901, 1.0);
    input.flow.unit = unit_find("cfm", 3);
    input.suction.before = input.suction.baseline;
    input.flow.before = input.flow.baseline;
    input.power.before = input.power.baseline;
    input.change_span_days = 0.02;
    ck_assert_str_eq(claim_of(&input), "unit-mix-up");
}
END_TEST

/* Velocity pressure in inH2O where the point says Pa: flow goes by its root, 1 / 15.783. */
START_TEST(a_velocity_pressure_in_another_unit_is_told) {
    struct diagnosis_input input = case_input(1.0, 0.06336, 1.0);
    input.flow.unit = unit_find("Pa", 2);
    input.suction.before = input.suction.baseline;
    input.flow.before = input.flow.baseline;
    input.power.before = input.power.baseline;
    input.change_span_days = 0.02;
    ck_assert_str_eq(claim_of(&input), "unit-mix-up");
}
END_TEST

/* The gauge's zero wanders by a third of the suction in months while flow, power and field hold; a
   tube comes off at once. */
START_TEST(a_zero_that_wanders_is_the_sensor) {
    struct diagnosis_input input = case_input(0.65, 1.0, 1.0);
    struct diagnosis diagnosis;
    input.change_span_days = 120.0;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_SENSOR_FAULT);
    ck_assert_int_eq(diagnosis.culprit, QUANTITY_SUCTION);
    input.change_span_days = 0.05;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_GAUGE_TUBE);
}
END_TEST

/* A pipe that loses as much as it leaves for the ground, and the ground's resistance up by 3.2:
   flow to 0.82, and by q^2 the pipe gives back a third of its loss to the gauge. Curve p = 400 (1 -
   x^2) Pa, x = q / 0.1 m3/s; at 0.07 m3/s it makes 204 Pa, 102 of them at the gauge, 102 lost
   behind it (20816 Pa per (m3/s)^2). At 0.0574: 268.2 - 68.6 = 199.6 Pa at the gauge, 1.957 of what
   it was. */
START_TEST(what_the_pipe_loses_comes_back_to_the_gauge) {
    struct fan_point points[10];
    struct fan_curve curve;
    for (int i = 0; i < 10; i++) {
        double flow = 0.01 * i;
        points[i] = (struct fan_point){flow, 400.0 * (1.0 - flow * flow / 0.01)};
    }
    ck_assert_int_eq(fan_curve_make(&curve, points, 10), FAN_OK);
    struct diagnosis_input input = diagnosis_input_empty();
    input.suction = of(102.0, 1.957);
    input.flow = of(0.07, 0.82);
    input.power = of(60.0, 0.94);
    input.riser.curve = &curve;
    input.asked.alarm_stands = true;
    ck_assert_str_eq(claim_of(&input), "blocked-before-fan or water-high");
}
END_TEST

/* Of a thermometer alone: nothing of the riser, no gauge, no radon monitor, no smoke. */
START_TEST(a_thermometer_asks_for_what_fits_it) { /* _i: refused, in another unit */
    struct diagnosis_input input = case_input(0.64, 0.8, 0.512);
    struct diagnosis diagnosis;
    input.asked.alone = QUANTITY_OUTDOOR_TEMPERATURE;
    input.asked.refused = _i == 0;
    input.asked.other_unit = _i == 1;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_ne(diagnosis.cause, CAUSE_NONE);
    for (size_t i = 0; i < diagnosis.evidence_count; i++)
        ck_assert_int_ne(diagnosis.evidence[i].kind, FACT_RATIO);
    ck_assert_uint_ge(diagnosis.check_count, 2);
    for (size_t i = 0; i < diagnosis.check_count; i++)
        ck_assert(diagnosis.check[i] == VISIT_UNIT_SETTING ||
                  diagnosis.check[i] == VISIT_READING_BY_HAND ||
                  diagnosis.check[i] == VISIT_SENSOR_PLACE);
    ck_assert_uint_ge(diagnosis.bring_count, 1);
    for (size_t i = 0; i < diagnosis.bring_count; i++)
        ck_assert(diagnosis.bring[i] == VISIT_HAND_INSTRUMENT ||
                  diagnosis.bring[i] == VISIT_SETUP || diagnosis.bring[i] == VISIT_SPARE_SENSOR);
}
END_TEST

/* Power and flow as ever tell nothing of a gauge whose values are refused. */
START_TEST(refused_readings_are_no_leak) {
    struct diagnosis_input input = diagnosis_input_empty();
    struct diagnosis diagnosis;
    input.suction = (struct diagnosis_signal){.now = NAN, .baseline = 250.0, .silent = true};
    input.power = (struct diagnosis_signal){.now = 20.6, .baseline = 20.0};
    input.asked.refused = input.asked.alarm_stands = true;
    diagnosis_make(&input, &diagnosis);
    ck_assert_int_eq(diagnosis.cause, CAUSE_UNIT_MIX_UP);
    ck_assert_int_eq(diagnosis.candidates[1].cause, CAUSE_SENSOR_FAULT);
    ck_assert(diagnosis.confidence > 0.2 && diagnosis.confidence < 0.5);
    ck_assert_ptr_nonnull(strstr(sentence(&diagnosis, 0), "physically impossible"));
}
END_TEST

int main(void) {
    TCase *diagnosis = tcase_create("diagnosis");
    tcase_add_test(diagnosis, any_pair_of_units_is_a_mix_up);
    tcase_add_loop_test(diagnosis, a_thermometer_asks_for_what_fits_it, 0, 2);
    tcase_add_test(diagnosis, a_flow_in_another_unit_is_no_leak);
    tcase_add_test(diagnosis, a_velocity_pressure_in_another_unit_is_told);
    tcase_add_test(diagnosis, a_zero_that_wanders_is_the_sensor);
    tcase_add_test(diagnosis, what_the_pipe_loses_comes_back_to_the_gauge);
    tcase_add_test(diagnosis, refused_readings_are_no_leak);
    return run_test_case(diagnosis);
}
