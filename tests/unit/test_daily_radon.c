/*
 * What is decided on radon once a day, through the monitor and the memory of a replay. The dates
 * follow from the defaults of the contract (91 d, probability 0.95) by the arithmetic beside each
 * check.
 */
#include "daily_bench.h"

static const char with_radon[] = "id: house\ntime_zone: America/Denver\npoints:\n"
                                 "  - {id: suction, quantity: suction, unit: Pa, every: 1 h}\n"
                                 "  - {id: radon, quantity: radon, unit: Bq/m3, every: 1 h}\n";

/* ---- radon ---- */

/* Action level 148 Bq/m3. At 600 a fortnight suffices: 1.6 times the uncertainty of a year of which
   half a month is known, 0.4 x 0.95, is 0.65 in the logarithm, below ln(600 / 148) = 1.4. At 250,
   0.52 above, a fortnight does not, and half a year (0.4 x 0.5 and calibration 0.1) does. */
START_TEST(radon_above_the_action_level_is_told_as_soon_as_the_year_must_be) {
    struct world *world = open_world(with_radon);
    world->radon = 600.0;
    live(world, 20.0);
    const struct judged_event *raised =
        judged_house_raised(&world->house, CONDITION_RADON_ABOVE_ACTION);
    ck_assert_ptr_nonnull(raised);
    ck_assert_double_eq_tol(raised->day, 14.0, 1e-6);
    ck_assert_double_ge(raised->value, 0.95);
    ck_assert_double_eq(raised->setpoint, 0.95);
    close_world(world);
    world = open_world(with_radon);
    world->radon = 230.0; /* the mean of the log-normal is 7 % higher */
    live(world, 60.0);
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_RADON_ABOVE_ACTION));
    live(world, 190.0);
    ck_assert_ptr_nonnull(judged_house_raised(&world->house, CONDITION_RADON_ABOVE_ACTION));
    close_world(world);
}
END_TEST

/* A winter's 91 days are 1.28 to 1.41 times the year's mean at winter/summer ratios of 1.8 to 2.5:
   of a year of 3.0 to 3.8 pCi/L the winter alone is above the action level, and no year is. */
START_TEST(a_winter_is_no_year) {
    static const double years_pci_l[] = {3.0, 3.4, 3.8}, winter_over_summer[] = {1.8, 2.5};
    for (int i = 0; i < 6; i++) {
        struct world *world = open_world(with_radon);
        double season = 0.5 * log(winter_over_summer[i % 2]);
        /* exp(a cos) has the mean I0(a), close to 1 + a^2 / 4; and 1.067 for the noise. */
        world->radon = 37.0 * years_pci_l[i / 2] / (1.0 + 0.25 * season * season) / 1.067;
        world->radon_season = season;
        world->phase_day = 65.0; /* begins on 2025-11-21: midwinter on day 46 */
        live(world, 92.0);
        ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_RADON_ABOVE_ACTION));
        close_world(world);
    }
}
END_TEST

START_TEST(a_repair_ends_the_verdict_within_weeks) {
    struct world *world = open_world(with_radon);
    size_t from = 0;
    world->radon = 440.0; /* 12 pCi/L, and 1.1 from day 100 on */
    world->radon_from = 100.0;
    world->radon_factor = 0.09;
    live(world, 100.0);
    ck_assert_ptr_nonnull(judged_house_raised(&world->house, CONDITION_RADON_ABOVE_ACTION));
    ck_assert(monitor_load_renewal(world->house.monitor, 0,
                                   world->house.start_ms + 100 * DURATION_DAY_MS, CHANGE_FAN));
    live(world, 130.0);
    const struct judged_event *returned =
        judged_house_event(&world->house, CONDITION_RADON_ABOVE_ACTION, false, &from);
    ck_assert_ptr_nonnull(returned);
    ck_assert_double_ge(returned->day, 114.0);
    close_world(world);
}
END_TEST

START_TEST(a_hole_measured_again_keeps_the_verdict) {
    struct world *world = open_world(with_radon);
    size_t from = 0;
    world->radon = 440.0;
    world->radon_from = 100.0;
    world->radon_factor = 0.09;
    live(world, 100.0);
    /* Of the radon point, as a hole's would be: not of the riser. */
    ck_assert(monitor_load_baseline(world->house.monitor, 1,
                                    world->house.start_ms + 100 * DURATION_DAY_MS, 40.0,
                                    "the installer", false));
    live(world, 130.0);
    ck_assert_ptr_nonnull(judged_house_raised(&world->house, CONDITION_RADON_ABOVE_ACTION));
    ck_assert_ptr_null(
        judged_house_event(&world->house, CONDITION_RADON_ABOVE_ACTION, false, &from));
    close_world(world);
}
END_TEST

START_TEST(radon_below_the_action_level_is_not_told) {
    struct world *world = open_world(with_radon);
    world->radon = 90.0;
    live(world, 130.0);
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_RADON_ABOVE_ACTION));
    close_world(world);
}
END_TEST

START_TEST(days_before_commissioning_do_not_count) {
    struct world *world = open_world(with_radon);
    world->radon = 400.0;
    world->radon_from = 10.0;
    world->radon_factor = 0.1;
    live(world, 10.0);
    /* The installer comes on day 10: 400 Bq/m3 before, 40 after. */
    ck_assert(monitor_load_baseline(world->house.monitor, 0,
                                    world->house.start_ms + 10 * DURATION_DAY_MS, 250.0,
                                    "the installer", false));
    live(world, 120.0);
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_RADON_ABOVE_ACTION));
    close_world(world);
}
END_TEST

START_TEST(a_lasting_rise_of_radon_is_told) {
    seed = seeds[1];
    struct world *world = open_world(with_radon);
    world->radon = 50.0;
    world->radon_from = 120.0;
    world->radon_factor = 4.0; /* ln 4 is 1.4, of which a season could be 0.55 to 0.75 */
    live(world, 180.0);
    const struct judged_event *raised = judged_house_raised(&world->house, CONDITION_RADON_RISING);
    ck_assert_ptr_nonnull(raised);
    ck_assert_msg(raised->day > 148.0 && raised->day < 174.0, "raised on day %.1f", raised->day);
    ck_assert_double_gt(raised->value, raised->setpoint);
    ck_assert(raised->value > 87.0 && raised->value < 350.0); /* 37 more than usual, at least */
    close_world(world);
}
END_TEST

/* Windows shut for three weeks of frost: above the chart, and over before it is a level. */
START_TEST(three_weeks_of_more_radon_are_no_rise) {
    seed = seeds[1];
    struct world *world = open_world(with_radon);
    world->radon = 50.0;
    world->radon_from = 120.0;
    world->radon_factor = 4.0;
    live(world, 141.0);
    world->radon_from = 1e9;
    live(world, 250.0);
    ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_RADON_RISING));
    close_world(world);
}
END_TEST

/* A quarter of the action level are 37 Bq/m3. */
START_TEST(a_rise_below_a_quarter_of_the_action_level_is_no_news) {
    for (int i = 0; i < SEEDS; i++) {
        seed = seeds[i];
        struct world *world = open_world(with_radon);
        world->radon = 15.0;
        world->radon_from = 150.0;
        world->radon_factor = 2.0;
        live(world, 600.0);
        ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_RADON_RISING));
        close_world(world);
    }
}
END_TEST

/* Winters of 2.4 times summer, the second like the first. */
START_TEST(a_winter_that_comes_again_is_not_called_rising) {
    for (int i = 0; i < SEEDS; i++) {
        seed = seeds[i];
        struct world *world = open_world(with_radon);
        world->radon = 70.0;
        world->radon_season = 0.5 * log(2.4);
        live(world, 900.0);
        ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_RADON_RISING));
        close_world(world);
    }
}
END_TEST

/* Winter 1.6 times summer, of which the reference knows only what is left of autumn: a usual house.
   Without an allowance each of these three raises. */
START_TEST(radon_that_follows_the_seasons_is_not_called_rising) {
    for (int i = 0; i < SEEDS; i++) {
        seed = seeds[i];
        struct world *world = open_world(with_radon);
        world->radon = 50.0;
        world->radon_season = 0.5 * log(1.6);
        world->radon_from = 700.0;
        world->radon_factor = 2.2; /* and what comes on top, two years on, is found */
        live(world, 700.0);
        ck_assert_ptr_null(judged_house_raised(&world->house, CONDITION_RADON_RISING));
        live(world, 790.0);
        ck_assert_ptr_nonnull(judged_house_raised(&world->house, CONDITION_RADON_RISING));
        close_world(world);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("daily");
    tcase_set_timeout(tcase, 300);
    tcase_add_test(tcase, radon_above_the_action_level_is_told_as_soon_as_the_year_must_be);
    tcase_add_test(tcase, radon_below_the_action_level_is_not_told);
    tcase_add_test(tcase, a_winter_is_no_year);
    tcase_add_test(tcase, a_repair_ends_the_verdict_within_weeks);
    tcase_add_test(tcase, a_hole_measured_again_keeps_the_verdict);
    tcase_add_test(tcase, days_before_commissioning_do_not_count);
    tcase_add_test(tcase, a_lasting_rise_of_radon_is_told);
    tcase_add_test(tcase, three_weeks_of_more_radon_are_no_rise);
    tcase_add_test(tcase, a_rise_below_a_quarter_of_the_action_level_is_no_news);
    tcase_add_test(tcase, a_winter_that_comes_again_is_not_called_rising);
    tcase_add_test(tcase, radon_that_follows_the_seasons_is_not_called_rising);
    return run_test_case(tcase);
}
