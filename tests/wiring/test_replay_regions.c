/*
 * Ten houses of a region in a wet month: suction of all falls by a quarter, of one by more. With
 * regions compared the replay knows what they have in common, and its alarms say so. And ten houses
 * whose radon is high for some weeks, and in one of them later on its own.
 */
#include "measure/duration.h"
#include "small_fleet.h"
#include "tool/replay.h"

#include <math.h>

enum { HOUSES = 10, WET = 60 };
#define START INT64_C(1767225600000) /* 2026-01-01T00:00:00Z */
static const int64_t first_day = 20454;

struct story {
    const char *point; /* its quantity too */
    const char *unit;
    double baseline;
    int64_t days;
    double (*value)(size_t house, double day);
};

/* Within thirty days; house 3 loses another 15 % of its own. */
static double suction_at(size_t house, double day) {
    double part = fmin(fmax((day - WET) / 30.0, 0.0), 1.0);
    return 200.0 * exp(part * (log(0.75) + (house == 3 ? log(0.85) : 0.0)));
}

/* Five weeks of four times the usual for all; house 4 then 3.5 times from day 195 on. */
static double radon_at(size_t house, double day) {
    double common = day >= 140.0 && day < 175.0 ? 4.0 : 1.0;
    return 100.0 * common * (house == 4 && day >= 195.0 ? 3.5 : 1.0);
}

static const struct story wet_month = {"suction", "Pa", 200.0, 100, suction_at};
static const struct story rises = {"radon", "Bq/m3", 100.0, 245, radon_at};

static struct fleet *make_fleet(const struct story *story) {
    char texts[HOUSES][300];
    const char *systems[HOUSES];
    for (size_t h = 0; h < HOUSES; h++) {
        snprintf(texts[h], sizeof texts[h],
                 "id: house-%zu\nregion: quillmere\ntime_zone: Etc/UTC\npoints:\n"
                 "  - {id: %s, quantity: %s, unit: %s, every: 1 h}\n",
                 h, story->point, story->point, story->unit);
        systems[h] = texts[h];
    }
    return small_fleet(NULL, systems, HOUSES);
}

static struct replay *run(const struct story *story, struct fleet *fleet, bool compares) {
    const struct replay_listener listener = {.context = NULL};
    struct replay *replay = replay_create(fleet, &listener);
    ck_assert_ptr_nonnull(replay);
    if (compares)
        replay_compare_regions(replay);
    struct commissioning_value value = {(char *)story->point, story->baseline};
    const struct commissioning record = {.from_ms = START,
                                         .by = (char *)"the installer",
                                         .next_calibration_ms = TIMESTAMP_NONE,
                                         .radon_before_bq_m3 = NAN,
                                         .radon_after_bq_m3 = NAN,
                                         .ground_exponent = NAN,
                                         .values = &value,
                                         .value_count = 1};
    struct test_random random = {7};
    for (size_t h = 0; h < HOUSES; h++) {
        ck_assert(replay_commission(replay, h, &record));
        for (int64_t hour = 1; hour < 24 * story->days; hour++)
            ck_assert(replay_add(
                replay, fleet->systems[h].first_point, START + hour * DURATION_HOUR_MS,
                story->value(h, (double)hour / 24.0) * exp(0.05 * test_random_normal(&random)), 1));
    }
    ck_assert(replay_run(replay));
    return replay;
}

static size_t count_raised(const struct replay *replay, enum condition condition, size_t system) {
    size_t count = 0, found = 0;
    const struct replay_alarm *alarms = replay_alarms(replay, &count);
    for (size_t i = 0; i < count; i++)
        found += alarms[i].condition == condition && alarms[i].system == system;
    return found;
}

static const char *details_of(struct replay *replay, size_t system) {
    struct alarm_book *book = monitor_alarms(replay_monitor(replay));
    const struct alarm *alarm = alarm_book_of_system(book, system);
    while (alarm && alarm->condition != CONDITION_SUCTION_LOW)
        alarm = alarm->next_of_system;
    ck_assert_ptr_nonnull(alarm);
    ck_assert_ptr_nonnull(alarm->details);
    return alarm->details;
}

START_TEST(compared_houses_have_neighbours) {
    struct fleet *fleet = make_fleet(&wet_month);
    struct replay *replay = run(&wet_month, fleet, true);
    const struct neighbours *neighbours = monitor_neighbours(replay_monitor(replay));
    double before = neighbours_on(neighbours, 0, first_day + WET - 5).change;
    double after = neighbours_on(neighbours, 0, first_day + WET + 32).change;
    ck_assert_double_eq_tol(after - before, log(0.75), 0.01);
    ck_assert_ptr_nonnull(strstr(details_of(replay, 3), "\"says\":\"shared-fall\""));
    ck_assert_ptr_nonnull(strstr(details_of(replay, 3), "\"name\":\"quillmere\""));
    replay_destroy(replay);
    fleet_destroy(fleet);
}
END_TEST

START_TEST(houses_apart_have_none) {
    struct fleet *fleet = make_fleet(&wet_month);
    struct replay *replay = run(&wet_month, fleet, false);
    const struct neighbours *neighbours = monitor_neighbours(replay_monitor(replay));
    ck_assert(isnan(neighbours_on(neighbours, 0, first_day + WET).change));
    ck_assert_ptr_null(strstr(details_of(replay, 3), "neighbours"));
    replay_destroy(replay);
    fleet_destroy(fleet);
}
END_TEST

/* Compared, the weeks that all had are no news, and the house that rose alone is. */
START_TEST(a_rise_that_all_had_is_no_news) {
    struct fleet *fleet = make_fleet(&rises);
    struct replay *apart = run(&rises, fleet, false), *compared = run(&rises, fleet, true);
    for (size_t h = 0; h < HOUSES; h++) {
        ck_assert_uint_ge(count_raised(apart, CONDITION_RADON_RISING, h), 1);
        ck_assert_uint_eq(count_raised(compared, CONDITION_RADON_RISING, h), (h == 4 ? 1U : 0U));
    }
    replay_destroy(apart);
    replay_destroy(compared);
    fleet_destroy(fleet);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("replay_regions");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, compared_houses_have_neighbours);
    tcase_add_test(tcase, houses_apart_have_none);
    tcase_add_test(tcase, a_rise_that_all_had_is_no_news);
    return run_test_case(tcase);
}
