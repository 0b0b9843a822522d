/*
 * Fan laws, operating points and stack effect against values from outside. Fan laws: ANSI/AMCA 99
 * and ISO 5801. Operating points: algebra, and scipy 1.10.1 `brentq` for the one without a closed
 * form. Stack effect: hydrostatics, worked by hand.
 */
#include "analysis/fan.h"
#include "analysis/ground.h"
#include "fan_model.h"
#include "test_support.h"

#include <math.h>

/* A fine table of p = 400 (1 - (Q/0.08)^power), so that interpolation adds next to nothing. */
static struct fan_curve tabled(double power) {
    struct fan_point points[FAN_CURVE_POINTS_MAX];
    for (int i = 0; i < FAN_CURVE_POINTS_MAX; i++) {
        double flow = 0.08 * i / (FAN_CURVE_POINTS_MAX - 1);
        points[i] = (struct fan_point){flow, fmax(0.0, 400.0 * (1.0 - pow(flow / 0.08, power)))};
    }
    struct fan_curve curve;
    ck_assert_int_eq(fan_curve_make(&curve, points, FAN_CURVE_POINTS_MAX), FAN_OK);
    return curve;
}

/* ANSI/AMCA 99, ISO 5801: Q ~ N, p ~ N^2; density: p ~ rho, Q unchanged. */
START_TEST(fan_laws) {
    const struct {
        double speed, density;
    } rows[] = {{0.9, 1.0}, {0.8, 1.0}, {1.0, 0.8}, {0.9, 1.1}};
    struct fan_curve curve = tabled(2.0);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double pressure_pa = 0.0, speed = 0.0, n = rows[i].speed;
        ck_assert_int_eq(fan_curve_pressure(&curve, 0.04, &pressure_pa), FAN_OK);
        struct fan_state state = {pressure_pa * n * n * rows[i].density, 0.04 * n, NAN,
                                  rows[i].density};
        ck_assert_int_eq(fan_speed(&curve, &state, 0.0, &speed), FAN_OK);
        ck_assert_double_eq_tol(speed, n, 1e-12);
    }
}
END_TEST

static const struct {
    const char *source;
    double curve_power;
    struct fan_load load;
    double flow_m3_s, pressure_pa, relative;
} points[] = {
    {"algebra, Q = sqrt(p0 / (K + p0/Qm^2))",
     2.0,
     {60000.0, 2.0, 0.0},
     2.0 / 35.0,
     195.9183673,
     5e-4},
    {"the same, four times the resistance",
     2.0,
     {240000.0, 2.0, 0.0},
     0.0363636364,
     317.3553719,
     5e-4},
    {"algebra, linear fan and system", 1.0, {5000.0, 1.0, 0.0}, 0.04, 200.0, 1e-9},
    {"scipy brentq", 1.0, {20000.0, 1.5, 0.0}, 0.0435929913, 182.0350435, 1e-8},
};

START_TEST(operating_points) {
    struct fan_curve curve = tabled(points[_i].curve_power);
    struct fan_point point;
    ck_assert_int_eq(fan_operating_point(&curve, 1.0, 1.0, &points[_i].load, &point), FAN_OK);
    ck_assert_msg(fabs(point.flow_m3_s / points[_i].flow_m3_s - 1.0) < points[_i].relative,
                  "%s: flow %.10g", points[_i].source, point.flow_m3_s);
    ck_assert_msg(fabs(point.pressure_pa / points[_i].pressure_pa - 1.0) <
                      2.0 * points[_i].relative,
                  "%s: pressure %.10g", points[_i].source, point.pressure_pa);
    /* and back: speed 1 from the published pair */
    struct fan_state state = {points[_i].pressure_pa, points[_i].flow_m3_s, NAN, 1.0};
    double speed = 0.0;
    ck_assert_int_eq(fan_speed(&curve, &state, 0.0, &speed), FAN_OK);
    ck_assert_double_eq_tol(speed, 1.0, points[_i].relative);
}
END_TEST

/* The curves and the fan laws: 196 -> 317 Pa and 0.057 -> 0.036 m3/s for four times the resistance.
 */
START_TEST(directions_of_the_signatures) {
    struct fan_curve curve = tabled(2.0);
    struct fan_load load = {60000.0, 2.0, 0.0}, blocked = load, leaking = load, discharge = load;
    blocked.resistance *= 4.0;
    leaking.resistance /= 4.0;
    discharge.loss_after_gauge = 100000.0;
    struct fan_point usual, point;
    ck_assert_int_eq(fan_operating_point(&curve, 1.0, 1.0, &load, &usual), FAN_OK);
    ck_assert_int_eq(fan_operating_point(&curve, 1.0, 1.0, &blocked, &point), FAN_OK);
    ck_assert(point.pressure_pa > usual.pressure_pa && point.flow_m3_s < usual.flow_m3_s);
    ck_assert_int_eq(fan_operating_point(&curve, 1.0, 1.0, &leaking, &point), FAN_OK);
    ck_assert(point.pressure_pa < usual.pressure_pa && point.flow_m3_s > usual.flow_m3_s);
    ck_assert_int_eq(fan_operating_point(&curve, 0.8, 1.0, &load, &point), FAN_OK);
    ck_assert(point.pressure_pa < usual.pressure_pa && point.flow_m3_s < usual.flow_m3_s);
    ck_assert_int_eq(fan_operating_point(&curve, 1.0, 1.0, &discharge, &point), FAN_OK);
    ck_assert(point.pressure_pa < usual.pressure_pa && point.flow_m3_s < usual.flow_m3_s);
}
END_TEST

/* Hydrostatics: 1.2 * 9.80665 * 5 * 31 / 263.15, at the pressure that makes indoor air 1.2 kg/m3.
 */
START_TEST(stack_effect) {
    const double pressure_pa = 1.2 * 287.05287 * 294.15;
    ck_assert_double_eq_tol(ground_stack_pressure_pa(5.0, 21.0, -10.0, pressure_pa), 6.931548,
                            1e-6);
    ck_assert(ground_stack_pressure_pa(5.0, 21.0, 30.0, pressure_pa) < 0.0);
    ck_assert(isnan(ground_stack_pressure_pa(5.0, 21.0, NAN, pressure_pa)));
}
END_TEST

/* Theoretical chimney draft, 0.2554 B H (1/To - 1/Tm) in inches of water with B in inHg, H in ft, T
   in degrees Rankine: ASHRAE Handbook, "Chimney, Vent, and Fireplace Systems" (from memory). Its
   factor is rounded, so they agree within half a percent. */
static const struct {
    double barometer_inhg, height_ft, outdoor_degf, inside_degf;
} drafts[] = {{29.92, 26.25, 5.0, 69.8}, {29.92, 15.0, 32.0, 60.0}, {24.9, 30.0, -13.0, 65.0}};

START_TEST(draft_of_a_riser) {
    const double barometer = drafts[_i].barometer_inhg, height = drafts[_i].height_ft;
    double outdoor = drafts[_i].outdoor_degf, inside = drafts[_i].inside_degf;
    double table_pa = 249.08891 * 0.2554 * barometer * height *
                      (1.0 / (outdoor + 459.67) - 1.0 / (inside + 459.67));
    double draft_pa = ground_stack_pressure_pa(height * 0.3048, (inside - 32.0) / 1.8,
                                               (outdoor - 32.0) / 1.8, barometer * 3386.389);
    ck_assert_double_eq_tol(draft_pa / table_pa, 1.0, 0.005);
}
END_TEST

int main(void) {
    TCase *reference = tcase_create("fan reference");
    tcase_add_test(reference, fan_laws);
    tcase_add_loop_test(reference, operating_points, 0, sizeof(points) / sizeof(points[0]));
    tcase_add_test(reference, directions_of_the_signatures);
    tcase_add_test(reference, stack_effect);
    tcase_add_loop_test(reference, draft_of_a_riser, 0, sizeof drafts / sizeof drafts[0]);
    return run_test_case(reference);
}
