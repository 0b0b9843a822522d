/* neighbours: regions of made-up houses whose common change is known. */
#include "monitor/neighbours.h"
#include "small_fleet.h"

#include <math.h>

enum { DAYS = 1200, HOUSES = 90 };
static const int64_t first_day = 19000;
static const double pi = 3.14159265358979323846;

struct world {
    struct fleet *fleet;
    struct neighbours *neighbours;
    struct history history;
    double values[HOUSES][DAYS]; /* of the one point of each house; NaN: none */
    bool fails;
    size_t asked;
};
static struct world world;

static size_t days_of(void *context, size_t point, int64_t from_day, int64_t to_day,
                      struct history_day *days, size_t capacity) {
    size_t n = 0;
    (void)context;
    world.asked++;
    if (world.fails)
        return HISTORY_FAILED;
    for (int64_t d = from_day; d < to_day && n < capacity; d++) {
        if (d < first_day || d >= first_day + DAYS)
            continue;
        double value = world.values[point][d - first_day];
        if (!isnan(value))
            days[n++] = (struct history_day){.local_day = d, .median = value, .mean = value};
    }
    return n;
}

/* Half of `houses` in the region north, the others in south; or all without a region. */
static void open_world(size_t houses, const char *quantity, bool with_region) {
    char *texts[HOUSES];
    for (size_t h = 0; h < houses; h++) {
        texts[h] = malloc(400);
        snprintf(texts[h], 400,
                 "id: house-%zu\ntime_zone: %s\n%spoints:\n"
                 "  - {id: p, quantity: %s, unit: %s, every: 1 h}\n",
                 h, with_region || h % 2 ? "America/Denver" : "America/Chicago",
                 with_region ? (h % 2 ? "region: south\n" : "region: north\n") : "", quantity,
                 strcmp(quantity, "radon") == 0 ? "Bq/m3" : "Pa");
    }
    world.fleet = small_fleet(NULL, (const char *const *)texts, houses);
    for (size_t h = 0; h < houses; h++)
        free(texts[h]);
    world.neighbours = neighbours_create(world.fleet);
    ck_assert_ptr_nonnull(world.neighbours);
    world.history = (struct history){NULL, NULL, days_of, NULL};
    world.fails = false;
    world.asked = 0;
}

static void close_world(void) {
    neighbours_destroy(world.neighbours);
    fleet_destroy(world.fleet);
}

static double wave(int64_t day) {
    return 0.12 * sin(2.0 * pi * (double)day / 365.2425);
}

/* North has a season; south a flood from day 500 on. */
static double common_of(size_t house, int64_t day) {
    return house % 2 == 0 ? wave(day) : day >= 500 ? 0.3 : 0.0;
}

static void fill(size_t houses, double per_year) {
    struct test_random random = {test_seed()};
    for (size_t h = 0; h < houses; h++) {
        for (int64_t d = 0; d < DAYS; d++)
            world.values[h][d] = 100.0 * (1.0 + (double)h / 50.0) *
                                 exp(common_of(h, d) + per_year * (double)d / 365.2425 +
                                     0.02 * test_random_normal(&random));
    }
}

static void bring(size_t system, int64_t day) {
    enum neighbours_progress progress = NEIGHBOURS_MORE;
    while (progress == NEIGHBOURS_MORE) {
        size_t before = world.asked;
        progress = neighbours_advance(world.neighbours, &world.history, system, first_day + day);
        ck_assert_uint_le(world.asked - before, 1);
    }
    ck_assert_int_eq(progress, NEIGHBOURS_READY);
}

static double on(size_t point, int64_t day) {
    return neighbours_on(world.neighbours, point, first_day + day).change;
}

/* ---- tables ---- */

START_TEST(regions_are_apart) {
    open_world(24, "suction", true);
    fill(24, 0.0);
    bring(0, 700);
    bring(1, 700);
    ck_assert_double_eq_tol(on(0, 456) - on(0, 274), wave(456) - wave(274), 0.06);
    ck_assert_double_eq_tol(on(1, 690) - on(1, 480), 0.3, 0.06);
    ck_assert_double_eq(on(0, 600), on(22, 600));
    ck_assert_uint_eq(neighbours_on(world.neighbours, 0, first_day + 600).houses, 12);
    ck_assert(isnan(on(0, 700)) && isnan(on(0, -1)) && isnan(on(0, 10)));
    const char *region = NULL;
    ck_assert_uint_eq(neighbours_systems(world.neighbours, 3, &region), 12);
    ck_assert_str_eq(region, "south");
    close_world();
}
END_TEST

START_TEST(without_a_region_the_time_zone_is_one) {
    const char *region = NULL;
    open_world(24, "suction", false);
    fill(24, 0.0);
    bring(0, 400);
    ck_assert_uint_eq(neighbours_systems(world.neighbours, 0, &region), 12);
    ck_assert_str_eq(region, "America/Chicago");
    ck_assert(isfinite(on(0, 300)) && isnan(on(1, 300)));
    close_world();
}
END_TEST

START_TEST(seven_houses_have_no_table) {
    open_world(14, "suction", true);
    fill(14, 0.0);
    bring(0, 400);
    ck_assert_uint_eq(world.asked, 0);
    ck_assert(isnan(on(0, 300)));
    close_world();
}
END_TEST

START_TEST(of_many_houses_some_are_asked) {
    open_world(HOUSES, "suction", false);
    for (size_t h = 0; h < HOUSES; h++) {
        ck_assert_uint_eq(world.fleet->points[h].system, h);
        for (int64_t d = 0; d < DAYS; d++)
            world.values[h][d] = 100.0;
    }
    bring(0, 400);
    ck_assert_uint_le(neighbours_on(world.neighbours, 0, first_day + 300).houses,
                      COMMON_CHANGE_MOST);
    close_world();
}
END_TEST

/* Day by day, all at once, and anew: the same; a failed history is a pause. */
START_TEST(however_it_is_brought_it_is_the_same) {
    double before[DAYS];
    open_world(24, "suction", true);
    fill(24, 0.0);
    bring(0, 900);
    for (int64_t d = 0; d < 900; d++)
        before[d] = on(0, d);
    neighbours_forget(world.neighbours);
    ck_assert(isnan(on(0, 600)));
    world.fails = true;
    ck_assert_int_eq(neighbours_advance(world.neighbours, &world.history, 0, first_day),
                     NEIGHBOURS_FAILED);
    world.fails = false;
    for (int64_t d = 0; d <= 900; d++)
        bring(0, d);
    for (int64_t d = 0; d < 900; d++)
        ck_assert(isnan(before[d]) ? isnan(on(0, d)) : before[d] == on(0, d));
    close_world();
}
END_TEST

/* A table keeps four years; a house that comes after a longer pause begins it anew. */
START_TEST(the_oldest_days_make_room) {
    open_world(16, "suction", true);
    fill(16, 0.0);
    bring(0, 100);
    bring(0, DAYS);
    ck_assert(isfinite(on(0, 100)));
    bring(0, 100 + NEIGHBOURS_DAYS);
    ck_assert(isnan(on(0, 99)) && isfinite(on(0, 100)));
    bring(0, 100 + 5 * NEIGHBOURS_DAYS);
    ck_assert(isnan(on(0, DAYS - 1)));
    close_world();
}
END_TEST

/* ---- what a series shares ---- */

struct series {
    double days[DAYS], values[DAYS], shared[DAYS];
    size_t n;
};
static struct series series;

static struct neighbours_part share(size_t point, int64_t from_day, int64_t to_day) {
    struct neighbours_part part;
    series.n = 0;
    for (int64_t d = from_day; d < to_day; d++) {
        series.days[series.n] = (double)(first_day + d) + 0.5;
        series.values[series.n++] = world.values[point][d];
    }
    ck_assert(neighbours_share(world.neighbours, point, series.days, series.values, series.n,
                               series.shared, &part));
    return part;
}

/* Slope of the logarithms of what is left, per year. */
static double slope_left(void) {
    double x = 0.0, y = 0.0, xx = 0.0, xy = 0.0, n = 0.0;
    for (size_t i = 0; i < series.n; i++) {
        if (isnan(series.shared[i]))
            continue;
        double day = (series.days[i] - series.days[0]) / 365.2425;
        double left = log(series.values[i]) - series.shared[i];
        x += day;
        y += left;
        xx += day * day;
        xy += day * left;
        n += 1.0;
    }
    return (n * xy - x * y) / (n * xx - x * x);
}

/* Within half a year the region's slope reaches -0.6 a year; a factor that is unsure by a tenth or
   two leaves so much of it. */
START_TEST(wear_is_its_own_and_the_season_is_not) {
    open_world(24, "suction", true);
    fill(24, 0.0);
    for (int64_t d = 0; d < DAYS; d++) {
        world.values[2][d] *= exp(-0.3 * (double)d / 365.2425);
        world.values[8][d] *= exp(-0.3 * (double)d / 365.2425 + 0.5 * wave(d)); /* follows more */
        world.values[4][d] *= exp(-wave(d));                                    /* not at all */
    }
    bring(0, 800);
    struct neighbours_part part = share(2, 425, 605);
    ck_assert(part.known);
    ck_assert_uint_eq(part.houses, 12);
    ck_assert_double_eq_tol(slope_left(), -0.3, 0.15);
    share(8, 405, 765);
    ck_assert_double_eq_tol(slope_left(), -0.3, 0.12);
    share(4, 405, 765);
    ck_assert_double_eq_tol(slope_left(), 0.0, 0.12);
    part = share(6, 425, 605);
    ck_assert_double_eq_tol(slope_left(), 0.0, 0.15);
    ck_assert_double_eq_tol(part.response.factor, 1.0, 0.3);
    close_world();
}
END_TEST

START_TEST(what_is_unknown_is_left_alone) {
    open_world(24, "suction", true);
    fill(24, 0.0);
    bring(0, 600);
    struct neighbours_part part = share(0, 500, 700);
    ck_assert(!part.known);
    for (size_t i = 0; i < series.n; i++)
        ck_assert(isnan(series.shared[i]));
    part = share(0, 440, 610); /* ten of 170 days are not known yet */
    ck_assert(part.known);
    ck_assert(isfinite(series.shared[0]) && isnan(series.shared[series.n - 1]));
    ck_assert(!share(0, 440, 460).known);
    close_world();
}
END_TEST

/* All lose 12 % a year: within the first year nothing tells it from weather; then it does. Radon
   may differ from year to year for all. */
START_TEST(what_all_lose_year_after_year_is_no_weather) {
    open_world(24, "suction", true);
    fill(24, -0.12);
    bring(0, 300);
    ck_assert(!share(0, 60, 300).known);
    bring(0, 700);
    ck_assert(share(0, 340, 700).known);
    ck_assert_double_eq_tol(slope_left(), -0.12, 0.03);
    close_world();
    open_world(24, "radon", true);
    fill(24, -0.12);
    bring(0, 700);
    share(0, 340, 700);
    ck_assert_double_eq_tol(slope_left(), 0.0, 0.03);
    close_world();
}
END_TEST

START_TEST(then_and_now_are_compared) {
    struct neighbours_comparison found;
    open_world(24, "suction", true);
    fill(24, 0.0);
    bring(1, 620);
    ck_assert(neighbours_compare(world.neighbours, &world.history, 3, first_day + 400,
                                 first_day + 620, world.values[3][400] * exp(0.3), &found));
    ck_assert_int_eq(found.days, 220);
    ck_assert_uint_eq(found.houses, 12);
    ck_assert_double_eq_tol(found.own, 0.3, 0.12);
    ck_assert_double_eq_tol(found.theirs, 0.3, 0.03);
    ck_assert_double_lt(found.uncertainty, 0.03);
    ck_assert(!neighbours_compare(world.neighbours, &world.history, 3, first_day + 610,
                                  first_day + 620, 100.0, &found));
    ck_assert(!neighbours_compare(world.neighbours, &world.history, 3, first_day + 400,
                                  first_day + 620, 0.0, &found));
    ck_assert(!neighbours_compare(world.neighbours, &world.history, 2, first_day + 400,
                                  first_day + 620, 100.0, &found));
    close_world();
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("neighbours");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, regions_are_apart);
    tcase_add_test(tcase, without_a_region_the_time_zone_is_one);
    tcase_add_test(tcase, seven_houses_have_no_table);
    tcase_add_test(tcase, of_many_houses_some_are_asked);
    tcase_add_test(tcase, however_it_is_brought_it_is_the_same);
    tcase_add_test(tcase, the_oldest_days_make_room);
    tcase_add_test(tcase, wear_is_its_own_and_the_season_is_not);
    tcase_add_test(tcase, what_is_unknown_is_left_alone);
    tcase_add_test(tcase, what_all_lose_year_after_year_is_no_weather);
    tcase_add_test(tcase, then_and_now_are_compared);
    return run_test_case(tcase);
}
