/*
 * A lasting fall told from settling, seasons, steps and chance: how often and how soon, counted on
 * made-up daily values with a fixed seed, asked every week for two years as suction-fading asks
 * (p < 0.01, 70 % of the first level within 730 d).
 * The cases without a fall are those of practice: soil that dries after the installation, a season
 * that nobody measures, a drain tile in a wet spring, two steps. Noise is a first-order
 * autoregression.
 */
#include "analysis/drift.h"
#include "test_support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define YEAR 365.2425
#define TWO_PI 6.283185307179586
enum { DAYS = 730, HOUSES = 60, STEPS = 2 };

struct house {
    double noise, r1;
    double settling, settling_days; /* share lost in the end, by 1 - exp(-t / days) */
    double season, wet_spring; /* amplitude of a wave; height of a bump of a month, every year */
    double steps[STEPS];       /* share lost at once, on some day */
    double per_year, onset;    /* share of the first level lost in a year, from that day on */
    bool with_outdoors;        /* the season is that of the outdoor temperature */
    double days[DAYS], values[DAYS], outdoor_c[DAYS];
};

static double bump(double day, double middle) {
    double away = remainder(day - middle, YEAR) / 30.0;
    return exp(-0.5 * away * away);
}

static void fill(struct house *house, struct test_random *random) {
    double phase = TWO_PI * test_random_unit(random), spring = YEAR * test_random_unit(random);
    double fluctuation = test_random_normal(random), at[STEPS];
    for (int s = 0; s < STEPS; s++)
        at[s] = 40.0 + 560.0 * test_random_unit(random);
    for (int i = 0; i < DAYS; i++) {
        double wave = cos(TWO_PI * i / YEAR + phase), level = 100.0;
        level *= 1.0 - house->settling * (1.0 - exp(-i / fmax(house->settling_days, 1.0)));
        level *= exp(house->season * wave + house->wet_spring * bump(i, spring));
        for (int s = 0; s < STEPS; s++)
            level *= i >= at[s] ? 1.0 - house->steps[s] : 1.0;
        level *= 1.0 - house->per_year * fmax(0.0, i - house->onset) / YEAR;
        house->days[i] = 20000.5 + i;
        house->values[i] = level * exp(house->noise * fluctuation);
        house->outdoor_c[i] = 10.0 + 12.0 * wave + 3.0 * test_random_normal(random);
        fluctuation = house->r1 * fluctuation +
                      sqrt(1.0 - house->r1 * house->r1) * test_random_normal(random);
    }
}

static struct trend_series first_days(const struct house *house, size_t n) {
    return (struct trend_series){.n = n,
                                 .days = house->days,
                                 .values = house->values,
                                 .outdoor_c = house->with_outdoors ? house->outdoor_c : NULL};
}

static bool is_told(const struct house *house, size_t n) {
    const struct trend_series series = first_days(house, n);
    struct trend trend;
    struct trend_crossing crossing;
    double now = house->days[0] + (double)n;
    if (!drift_may_fall(&series) ||
        drift_fit(&series, house->days[0], &drift_suction, 0.95, &trend) != TREND_OK ||
        trend.per_year >= 0.0 || trend.p_value_cautious >= 0.01)
        return false;
    enum trend_crossing_status status = trend_cross(&trend, now, 70.0, TREND_LOW_LIMIT, &crossing);
    return status == TREND_BEYOND_ALREADY ||
           (status == TREND_CROSSES && crossing.day - now <= 730.0);
}

static int first_told(const struct house *house) {
    for (size_t n = TREND_LEAST_DAYS + 5; n <= DAYS; n += 7)
        if (is_told(house, n))
            return (int)n;
    return DAYS + 1;
}

static int ascending(const void *a, const void *b) {
    return *(const int *)a - *(const int *)b;
}

/* What is no fall: of 60 houses over two years at most so many are told. */
static const struct {
    const char *what;
    struct house house;
    int most;
} nothing[] = {
    {"flat", {.noise = 0.02, .r1 = 0.9}, 0},
    {"settles by 15 % in 45 d",
     {.noise = 0.02, .r1 = 0.9, .settling = 0.15, .settling_days = 45.0},
     1},
    {"season of 10 %, nobody measures it", {.noise = 0.02, .r1 = 0.9, .season = 0.10}, 1},
    {"season of 10 %, quiet", {.noise = 0.005, .r1 = 0.6, .season = 0.10}, 1},
    {"season of 10 %, outdoors known",
     {.noise = 0.02, .r1 = 0.9, .season = 0.10, .with_outdoors = true},
     1},
    {"season of 15 %", {.noise = 0.02, .r1 = 0.9, .season = 0.15}, 1},
    {"wet springs of 15 %", {.noise = 0.02, .r1 = 0.9, .wet_spring = 0.15}, 1},
    {"two steps of 10 %", {.noise = 0.02, .r1 = 0.9, .steps = {0.10, 0.10}}, 3},
    {"two steps of 10 %, quiet", {.noise = 0.005, .r1 = 0.6, .steps = {0.10, 0.10}}, 1},
    {"settles, with a season and a step",
     {.noise = 0.015,
      .r1 = 0.9,
      .settling = 0.12,
      .settling_days = 60.0,
      .season = 0.05,
      .steps = {0.07, 0.0}},
     4},
};

START_TEST(what_comes_and_goes_is_no_fall) {
    struct test_random random = {.state = 11 + (uint64_t)_i};
    struct house house = nothing[_i].house;
    int told = 0;
    for (int i = 0; i < HOUSES; i++) {
        fill(&house, &random);
        told += first_told(&house) <= DAYS ? 1 : 0;
    }
    printf("%s: %d of %d told within two years\n", nothing[_i].what, told, HOUSES);
    ck_assert_int_le(told, nothing[_i].most);
}
END_TEST

/* Real falls: the median day, and the last of nine in ten. */
static const struct {
    const char *what;
    struct house house;
    int median, nine_of_ten;
} falls[] = {
    {"12 % a year", {.noise = 0.01, .r1 = 0.9, .per_year = 0.12}, 410, 430},
    {"12 % a year, noisy", {.noise = 0.02, .r1 = 0.9, .per_year = 0.12}, 430, 480},
    {"12 % a year and a season of 5 %",
     {.noise = 0.01, .r1 = 0.9, .per_year = 0.12, .season = 0.05},
     410,
     440},
    {"20 % a year", {.noise = 0.01, .r1 = 0.9, .per_year = 0.20}, 350, 370},
    {"20 % a year from the second year on",
     {.noise = 0.01, .r1 = 0.9, .per_year = 0.20, .onset = 365.0},
     550,
     600},
};

START_TEST(a_lasting_fall_is_told) {
    struct test_random random = {.state = 31 + (uint64_t)_i};
    struct house house = falls[_i].house;
    int days[HOUSES];
    for (int i = 0; i < HOUSES; i++) {
        fill(&house, &random);
        days[i] = first_told(&house);
        ck_assert_int_ge(days[i], (int)house.onset);
    }
    qsort(days, HOUSES, sizeof *days, ascending);
    printf("%s: told on day %d (median), %d (nine of ten)\n", falls[_i].what, days[HOUSES / 2],
           days[HOUSES * 9 / 10]);
    ck_assert_int_le(days[HOUSES / 2], falls[_i].median);
    ck_assert_int_le(days[HOUSES * 9 / 10], falls[_i].nine_of_ten);
}
END_TEST

/* Where all sizes are drawn from what is usual, the interval at 95 % must hold the true slope about
   95 times in 100 (calibration of Bayesian software by simulation: Cook, Gelman, Rubin, J. Comp.
   Graph. Stat. 15 (2006) 675, from memory). Rather wide than narrow is meant: the wander of a gauge
   and noise of up to 90 days are allowed for and not drawn. */
START_TEST(the_interval_holds_the_slope) {
    enum { RUNS = 400 };
    static const size_t lengths[] = {120, 270, 500, 730};
    struct test_random random = {.state = 5 + (uint64_t)_i};
    int held = 0;
    size_t n = lengths[_i];
    for (int run = 0; run < RUNS; run++) {
        double slope = drift_suction.slope_per_year * test_random_normal(&random);
        struct house house = {.noise = drift_suction.noise, .r1 = 0.9};
        fill(&house, &random);
        double a = drift_suction.season * test_random_normal(&random);
        double b = drift_suction.season * test_random_normal(&random);
        double late = drift_suction.settling * test_random_normal(&random);
        for (int i = 0; i < DAYS; i++)
            house.values[i] *= exp(slope * i / YEAR + a * cos(TWO_PI * i / YEAR) +
                                   b * sin(TWO_PI * i / YEAR) + late * exp(-i / 60.0));
        const struct trend_series series = first_days(&house, n);
        struct trend trend;
        ck_assert_int_eq(drift_fit(&series, house.days[0], &drift_suction, 0.95, &trend), TREND_OK);
        held += trend.lower <= slope * trend.level && slope * trend.level <= trend.upper ? 1 : 0;
    }
    printf("%zu days: the interval holds the slope %d of %d times\n", n, held, RUNS);
    ck_assert_int_ge(held, RUNS * 93 / 100);
}
END_TEST

/* The neighbours' seasons are 0.7 of this house's. */
START_TEST(neighbours_make_it_surer) {
    struct test_random random = {.state = 3};
    struct house house = {.noise = 0.005, .r1 = 0.6, .per_year = 0.12, .season = 0.06};
    struct trend alone, among;
    double common[DAYS];
    fill(&house, &random);
    for (int i = 0; i < DAYS; i++)
        common[i] = 0.7 * log(house.values[i] / (100.0 * (1.0 - 0.12 * i / YEAR))) +
                    0.005 * test_random_normal(&random);
    common[10] = NAN; /* left out */
    struct trend_series series = first_days(&house, 270);
    ck_assert_int_eq(drift_fit(&series, house.days[0], &drift_suction, 0.95, &alone), TREND_OK);
    series.common = common;
    ck_assert_int_eq(drift_fit(&series, house.days[0], &drift_suction, 0.95, &among), TREND_OK);
    ck_assert_uint_eq(among.n, 269);
    ck_assert_double_lt(among.upper - among.lower, 0.8 * (alone.upper - alone.lower));
    ck_assert(among.lower < -0.12 * 100.0 && -0.12 * 100.0 < among.upper);
    ck_assert(drift_may_fall(&series));
}
END_TEST

/* A line without noise is found with its slope and level, whatever the unit. */
START_TEST(a_straight_fall_has_its_slope) {
    struct house house = {.noise = 0.0005, .r1 = 0.0, .per_year = 0.0};
    struct test_random random = {.state = 9};
    struct trend trend;
    fill(&house, &random);
    for (int i = 0; i < DAYS; i++)
        house.values[i] *= 1e-3 * exp(-0.08 * i / YEAR);
    const struct trend_series series = first_days(&house, DAYS);
    ck_assert_int_eq(drift_fit(&series, house.days[0], &drift_suction, 0.95, &trend), TREND_OK);
    double level = 0.1 * exp(-0.08 * (DAYS - 4) / YEAR);
    ck_assert_double_eq_tol(trend.level, level, 0.01 * level);
    ck_assert_double_eq_tol(trend.per_year, -0.08 * level, 0.015 * level);
    ck_assert_int_eq(trend.method, TREND_DRIFT);
    ck_assert_uint_eq(trend.n, DAYS);
    ck_assert(trend.lower < trend.per_year && trend.per_year < trend.upper);
}
END_TEST

START_TEST(what_cannot_be_fitted_says_so) {
    struct house house = {.noise = 0.01, .r1 = 0.5};
    struct test_random random = {.state = 4};
    struct trend trend = {.n = 77};
    fill(&house, &random);
    struct trend_series series = first_days(&house, TREND_LEAST_DAYS - 1);
    ck_assert_int_eq(drift_fit(&series, 0.0, &drift_suction, 0.95, &trend), TREND_TOO_SHORT);
    series.n = 100;
    ck_assert_int_eq(drift_fit(&series, 0.0, &drift_suction, 1.0, &trend), TREND_OUT_OF_RANGE);
    house.values[50] = 0.0;
    ck_assert_int_eq(drift_fit(&series, 0.0, &drift_suction, 0.95, &trend), TREND_OUT_OF_RANGE);
    house.values[50] = INFINITY;
    ck_assert_int_eq(drift_fit(&series, 0.0, &drift_suction, 0.95, &trend), TREND_NOT_FINITE);
    ck_assert_uint_eq(trend.n, 77);
    series.n = 0;
    ck_assert(!drift_may_fall(&series));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("drift");
    tcase_set_timeout(tcase, 300);
    tcase_add_loop_test(tcase, what_comes_and_goes_is_no_fall, 0,
                        (int)(sizeof nothing / sizeof nothing[0]));
    tcase_add_loop_test(tcase, a_lasting_fall_is_told, 0, (int)(sizeof falls / sizeof falls[0]));
    tcase_add_loop_test(tcase, the_interval_holds_the_slope, 0, 4);
    tcase_add_test(tcase, neighbours_make_it_surer);
    tcase_add_test(tcase, a_straight_fall_has_its_slope);
    tcase_add_test(tcase, what_cannot_be_fitted_says_so);
    return run_test_case(tcase);
}
