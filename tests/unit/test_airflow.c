#include "measure/airflow.h"
#include "test_support.h"

#include <float.h>
#include <math.h>

static const struct airflow_pipe pipe_4_in = {0.1015492, 0.9};

START_TEST(velocity_pressure_is_half_density_times_velocity_squared) {
    for (double wanted = 0.1; wanted < 85.0; wanted *= 1.7) {
        double velocity = 0.0;
        ck_assert_int_eq(airflow_velocity(0.6 * wanted * wanted, 1.2, &velocity), AIRFLOW_OK);
        ck_assert_double_eq_tol(velocity, wanted, 1e-12 * wanted);
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
    ck_assert_double_eq(result, -77.0);
}
END_TEST

START_TEST(refused_air_leaves_the_result_untouched) {
    static const struct {
        struct airflow_air air;
        enum airflow_status expected;
    } rows[] = {
        {{0.0, 20.0}, AIRFLOW_OUT_OF_RANGE},
        {{101325.0, -273.15}, AIRFLOW_OUT_OF_RANGE},
        {{NAN, 20.0}, AIRFLOW_NOT_FINITE},
        {{101325.0, INFINITY}, AIRFLOW_NOT_FINITE},
    };
    double density = -77.0;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++)
        ck_assert_int_eq(airflow_dry_air_density(&rows[i].air, &density), rows[i].expected);
    ck_assert_double_eq(density, -77.0);
}
END_TEST

START_TEST(a_result_that_overflows_is_refused) {
    double result = -77.0;
    ck_assert_int_eq(airflow_velocity(DBL_MAX, DBL_MIN, &result), AIRFLOW_NOT_FINITE);
    ck_assert_double_eq(result, -77.0);
}
END_TEST

int main(void) {
    TCase *airflow = tcase_create("airflow");
    tcase_add_test(airflow, velocity_pressure_is_half_density_times_velocity_squared);
    tcase_add_test(airflow, no_pressure_is_exactly_no_flow);
    tcase_add_test(airflow, flow_scales_with_diameter_and_factor);
    tcase_add_loop_test(airflow, refused_flow_leaves_the_result_untouched, 0,
                        (int)(sizeof(refused) / sizeof(refused[0])));
    tcase_add_test(airflow, refused_air_leaves_the_result_untouched);
    tcase_add_test(airflow, a_result_that_overflows_is_refused);
    return run_test_case(airflow);
}
