#include "measure/airflow.h"
#include "test_support.h"

#include <float.h>
#include <math.h>

static const struct airflow_pipe pipe_4_in = {0.1015492, 0.9};

START_TEST(velocity_and_its_pressure_are_inverse) {
    for (double wanted = 0.1; wanted < 85.0; wanted *= 1.7) {
        double pressure_pa = 0.0, velocity = 0.0;
        ck_assert_int_eq(airflow_velocity_pressure(wanted, 1.2, &pressure_pa), AIRFLOW_OK);
        ck_assert_double_eq_tol(pressure_pa, 0.6 * wanted * wanted, 1e-12 * pressure_pa);
        ck_assert_int_eq(airflow_velocity(pressure_pa, 1.2, &velocity), AIRFLOW_OK);
        ck_assert_double_eq_tol(velocity, wanted, 1e-12 * wanted);
    }
}
END_TEST

START_TEST(flow_and_its_pressure_are_inverse) {
    for (double wanted = 1e-4; wanted < 0.5; wanted *= 1.7) {
        double pressure_pa = 0.0, flow = 0.0;
        ck_assert_int_eq(airflow_flow_pressure(&pipe_4_in, wanted, 1.2, &pressure_pa), AIRFLOW_OK);
        ck_assert_int_eq(airflow_flow(&pipe_4_in, pressure_pa, 1.2, &flow), AIRFLOW_OK);
        ck_assert_double_eq_tol(flow, wanted, 1e-12 * wanted);
    }
}
END_TEST

START_TEST(no_pressure_is_exactly_no_flow) {
    double result = -1.0;
    ck_assert_int_eq(airflow_velocity(0.0, 1.2, &result), AIRFLOW_OK);
    ck_assert_double_eq(result, 0.0);
    result = -1.0;
    ck_assert_int_eq(airflow_flow(&pipe_4_in, 0.0, 1.2, &result), AIRFLOW_OK);
    ck_assert_double_eq(result, 0.0);
}
END_TEST

START_TEST(flow_scales_with_diameter_and_factor) {
    struct airflow_pipe wide = {2.0 * pipe_4_in.inside_diameter_m, 0.45};
    double narrow_flow = 0.0, wide_flow = 0.0;
    airflow_flow(&pipe_4_in, 2.5, 1.2, &narrow_flow);
    airflow_flow(&wide, 2.5, 1.2, &wide_flow);
    ck_assert_double_eq_tol(wide_flow, 2.0 * narrow_flow, 1e-12 * wide_flow);
}
END_TEST

START_TEST(moist_air_is_lighter_and_dry_air_agrees) {
    for (double t = -20.0; t <= 40.0; t += 5.0) {
        struct airflow_air air = {98000.0, t};
        double dry = 0.0, moist_0 = 0.0, moist_100 = 0.0;
        ck_assert_int_eq(airflow_dry_air_density(&air, &dry), AIRFLOW_OK);
        ck_assert_int_eq(airflow_moist_air_density(&air, 0.0, &moist_0), AIRFLOW_OK);
        ck_assert_int_eq(airflow_moist_air_density(&air, 100.0, &moist_100), AIRFLOW_OK);
        ck_assert_double_eq_tol(moist_0, dry, 6e-4 * dry); /* real gas against ideal gas */
        ck_assert_double_lt(moist_100, moist_0);
        ck_assert_double_gt(moist_100, 0.96 * moist_0);
    }
}
END_TEST

static const struct {
    double velocity_pressure_pa, density_kg_per_m3, diameter_m, factor;
    enum airflow_status expected;
} refused[] = {
    {-0.1, 1.2, 0.1, 0.9, AIRFLOW_OUT_OF_RANGE},    {10.0, 0.0, 0.1, 0.9, AIRFLOW_OUT_OF_RANGE},
    {10.0, -1.2, 0.1, 0.9, AIRFLOW_OUT_OF_RANGE},   {10.0, 1.2, 0.0, 0.9, AIRFLOW_OUT_OF_RANGE},
    {10.0, 1.2, -0.1, 0.9, AIRFLOW_OUT_OF_RANGE},   {10.0, 1.2, 0.1, 0.0, AIRFLOW_OUT_OF_RANGE},
    {10.0, 1.2, 0.1, 1.01, AIRFLOW_OUT_OF_RANGE},   {NAN, 1.2, 0.1, 0.9, AIRFLOW_NOT_FINITE},
    {10.0, NAN, 0.1, 0.9, AIRFLOW_NOT_FINITE},      {10.0, 1.2, NAN, 0.9, AIRFLOW_NOT_FINITE},
    {10.0, 1.2, 0.1, INFINITY, AIRFLOW_NOT_FINITE}, {INFINITY, 1.2, 0.1, 0.9, AIRFLOW_NOT_FINITE},
};

START_TEST(refused_flow_leaves_the_result_untouched) {
    struct airflow_pipe pipe = {refused[_i].diameter_m, refused[_i].factor};
    double result = -77.0;
    ck_assert_int_eq(airflow_flow(&pipe, refused[_i].velocity_pressure_pa,
                                  refused[_i].density_kg_per_m3, &result),
                     refused[_i].expected);
    ck_assert_int_eq(airflow_flow_pressure(&pipe, refused[_i].velocity_pressure_pa,
                                           refused[_i].density_kg_per_m3, &result),
                     refused[_i].expected);
    ck_assert_double_eq(result, -77.0);
}
END_TEST

START_TEST(refused_air_leaves_the_result_untouched) {
    static const struct {
        struct airflow_air air;
        double humidity;
        enum airflow_status expected;
    } rows[] = {
        {{0.0, 20.0}, 50.0, AIRFLOW_OUT_OF_RANGE},
        {{101325.0, -273.15}, 50.0, AIRFLOW_OUT_OF_RANGE},
        {{NAN, 20.0}, 50.0, AIRFLOW_NOT_FINITE},
        {{101325.0, INFINITY}, 50.0, AIRFLOW_NOT_FINITE},
        {{101325.0, 20.0}, -1.0, AIRFLOW_OUT_OF_RANGE},
        {{101325.0, 20.0}, 101.0, AIRFLOW_OUT_OF_RANGE},
        {{101325.0, 20.0}, NAN, AIRFLOW_NOT_FINITE},
        {{101325.0, 400.0}, 100.0, AIRFLOW_OUT_OF_RANGE},
    };
    double density = -77.0;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        ck_assert_int_eq(airflow_moist_air_density(&rows[i].air, rows[i].humidity, &density),
                         rows[i].expected);
        if (i < 4)
            ck_assert_int_eq(airflow_dry_air_density(&rows[i].air, &density), rows[i].expected);
    }
    ck_assert_double_eq(density, -77.0);
}
END_TEST

START_TEST(a_result_that_overflows_is_refused) {
    double result = -77.0;
    ck_assert_int_eq(airflow_velocity(DBL_MAX, DBL_MIN, &result), AIRFLOW_NOT_FINITE);
    ck_assert_int_eq(airflow_velocity_pressure(DBL_MAX, 1.2, &result), AIRFLOW_NOT_FINITE);
    ck_assert_int_eq(airflow_power_law_factor(NAN, &result), AIRFLOW_NOT_FINITE);
    ck_assert_int_eq(airflow_power_law_factor(0.9, &result), AIRFLOW_OUT_OF_RANGE);
    ck_assert_double_eq(result, -77.0);
}
END_TEST

int main(void) {
    TCase *airflow = tcase_create("airflow");
    tcase_add_test(airflow, velocity_and_its_pressure_are_inverse);
    tcase_add_test(airflow, flow_and_its_pressure_are_inverse);
    tcase_add_test(airflow, no_pressure_is_exactly_no_flow);
    tcase_add_test(airflow, flow_scales_with_diameter_and_factor);
    tcase_add_test(airflow, moist_air_is_lighter_and_dry_air_agrees);
    tcase_add_loop_test(airflow, refused_flow_leaves_the_result_untouched, 0,
                        (int)(sizeof(refused) / sizeof(refused[0])));
    tcase_add_test(airflow, refused_air_leaves_the_result_untouched);
    tcase_add_test(airflow, a_result_that_overflows_is_refused);
    return run_test_case(airflow);
}
