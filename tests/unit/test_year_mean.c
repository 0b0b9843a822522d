/*
 * year_mean: exact cases, and how often the interval holds the year, counted on made-up houses with
 * a seed that is printed.
 */
#include "analysis/year_mean.h"
#include "measure/timestamp.h"
#include "test_support.h"

#include <math.h>
#include <stdio.h>

#define TWO_PI 6.283185307179586
enum { YEAR = 365, LONG = 548 };
static const int64_t first_day = 20437; /* 2025-12-15 */
static const struct year_mean_settings usual = {0.10, 6.0, 148.0};

/* exp of a yearly wave, its highest on 14 January, winter over summer as given; mean 1. */
static double season_at(int64_t day, double ratio, double turned) {
    double amplitude = 0.5 * log(ratio), wave = TWO_PI * ((double)(day - first_day - 30) + turned);
    /* the mean of exp(a cos) is the Bessel function I0(a) */
    double mean = 1.0 + pow(amplitude, 2) / 4.0 + pow(amplitude, 4) / 64.0;
    return exp(amplitude * cos(wave / 365.0)) / mean;
}

/* n days from one on. */
static void seasons_from(struct year_mean_day *days, int64_t from, size_t n, double level,
                         double ratio) {
    for (size_t i = 0; i < n; i++) {
        int64_t day = from + (int64_t)i;
        days[i] = (struct year_mean_day){day, level * season_at(day, ratio, 0.0)};
    }
}

static void seasons(struct year_mean_day *days, size_t n, double level, double ratio) {
    seasons_from(days, first_day, n, level, ratio);
}

START_TEST(a_whole_year_is_as_good_as_its_monitor) {
    struct year_mean_day days[YEAR];
    struct year_mean year;
    seasons(days, YEAR, 100.0, 1.8);
    ck_assert_int_eq(year_mean_assess(days, YEAR, &usual, &year), YEAR_MEAN_OK);
    ck_assert_double_eq_tol(year.mean, 100.0, 0.5);
    ck_assert_int_eq(year.quarters_covered, 4);
    ck_assert_double_eq(year.known_share, 1.0);
    /* JCGM 100:2008 5.1.2: 10 % of 100 and 6 are 11.66; 1.96 of them to both sides, a little more
       above than below. */
    ck_assert_double_eq_tol(0.5 * (year.upper - year.lower), 1.96 * 11.66, 0.3);
    ck_assert_double_lt(year.mean - year.lower, year.upper - year.mean);
    ck_assert_double_lt(year.probability_at_or_above, 0.01);
}
END_TEST

/* Eighteen months from the middle of October on have two winters: their plain mean is 6 to 9 % too
 * high. */
START_TEST(two_winters_count_as_one) {
    static const double ratios[] = {1.8, 2.5};
    struct year_mean_day days[LONG];
    struct year_mean year;
    for (int i = 0; i < 2; i++) {
        double plain = 0.0;
        seasons_from(days, first_day - 61, LONG, 100.0, ratios[i]);
        for (int d = 0; d < LONG; d++)
            plain += days[d].mean / LONG;
        ck_assert_double_ge(plain, 105.0);
        ck_assert_int_eq(year_mean_assess(days, LONG, &usual, &year), YEAR_MEAN_OK);
        ck_assert_double_eq_tol(year.mean, 100.0, 1.0);
    }
}
END_TEST

/* A year without its 91 winter days reads 9 to 15 % low: it claims no fourth quarter of the
   calendar and holds the year in a wider interval. */
START_TEST(a_lacking_winter_is_in_the_interval) {
    static const double ratios[] = {1.8, 2.5};
    struct year_mean_day days[YEAR];
    struct year_mean year, whole;
    for (int i = 0; i < 2; i++) {
        seasons(days, YEAR, 100.0, ratios[i]);
        ck_assert_int_eq(year_mean_assess(days, YEAR, &usual, &whole), YEAR_MEAN_OK);
        ck_assert_int_eq(year_mean_assess(days + 91, YEAR - 91, &usual, &year), YEAR_MEAN_OK);
        ck_assert_double_lt(year.mean, 93.0);
        ck_assert_int_eq(year.quarters_covered, 3);
        ck_assert_double_gt(year.upper / year.lower, 1.1 * whole.upper / whole.lower);
        ck_assert_double_le(year.lower, 100.0);
        ck_assert_double_ge(year.upper, 100.0);
    }
}
END_TEST

/* A winter of 91 days, as a year of 3.0 to 3.8 pCi/L may have it, is no year above 4.0. */
START_TEST(a_winter_is_no_year) {
    static const double ratios[] = {1.8, 2.5}, years[] = {3.0, 3.4, 3.8};
    struct year_mean_day days[YEAR];
    struct year_mean year;
    for (int i = 0; i < 6; i++) {
        double truth = 37.0 * years[i / 2];
        seasons(days, 91, truth, ratios[i % 2]);
        ck_assert_int_eq(year_mean_assess(days, 91, &usual, &year), YEAR_MEAN_OK);
        /* A winter reads 1.28 to 1.41 times the year. */
        ck_assert_double_ge(year.mean, 1.22 * truth);
        ck_assert_double_lt(year.probability_at_or_above, 0.90);
        ck_assert_double_le(year.lower, truth);
        /* Nor does a summer's mean of 3.0 exclude a year of 4.0. */
        for (size_t d = 0; d < 91; d++)
            days[d].mean = 3.0 * 37.0;
        ck_assert_int_eq(year_mean_assess(days, 91, &usual, &year), YEAR_MEAN_OK);
        ck_assert_double_gt(year.probability_at_or_above, 0.10);
    }
}
END_TEST

/* Published: what six months read is to be multiplied by up to 1.35, what three read by up to 1.56
   (Pinel et al., Radiat. Prot. Dosim. 58 (1995) 127). A monitor without error claims no less, and
   not much more. */
START_TEST(months_that_lack_are_as_uncertain_as_published) {
    static const struct year_mean_settings perfect = {0.0, 0.0, 148.0};
    static const int64_t january = 20454; /* 2026-01-01 */
    static const int known_days[] = {181, 90};
    static const double published[] = {1.35, 1.56};
    struct year_mean_day days[YEAR];
    struct year_mean year;
    for (int i = 0; i < 2; i++) {
        for (int d = 0; d < known_days[i]; d++)
            days[d] = (struct year_mean_day){january + d, 100.0};
        ck_assert_int_eq(year_mean_assess(days, (size_t)known_days[i], &perfect, &year),
                         YEAR_MEAN_OK);
        double relative = log(year.upper / year.mean);
        ck_assert_double_ge(relative, log(published[i]));
        ck_assert_double_le(relative, 1.25 * log(published[i]));
        ck_assert_int_eq(year.quarters_covered, i == 0 ? 2 : 1);
    }
}
END_TEST

/* January and July say more of a year than January and February. */
START_TEST(months_far_apart_say_more_than_neighbours) {
    static const struct year_mean_settings perfect = {0.0, 0.0, 148.0};
    static const int64_t january = 20454;
    struct year_mean_day days[62];
    struct year_mean neighbours, apart;
    for (int d = 0; d < 62; d++)
        days[d] = (struct year_mean_day){january + d, 100.0 + d % 2};
    ck_assert_int_eq(year_mean_assess(days, 59, &perfect, &neighbours), YEAR_MEAN_OK);
    for (int d = 31; d < 62; d++)
        days[d].local_day = january + 150 + d; /* July */
    ck_assert_int_eq(year_mean_assess(days, 62, &perfect, &apart), YEAR_MEAN_OK);
    ck_assert_double_lt(log(apart.upper / apart.lower),
                        0.6 * log(neighbours.upper / neighbours.lower));
}
END_TEST

/* Where the background rules nothing is claimed to a tenth: 0.5 pCi/L is 18.5 Bq/m3. */
START_TEST(low_levels_are_uncertain_by_the_background) {
    struct year_mean_day days[YEAR];
    struct year_mean year;
    seasons(days, YEAR, 18.5, 1.0);
    ck_assert_int_eq(year_mean_assess(days, YEAR, &usual, &year), YEAR_MEAN_OK);
    ck_assert_double_ge(year.upper - year.lower, 2.0 * 1.96 * 6.0);
    ck_assert_double_ge(year.lower, 0.0);
    seasons(days, YEAR, 3.0, 1.0);
    ck_assert_int_eq(year_mean_assess(days, YEAR, &usual, &year), YEAR_MEAN_OK);
    ck_assert_double_eq(year.lower, 0.0);
}
END_TEST

/* What the days of a year may be made of; logarithms, standard deviations. */
struct kind_of_house {
    const char *name;
    double least_ratio, most_ratio; /* winter over summer, all alike in between */
    double turned_days;             /* spread of the date of the highest day; 365: any day */
    double second;                  /* amplitude of the second harmonic, of the first */
    double days, slow;              /* what changes within a week, and within slow_days */
    double slow_days;
};
static const struct kind_of_house kinds[] = {
    {"season of any size and date", 1.0, 2.5, 365.0, 0.0, 0.35, 0.0, 30.0},
    /* usual of most houses, common practice */
    {"high in winter", 1.8, 2.5, 30.0, 0.0, 0.35, 0.0, 30.0},
    /* corrections as published, Pinel et al. 1995: 1.8 to 3.2, amplitude 0.3 to 0.6 */
    {"strong season", 1.8, 3.2, 40.0, 0.0, 0.3, 0.12, 60.0},
    /* a wave explains 21.2 % of weekly values, its harmonic as well 24.6 %: Brixworth */
    {"much weather", 1.5, 1.8, 25.0, 0.4, 0.32, 0.25, 21.0},
    /* years differ: Steck */
    {"years that differ", 1.2, 2.2, 40.0, 0.0, 0.3, 0.25, 200.0},
};
enum { KINDS = sizeof kinds / sizeof kinds[0] };

static double between(struct test_random *random, double low, double high) {
    return low + (high - low) * test_random_unit(random);
}

/* One step of red noise of variance 1. */
static double next_red(struct test_random *random, double value, double days) {
    double keep = exp(-1.0 / days);
    return keep * value + sqrt(1.0 - keep * keep) * test_random_normal(random);
}

/* A house of a kind from any day of a year on, seen by a monitor that is as good as it claims. */
static bool held(struct test_random *random, const struct kind_of_house *kind, size_t n) {
    struct year_mean_day days[YEAR];
    struct year_mean year;
    double level = between(random, 30.0, 200.0), weather = test_random_normal(random);
    double slow = test_random_normal(random), truth = 0.0;
    double ratio = between(random, kind->least_ratio, kind->most_ratio);
    double turned = kind->turned_days * (kind->turned_days < 365.0 ? test_random_normal(random)
                                                                   : test_random_unit(random));
    double second = kind->second * 0.5 * log(ratio), at = TWO_PI * test_random_unit(random);
    double factor = 1.0 + usual.relative * test_random_normal(random);
    double background = usual.absolute * test_random_normal(random);
    int64_t from = first_day + (int64_t)between(random, 0.0, 365.0);
    for (int d = 0; d < YEAR; d++) {
        double room = level * season_at(from + d, ratio, turned) *
                      exp(kind->days * weather + kind->slow * slow +
                          second * cos(2.0 * TWO_PI * (double)(from + d) / 365.0 + at));
        truth += room / YEAR;
        days[d] = (struct year_mean_day){from + d, factor * room + background};
        weather = next_red(random, weather, 6.0);
        slow = next_red(random, slow, kind->slow_days);
    }
    return year_mean_assess(days, n, &usual, &year) == YEAR_MEAN_OK && year.lower <= truth &&
           truth <= year.upper;
}

/* What a share of so many may come to by chance: three standard deviations of the binomial. */
static double by_chance(int count, double share) {
    return 3.0 * sqrt((double)count * share * (1.0 - share));
}

/* Asked for: 93 to 97 of 100 over kinds; no kind is far off. */
START_TEST(the_interval_holds_the_year) {
    enum { HOUSES = 2000 };
    static const size_t known[] = {91, 122, 152, 182, 213, 243, 274, 300, 365};
    const size_t n = known[_i];
    struct test_random random = {test_seed() + (uint64_t)_i};
    int all = 0;
    for (int k = 0; k < KINDS; k++) {
        int count = 0;
        for (int h = 0; h < HOUSES; h++)
            count += held(&random, &kinds[k], n);
        printf("%zu days known, %s: %d of %d intervals hold the year\n", n, kinds[k].name, count,
               HOUSES);
        ck_assert_double_ge(count, HOUSES * 0.92 - by_chance(HOUSES, 0.92));
        ck_assert_double_le(count, HOUSES * 0.99 + by_chance(HOUSES, 0.99));
        all += count;
    }
    ck_assert_double_ge(all, KINDS * HOUSES * 0.93 - by_chance(KINDS * HOUSES, 0.93));
    ck_assert_double_le(all, KINDS * HOUSES * 0.97 + by_chance(KINDS * HOUSES, 0.97));
}
END_TEST

START_TEST(what_can_not_be_told_says_why) {
    struct year_mean_day days[YEAR];
    struct year_mean year = {.mean = -7.0};
    seasons(days, YEAR, 100.0, 1.8);
    ck_assert_int_eq(year_mean_assess(days, 13, &usual, &year), YEAR_MEAN_TOO_FEW);
    ck_assert_int_eq(year_mean_assess(NULL, 0, &usual, &year), YEAR_MEAN_TOO_FEW);
    days[20].mean = NAN;
    ck_assert_int_eq(year_mean_assess(days, YEAR, &usual, &year), YEAR_MEAN_NOT_FINITE);
    seasons(days, YEAR, 100.0, 1.8);
    days[20].local_day = days[19].local_day;
    ck_assert_int_eq(year_mean_assess(days, YEAR, &usual, &year), YEAR_MEAN_OUT_OF_ORDER);
    seasons(days, YEAR, 0.0, 1.8);
    ck_assert_int_eq(year_mean_assess(days, YEAR, &usual, &year), YEAR_MEAN_OUT_OF_RANGE);
    const struct year_mean_settings wrong = {-0.1, 6.0, 148.0};
    seasons(days, YEAR, 100.0, 1.8);
    ck_assert_int_eq(year_mean_assess(days, YEAR, &wrong, &year), YEAR_MEAN_OUT_OF_RANGE);
    ck_assert_double_eq(year.mean, -7.0); /* untouched */
    for (int status = YEAR_MEAN_OK; status <= YEAR_MEAN_NO_MEMORY; status++)
        ck_assert_str_ne(year_mean_why((enum year_mean_status)status), "unknown");
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("year_mean");
    tcase_set_timeout(tcase, 300);
    tcase_add_test(tcase, a_whole_year_is_as_good_as_its_monitor);
    tcase_add_test(tcase, two_winters_count_as_one);
    tcase_add_test(tcase, a_lacking_winter_is_in_the_interval);
    tcase_add_test(tcase, a_winter_is_no_year);
    tcase_add_test(tcase, months_that_lack_are_as_uncertain_as_published);
    tcase_add_test(tcase, low_levels_are_uncertain_by_the_background);
    tcase_add_test(tcase, months_far_apart_say_more_than_neighbours);
    tcase_add_loop_test(tcase, the_interval_holds_the_year, 0, 9);
    tcase_add_test(tcase, what_can_not_be_told_says_why);
    return run_test_case(tcase);
}
