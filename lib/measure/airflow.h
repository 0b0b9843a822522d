/*
 * airflow: density of the air, velocity in a pipe from a velocity pressure, volume flow, and back.
 * Pure arithmetic: no I/O, no clock, no allocation, no global state. Units are SI and end every
 * name. A null pointer is a bug in the caller (assert).
 */
#ifndef MEASURE_AIRFLOW_H
#define MEASURE_AIRFLOW_H

/** Every function here returns one of these and writes its result only on AIRFLOW_OK. */
enum airflow_status {
    AIRFLOW_OK = 0,
    AIRFLOW_NOT_FINITE,  /* an input or the result is NaN or infinite */
    AIRFLOW_OUT_OF_RANGE /* an input is finite but physically impossible */
};

/** Standard atmosphere at sea level, ISO 2533, for where nobody measures the weather. */
#define AIRFLOW_STANDARD_PRESSURE_PA 101325.0

/**
 * The same at an elevation in m, p = 101325 (1 - 0.0065 h / 288.15)^5.25588, for where there is no
 * barometer: ISO 2533:1975, troposphere (up to 11 000 m); its altitude is geopotential, which is
 * less than the elevation by 0.06 % at 4 000 m. NaN in, NaN out.
 */
double airflow_standard_pressure_pa(double elevation_m);

/**
 * Mean over centreline velocity where only the centre of a straight round pipe is measured. 0.9 is
 * common practice, no source; the 1/n power law for fully developed turbulent flow gives 0.79 to
 * 0.87 (airflow_power_law_factor), and a traverse (ISO 3966, ASHRAE 111) is better than either.
 */
#define AIRFLOW_CENTRELINE_FACTOR 0.9

/** State of the air at the measuring point. */
struct airflow_air {
    double absolute_pressure_pa; /* absolute, not gauge; above 0 */
    double temperature_degc;     /* above -273.15 */
};

/** Where the velocity pressure is measured, and how. */
struct airflow_pipe {
    double inside_diameter_m; /* above 0; the inside of a schedule 40 pipe, not its nominal size */
    double centreline_factor; /* mean over measured velocity, above 0 up to 1 */
};

/** Density of dry air in kg/m3, rho = p / (R T), R = 287.05287 J/(kg K) of ISO 2533:1975. */
enum airflow_status airflow_dry_air_density(const struct airflow_air *air,
                                            double *density_kg_per_m3);

/**
 * Velocity in m/s from the velocity pressure (total minus static), v = sqrt(2 dp / rho): ISO 3966
 * with tube factor 1 and incompressible flow, up to about 85 m/s. A negative pressure (swapped
 * tubes) is AIRFLOW_OUT_OF_RANGE, never 0 m/s.
 */
enum airflow_status airflow_velocity(double velocity_pressure_pa, double density_kg_per_m3,
                                     double *velocity_m_per_s);

/** Volume flow in m3/s: velocity * pi/4 * diameter^2 * centreline factor. */
enum airflow_status airflow_flow(const struct airflow_pipe *pipe, double velocity_pressure_pa,
                                 double density_kg_per_m3, double *flow_m3_per_s);

#endif
