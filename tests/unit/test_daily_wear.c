/*
 * fan-fading where the power is measured as well, and where the flow comes from a velocity pressure
 * next to nothing. The fan loses a tenth of its speed a year from day 40 on, or seems to.
 */
#include "daily_bench.h"

#define AIR                                                                                        \
    "id: house\ntime_zone: America/Denver\n"                                                       \
    "pipe: {inside_diameter: 7 in, centreline_factor: 1}\n"                                        \
    "fan: {curve: [[0 L/s, 500 Pa], [20 L/s, 420 Pa], [40 L/s, 180 Pa], [48 L/s, 38 Pa]]}\n"       \
    "points:\n"                                                                                    \
    "  - {id: suction, quantity: suction, unit: Pa, every: 1 h}\n"
#define FLOW "  - {id: flow, quantity: airflow, unit: L/s, every: 1 h}\n"

static const char with_flow[] = AIR FLOW;
static const char with_power[] =
    AIR FLOW "  - {id: power, quantity: fan-power, unit: W, every: 1 h}\n";
static const char with_velocity[] =
    AIR "  - {id: velocity, quantity: velocity-pressure, unit: Pa, every: 1 h}\n";

static struct world *open_fan(const char *system, double wear_per_year) {
    struct world *world = open_world(system);
    double suction = 0.0, flow = 0.0;
    world->speed = world->resistance = 1.0;
    world->changed_from = 40.0;
    world->wear_per_year = wear_per_year;
    air_at(1.0, 1.0, 0.0, &suction, &flow);
    double second = system == with_velocity ? velocity_pressure_pa(flow) : flow / 1000.0;
    const double values[] = {suction, second, usual_power_w};
    for (size_t i = 0; i < (system == with_power ? 3 : 2); i++)
        ck_assert(monitor_load_baseline(world->house.monitor, i, world->house.start_ms, values[i],
                                        "the installer", false));
    return world;
}

/* The day on which fan-fading is raised; NaN: not in time. */
static double faded_on(struct world *world, double until) {
    live(world, until);
    const struct judged_event *raised = judged_house_raised(&world->house, CONDITION_FAN_FADING);
    double day = raised ? raised->day : NAN;
    close_world(world);
    return day;
}

/* By the fan laws power goes with the third power of the speed (ANSI/AMCA 99). */
START_TEST(power_that_falls_tells_it_no_later) {
    for (size_t i = 0; i < SEEDS; i++) {
        seed = seeds[i];
        struct world *world = open_fan(with_power, 0.10);
        world->power_exponent = 3.0;
        double by_both = faded_on(world, 140.0),
               by_air = faded_on(open_fan(with_flow, 0.10), 140.0);
        ck_assert_msg(by_both <= by_air, "day %.1f, by the air alone %.1f", by_both, by_air);
    }
}
END_TEST

START_TEST(power_that_stays_denies_it) {
    for (size_t i = 0; i < SEEDS; i++) {
        seed = seeds[i];
        ck_assert(isnan(faded_on(open_fan(with_power, 0.10), 140.0)));
    }
}
END_TEST

/* Bearings that drag: an induction motor draws more where it has more to turn. */
START_TEST(power_that_rises_leaves_it_to_the_air) {
    struct world *world = open_fan(with_power, 0.10);
    world->power_exponent = -1.5;
    ck_assert(faded_on(world, 140.0) < 105.0);
}
END_TEST

/* A fifth of a pascal a year is usual of such a gauge: here a tenth of the flow, 4 % of the speed.
   In half a year twice as much is nothing sure yet. */
START_TEST(a_zero_that_wanders_is_no_wear) {
    struct world *world = open_fan(with_velocity, 0.0);
    world->zero_per_year = -0.4;
    ck_assert(isnan(faded_on(world, 250.0)));
    world = open_fan(with_velocity, 0.40);
    ck_assert(faded_on(world, 250.0) < 150.0); /* more than any zero does */
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("daily_wear");
    tcase_add_test(tcase, power_that_falls_tells_it_no_later);
    tcase_add_test(tcase, power_that_stays_denies_it);
    tcase_add_test(tcase, power_that_rises_leaves_it_to_the_air);
    tcase_add_test(tcase, a_zero_that_wanders_is_no_wear);
    return run_test_case(tcase);
}
