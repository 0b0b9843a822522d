#include "simulate_system.h"

#include <math.h>
#include <stdlib.h>

static const double pi = 3.14159265358979323846;

static double between(struct test_random *random, double low, double high) {
    return low + (high - low) * test_random_unit(random);
}

static double fan_pressure(const struct simulate_system *system, double flow, double speed) {
    return speed * speed * system->shutoff_pa *
           (1.0 - pow(flow / speed / system->full_flow_m3_s, system->bend));
}

void simulate_system_make(struct simulate_system *system, uint64_t seed) {
    *system =
        (struct simulate_system){.random = {seed * 0x9E3779B97F4A7C15ULL + 1}, .air_day = NAN};
    struct test_random *random = &system->random;
    system->shutoff_pa = between(random, 250.0, 900.0);
    system->full_flow_m3_s = between(random, 0.03, 0.12);
    system->bend = between(random, 1.2, 3.0);
    system->soil_exponent = between(random, 1.0, 1.7);
    double flow = system->full_flow_m3_s * between(random, 0.2, 0.8);
    double available = fan_pressure(system, flow, 1.0);
    double after = between(random, 0.0, 0.15) * available, pipe = between(random, 0.05, 0.3);
    system->loss_after_gauge = after / (flow * flow);
    system->pipe_resistance = pipe * (available - after) / (flow * flow);
    system->soil_resistance = (1.0 - pipe) * (available - after) / pow(flow, system->soil_exponent);
    for (int i = 0; i < SIMULATE_HOLES; i++)
        system->coupling[i] = between(random, 4.0, 30.0) / (available - after);
    system->power_w = between(random, 15.0, 90.0);
    system->power_slope = between(random, 0.1, 0.7);
    system->power_bend = between(random, -0.1, 0.1);
    system->radon_bq_m3 = between(random, 25.0, 90.0);
    system->season_amplitude = between(random, 0.0, 0.2);
    system->mean_celsius = between(random, 6.0, 12.0);
    system->swing_celsius = between(random, 6.0, 14.0);
    system->suction_noise = between(random, 0.01, 0.04);
    system->flow_noise = between(random, 0.02, 0.08);
    system->power_noise = between(random, 0.01, 0.04);
    system->field_noise_pa = between(random, 0.3, 1.5);
    system->dropout = between(random, 0.0, 0.2);
    system->suction_scale = 1.0 + 0.02 * test_random_normal(random);
    system->flow_scale = 1.0 + 0.05 * test_random_normal(random);
    system->base_flow_m3_s = flow;
    system->base_suction_pa = available - after;
}

struct simulate_fault simulate_fault_make(struct simulate_system *system,
                                          enum simulate_fault_kind kind) {
    static const double ranges[SIMULATE_FAULT_COUNT][2] = {
        [SIMULATE_FAN_WEAR] = {0.5, 0.87},
        [SIMULATE_LEAK_RISER] = {0.8, 8.0},
        [SIMULATE_LEAK_SLAB] = {0.8, 8.0},
        [SIMULATE_WATER_BLOCKAGE] = {1.5, 60.0},
        [SIMULATE_BLOCKED_DISCHARGE] = {0.7, 40.0},
        [SIMULATE_TUBE_OFF] = {0.0, 0.05},
        [SIMULATE_FIELD_LOST] = {0.0, 0.3},
        [SIMULATE_RADON_ENTRY] = {3.0, 10.0},
        [SIMULATE_UNIT_MIX_UP] = {249.08891, 249.08891}};
    return (struct simulate_fault){
        .kind = kind, .degree = between(&system->random, ranges[kind][0], ranges[kind][1])};
}

struct changed {
    double speed, leak_coefficient, blockage, discharge, soil;
};

static struct changed changes(const struct simulate_system *system,
                              const struct simulate_fault *fault, double season) {
    struct changed changed = {.speed = 1.0, .soil = system->soil_resistance * season};
    double squared = system->base_suction_pa / (system->base_flow_m3_s * system->base_flow_m3_s);
    switch (fault->kind) {
    case SIMULATE_FAN_WEAR:
        changed.speed = fault->degree;
        break;
    case SIMULATE_LEAK_RISER:
    case SIMULATE_LEAK_SLAB:
        changed.leak_coefficient =
            fault->degree * system->base_flow_m3_s / pow(system->base_suction_pa, 0.55);
        break;
    case SIMULATE_WATER_BLOCKAGE:
        changed.blockage = fault->degree * squared;
        break;
    case SIMULATE_BLOCKED_DISCHARGE:
        changed.discharge = fault->degree * squared;
        break;
    default:
        break;
    }
    return changed;
}

/* Flow out of the soil at a suction: soil, pipe and blockage in series. */
static double soil_flow(const struct simulate_system *system, const struct changed *changed,
                        double suction_pa) {
    double low = 0.0, high = 2.0 * system->full_flow_m3_s;
    for (int i = 0; i < 60; i++) {
        double flow = 0.5 * (low + high);
        double drop = changed->soil * pow(flow, system->soil_exponent) +
                      (system->pipe_resistance + changed->blockage) * flow * flow;
        if (drop < suction_pa)
            low = flow;
        else
            high = flow;
    }
    return 0.5 * (low + high);
}

void simulate_air(const struct simulate_system *system, const struct simulate_fault *fault,
                  double season, struct simulate_sample *sample) {
    *sample = (struct simulate_sample){.radon_bq_m3 = system->radon_bq_m3};
    if (fault->kind == SIMULATE_FAN_STOP) {
        sample->radon_bq_m3 *= 4.0;
        return;
    }
    struct changed changed = changes(system, fault, season);
    double low = 0.0, high = system->shutoff_pa, flow = 0.0, soil = 0.0;
    for (int i = 0; i < 60; i++) {
        double suction = 0.5 * (low + high);
        soil = soil_flow(system, &changed, suction);
        flow = soil + changed.leak_coefficient * pow(suction, 0.55);
        double after = (system->loss_after_gauge + changed.discharge) * flow * flow;
        if (fan_pressure(system, flow, changed.speed) > suction + after)
            low = suction;
        else
            high = suction;
    }
    sample->suction_pa = 0.5 * (low + high);
    sample->flow_m3_s = flow;
    double x = flow / changed.speed / system->base_flow_m3_s;
    sample->power_w = system->power_w * pow(changed.speed, 3.0) *
                      fmax(0.05, 1.0 + system->power_slope * (x - 1.0) +
                                     system->power_bend * (x - 1.0) * (x - 1.0));
    double at_soil = changed.soil * pow(soil, system->soil_exponent), worst = 1.0;
    for (int i = 0; i < SIMULATE_HOLES; i++) {
        double kept = fault->kind == SIMULATE_LEAK_SLAB ? 0.5 + 0.2 * i : 1.0;
        if (fault->kind == SIMULATE_FIELD_LOST && i == 0)
            kept = fault->degree;
        sample->field_pa[i] = system->coupling[i] * kept * at_soil;
        double whole = system->coupling[i] * system->base_suction_pa;
        worst = fmin(worst, sample->field_pa[i] / whole);
    }
    if (worst < 0.4)
        sample->radon_bq_m3 *= 1.0 + 2.0 * (0.4 - worst);
    if (fault->kind == SIMULATE_RADON_ENTRY)
        sample->radon_bq_m3 *= fault->degree;
}

static void maybe_silent(struct simulate_system *system, double *value) {
    if (test_random_unit(&system->random) < system->dropout)
        *value = NAN;
}

void simulate_sample(struct simulate_system *system, const struct simulate_fault *fault, double day,
                     struct simulate_sample *sample) {
    double of_year = 2.0 * pi * (day + 275.0) / 365.2425; /* 0: January */
    double season = exp(system->season_amplitude * sin(of_year));
    if (system->air_day != floor(day) || system->air_fault.kind != fault->kind ||
        system->air_fault.degree != fault->degree) {
        simulate_air(system, fault, season, &system->day_air);
        system->air_day = floor(day);
        system->air_fault = *fault;
    }
    *sample = system->day_air;
    struct test_random *random = &system->random;
    double outdoor = system->mean_celsius - system->swing_celsius * cos(of_year) -
                     4.0 * cos(2.0 * pi * day) + 2.0 * test_random_normal(random);
    double wind_pa = fabs(test_random_normal(random)) * 0.5;
    double people_pa = test_random_unit(random) < 0.1 ? 3.0 : 0.0; /* exhaust fans */
    sample->outdoor_celsius = outdoor;
    sample->suction_pa = sample->suction_pa * system->suction_scale *
                             (1.0 + system->suction_noise * test_random_normal(random)) +
                         0.5 * test_random_normal(random);
    sample->flow_m3_s *=
        system->flow_scale * (1.0 + system->flow_noise * test_random_normal(random));
    sample->power_w *= 1.0 + system->power_noise * test_random_normal(random);
    for (int i = 0; i < SIMULATE_HOLES; i++) {
        double stack_pa = 0.05 * (10.0 - outdoor);
        sample->field_pa[i] +=
            system->field_noise_pa * test_random_normal(random) - wind_pa - people_pa - stack_pa;
        maybe_silent(system, &sample->field_pa[i]);
    }
    sample->radon_bq_m3 *= exp(0.25 * test_random_normal(random) + 0.2 * cos(of_year));
    if (fault->kind == SIMULATE_TUBE_OFF || fault->kind == SIMULATE_UNIT_MIX_UP)
        sample->suction_pa *= fault->degree;
    maybe_silent(system, &sample->suction_pa);
    maybe_silent(system, &sample->flow_m3_s);
    maybe_silent(system, &sample->power_w);
    maybe_silent(system, &sample->radon_bq_m3);
}

static int compare(const void *one, const void *other) {
    double a = *(const double *)one, b = *(const double *)other;
    return (a > b) - (a < b);
}

#define SIMULATE_VALUES (sizeof(struct simulate_sample) / sizeof(double))
#define SIMULATE_HOURS_MAX 400

void simulate_median(struct simulate_system *system, const struct simulate_fault *fault, double day,
                     int hours, struct simulate_sample *median) {
    static double columns[SIMULATE_VALUES][SIMULATE_HOURS_MAX];
    size_t counts[SIMULATE_VALUES] = {0};
    ck_assert_int_le(hours, SIMULATE_HOURS_MAX);
    for (int hour = 0; hour < hours; hour++) {
        struct simulate_sample sample;
        simulate_sample(system, fault, day + hour / 24.0, &sample);
        const double *values = (const double *)&sample;
        for (size_t i = 0; i < SIMULATE_VALUES; i++)
            if (!isnan(values[i]))
                columns[i][counts[i]++] = values[i];
    }
    double *medians = (double *)median;
    for (size_t i = 0; i < SIMULATE_VALUES; i++) {
        qsort(columns[i], counts[i], sizeof(double), compare);
        medians[i] = counts[i] ? columns[i][counts[i] / 2] : NAN;
    }
}

void simulate_curve(struct simulate_system *system, double flows_m3_s[SIMULATE_CURVE_POINTS],
                    double pressures_pa[SIMULATE_CURVE_POINTS]) {
    double tolerance = 1.0 + 0.03 * test_random_normal(&system->random);
    for (int i = 0; i < SIMULATE_CURVE_POINTS; i++) {
        double part = (double)i / (SIMULATE_CURVE_POINTS - 1);
        flows_m3_s[i] = part * system->full_flow_m3_s;
        pressures_pa[i] =
            fmax(0.0, tolerance * system->shutoff_pa * (1.0 - pow(part, system->bend)));
    }
}
