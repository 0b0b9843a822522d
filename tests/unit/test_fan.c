#include "analysis/fan.h"
#include "fan_model.h"
#include "test_support.h"

#include <math.h>

static const struct fan_point sheet[] = {{0.0, 480.0},  {0.01, 460.0}, {0.02, 420.0},
                                         {0.03, 345.0}, {0.04, 220.0}, {0.05, 40.0}};
enum { SHEET_COUNT = sizeof(sheet) / sizeof(sheet[0]) };

static struct fan_curve sheet_curve(void) {
    struct fan_curve curve;
    ck_assert_int_eq(fan_curve_make(&curve, sheet, SHEET_COUNT), FAN_OK);
    return curve;
}

static struct fan_uncertainty usual(void) {
    return fan_uncertainty_make(NAN, NAN, NAN, true);
}

START_TEST(curve_goes_through_its_points_and_never_rises_between) {
    struct fan_curve curve = sheet_curve();
    for (size_t i = 0; i < SHEET_COUNT; i++) {
        double pressure_pa = 0.0;
        ck_assert_int_eq(fan_curve_pressure(&curve, sheet[i].flow_m3_s, &pressure_pa), FAN_OK);
        ck_assert_double_eq_tol(pressure_pa, sheet[i].pressure_pa, 1e-9);
    }
    double before_pa = INFINITY;
    for (int i = 0; i <= 5000; i++) {
        double pressure_pa = 0.0;
        ck_assert_int_eq(fan_curve_pressure(&curve, 0.05 * i / 5000.0, &pressure_pa), FAN_OK);
        ck_assert(pressure_pa <= before_pa + 1e-9);
        before_pa = pressure_pa;
    }
}
END_TEST

/* Steffen's slopes are those of the parabola through three points where it does not overshoot. */
START_TEST(a_gentle_parabola_is_met_exactly) {
    struct fan_point points[] = {{0.0, 5.0}, {1.0, 3.0}, {2.0, 0.0}}; /* 5 - 1.5 x - 0.5 x^2 */
    struct fan_curve curve;
    ck_assert_int_eq(fan_curve_make(&curve, points, 3), FAN_OK);
    for (int i = 0; i <= 20; i++) {
        double x = 0.1 * i, pressure_pa = 0.0;
        ck_assert_int_eq(fan_curve_pressure(&curve, fmin(x, 2.0), &pressure_pa), FAN_OK);
        ck_assert_double_eq_tol(pressure_pa, 5.0 - 1.5 * x - 0.5 * x * x, 1e-12);
    }
}
END_TEST

START_TEST(another_instrument_shares_no_error) {
    struct fan_uncertainty same = fan_uncertainty_make(0.03, 0.06, 0.03, true);
    struct fan_uncertainty other = fan_uncertainty_make(0.03, 0.06, 0.03, false);
    ck_assert_double_eq_tol(same.suction_common, 0.03, 1e-15);
    ck_assert_double_eq_tol(same.suction_separate, 0.01, 1e-15);
    ck_assert_double_eq_tol(same.flow_separate, 0.02, 1e-15);
    ck_assert_double_eq_tol(same.power_separate, 0.01, 1e-15);
    ck_assert_double_eq(other.suction_common, 0.0);
    ck_assert_double_eq_tol(other.suction_separate, 0.03, 1e-15);
    ck_assert_double_eq_tol(other.flow_separate, 0.06, 1e-15);
}
END_TEST

START_TEST(random_curves_stay_between_their_points) {
    struct test_random random = {test_seed()};
    for (int run = 0; run < 300; run++) {
        struct fan_point points[8];
        double flow = 0.0, pressure = 500.0;
        for (int i = 0; i < 8; i++) {
            points[i] = (struct fan_point){flow, pressure};
            flow += 0.001 + 0.01 * test_random_unit(&random);
            pressure *= 0.3 + 0.7 * test_random_unit(&random);
        }
        struct fan_curve curve;
        ck_assert_int_eq(fan_curve_make(&curve, points, 8), FAN_OK);
        for (int i = 0; i < 7; i++)
            for (int part = 0; part <= 20; part++) {
                double at = points[i].flow_m3_s +
                            (points[i + 1].flow_m3_s - points[i].flow_m3_s) * part / 20.0;
                double value = 0.0;
                ck_assert_int_eq(fan_curve_pressure(&curve, at, &value), FAN_OK);
                ck_assert(value <= points[i].pressure_pa + 1e-9);
                ck_assert(value >= points[i + 1].pressure_pa - 1e-9);
            }
    }
}
END_TEST

static const struct {
    struct fan_point points[3];
    size_t count;
    enum fan_status expected;
} curves[] = {
    {{{0.0, 100.0}}, 1, FAN_BAD_CURVE},
    {{{0.01, 100.0}, {0.01, 50.0}}, 2, FAN_BAD_CURVE},
    {{{0.0, -1.0}, {0.02, 0.0}}, 2, FAN_BAD_CURVE},
    {{{-0.01, 100.0}, {0.02, 0.0}}, 2, FAN_BAD_CURVE},
    {{{0.01, 100.0}, {0.02, 450.0}}, 2, FAN_BAD_CURVE}, /* steeper than Q^2: two answers */
    {{{0.0, NAN}, {0.02, 0.0}}, 2, FAN_INPUT_MISSING},
    {{{0.0, 0.0}, {0.02, 0.0}}, 2, FAN_BAD_CURVE},
    {{{0.02, 0.0}, {0.0, 100.0}}, 2, FAN_OK},                /* any order */
    {{{0.0, 100.0}, {0.01, 110.0}, {0.03, 0.0}}, 3, FAN_OK}, /* a slight hump is usual */
};

START_TEST(curves_are_checked) {
    struct fan_curve curve = {.count = 77};
    ck_assert_int_eq(fan_curve_make(&curve, curves[_i].points, curves[_i].count),
                     curves[_i].expected);
    ck_assert_uint_eq(curve.count, curves[_i].expected == FAN_OK ? curves[_i].count : 77);
}
END_TEST

START_TEST(speed_is_found_again_from_suction_and_flow) {
    struct fan_curve curve = sheet_curve();
    for (int i = 0; i <= 10; i++)
        for (int j = 0; j <= 6; j++)
            for (int k = 0; k <= 2; k++) {
                double speed = 1.0 - 0.02 * i, factor = 0.5 * pow(4.0, j / 6.0);
                double exponent = 1.0 + 0.5 * k;
                double base = 350.0 / pow(0.03, exponent);
                struct fan_load then_load = {base, exponent, 20000.0}, now_load = then_load;
                now_load.resistance *= factor;
                struct fan_point then_point, now_point;
                ck_assert_int_eq(fan_operating_point(&curve, 1.0, 1.0, &then_load, &then_point),
                                 FAN_OK);
                ck_assert_int_eq(fan_operating_point(&curve, speed, 0.97, &now_load, &now_point),
                                 FAN_OK);
                struct fan_state then = {then_point.pressure_pa, then_point.flow_m3_s, NAN, 1.0};
                struct fan_state now = {now_point.pressure_pa, now_point.flow_m3_s, NAN, 0.97};
                double absolute = 0.0;
                ck_assert_int_eq(fan_speed(&curve, &now, 20000.0, &absolute), FAN_OK);
                ck_assert_double_eq_tol(absolute, speed, 1e-9);
                struct fan_uncertainty uncertainty = usual();
                struct fan_speed_ratio ratio;
                ck_assert_int_eq(fan_ratio(&curve, &now, &then, 20000.0, &uncertainty, &ratio),
                                 FAN_OK);
                ck_assert_int_eq(ratio.method, FAN_METHOD_CURVE);
                ck_assert_double_eq_tol(ratio.ratio, speed, 1e-8);
                ck_assert(ratio.lower < speed && speed < ratio.upper);
                ck_assert(ratio.upper - ratio.lower < 0.2);
                /* without the curve: the truth is between the two limits */
                ck_assert_int_eq(fan_ratio(NULL, &now, &then, 20000.0, &uncertainty, &ratio),
                                 FAN_OK);
                ck_assert_int_eq(ratio.method, FAN_METHOD_BOUNDS);
                ck_assert(ratio.lower < speed && speed < ratio.upper);
            }
}
END_TEST

/* Of a fan on its curve the pipe takes what the gauge does not show; at another speed, ground and
   density the speed is right with that. */
START_TEST(what_the_pipe_takes_is_told_by_the_curve) {
    struct fan_curve curve = sheet_curve();
    const double loss = 30000.0;
    struct fan_load load = {350.0 / pow(0.03, 1.5), 1.5, loss};
    struct fan_point point;
    ck_assert_int_eq(fan_operating_point(&curve, 1.0, 0.97, &load, &point), FAN_OK);
    struct fan_state then = {point.pressure_pa, point.flow_m3_s, NAN, 0.97};
    double told = fan_loss_after_gauge(0.0, &curve, &then), speed = 0.0;
    ck_assert_double_eq_tol(told, loss, 1e-6 * loss);
    load.resistance *= 0.6;
    ck_assert_int_eq(fan_operating_point(&curve, 0.95, 1.0, &load, &point), FAN_OK);
    struct fan_state now = {point.pressure_pa, point.flow_m3_s, NAN, 1.0};
    ck_assert_int_eq(fan_speed(&curve, &now, told, &speed), FAN_OK);
    ck_assert_double_eq_tol(speed, 0.95, 1e-9);
    /* what the file says goes before; more suction than the fan can give is none */
    ck_assert_double_eq(fan_loss_after_gauge(700.0, &curve, &then), 700.0);
    ck_assert_double_eq(fan_loss_after_gauge(0.0, NULL, &then), 0.0);
    then.suction_pa = 5000.0;
    ck_assert_double_eq(fan_loss_after_gauge(0.0, &curve, &then), 0.0);
    then.flow_m3_s = 5.0; /* off the curve */
    ck_assert_double_eq(fan_loss_after_gauge(0.0, &curve, &then), 0.0);
}
END_TEST

/* Scale errors of pipe size, gauge and curve leave the ratio alone while the ground is turbulent.
 */
START_TEST(errors_of_both_days_cancel) {
    struct fan_curve curve = sheet_curve();
    struct fan_load load = {350.0 / (0.03 * 0.03), 2.0, 0.0};
    struct fan_point then_point, now_point;
    ck_assert_int_eq(fan_operating_point(&curve, 1.0, 1.0, &load, &then_point), FAN_OK);
    ck_assert_int_eq(fan_operating_point(&curve, 0.85, 1.0, &load, &now_point), FAN_OK);
    for (int i = -1; i <= 1; i++) {
        double scale = 1.0 + 0.1 * i;
        struct fan_state then = {then_point.pressure_pa / scale, then_point.flow_m3_s * scale, NAN,
                                 1.0};
        struct fan_state now = {now_point.pressure_pa / scale, now_point.flow_m3_s * scale, NAN,
                                1.0};
        struct fan_uncertainty common = {
            .suction_common = 0.1, .flow_common = 0.1, .curve_scale = 0.1, .curve_tilt = 0.1};
        struct fan_speed_ratio ratio;
        ck_assert_int_eq(fan_ratio_from_curve(&curve, &now, &then, 0.0, &common, &ratio), FAN_OK);
        ck_assert_double_eq_tol(ratio.ratio, 0.85, 1e-9);
        ck_assert_double_eq_tol(ratio.standard_uncertainty, 0.0, 1e-9);
    }
}
END_TEST

/* Over many noisy pairs the 95 % interval must hold the truth in about 95 of 100. */
START_TEST(intervals_hold_the_truth_as_often_as_they_say) {
    struct fan_curve curve = sheet_curve();
    struct test_random random = {test_seed()};
    struct fan_uncertainty u = {.suction_common = 0.03,
                                .suction_separate = 0.02,
                                .suction_zero_pa = 2.0,
                                .flow_common = 0.05,
                                .flow_separate = 0.03};
    int held = 0;
    const int runs = 2000;
    for (int run = 0; run < runs; run++) {
        double speed = 0.8 + 0.2 * test_random_unit(&random);
        struct fan_load then_load = {350.0 / pow(0.03, 1.6), 1.6, 0.0}, now_load = then_load;
        now_load.resistance *= exp(0.6 * (test_random_unit(&random) - 0.5));
        struct fan_point points[2];
        ck_assert_int_eq(fan_operating_point(&curve, 1.0, 1.0, &then_load, &points[0]), FAN_OK);
        ck_assert_int_eq(fan_operating_point(&curve, speed, 1.0, &now_load, &points[1]), FAN_OK);
        double suction_scale = 1.0 + u.suction_common * test_random_normal(&random);
        double flow_scale = 1.0 + u.flow_common * test_random_normal(&random);
        struct fan_state states[2];
        for (int i = 0; i < 2; i++)
            states[i] = (struct fan_state){
                points[i].pressure_pa * suction_scale *
                        (1.0 + u.suction_separate * test_random_normal(&random)) +
                    u.suction_zero_pa * test_random_normal(&random),
                points[i].flow_m3_s * flow_scale *
                    (1.0 + u.flow_separate * test_random_normal(&random)),
                NAN, NAN};
        struct fan_speed_ratio ratio;
        ck_assert_int_eq(fan_ratio(&curve, &states[1], &states[0], 0.0, &u, &ratio), FAN_OK);
        held += ratio.lower <= speed && speed <= ratio.upper;
    }
    ck_assert_msg(held > runs * 93 / 100, "held %d of %d", held, runs);
    ck_assert_msg(held < runs * 995 / 1000, "far too wide: held %d of %d", held, runs);
}
END_TEST

START_TEST(a_point_outside_the_curve_is_told_not_guessed) {
    struct fan_point part[] = {{0.01, 400.0}, {0.04, 100.0}};
    struct fan_curve curve;
    ck_assert_int_eq(fan_curve_make(&curve, part, 2), FAN_OK);
    double speed = -1.0;
    struct fan_state beyond = {20.0, 0.045, NAN, 1.0}, before = {400.0, 0.002, NAN, 1.0};
    ck_assert_int_eq(fan_speed(&curve, &beyond, 0.0, &speed), FAN_BEYOND_CURVE);
    ck_assert_int_eq(fan_speed(&curve, &before, 0.0, &speed), FAN_BEFORE_CURVE);
    struct fan_state none = {400.0, NAN, NAN, 1.0}, negative = {-1.0, 0.02, NAN, 1.0};
    ck_assert_int_eq(fan_speed(&curve, &none, 0.0, &speed), FAN_INPUT_MISSING);
    ck_assert_int_eq(fan_speed(&curve, &negative, 0.0, &speed), FAN_OUT_OF_RANGE);
    ck_assert_double_eq(speed, -1.0);
    /* the ratio falls back on the limits that need no curve */
    struct fan_state then = {250.0, 0.025, NAN, 1.0};
    struct fan_uncertainty uncertainty = usual();
    struct fan_speed_ratio ratio;
    ck_assert_int_eq(fan_ratio(&curve, &beyond, &then, 0.0, &uncertainty, &ratio), FAN_OK);
    ck_assert_int_eq(ratio.method, FAN_METHOD_BOUNDS);
    ck_assert(ratio.lower < 1.0 && ratio.upper > 1.0);
}
END_TEST

START_TEST(power_alone_is_a_weaker_claim) {
    struct fan_state then = {NAN, NAN, 20.0, NAN}, now = {NAN, NAN, 20.0 * 0.729, NAN};
    struct fan_uncertainty uncertainty = usual();
    struct fan_speed_ratio alone, with_suction;
    ck_assert_int_eq(fan_ratio(NULL, &now, &then, 0.0, &uncertainty, &alone), FAN_OK);
    ck_assert_int_eq(alone.method, FAN_METHOD_POWER);
    ck_assert_double_eq_tol(alone.ratio, 0.9, 1e-12);
    ck_assert(alone.upper - alone.lower > 0.12);
    then.suction_pa = 300.0;
    now.suction_pa = 300.0 * 0.81;
    ck_assert_int_eq(fan_ratio(NULL, &now, &then, 0.0, &uncertainty, &with_suction), FAN_OK);
    ck_assert(with_suction.upper - with_suction.lower < alone.upper - alone.lower);
    now.suction_pa = 300.0 * 0.4; /* elsewhere on the curve: power says little */
    ck_assert_int_eq(fan_ratio(NULL, &now, &then, 0.0, &uncertainty, &with_suction), FAN_OK);
    ck_assert(with_suction.upper - with_suction.lower > alone.upper - alone.lower);
}
END_TEST

START_TEST(suction_alone_makes_no_claim) {
    struct fan_state then = {300.0, NAN, NAN, NAN}, now = {200.0, NAN, NAN, NAN};
    struct fan_uncertainty uncertainty = usual();
    struct fan_speed_ratio ratio = {.ratio = -1.0};
    struct fan_curve curve = sheet_curve();
    ck_assert_int_eq(fan_ratio(&curve, &now, &then, 0.0, &uncertainty, &ratio), FAN_INPUT_MISSING);
    ck_assert_double_eq(ratio.ratio, -1.0);
    for (int i = FAN_OK; i <= FAN_BEYOND_CURVE; i++)
        ck_assert_uint_gt(strlen(fan_status_text((enum fan_status)i)), 5);
}
END_TEST

START_TEST(a_dead_fan_is_speed_zero) {
    struct fan_curve curve = sheet_curve();
    struct fan_state then = {345.0, 0.03, 20.0, NAN}, now = {0.0, 0.0, 0.0, NAN};
    struct fan_uncertainty uncertainty = usual();
    struct fan_speed_ratio ratio;
    ck_assert_int_eq(fan_ratio(&curve, &now, &then, 0.0, &uncertainty, &ratio), FAN_OK);
    ck_assert_double_eq_tol(ratio.ratio, 0.0, 1e-12);
    ck_assert(ratio.lower >= 0.0 && ratio.upper < 0.2);
}
END_TEST

int main(void) {
    TCase *fan = tcase_create("fan");
    tcase_add_test(fan, curve_goes_through_its_points_and_never_rises_between);
    tcase_add_test(fan, what_the_pipe_takes_is_told_by_the_curve);
    tcase_add_test(fan, a_gentle_parabola_is_met_exactly);
    tcase_add_test(fan, another_instrument_shares_no_error);
    tcase_add_test(fan, random_curves_stay_between_their_points);
    tcase_add_loop_test(fan, curves_are_checked, 0, sizeof(curves) / sizeof(curves[0]));
    tcase_add_test(fan, speed_is_found_again_from_suction_and_flow);
    tcase_add_test(fan, errors_of_both_days_cancel);
    tcase_add_test(fan, intervals_hold_the_truth_as_often_as_they_say);
    tcase_add_test(fan, a_point_outside_the_curve_is_told_not_guessed);
    tcase_add_test(fan, power_alone_is_a_weaker_claim);
    tcase_add_test(fan, suction_alone_makes_no_claim);
    tcase_add_test(fan, a_dead_fan_is_speed_zero);
    return run_test_case(fan);
}
