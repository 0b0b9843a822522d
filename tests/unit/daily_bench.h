/*
 * daily_bench: a house whose readings follow from a seed, judged day by day through the monitor and
 * the memory of a replay.
 */
#ifndef DAILY_BENCH_H
#define DAILY_BENCH_H

#include "judged_house.h"
#include "monitor/assessment.h"
#include "settings/change_words.h"

#define TWO_PI 6.283185307179586

static const int64_t first_day = 20363; /* 2025-10-02 */

/* Noise by chance now and then crosses a limit by chance, as often as the headers of trend and
   control_chart say; dates below hold for these seeds. */
static const uint64_t seeds[] = {1, 2, 3};

enum { SEEDS = 3 };

static uint64_t seed = 1;

struct world {
    struct judged_house house;
    struct test_random random;
    double per_year;        /* change of suction, share of the baseline */
    double season;          /* amplitude of suction that follows the outdoor temperature */
    double noise, smoothed; /* first-order autoregression of the day, r1 0.6 */
    double fluctuation;     /* its present value */
    int64_t noise_day;
    double radon, radon_factor, radon_from; /* mean; multiplied by the factor from that day on */
    double radon_season;                    /* amplitude of its logarithm, highest in winter */
    double phase_day;                       /* the seasons are so many days ahead */
    double speed, resistance, changed_from; /* of fan and ground from that day on */
    double wear_per_year;                   /* of the speed, from that day on */
    double pipe_loss;                       /* behind the gauge, Pa per (L/s)^2 */
    double power_exponent;                  /* power goes with the speed to this */
    double zero_per_year; /* of the gauge of velocity pressure, from that day on */
    double silent_from;
    double off_from, off_until; /* the fan stands still */
};

static inline double outdoors_at(double day) {
    return 10.0 - 12.0 * sin(TWO_PI * (day - 20.0) / 365.2425) + 4.0 * sin(TWO_PI * day);
}

static inline double fluctuation_at(struct world *world, double day) {
    const double r1 = 0.6;
    for (; world->noise_day < (int64_t)floor(day); world->noise_day++)
        world->fluctuation =
            r1 * world->fluctuation + sqrt(1.0 - r1 * r1) * test_random_normal(&world->random);
    return world->fluctuation;
}

static inline double suction_at(struct world *world, double day) {
    double season = -world->season * (outdoors_at(day) - 10.0) / 12.0;
    double hourly = 0.003 * test_random_normal(&world->random);
    if (day >= world->off_from && day < world->off_until)
        return hourly;
    return 250.0 * (1.0 + world->per_year * day / 365.2425 + season + hourly +
                    world->noise * fluctuation_at(world, day));
}

/* Where the parabola of the fan (close to the table of `with_air`) meets pipe and p = K Q^1.5. */
static inline void air_at(double speed, double resistance, double pipe_loss, double *suction,
                          double *flow) {
    const double shutoff = 500.0, bend = 0.2; /* Pa, Pa per (L/s)^2 */
    const double base = 300.0 / pow(31.6227766, 1.5);
    double low = 0.0, high = 50.0 * speed;
    for (int i = 0; i < 80; i++) {
        double q = 0.5 * (low + high);
        bool left =
            speed * speed * shutoff - (bend + pipe_loss) * q * q > resistance * base * pow(q, 1.5);
        *(left ? &low : &high) = q;
    }
    *flow = 0.5 * (low + high);
    *suction = resistance * base * pow(*flow, 1.5);
}

static const double usual_power_w = 40.0;

/* Behind L/s in a pipe of 7 in with a flat profile: some pascal, where its gauge is at its finest.
 */
static inline double velocity_pressure_pa(double flow) {
    double velocity = flow / 1000.0 / (0.25 * 3.14159265358979 * 0.1778 * 0.1778);
    return 0.5 * 1.2 * velocity * velocity;
}

static inline double value_at(void *context, size_t point, double day) {
    struct world *world = context;
    const char *id = fleet_point_id(world->house.fleet, point);
    double suction = 0.0, flow = 0.0;
    if (day >= world->silent_from)
        return NAN;
    if (strcmp(id, "outdoors") == 0)
        return outdoors_at(day);
    if (strcmp(id, "radon") == 0)
        return world->radon * (day >= world->radon_from ? world->radon_factor : 1.0) *
               exp(-world->radon_season * (outdoors_at(floor(day + world->phase_day)) - 10.0) /
                   12.0) *
               exp(0.3 * fluctuation_at(world, day) + 0.2 * test_random_normal(&world->random));
    if (world->speed == 0.0)
        return suction_at(world, day);
    bool changed = day >= world->changed_from;
    double years = fmax(0.0, day - world->changed_from) / 365.2425;
    double speed = changed ? world->speed - years * world->wear_per_year : 1.0;
    air_at(speed, changed ? world->resistance : 1.0, world->pipe_loss, &suction, &flow);
    if (strcmp(id, "power") == 0)
        return usual_power_w * pow(speed, world->power_exponent) *
               (1.0 + 0.003 * test_random_normal(&world->random));
    if (strcmp(id, "velocity") == 0)
        return velocity_pressure_pa(flow) + years * world->zero_per_year +
               0.02 * test_random_normal(&world->random);
    double noise = 1.0 + 0.01 * test_random_normal(&world->random);
    return strcmp(id, "flow") == 0 ? flow / 1000.0 * noise : suction * noise;
}

static inline struct world *open_world(const char *system) {
    struct world *world = calloc(1, sizeof *world);
    judged_house_open(&world->house, system, first_day);
    world->random.state = seed;
    world->radon = 60.0;
    world->radon_factor = 1.0;
    world->changed_from = 1e9;
    world->silent_from = 1e9;
    world->radon_from = 1e9;
    ck_assert(monitor_load_baseline(world->house.monitor, 0, world->house.start_ms, 250.0,
                                    "the installer", false));
    return world;
}

static inline void close_world(struct world *world) {
    judged_house_close(&world->house);
    free(world);
}

static inline void live(struct world *world, double until) {
    judged_house_live(&world->house, until, value_at, world);
}

#endif
