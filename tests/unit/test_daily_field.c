/*
 * A test hole that changes sides, through the monitor and the memory of a replay: a fifth of the
 * hourly means of 7 days is 33.6 of 168 h, so 8 h a night are told after five nights (40 h), 4 h
 * never (28 h).
 */
#include "judged_house.h"

static const int64_t first_day = 20363; /* 2025-10-02 */
static const char with_hole[] = "id: house\ntime_zone: America/Denver\npoints:\n"
                                "  - {id: hole, quantity: field, unit: Pa, every: 1 h}\n"
                                "  - {id: suction, quantity: suction, unit: Pa, every: 1 h}\n";

struct world {
    struct judged_house house;
    double night_h, from, until; /* the field turns over for so many hours of each of these days */
    double by_day, by_night;
    double off_from, off_until; /* the fan stands still */
};

static double value_at(void *context, size_t point, double day) {
    struct world *world = context;
    bool off = day >= world->off_from && day < world->off_until;
    bool night = fmod(day + 1e-6, 1.0) * 24.0 < world->night_h;
    if (strcmp(fleet_point_id(world->house.fleet, point), "suction") == 0)
        return off ? 0.5 + 0.1 * sin(100.0 * day) : 250.0 + sin(100.0 * day);
    if (off)
        return -1.0;
    return night && day + 1e-6 >= world->from && day + 1e-6 < world->until ? world->by_night
                                                                           : world->by_day;
}

/* Commissioned at 2.5 Pa: a mean of +1.3 Pa is above the limit of field-weak (1.25 Pa). */
static struct world *open_world(double night_h, double baseline_from) {
    struct world *world = calloc(1, sizeof *world);
    judged_house_open(&world->house, with_hole, first_day);
    world->night_h = night_h;
    world->until = world->off_from = world->off_until = 1e9;
    world->by_day = 6.0;
    world->by_night = -8.0;
    int64_t from_ms = world->house.start_ms + (int64_t)(baseline_from * DURATION_DAY_MS);
    ck_assert(monitor_load_baseline(world->house.monitor, 0, from_ms, 2.5, "the installer", false));
    ck_assert(
        monitor_load_baseline(world->house.monitor, 1, from_ms, 250.0, "the installer", false));
    return world;
}

static void close_world(struct world *world) {
    judged_house_close(&world->house);
    free(world);
}

static void live(struct world *world, double until) {
    judged_house_live(&world->house, until, value_at, world);
}

START_TEST(nights_that_a_mean_hides_are_told) {
    struct world *world = open_world(8.0, 0.0);
    world->from = 10.0;
    live(world, 40.0);
    const struct judged_event *event = judged_house_raised(&world->house, CONDITION_FIELD_REVERSED);
    ck_assert_ptr_nonnull(event);
    ck_assert_double_eq_tol(event->day, 15.0, 1e-6);
    /* a reading stands for the hour before it: the sixth night has begun */
    ck_assert_double_eq_tol(event->value, 41.0 / 168.0, 1e-9);
    ck_assert_double_eq_tol(event->setpoint, 0.20, 1e-9);
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_FIELD_WEAK));
    close_world(world);
}
END_TEST

START_TEST(it_ends_when_the_nights_are_good_again) {
    struct world *world = open_world(8.0, 0.0);
    size_t from = 0;
    world->from = 10.0;
    world->until = 30.0;
    live(world, 45.0);
    const struct judged_event *over =
        judged_house_event(&world->house, CONDITION_FIELD_REVERSED, false, &from);
    ck_assert_ptr_nonnull(over);
    /* 24 of 168 h are 14 % (below 20 % less the deadband of 5 %) on day 34; that lasts a day */
    ck_assert_double_eq_tol(over->day, 35.0, 0.1);
    close_world(world);
}
END_TEST

START_TEST(a_few_hours_are_not_told) {
    struct world *world = open_world(4.0, 0.0);
    live(world, 30.0);
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_FIELD_REVERSED));
    close_world(world);
}
END_TEST

START_TEST(an_outage_of_the_fan_is_no_reversal) {
    struct world *world = open_world(0.0, 0.0);
    world->off_from = 10.0;
    world->off_until = 13.0;
    live(world, 30.0);
    ck_assert_ptr_nonnull(judged_house_raised(&world->house, CONDITION_SUCTION_LOST));
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_FIELD_REVERSED));
    close_world(world);
}
END_TEST

START_TEST(hours_before_commissioning_do_not_count) {
    struct world *world = open_world(8.0, 10.0);
    world->until = 10.0;
    live(world, 9.0); /* no baseline yet: what is measured counts */
    ck_assert_ptr_nonnull(judged_house_raised(&world->house, CONDITION_FIELD_REVERSED));
    world->house.event_count = 0;
    live(world, 30.0);
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_FIELD_REVERSED));
    close_world(world);
}
END_TEST

START_TEST(a_hole_that_is_weak_as_well_is_told_once) {
    struct world *world = open_world(24.0, 0.0);
    world->from = 10.0;
    live(world, 30.0);
    ck_assert_ptr_nonnull(judged_house_raised(&world->house, CONDITION_FIELD_WEAK));
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_FIELD_REVERSED));
    close_world(world);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("daily_field");
    tcase_set_timeout(tcase, 120);
    tcase_add_test(tcase, nights_that_a_mean_hides_are_told);
    tcase_add_test(tcase, it_ends_when_the_nights_are_good_again);
    tcase_add_test(tcase, a_few_hours_are_not_told);
    tcase_add_test(tcase, an_outage_of_the_fan_is_no_reversal);
    tcase_add_test(tcase, hours_before_commissioning_do_not_count);
    tcase_add_test(tcase, a_hole_that_is_weak_as_well_is_told_once);
    return run_test_case(tcase);
}
