#include "analysis/ground.h"
#include "test_support.h"

#include <math.h>

START_TEST(resistance_ratio_is_found_again) {
    struct ground_uncertainty uncertainty = ground_uncertainty_default();
    for (int i = 0; i <= 6; i++)
        for (int j = 0; j <= 4; j++) {
            double factor = 0.5 * pow(4.0, i / 6.0), exponent = 1.0 + 0.25 * j;
            struct ground_state then = {350.0, 0.03}, now = {0.0, 0.025};
            double resistance = then.suction_pa / pow(then.flow_m3_s, exponent);
            now.suction_pa = factor * resistance * pow(now.flow_m3_s, exponent);
            struct ground_ratio ratio;
            ck_assert_int_eq(ground_resistance_ratio(&now, &then, exponent, &uncertainty, &ratio),
                             GROUND_OK);
            ck_assert_double_eq_tol(ratio.ratio, factor, 1e-9);
            ck_assert(ratio.lower < factor && factor < ratio.upper);
            double known_width = log(ratio.upper / ratio.lower);
            ck_assert_int_eq(ground_resistance_ratio(&now, &then, NAN, &uncertainty, &ratio),
                             GROUND_OK);
            ck_assert(ratio.lower < factor && factor < ratio.upper);
            if (exponent < 1.6) /* the unknown exponent can only widen it */
                ck_assert(log(ratio.upper / ratio.lower) > known_width);
        }
}
END_TEST

/* Without any other uncertainty the interval is what n = 1 and n = 2 give. */
START_TEST(an_unknown_exponent_spans_one_to_two) {
    struct ground_uncertainty none = {0};
    struct ground_state then = {300.0, 0.04}, now = {330.0, 0.02};
    struct ground_ratio ratio;
    ck_assert_int_eq(ground_resistance_ratio(&now, &then, NAN, &none, &ratio), GROUND_OK);
    ck_assert_double_eq_tol(ratio.lower, 2.2, 1e-12);
    ck_assert_double_eq_tol(ratio.upper, 4.4, 1e-12);
}
END_TEST

START_TEST(scale_errors_cancel_and_speed_leaves_it_alone) {
    struct ground_uncertainty uncertainty = ground_uncertainty_default();
    struct ground_state then = {300.0 * 1.1, 0.03 * 0.9};
    struct ground_state now = {300.0 * 0.64 * 1.1, 0.03 * 0.8 * 0.9}; /* speed 0.8, turbulent */
    struct ground_ratio ratio;
    ck_assert_int_eq(ground_resistance_ratio(&now, &then, 2.0, &uncertainty, &ratio), GROUND_OK);
    ck_assert_double_eq_tol(ratio.ratio, 1.0, 1e-12);
}
END_TEST

static const struct {
    struct ground_state now, then;
    double exponent;
    enum ground_status expected;
} refused[] = {
    {{NAN, 0.03}, {300.0, 0.03}, 1.5, GROUND_INPUT_MISSING},
    {{300.0, 0.03}, {300.0, NAN}, 1.5, GROUND_INPUT_MISSING},
    {{-1.0, 0.03}, {300.0, 0.03}, 1.5, GROUND_OUT_OF_RANGE},
    {{300.0, 0.03}, {300.0, 0.03}, 2.5, GROUND_OUT_OF_RANGE},
    {{300.0, 0.0}, {300.0, 0.03}, 1.5, GROUND_TOO_SMALL},
    {{0.0, 0.02}, {300.0, 0.03}, 1.5, GROUND_TOO_SMALL},
};

START_TEST(refused_input_leaves_the_result_untouched) {
    struct ground_uncertainty uncertainty = ground_uncertainty_default();
    struct ground_ratio ratio = {-1.0, -1.0, -1.0};
    ck_assert_int_eq(ground_resistance_ratio(&refused[_i].now, &refused[_i].then,
                                             refused[_i].exponent, &uncertainty, &ratio),
                     refused[_i].expected);
    ck_assert_double_eq(ratio.ratio, -1.0);
    ck_assert_uint_gt(strlen(ground_status_text(refused[_i].expected)), 5);
}
END_TEST

START_TEST(coupling_follows_the_hole_and_not_the_riser) {
    struct ground_uncertainty uncertainty = ground_uncertainty_default();
    struct ground_ratio ratio;
    ck_assert_int_eq(ground_coupling_ratio(3.0, 150.0, 6.0, 300.0, &uncertainty, &ratio),
                     GROUND_OK);
    ck_assert_double_eq_tol(ratio.ratio, 1.0, 1e-12);
    ck_assert(ratio.lower < 1.0 && ratio.upper > 1.0);
    ck_assert_int_eq(ground_coupling_ratio(1.0, 300.0, 10.0, 300.0, &uncertainty, &ratio),
                     GROUND_OK);
    ck_assert_double_eq_tol(ratio.ratio, 0.1, 1e-12);
    ck_assert(ratio.upper < 0.5);
    ck_assert_int_eq(ground_coupling_ratio(-0.5, 300.0, 10.0, 300.0, &uncertainty, &ratio),
                     GROUND_OK);
    ck_assert(ratio.ratio < 0.0);
    ck_assert_int_eq(ground_coupling_ratio(1.0, 0.0, 10.0, 300.0, &uncertainty, &ratio),
                     GROUND_TOO_SMALL);
    ck_assert_int_eq(ground_coupling_ratio(NAN, 300.0, 10.0, 300.0, &uncertainty, &ratio),
                     GROUND_INPUT_MISSING);
}
END_TEST

START_TEST(the_exponent_is_fitted_through_fan_settings) {
    for (double exponent = 1.0; exponent <= 2.0; exponent += 0.1) {
        struct ground_state settings[4];
        double fitted = -1.0;
        for (int i = 0; i < 4; i++) {
            settings[i].flow_m3_s = 0.01 + 0.004 * i;
            settings[i].suction_pa = 9e3 * pow(settings[i].flow_m3_s, exponent);
        }
        ck_assert_int_eq(ground_exponent_fit(settings, 4, &fitted), GROUND_OK);
        ck_assert_double_eq_tol(fitted, exponent, 1e-9);
    }
    /* Least squares by hand: ln Q 0, ln 2, ln 4 and ln p 0, ln 3, ln 8 give ln 8 / ln 4. */
    const struct ground_state rough[] = {{1.0, 0.01}, {3.0, 0.02}, {8.0, 0.04}};
    double fitted = -1.0;
    ck_assert_int_eq(ground_exponent_fit(rough, 3, &fitted), GROUND_OK);
    ck_assert_double_eq_tol(fitted, log(8.0) / log(4.0), 1e-12);
    /* A little outside is what hand-held instruments make of 1 and 2. */
    const struct ground_state low[] = {{100.0, 0.01}, {185.0, 0.02}};
    ck_assert_int_eq(ground_exponent_fit(low, 2, &fitted), GROUND_OK);
    ck_assert_double_eq(fitted, 1.0);
    const struct ground_state high[] = {{100.0, 0.01}, {430.0, 0.02}};
    ck_assert_int_eq(ground_exponent_fit(high, 2, &fitted), GROUND_OK);
    ck_assert_double_eq(fitted, 2.0);
}
END_TEST

static const struct {
    struct ground_state settings[2];
    size_t count;
    enum ground_status expected;
} no_fit[] = {
    {{{100.0, 0.01}}, 1, GROUND_INPUT_MISSING},
    {{{100.0, 0.01}, {105.0, 0.0105}}, 2, GROUND_TOO_SMALL},
    {{{100.0, 0.01}, {90.0, 0.02}}, 2, GROUND_OUT_OF_RANGE},
    {{{100.0, 0.01}, {700.0, 0.02}}, 2, GROUND_OUT_OF_RANGE},
    {{{100.0, 0.01}, {NAN, 0.02}}, 2, GROUND_INPUT_MISSING},
    {{{100.0, 0.0}, {200.0, 0.02}}, 2, GROUND_TOO_SMALL},
};

START_TEST(settings_that_tell_no_exponent_leave_it_untouched) {
    double exponent = -1.0;
    ck_assert_int_eq(ground_exponent_fit(no_fit[_i].settings, no_fit[_i].count, &exponent),
                     no_fit[_i].expected);
    ck_assert_double_eq(exponent, -1.0);
}
END_TEST

int main(void) {
    TCase *ground = tcase_create("ground");
    tcase_add_test(ground, resistance_ratio_is_found_again);
    tcase_add_test(ground, an_unknown_exponent_spans_one_to_two);
    tcase_add_test(ground, scale_errors_cancel_and_speed_leaves_it_alone);
    tcase_add_loop_test(ground, refused_input_leaves_the_result_untouched, 0,
                        sizeof(refused) / sizeof(refused[0]));
    tcase_add_test(ground, coupling_follows_the_hole_and_not_the_riser);
    tcase_add_test(ground, the_exponent_is_fitted_through_fan_settings);
    tcase_add_loop_test(ground, settings_that_tell_no_exponent_leave_it_untouched, 0,
                        sizeof no_fit / sizeof no_fit[0]);
    return run_test_case(ground);
}
