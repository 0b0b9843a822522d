#include "measure/airflow.h"

#include <assert.h>
#include <math.h>

#define PI 3.14159265358979323846
#define DRY_AIR_GAS_CONSTANT_J_PER_KG_K 287.05287 /* ISO 2533 */
#define ZERO_CELSIUS_K 273.15

/** The last step of every function: a result that overflowed is none. */
static enum airflow_status write_result(double value, double *result) {
    if (!isfinite(value))
        return AIRFLOW_NOT_FINITE;
    *result = value;
    return AIRFLOW_OK;
}

static enum airflow_status check_air(const struct airflow_air *air) {
    if (!isfinite(air->absolute_pressure_pa) || !isfinite(air->temperature_degc))
        return AIRFLOW_NOT_FINITE;
    if (air->absolute_pressure_pa <= 0.0 || air->temperature_degc <= -ZERO_CELSIUS_K)
        return AIRFLOW_OUT_OF_RANGE;
    return AIRFLOW_OK;
}

/** A driving value of at least 0 and a density above 0. */
static enum airflow_status check_motion(double value, double density_kg_per_m3) {
    if (!isfinite(value) || !isfinite(density_kg_per_m3))
        return AIRFLOW_NOT_FINITE;
    if (value < 0.0 || density_kg_per_m3 <= 0.0)
        return AIRFLOW_OUT_OF_RANGE;
    return AIRFLOW_OK;
}

static enum airflow_status check_pipe(const struct airflow_pipe *pipe) {
    if (!isfinite(pipe->inside_diameter_m) || !isfinite(pipe->centreline_factor))
        return AIRFLOW_NOT_FINITE;
    if (pipe->inside_diameter_m <= 0.0 || pipe->centreline_factor <= 0.0 ||
        pipe->centreline_factor > 1.0)
        return AIRFLOW_OUT_OF_RANGE;
    return AIRFLOW_OK;
}

/** Cross-section times factor: flow over measured velocity. */
static double effective_area_m2(const struct airflow_pipe *pipe) {
    return PI / 4.0 * pipe->inside_diameter_m * pipe->inside_diameter_m * pipe->centreline_factor;
}

double airflow_standard_pressure_pa(double elevation_m) {
    const double lapse_k_per_m = 0.0065, sea_level_k = 288.15, exponent = 5.25588;
    return AIRFLOW_STANDARD_PRESSURE_PA *
           pow(1.0 - lapse_k_per_m * elevation_m / sea_level_k, exponent);
}

enum airflow_status airflow_dry_air_density(const struct airflow_air *air,
                                            double *density_kg_per_m3) {
    assert(air && density_kg_per_m3);
    enum airflow_status status = check_air(air);
    if (status != AIRFLOW_OK)
        return status;
    double temperature_k = air->temperature_degc + ZERO_CELSIUS_K;
    return write_result(air->absolute_pressure_pa /
                            (DRY_AIR_GAS_CONSTANT_J_PER_KG_K * temperature_k),
                        density_kg_per_m3);
}

enum airflow_status airflow_velocity(double velocity_pressure_pa, double density_kg_per_m3,
                                     double *velocity_m_per_s) {
    assert(velocity_m_per_s);
    enum airflow_status status = check_motion(velocity_pressure_pa, density_kg_per_m3);
    if (status != AIRFLOW_OK)
        return status;
    return write_result(sqrt(2.0 * velocity_pressure_pa / density_kg_per_m3), velocity_m_per_s);
}

enum airflow_status airflow_flow(const struct airflow_pipe *pipe, double velocity_pressure_pa,
                                 double density_kg_per_m3, double *flow_m3_per_s) {
    assert(pipe && flow_m3_per_s);
    double velocity_m_per_s = 0.0;
    enum airflow_status status = check_pipe(pipe);
    if (status == AIRFLOW_OK)
        status = airflow_velocity(velocity_pressure_pa, density_kg_per_m3, &velocity_m_per_s);
    if (status != AIRFLOW_OK)
        return status;
    return write_result(velocity_m_per_s * effective_area_m2(pipe), flow_m3_per_s);
}
