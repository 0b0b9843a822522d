#include "analysis/response.h"
#include "fan_model.h"
#include "test_support.h"

#include <math.h>

/*
 * p = 400 (1 - (Q/0.08)^2) on p = 60000 Q^2: Q = 2/35, p = 195.9183673; four times the resistance:
 * Q = 0.0363636364, p = 317.3553719 (algebra).
 */
START_TEST(four_times_the_resistance) {
    struct response_system system = {.fullness = 2.0 / 35.0 / 0.08, .exponent = 2.0};
    struct response_change change = {.speed = 1.0, .resistance = 4.0};
    struct response response = response_solve(&system, &change);
    ck_assert_double_eq_tol(response.flow, 0.0363636364 / (2.0 / 35.0), 1e-6);
    ck_assert_double_eq_tol(response.suction, 317.3553719 / 195.9183673, 1e-6);
}
END_TEST

START_TEST(nothing_changed_is_one) {
    struct fan_point points[] = {{0.0, 480.0}, {0.02, 420.0}, {0.035, 290.0}, {0.05, 40.0}};
    struct fan_curve curve;
    ck_assert_int_eq(fan_curve_make(&curve, points, 4), FAN_OK);
    struct response_system system = {.curve = &curve, .base_flow_m3_s = 0.03, .loss = 0.2};
    ck_assert_int_eq(fan_curve_pressure(&curve, 0.03, &system.base_pressure_pa), FAN_OK);
    for (int i = 0; i <= 4; i++) {
        system.exponent = 1.0 + 0.25 * i;
        struct response_change change = {.speed = 1.0, .resistance = 1.0};
        struct response response = response_solve(&system, &change);
        ck_assert_double_eq_tol(response.flow, 1.0, 1e-6);
        ck_assert_double_eq_tol(response.suction, 1.0, 1e-6);
    }
}
END_TEST

/* The same answer as the operating point of the fan in its own units. */
START_TEST(agrees_with_the_operating_point) {
    struct fan_point points[] = {{0.0, 480.0}, {0.02, 420.0}, {0.035, 290.0}, {0.05, 40.0}};
    struct fan_curve curve;
    ck_assert_int_eq(fan_curve_make(&curve, points, 4), FAN_OK);
    struct test_random random = {test_seed()};
    for (int run = 0; run < 200; run++) {
        double flow = 0.01 + 0.03 * test_random_unit(&random), total = 0.0;
        double exponent = 1.0 + test_random_unit(&random);
        ck_assert_int_eq(fan_curve_pressure(&curve, flow, &total), FAN_OK);
        double lost = 0.3 * test_random_unit(&random) * total, suction = total - lost;
        struct response_system system = {.curve = &curve,
                                         .base_flow_m3_s = flow,
                                         .base_pressure_pa = total,
                                         .loss = lost / suction,
                                         .exponent = exponent};
        struct response_change change = {.speed = 0.6 + 0.4 * test_random_unit(&random),
                                         .resistance = exp(1.5 * test_random_unit(&random)),
                                         .discharge = test_random_unit(&random)};
        struct fan_load load = {change.resistance * suction / pow(flow, exponent), exponent,
                                (lost + change.discharge * suction) / (flow * flow)};
        struct fan_point point;
        ck_assert_int_eq(fan_operating_point(&curve, change.speed, 1.0, &load, &point), FAN_OK);
        struct response response = response_solve(&system, &change);
        ck_assert_double_eq_tol(response.flow, point.flow_m3_s / flow, 1e-5);
        ck_assert_double_eq_tol(response.suction, point.pressure_pa / suction, 1e-5);
    }
}
END_TEST

/* Fan laws (ANSI/AMCA 99): on a turbulent system speed alone gives s, s^2, s^3. */
START_TEST(speed_alone_follows_the_fan_laws) {
    struct response_system system = {.fullness = 0.6, .exponent = 2.0};
    struct response_change change = {.speed = 0.8, .resistance = 1.0};
    struct response response = response_solve(&system, &change);
    ck_assert_double_eq_tol(response.flow, 0.8, 1e-6);
    ck_assert_double_eq_tol(response.suction, 0.64, 1e-6);
    ck_assert_double_eq_tol(response_power(0.8, response.curve_flow, 0.4), 0.512, 1e-6);
}
END_TEST

/* At the speed found, the fan laws of response_solve give the suction of commissioning back. A leak
   and a discharge that closes need more speed for it, a ground that closes less. */
START_TEST(the_speed_that_holds_suction) {
    const struct response_system system = {.fullness = 0.64, .loss = 0.2, .exponent = 2.0};
    const struct response_change changes[] = {
        {1.0, 1.0, 0.0}, {1.0, 1.0 / 1.44, 0.0}, {1.0, 4.0, 0.0}, {1.0, 1.0, 0.6}};
    for (size_t i = 0; i < sizeof changes / sizeof changes[0]; i++) {
        struct response_change change = changes[i];
        change.speed = response_speed_to_hold(&system, &changes[i]);
        struct response held = response_solve(&system, &change);
        ck_assert_double_eq_tol(held.suction, 1.0, 1e-6);
        ck_assert_double_eq_tol(held.flow, 1.0 / sqrt(change.resistance), 1e-6);
        ck_assert(i == 0 ? fabs(change.speed - 1.0) < 1e-12 : (i == 2) == (change.speed < 1.0));
    }
}
END_TEST

int main(void) {
    TCase *response = tcase_create("response");
    tcase_add_test(response, four_times_the_resistance);
    tcase_add_test(response, nothing_changed_is_one);
    tcase_add_test(response, agrees_with_the_operating_point);
    tcase_add_test(response, speed_alone_follows_the_fan_laws);
    tcase_add_test(response, the_speed_that_holds_suction);
    return run_test_case(response);
}
