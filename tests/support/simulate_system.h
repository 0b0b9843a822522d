/*
 * simulate_system: a house with a sub-slab system, for tests. Written apart from the program's own
 * model on purpose: a fan with a curve of any bend, soil and pipe in series, leaks beside them,
 * seasons, wind, people, noisy sensors that sometimes fall silent. The same seed gives the same
 * house.
 */
#ifndef SIMULATE_SYSTEM_H
#define SIMULATE_SYSTEM_H

#include "test_support.h"

#include <stdbool.h>

enum { SIMULATE_HOLES = 3, SIMULATE_CURVE_POINTS = 9 };

enum simulate_fault_kind {
    SIMULATE_HEALTHY,
    SIMULATE_FAN_WEAR,          /* degree: speed ratio */
    SIMULATE_FAN_STOP,          /* degree: not used */
    SIMULATE_LEAK_RISER,        /* degree: leak flow at commissioning suction over flow there */
    SIMULATE_LEAK_SLAB,         /* the same, and the holes lose coupling */
    SIMULATE_WATER_BLOCKAGE,    /* degree: added pressure drop at commissioning flow over suction */
    SIMULATE_BLOCKED_DISCHARGE, /* the same, after the gauge */
    SIMULATE_TUBE_OFF,          /* degree: what is left of the suction reading */
    SIMULATE_FIELD_LOST,        /* degree: what is left of the field at hole 0 */
    SIMULATE_RADON_ENTRY,       /* degree: factor on radon */
    SIMULATE_UNIT_MIX_UP,       /* degree: factor on the suction reading */
    SIMULATE_FAULT_COUNT
};

struct simulate_fault {
    enum simulate_fault_kind kind;
    double degree;
};

/** NaN: the sensor was silent. */
struct simulate_sample {
    double suction_pa, flow_m3_s, power_w, field_pa[SIMULATE_HOLES], radon_bq_m3, outdoor_celsius;
};

struct simulate_system {
    struct test_random random;
    double shutoff_pa, full_flow_m3_s, bend; /* p = shutoff (1 - (Q/full)^bend) at speed 1 */
    double soil_resistance, soil_exponent, pipe_resistance, loss_after_gauge;
    double coupling[SIMULATE_HOLES];
    double power_w, power_slope, power_bend;
    double radon_bq_m3;
    double season_amplitude, mean_celsius, swing_celsius;
    double suction_noise, flow_noise, power_noise, field_noise_pa, dropout;
    double suction_scale, flow_scale; /* sensor errors that stay */
    double base_flow_m3_s, base_suction_pa;
    struct simulate_sample day_air; /* of `air_day` and `air_fault`: the season changes by days */
    double air_day;
    struct simulate_fault air_fault;
};

/** A random house and its sensors. */
void simulate_system_make(struct simulate_system *system, uint64_t seed);

/** A random fault of the kind, strong enough to matter. */
struct simulate_fault simulate_fault_make(struct simulate_system *system,
                                          enum simulate_fault_kind kind);

/** True state of the air, without noise, season factor on the soil given. */
void simulate_air(const struct simulate_system *system, const struct simulate_fault *fault,
                  double season, struct simulate_sample *sample);

/** One reading of every sensor at `day` since commissioning (which is in October). */
void simulate_sample(struct simulate_system *system, const struct simulate_fault *fault, double day,
                     struct simulate_sample *sample);

/** Medians over `hours` hourly readings from `day` on; NaN where a sensor never spoke. */
void simulate_median(struct simulate_system *system, const struct simulate_fault *fault, double day,
                     int hours, struct simulate_sample *median);

/** The maker's curve as a table: flows and pressures, as good as makers' tables are. */
void simulate_curve(struct simulate_system *system, double flows_m3_s[SIMULATE_CURVE_POINTS],
                    double pressures_pa[SIMULATE_CURVE_POINTS]);

#endif
