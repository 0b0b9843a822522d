/*
 * What is decided once a day, through the monitor and the memory of a replay. The dates follow from
 * the contract's defaults (fading: 730 d before the limit of 70 %; radon: 91 d, probability 0.95;
 * fan-weak and ground-changed: medians of 7 d, on-delay 7 d) by the arithmetic beside each check.
 */
#include "daily_bench.h"

static const char plain[] = "id: house\ntime_zone: America/Denver\npoints:\n"
                            "  - {id: suction, quantity: suction, unit: Pa, every: 1 h}\n";

static const char with_outdoors[] =
    "id: house\ntime_zone: America/Denver\npoints:\n"
    "  - {id: suction, quantity: suction, unit: Pa, every: 1 h}\n"
    "  - {id: outdoors, quantity: outdoor-temperature, unit: degC, every: 1 h}\n";

static const char with_air[] =
    "id: house\ntime_zone: America/Denver\n"
    "fan: {curve: [[0 L/s, 500 Pa], [20 L/s, 420 Pa], [40 L/s, 180 Pa], [48 L/s, 38 Pa]]}\n"
    "points:\n"
    "  - {id: suction, quantity: suction, unit: Pa, every: 1 h}\n"
    "  - {id: flow, quantity: airflow, unit: L/s, every: 1 h}\n";

/* ---- fading ---- */

START_TEST(a_fading_fan_is_told_within_two_years_of_its_limit) {
    seed = seeds[0];
    struct world *world = open_world(plain);
    world->per_year = -0.10;
    world->noise = 0.01;
    live(world, 600.0);
    const struct judged_event *raised =
        judged_house_raised(&world->house, CONDITION_SUCTION_FADING);
    ck_assert_ptr_nonnull(raised);
    /* 30 % at 10 % a year are 3 years: 1095.7 d, less 730. Before a year is over the seasons can't
       be told from it. */
    ck_assert_msg(raised->day > 350.0 && raised->day < 500.0, "raised on day %.1f", raised->day);
    ck_assert_double_eq(raised->setpoint, 730.0 * DURATION_DAY_MS);
    ck_assert_double_le(raised->value, raised->setpoint);
    ck_assert_double_ge(raised->value, 400.0 * DURATION_DAY_MS);
    /* It is a finding of a local midnight. */
    ck_assert_int_eq(time_zone_minute_of_day(world->house.fleet->systems[0].zone, raised->at_ms),
                     0);
    /* It does not come and go from day to day. */
    size_t from = 0, count = 0;
    while (judged_house_event(&world->house, CONDITION_SUCTION_FADING, true, &from))
        count++;
    ck_assert_uint_eq(count, 1);
    close_world(world);
}
END_TEST

/* 6 % in 30 days, the limit 150 days off: soil that dries begins like this. */
START_TEST(what_falls_in_the_first_weeks_may_be_settling) {
    seed = seeds[0];
    struct world *world = open_world(plain);
    world->per_year = -0.06 / 30.0 * 365.2425;
    live(world, 60.0);
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_SUCTION_FADING));
    close_world(world);
}
END_TEST

/* 22 days without suction after 25 with it: more than half of all pairs of days fall. */
START_TEST(an_outage_is_not_called_fading) {
    seed = seeds[1];
    struct world *world = open_world(plain);
    world->off_from = 25.0;
    world->off_until = 47.0;
    live(world, 80.0);
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_SUCTION_FADING));
    close_world(world);
}
END_TEST

START_TEST(the_outlook_sees_a_year_ahead) {
    struct world *world = open_world(plain);
    world->per_year = -0.20; /* at its limit after 1.5 years: day 547.9 */
    world->noise = 0.005;
    live(world, 130.5);
    ck_assert_uint_eq(world->house.outlook.count, 0);
    live(world, 400.5); /* 147 d before it */
    ck_assert_uint_eq(world->house.outlook.count, 1);
    const struct daily_projection *ahead = &world->house.outlook.projections[0];
    double day = (double)(ahead->crossing_ms - world->house.start_ms) / DURATION_DAY_MS;
    ck_assert_int_eq(ahead->condition, CONDITION_SUCTION_FADING);
    /* Rather late than early: a slope is held for smaller than it seems until it is sure. */
    ck_assert_msg(fabs(day - 547.9) < 90.0, "crossing on day %.1f", day);
    ck_assert_int_lt(ahead->earliest_ms, ahead->crossing_ms);
    ck_assert_int_gt(ahead->latest_ms, ahead->crossing_ms);
    close_world(world);
}
END_TEST

static void expect_no_fading(const char *system, double season) {
    struct world *world = open_world(system);
    world->season = season;
    world->noise = 0.02;
    live(world, 900.0);
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_SUCTION_FADING));
    close_world(world);
}

START_TEST(a_healthy_house_with_seasons_is_not_called_fading) {
    for (size_t i = 0; i < SEEDS; i++) {
        seed = seeds[i];
        expect_no_fading(with_outdoors, 0.08);
        expect_no_fading(plain, 0.05);
    }
}
END_TEST

START_TEST(a_recovered_fan_ends_the_finding) {
    struct world *world = open_world(plain);
    world->per_year = -0.25; /* at its limit after 438 d */
    world->noise = 0.005;
    live(world, 400.0);
    ck_assert_ptr_nonnull(judged_house_raised(&world->house, CONDITION_SUCTION_FADING));
    /* A new fan with its own record: the trend begins anew. */
    ck_assert(monitor_load_baseline(world->house.monitor, 0,
                                    world->house.start_ms + 400 * DURATION_DAY_MS, 250.0,
                                    "the installer", false));
    world->per_year = 0.0;
    live(world, 440.0);
    size_t from = 0;
    const struct judged_event *returned =
        judged_house_event(&world->house, CONDITION_SUCTION_FADING, false, &from);
    ck_assert_ptr_nonnull(returned);
    /* 30 days make a trend, one day is the off-delay. */
    ck_assert_msg(fabs(returned->day - 431.0) < 1.5, "returned on day %.2f", returned->day);
    close_world(world);
}
END_TEST

/* ---- fan and ground ---- */

static struct world *open_air_with_pipe(double speed, double resistance, double exponent,
                                        double pipe_loss) {
    struct world *world = open_world(with_air);
    double suction = 0.0, flow = 0.0;
    world->speed = speed;
    world->resistance = resistance;
    world->pipe_loss = pipe_loss;
    world->changed_from = 40.0;
    air_at(1.0, 1.0, pipe_loss, &suction, &flow);
    ck_assert(monitor_load_baseline(world->house.monitor, 0, world->house.start_ms, suction,
                                    "the installer", false));
    ck_assert(monitor_load_baseline(world->house.monitor, 1, world->house.start_ms, flow / 1000.0,
                                    "the installer", false));
    history_memory_set_exponent(world->house.memory, 0, world->house.start_ms, exponent);
    return world;
}

static struct world *open_air(double speed, double resistance, double exponent) {
    return open_air_with_pipe(speed, resistance, exponent, 0.0);
}

START_TEST(a_slower_fan_is_fan_weak_and_leaves_the_ground_alone) {
    const double exponents[] = {1.5, NAN};
    for (size_t i = 0; i < 2; i++) {
        struct world *world = open_air(0.82, 1.0, exponents[i]);
        live(world, 70.0);
        const struct judged_event *raised = judged_house_raised(&world->house, CONDITION_FAN_WEAK);
        ck_assert_ptr_nonnull(raised);
        /* The median of 7 d turns at the end of day 44 (84 of 168 h), 7 d on-delay. */
        ck_assert_msg(raised->day > 50.0 && raised->day < 52.5, "raised on day %.2f", raised->day);
        ck_assert_msg(fabs(raised->value - 0.82) < 0.02, "speed %.3f", raised->value);
        ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_GROUND_CHANGED));
        close_world(world);
    }
}
END_TEST

START_TEST(a_tighter_ground_is_ground_changed_and_leaves_the_fan_alone) {
    const double exponents[] = {1.5, NAN};
    for (size_t i = 0; i < 2; i++) {
        struct world *world = open_air(1.0, 2.0, exponents[i]); /* no suction-high yet */
        live(world, 70.0);
        const struct judged_event *raised =
            judged_house_raised(&world->house, CONDITION_GROUND_CHANGED);
        ck_assert_ptr_nonnull(raised);
        ck_assert_msg(raised->day > 50.0 && raised->day < 52.5, "raised on day %.2f", raised->day);
        ck_assert_msg(fabs(raised->value / 2.0 - 1.0) < 0.05, "ratio %.3f", raised->value);
        ck_assert_double_eq(raised->setpoint, 1.7);
        ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_FAN_WEAK));
        close_world(world);
    }
}
END_TEST

START_TEST(a_leak_is_ground_changed_below) {
    struct world *world = open_air(1.0, 0.35, 1.5);
    live(world, 70.0);
    const struct judged_event *raised =
        judged_house_raised(&world->house, CONDITION_GROUND_CHANGED);
    ck_assert_ptr_nonnull(raised);
    ck_assert_double_eq(raised->setpoint, 0.6);
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_FAN_WEAK));
    close_world(world);
}
END_TEST

START_TEST(a_small_change_is_neither) {
    struct world *world = open_air(0.96, 1.2, 1.5);
    live(world, 80.0);
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_FAN_WEAK));
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_GROUND_CHANGED));
    close_world(world);
}
END_TEST

START_TEST(silence_decides_nothing) {
    struct world *world = open_air(0.7, 1.0, 1.5);
    world->silent_from = 45.5; /* the finding is five days short of its on-delay */
    live(world, 80.0);
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_FAN_WEAK));
    close_world(world);
}
END_TEST

/* 10 % a year: 0.99 is passed on the 37th day, the 60 days of the window are full on the 60th. */
START_TEST(wear_of_a_tenth_a_year_is_found_within_weeks) {
    for (size_t i = 0; i < SEEDS; i++) {
        seed = seeds[i];
        struct world *world = open_air(1.0, 1.0, 1.5);
        world->wear_per_year = 0.10;
        live(world, 120.0);
        const struct judged_event *raised =
            judged_house_raised(&world->house, CONDITION_FAN_FADING);
        ck_assert_ptr_nonnull(raised);
        ck_assert_msg(raised->day > 77.0 && raised->day < 105.0, "raised on day %.1f", raised->day);
        ck_assert_double_eq(raised->setpoint, 365.0 * DURATION_DAY_MS);
        ck_assert_double_le(raised->value, raised->setpoint);
        ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_FAN_WEAK));
        close_world(world);
    }
}
END_TEST

/* The ground gets tighter at the same rate: suction rises, flow falls, the fan is the same. */
START_TEST(a_ground_that_slowly_gets_tighter_is_no_wear) {
    struct world *world = open_air(1.0, 1.0, 1.5);
    for (int day = 40; day < 200; day += 5) {
        world->resistance = 1.0 + 0.004 * (day - 40);
        live(world, day + 5.0);
    }
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_FAN_FADING));
    close_world(world);
}
END_TEST

/* It opens, as soil does that dries: suction falls, flow rises, and the pipe behind the gauge, of
   which nobody said what it takes, takes more. */
START_TEST(a_ground_that_slowly_opens_is_no_wear) {
    struct world *world = open_air_with_pipe(1.0, 1.0, 1.5, 0.15);
    for (int day = 40; day < 200; day += 5) {
        world->resistance = exp(-0.005 * (day - 40));
        live(world, day + 5.0);
    }
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_FAN_FADING));
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_FAN_WEAK));
    close_world(world);
}
END_TEST

/* A fan set to another stage loses as much at once: no wear, whatever the size. */
START_TEST(a_step_of_the_fan_is_no_wear) {
    const double speeds[] = {0.98, 0.95, 0.80};
    for (size_t i = 0; i < sizeof speeds / sizeof speeds[0]; i++) {
        struct world *world = open_air(speeds[i], 1.0, 1.5);
        live(world, 150.0);
        ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_FAN_FADING));
        close_world(world);
    }
}
END_TEST

START_TEST(a_new_fan_ends_the_wear_of_the_old_one) {
    struct world *world = open_air(1.0, 1.0, 1.5);
    double suction = 0.0, flow = 0.0;
    size_t from = 0;
    world->wear_per_year = 0.10;
    live(world, 130.0);
    ck_assert_ptr_nonnull(judged_house_raised(&world->house, CONDITION_FAN_FADING));
    air_at(1.0, 1.0, 0.0, &suction, &flow);
    int64_t renewed_ms = world->house.start_ms + 130 * DURATION_DAY_MS;
    ck_assert(monitor_load_baseline(world->house.monitor, 0, renewed_ms, suction, "the installer",
                                    false));
    ck_assert(monitor_load_baseline(world->house.monitor, 1, renewed_ms, flow / 1000.0,
                                    "the installer", false));
    world->wear_per_year = 0.0;
    live(world, 200.0);
    const struct judged_event *returned =
        judged_house_event(&world->house, CONDITION_FAN_FADING, false, &from);
    ck_assert_ptr_nonnull(returned);
    /* Three days make a first week, 42 a series; then 14 days of off-delay. */
    ck_assert_msg(returned->day > 130.0 && returned->day < 190.0, "returned on day %.2f",
                  returned->day);
    close_world(world);
}
END_TEST

START_TEST(judging_a_day_again_changes_nothing) {
    struct world *world = open_air(0.82, 1.0, 1.5);
    struct daily_outlook outlook;
    live(world, 60.0);
    size_t events = world->house.event_count;
    struct alarm_book *book = monitor_alarms(world->house.monitor);
    size_t alarms = alarm_book_count(book);
    for (int i = 0; i < 3; i++)
        ck_assert(daily_judge(world->house.monitor, &world->house.history, 0,
                              world->house.next_day - 1, &outlook));
    judged_house_clock(&world->house, world->house.start_ms + 60 * DURATION_DAY_MS);
    ck_assert_uint_eq(world->house.event_count, events);
    ck_assert_uint_eq(alarm_book_count(book), alarms);
    close_world(world);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("daily");
    tcase_set_timeout(tcase, 300);
    tcase_add_test(tcase, a_fading_fan_is_told_within_two_years_of_its_limit);
    tcase_add_test(tcase, what_falls_in_the_first_weeks_may_be_settling);
    tcase_add_test(tcase, an_outage_is_not_called_fading);
    tcase_add_test(tcase, the_outlook_sees_a_year_ahead);
    tcase_add_test(tcase, a_healthy_house_with_seasons_is_not_called_fading);
    tcase_add_test(tcase, a_recovered_fan_ends_the_finding);
    tcase_add_test(tcase, a_slower_fan_is_fan_weak_and_leaves_the_ground_alone);
    tcase_add_test(tcase, a_tighter_ground_is_ground_changed_and_leaves_the_fan_alone);
    tcase_add_test(tcase, a_leak_is_ground_changed_below);
    tcase_add_test(tcase, a_small_change_is_neither);
    tcase_add_test(tcase, silence_decides_nothing);
    tcase_add_test(tcase, wear_of_a_tenth_a_year_is_found_within_weeks);
    tcase_add_test(tcase, a_ground_that_slowly_gets_tighter_is_no_wear);
    tcase_add_test(tcase, a_ground_that_slowly_opens_is_no_wear);
    tcase_add_test(tcase, a_step_of_the_fan_is_no_wear);
    tcase_add_test(tcase, a_new_fan_ends_the_wear_of_the_old_one);
    tcase_add_test(tcase, judging_a_day_again_changes_nothing);
    return run_test_case(tcase);
}
