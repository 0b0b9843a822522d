/* common_change: fleets whose common change is known, with faulty houses, gaps and late starts; a
   median polish of the whole table (Tukey, Exploratory Data Analysis, 1977) beside it. */
#include "analysis/common_change.h"
#include "analysis/statistics.h"
#include "test_support.h"

#include <math.h>
#include <stdio.h>

enum { DAYS = 720, HOUSES = 30 };
static const double pi = 3.14159265358979323846;

/* The truth of a fleet: table[day][house]. */
struct fleet {
    size_t houses;
    double noise;
    double truth[DAYS];
    double table[DAYS][HOUSES];
    struct common_change_day found[DAYS];
};
static struct fleet fleet;

static void draw(struct test_random *random, size_t houses, double noise) {
    double spell = 0.0, levels[HOUSES];
    fleet.houses = houses;
    fleet.noise = noise;
    for (size_t h = 0; h < houses; h++)
        levels[h] = 4.0 + test_random_normal(random);
    for (size_t d = 0; d < DAYS; d++) {
        spell = 0.9 * spell + 0.02 * test_random_normal(random);
        fleet.truth[d] = 0.15 * sin(2.0 * pi * (double)d / 365.0) + spell;
        for (size_t h = 0; h < houses; h++)
            fleet.table[d][h] = levels[h] + fleet.truth[d] + noise * test_random_normal(random);
    }
}

static void run(void) {
    struct common_change *common = common_change_create(fleet.houses);
    ck_assert_ptr_nonnull(common);
    for (size_t d = 0; d < DAYS; d++)
        common_change_add(common, fleet.table[d], &fleet.found[d]);
    common_change_destroy(common);
}

/* Root mean square of found - truth over [from, DAYS), its mean taken out. Nearly all are found. */
static double error_from(size_t from) {
    double sum = 0.0, squares = 0.0, n = 0.0;
    for (size_t d = from; d < DAYS; d++) {
        if (isnan(fleet.found[d].change))
            continue;
        double error = fleet.found[d].change - fleet.truth[d];
        sum += error;
        squares += error * error;
        n += 1.0;
    }
    /* On some of the first days fewer than eight of the ten reported. */
    ck_assert_double_gt(n, 0.90 * (double)(DAYS - from));
    return sqrt(squares / n - sum / n * sum / n);
}

START_TEST(the_common_change_is_found) {
    struct test_random random = {test_seed()};
    draw(&random, 20, 0.05);
    run();
    ck_assert(isnan(fleet.found[COMMON_CHANGE_LEARN_DAYS - 1].change));
    ck_assert_uint_eq(fleet.found[COMMON_CHANGE_LEARN_DAYS].houses, 20);
    ck_assert_double_lt(error_from(COMMON_CHANGE_LEARN_DAYS), 0.03);
}
END_TEST

/* Its uncertainty is that of the day: 68 % within one, 95 % within two (JCGM 100). */
START_TEST(the_uncertainty_is_honest) {
    struct test_random random = {test_seed()};
    double within_one = 0.0, within_two = 0.0, n = 0.0;
    for (int turn = 0; turn < 20; turn++) {
        draw(&random, 16, 0.05);
        run();
        for (size_t d = 61; d < DAYS; d += 7) {
            double step = fleet.found[d].change - fleet.found[d - 1].change;
            double true_step = fleet.truth[d] - fleet.truth[d - 1];
            double u =
                hypot(fleet.found[d].standard_uncertainty, fleet.found[d - 1].standard_uncertainty);
            within_one += fabs(step - true_step) <= u;
            within_two += fabs(step - true_step) <= 2.0 * u;
            n += 1.0;
        }
    }
    ck_assert_double_eq_tol(within_one / n, 0.68, 0.08);
    ck_assert_double_eq_tol(within_two / n, 0.95, 0.05);
}
END_TEST

static void polish(double table[DAYS][HOUSES], size_t from, double changes[DAYS]) {
    double levels[HOUSES], column[DAYS];
    for (size_t d = 0; d < DAYS; d++)
        changes[d] = 0.0;
    for (int sweep = 0; sweep < 20; sweep++) {
        for (size_t h = 0; h < fleet.houses; h++) {
            for (size_t d = from; d < DAYS; d++)
                column[d - from] = table[d][h] - changes[d];
            ck_assert_int_eq(statistics_median(column, DAYS - from, &levels[h]), STATISTICS_OK);
        }
        for (size_t d = from; d < DAYS; d++) {
            for (size_t h = 0; h < fleet.houses; h++)
                column[h] = table[d][h] - levels[h];
            ck_assert_int_eq(statistics_median(column, fleet.houses, &changes[d]), STATISTICS_OK);
        }
    }
}

START_TEST(day_by_day_it_says_what_a_polish_of_the_whole_table_says) {
    struct test_random random = {test_seed()};
    double changes[DAYS], sum = 0.0, squares = 0.0, n = 0.0;
    draw(&random, 24, 0.08);
    run();
    polish(fleet.table, COMMON_CHANGE_LEARN_DAYS, changes);
    for (size_t d = COMMON_CHANGE_LEARN_DAYS; d < DAYS; d++) {
        double error = fleet.found[d].change - changes[d];
        sum += error;
        squares += error * error;
        n += 1.0;
    }
    ck_assert_double_lt(sqrt(squares / n - sum / n * sum / n), 0.02);
}
END_TEST

/* A third of the houses, by turns: a leak, wear, a stuck gauge, another unit, a hole that swings.
 */
static void spoil(size_t house, size_t onset) {
    for (size_t d = onset; d < DAYS; d++) {
        double *value = &fleet.table[d][house];
        double years = (double)(d - onset) / 365.0;
        switch (house % 5) {
        case 0:
            *value -= 0.5;
            break;
        case 1:
            *value -= 0.25 * years;
            break;
        case 2:
            *value = fleet.table[onset][house];
            break;
        case 3:
            *value += log(249.08891);
            break;
        default:
            *value += 0.6 * sin(2.0 * pi * (double)d / 40.0);
        }
    }
}

START_TEST(faulty_houses_do_not_pull) {
    struct test_random random = {test_seed()};
    draw(&random, 24, 0.04);
    for (size_t h = 0; h < 7; h++) /* 29 % */
        spoil(h, 100 + 60 * h);
    run();
    ck_assert_double_lt(error_from(COMMON_CHANGE_LEARN_DAYS), 0.04);
}
END_TEST

START_TEST(a_minority_on_the_same_day_is_no_weather) {
    struct test_random random = {test_seed()};
    draw(&random, 20, 0.02);
    for (size_t h = 0; h < 6; h++) { /* 30 % */
        for (size_t d = 200; d < DAYS; d++)
            fleet.table[d][h] -= 0.35;
    }
    run();
    double before = fleet.found[199].change - fleet.truth[199];
    double after = fleet.found[205].change - fleet.truth[205];
    ck_assert_double_lt(fabs(after - before), 0.04);
}
END_TEST

START_TEST(gaps_and_late_starts_leave_no_step) {
    struct test_random random = {test_seed()};
    draw(&random, 24, 0.04);
    for (size_t h = 10; h < 24; h++) { /* one more every three weeks */
        for (size_t d = 0; d < 20 * (h - 9); d++)
            fleet.table[d][h] = NAN;
    }
    for (size_t d = 0; d < DAYS; d++) {
        for (size_t h = 0; h < 24; h++) {
            if (test_random_unit(&random) < 0.08)
                fleet.table[d][h] = NAN;
        }
    }
    run();
    ck_assert_double_lt(error_from(COMMON_CHANGE_LEARN_DAYS + 10), 0.04);
    ck_assert_uint_gt(fleet.found[500].houses, 16);
}
END_TEST

START_TEST(seven_houses_say_nothing) {
    struct test_random random = {test_seed()};
    draw(&random, 7, 0.02);
    run();
    for (size_t d = 0; d < DAYS; d++)
        ck_assert(isnan(fleet.found[d].change));
    draw(&random, 8, 0.02);
    for (size_t d = 300; d < 310; d++)
        fleet.table[d][3] = NAN;
    run();
    ck_assert(isfinite(fleet.found[299].change) && isnan(fleet.found[300].change));
    ck_assert(isnan(fleet.found[309].change) && isfinite(fleet.found[310].change));
    ck_assert_double_lt(fabs(fleet.found[310].change - fleet.truth[310] -
                             (fleet.found[299].change - fleet.truth[299])),
                        0.06);
}
END_TEST

START_TEST(two_regions_know_nothing_of_each_other) {
    struct test_random random = {test_seed()};
    static double first[DAYS];
    draw(&random, 12, 0.03);
    run();
    ck_assert_double_lt(error_from(COMMON_CHANGE_LEARN_DAYS), 0.03);
    for (size_t d = 0; d < DAYS; d++)
        first[d] = fleet.found[d].change;
    draw(&random, 12, 0.03);
    for (size_t d = 300; d < DAYS; d++) { /* a flood in the second */
        fleet.truth[d] += 0.4;
        for (size_t h = 0; h < 12; h++)
            fleet.table[d][h] += 0.4;
    }
    run();
    ck_assert_double_lt(error_from(COMMON_CHANGE_LEARN_DAYS), 0.03);
    ck_assert_double_gt(fleet.found[305].change - fleet.found[295].change, 0.25);
    ck_assert_double_lt(fabs(first[305] - first[295]), 0.25);
}
END_TEST

/* All at once and one by one are the same: nothing looks ahead. */
START_TEST(a_day_does_not_know_the_next) {
    struct test_random random = {test_seed()};
    struct common_change *common = common_change_create(12);
    struct common_change_day day = {0};
    draw(&random, 12, 0.03);
    run();
    for (size_t d = 0; d < 200; d++)
        common_change_add(common, fleet.table[d], &day);
    common_change_destroy(common);
    ck_assert_double_eq(day.change, fleet.found[199].change);
    ck_assert_double_eq(day.standard_uncertainty, fleet.found[199].standard_uncertainty);
}
END_TEST

/* ---- response ---- */

START_TEST(the_factor_of_a_house_is_found) {
    struct test_random random = {test_seed()};
    static const double factors[] = {0.0, 0.5, 1.0, 2.5};
    double days[DAYS], logs[DAYS];
    struct common_change_response response;
    draw(&random, 12, 0.03);
    for (size_t d = 0; d < DAYS; d++) {
        days[d] = (double)d;
        logs[d] = 3.0 - 0.2 * (double)d / 365.0 + factors[_i] * fleet.truth[d] +
                  0.02 * test_random_normal(&random);
        if (d % 11 == 0)
            logs[d] = NAN;
        else if (d % 50 == 0)
            logs[d] -= 3.0; /* an outage */
    }
    ck_assert(common_change_respond(days, logs, fleet.truth, DAYS, &response));
    ck_assert_double_eq_tol(response.factor, factors[_i], 0.25);
    ck_assert_double_lt(response.factor_uncertainty, 0.3);
}
END_TEST

START_TEST(few_days_draw_it_to_one) {
    double days[40], logs[40], common[40];
    struct common_change_response response;
    struct test_random random = {test_seed()};
    for (size_t d = 0; d < 40; d++) {
        days[d] = (double)d;
        common[d] = 0.001 * test_random_normal(&random);
        logs[d] = 3.0 + 0.1 * test_random_normal(&random);
    }
    ck_assert(common_change_respond(days, logs, common, 40, &response));
    ck_assert_double_eq_tol(response.factor, 1.0, 0.02);
    ck_assert(!common_change_respond(days, logs, common, 29, &response));
    for (size_t d = 0; d < 40; d++)
        common[d] = 0.01 * (double)d;
    ck_assert(common_change_respond(days, logs, common, 40, &response));
    ck_assert_double_eq_tol(response.common_per_day, 0.01, 1e-9);
    ck_assert_double_eq_tol(response.factor, 1.0, 1e-6); /* like time: nothing is learned */
    ck_assert_double_eq_tol(response.factor_uncertainty, 0.7, 1e-3);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("common_change");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, the_common_change_is_found);
    tcase_add_test(tcase, the_uncertainty_is_honest);
    tcase_add_test(tcase, day_by_day_it_says_what_a_polish_of_the_whole_table_says);
    tcase_add_test(tcase, faulty_houses_do_not_pull);
    tcase_add_test(tcase, a_minority_on_the_same_day_is_no_weather);
    tcase_add_test(tcase, gaps_and_late_starts_leave_no_step);
    tcase_add_test(tcase, seven_houses_say_nothing);
    tcase_add_test(tcase, two_regions_know_nothing_of_each_other);
    tcase_add_test(tcase, a_day_does_not_know_the_next);
    tcase_add_loop_test(tcase, the_factor_of_a_house_is_found, 0, 4);
    tcase_add_test(tcase, few_days_draw_it_to_one);
    return run_test_case(tcase);
}
