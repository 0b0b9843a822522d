/*
 * The draft of a riser: hydrostatics of dry air, (p / R) (1/To - 1/Ti) g h, computed beside each
 * check; tests/reference holds the formula against the one of chimneys.
 */
#include "monitor/riser_draft.h"
#include "small_fleet.h"

#include <math.h>

static const char high[] = "id: high\nstack_height: 6 m\ndischarge: roof\n"
                           "points: [{id: s, quantity: suction, unit: Pa}]\n";
static const char low[] = "id: low\nstack_height: 6 m\ndischarge: wall\n"
                          "points: [{id: s, quantity: suction, unit: Pa}]\n";
static const char mountain[] = "id: mountain\nstack_height: 6 m\nelevation: 1600 m\n"
                               "points: [{id: s, quantity: suction, unit: Pa}]\n";
static const char plain[] = "id: plain\npoints: [{id: s, quantity: suction, unit: Pa}]\n";

static struct fleet *fleet;

static void set_up(void) {
    const char *const systems[] = {high, low, mountain, plain};
    fleet = small_fleet(NULL, systems, 4);
}

static void tear_down(void) {
    fleet_destroy(fleet);
}

/* 101325 / 287.05287 * 9.80665 * (1 / 258.15 - 1 / 294.15) = 1.6411 Pa for each metre at -15 degC
 */
static const double per_metre = 1.64107;

static double draft(size_t system, double indoor, double outdoor, double barometer) {
    const struct riser_weather weather = {indoor, outdoor, barometer};
    return riser_draft_pa(fleet, system, 0, &weather);
}

START_TEST(the_pipe_ends_two_metres_above_the_house_or_three_above_the_slab) {
    ck_assert_double_eq_tol(draft(0, NAN, -15.0, NAN), 8.0 * per_metre, 0.01);
    ck_assert_double_eq_tol(draft(1, NAN, -15.0, NAN), 3.0 * per_metre, 0.01);
    ck_assert_double_eq_tol(draft(3, NAN, -15.0, NAN), 4.5 * per_metre, 0.01);
}
END_TEST

START_TEST(thin_air_pulls_less) {
    /* standard atmosphere at 1600 m: 83 524 Pa */
    ck_assert_double_eq_tol(draft(2, NAN, -15.0, NAN), 8.0 * per_metre * 83524.0 / 101325.0, 0.01);
    ck_assert_double_eq_tol(draft(2, NAN, -15.0, 82000.0), 8.0 * per_metre * 82000.0 / 101325.0,
                            0.01);
}
END_TEST

START_TEST(weather_decides) {
    ck_assert(isnan(draft(0, NAN, NAN, NAN)));
    ck_assert_double_lt(draft(0, NAN, 30.0, NAN), 0.0);
    ck_assert_double_eq_tol(draft(0, 10.0, 10.0, NAN), 0.0, 1e-9);
    ck_assert_double_lt(draft(0, 15.0, -15.0, NAN), draft(0, 21.0, -15.0, NAN));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("riser draft");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, the_pipe_ends_two_metres_above_the_house_or_three_above_the_slab);
    tcase_add_test(tcase, thin_air_pulls_less);
    tcase_add_test(tcase, weather_decides);
    return run_test_case(tcase);
}
