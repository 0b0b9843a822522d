/*
 * The past of a point from the store and from the memory of a replay must be the same, whatever
 * order the readings came in, on days of 23, 24 and 25 hours; and how far days have been judged
 * must survive a restart.
 */
#include "measure/duration.h"
#include "monitor/history_memory.h"
#include "pipeline/pipeline.h"
#include "pipeline/stored_history.h"
#include "small_fleet.h"
#include "store_support.h"
#include "upkeep/daily_upkeep.h"
#include "upkeep/upkeep.h"

#include <math.h>

static const char house[] = "id: house\ntime_zone: America/Denver\npoints:\n"
                            "  - {id: suction, quantity: suction, unit: Pa, every: 10 min}\n"
                            "  - {id: radon, quantity: radon, unit: Bq/m3, every: 1 h}\n";

/* The time of a turn, as the daemon sees it: as it is, or so much later at each look. */
int64_t __real_clock_monotonic_ms(void);
int64_t __wrap_clock_monotonic_ms(void);
static int64_t later_ms, later_each_look_ms;

int64_t __wrap_clock_monotonic_ms(void) {
    later_ms += later_each_look_ms;
    return __real_clock_monotonic_ms() + later_ms;
}

struct world {
    const char *folder, *path;
    struct fleet *fleet;
    struct store *store;
    struct pipeline *pipeline;
    struct upkeep *upkeep;
};

static void open_pipeline(struct world *world, int64_t now_ms) {
    char why[200] = "";
    world->store = store_test_open(world->path, NULL);
    world->pipeline = pipeline_open(world->fleet, world->store, now_ms, why, sizeof why);
    ck_assert_msg(world->pipeline != NULL, "%s", why);
    world->upkeep = upkeep_open(world->fleet);
    ck_assert_ptr_nonnull(world->upkeep);
}

static void open_world(struct world *world) {
    const char *const systems[] = {house};
    world->fleet = small_fleet(NULL, systems, 1);
    world->folder = store_test_folder();
    world->path = store_test_path(world->folder, "house.db");
    open_pipeline(world, 0);
}

static void close_pipeline(struct world *world) {
    pipeline_close(world->pipeline);
    upkeep_close(world->upkeep);
    store_close(world->store);
}

static void close_world(struct world *world) {
    close_pipeline(world);
    fleet_destroy(world->fleet);
    store_test_remove(world->folder);
}

static int64_t day_start(const struct world *world, int64_t day) {
    return time_zone_day_start_ms(world->fleet->systems[0].zone, day);
}

/* ---- the same answers ---- */

enum { MOST_READINGS = 6000 };

struct readings {
    struct reading items[MOST_READINGS];
    size_t count;
};

/* Irregular readings of some weeks, with holes of hours and of days. */
static void make_readings(struct readings *readings, struct test_random *random, int64_t from_ms,
                          int64_t to_ms) {
    int64_t time_ms = from_ms;
    readings->count = 0;
    while (time_ms < to_ms && readings->count < MOST_READINGS) {
        readings->items[readings->count++] =
            (struct reading){time_ms, 200.0 + 20.0 * test_random_normal(random)};
        double fate = test_random_unit(random);
        int64_t step_ms = 300000 + (int64_t)(600000.0 * test_random_unit(random));
        if (fate < 0.002)
            step_ms = (int64_t)(60.0 * DURATION_HOUR_MS * test_random_unit(random));
        else if (fate < 0.02)
            step_ms = (int64_t)(5.0 * DURATION_HOUR_MS * test_random_unit(random));
        time_ms += step_ms + 1;
    }
}

static void take(struct world *world, const struct reading *reading) {
    ck_assert_int_eq(
        pipeline_take(world->pipeline, 0, reading, SERIES_FROM_SENSOR, reading->time_ms),
        PIPELINE_NEW);
}

/* Days and hours of both must agree; asked in a transaction, days are also kept on the way. */
static void compare(struct world *world, const struct history *memory, int64_t from_day,
                    int64_t to_day) {
    enum { DAYS = 80, HOURS = 80 * 25 };
    static struct history_day days[2][DAYS];
    static struct average_bucket hours[2][HOURS];
    const struct history store = stored_history_view(pipeline_memory(world->pipeline));
    size_t count = history_days(&store, 0, from_day, to_day, days[0], DAYS);
    ck_assert_uint_eq(count, history_days(memory, 0, from_day, to_day, days[1], DAYS));
    for (size_t i = 0; i < count; i++) {
        ck_assert_int_eq(days[0][i].local_day, days[1][i].local_day);
        ck_assert_int_eq(days[0][i].start_ms, days[1][i].start_ms);
        ck_assert_int_eq(days[0][i].end_ms, days[1][i].end_ms);
        ck_assert_int_eq(days[0][i].count, days[1][i].count);
        ck_assert_int_eq(days[0][i].covered_ms, days[1][i].covered_ms);
        ck_assert_double_eq(days[0][i].median, days[1][i].median);
        ck_assert_double_eq_tol(days[0][i].mean, days[1][i].mean, 1e-9);
    }
    int64_t from_ms = day_start(world, from_day), to_ms = day_start(world, to_day);
    count = history_hours(&store, 0, from_ms, to_ms, hours[0], HOURS);
    ck_assert_uint_eq(count, history_hours(memory, 0, from_ms, to_ms, hours[1], HOURS));
    for (size_t i = 0; i < count; i++) {
        ck_assert_int_eq(hours[0][i].start_ms, hours[1][i].start_ms);
        ck_assert_int_eq(hours[0][i].covered_ms, hours[1][i].covered_ms);
        ck_assert_double_eq_tol(hours[0][i].value_ms, hours[1][i].value_ms, 1e-3);
    }
}

/* Whole weeks of readings, some held back and delivered days later. */
static void check_weeks(int64_t first_day, uint64_t seed) {
    static struct readings readings;
    static bool held[MOST_READINGS];
    struct test_random random = {seed};
    struct world world;
    open_world(&world);
    int64_t to_day = first_day + 30;
    make_readings(&readings, &random, day_start(&world, first_day) + 3600000,
                  day_start(&world, to_day) + 7200000);
    struct history_memory *memory = history_memory_create(world.fleet, 60 * 25);
    struct history view = history_memory_view(memory);
    for (size_t i = 0; i < readings.count; i++) {
        ck_assert(history_memory_add(memory, 0, &readings.items[i]));
        held[i] = i + 1 < readings.count && test_random_unit(&random) < 0.03;
        if (!held[i])
            take(&world, &readings.items[i]);
        if (i % 500 == 0) {
            ck_assert_int_eq(pipeline_settle(world.pipeline, readings.items[i].time_ms), STORE_OK);
            /* Rows are made and kept now that late readings will have to undo. */
            struct history store = stored_history_view(pipeline_memory(world.pipeline));
            struct history_day days[40];
            ck_assert(pipeline_begin(world.pipeline));
            int64_t today =
                time_zone_local_day(world.fleet->systems[0].zone, readings.items[i].time_ms);
            ck_assert_uint_ne(history_days(&store, 0, first_day, today, days, 40), HISTORY_FAILED);
        }
    }
    int64_t now_ms = readings.items[readings.count - 1].time_ms;
    ck_assert_int_eq(pipeline_settle(world.pipeline, now_ms), STORE_OK);
    for (size_t i = 0; i < readings.count; i++) {
        if (held[i])
            take(&world, &readings.items[i]);
    }
    pipeline_look_again(world.pipeline, INT64_MAX);
    ck_assert_int_eq(pipeline_settle(world.pipeline, now_ms), STORE_OK);
    compare(&world, &view, first_day - 2, to_day); /* nothing kept */
    ck_assert(pipeline_begin(world.pipeline));
    compare(&world, &view, first_day - 2, to_day); /* keeps */
    ck_assert_int_eq(pipeline_settle(world.pipeline, now_ms), STORE_OK);
    compare(&world, &view, first_day - 2, to_day); /* from what was kept */
    compare(&world, &view, first_day + 7, first_day + 8);
    int64_t newest_day = 0;
    ck_assert_int_eq(series_newest_day(world.store, pipeline_key(world.pipeline, 0), &newest_day),
                     STORE_OK);
    history_memory_destroy(memory);
    close_world(&world);
}

START_TEST(store_and_memory_agree) {
    uint64_t seed = test_seed();
    check_weeks(20000, seed);                                       /* 2024-10-04 */
    check_weeks(timestamp_days_from_civil(2026, 2, 25), seed + 1);  /* 8 March 2026 has 23 hours */
    check_weeks(timestamp_days_from_civil(2025, 10, 20), seed + 2); /* 2 November 2025 has 25 */
}
END_TEST

/* ---- the mean of a month ---- */

static void month_agrees(struct world *world, int64_t now_ms) {
    enum { HOURS = 30 * 24 + 2 };
    struct series_hour hours[HOURS];
    size_t count = 0;
    int64_t window_ms = 30 * DURATION_DAY_MS, from_ms = now_ms - window_ms;
    double value_ms = 0.0, covered_ms = 0.0;
    ck_assert_int_eq(series_hours(world->store, pipeline_key(world->pipeline, 0),
                                  rollup_hour_start(from_ms), now_ms, hours, HOURS, &count),
                     STORE_OK);
    for (size_t i = 0; i < count; i++) {
        double part = hours[i].hour_ms < from_ms
                          ? 1.0 - (double)(from_ms - hours[i].hour_ms) / (double)DURATION_HOUR_MS
                          : 1.0;
        value_ms += part * hours[i].value_ms;
        covered_ms += part * (double)hours[i].covered_ms;
    }
    struct month_mean month;
    ck_assert_int_eq(pipeline_month_mean(world->pipeline, 0, now_ms, &month), STORE_OK);
    ck_assert_double_eq_tol(month.coverage, covered_ms / (double)window_ms, 1e-9);
    if (covered_ms > 0)
        ck_assert_double_eq_tol(month.mean, value_ms / covered_ms, 1e-6);
    else
        ck_assert(isnan(month.mean));
}

/* Asked for at any time, while hours come, leave and are made anew by late readings. */
static void follow_months(struct world *world, struct test_random *random,
                          const struct readings *readings) {
    size_t held[MOST_READINGS], held_count = 0;
    for (size_t i = 0; i < readings->count; i++) {
        int64_t now_ms = readings->items[i].time_ms;
        if (test_random_unit(random) < 0.05)
            held[held_count++] = i;
        else
            take(world, &readings->items[i]);
        if (test_random_unit(random) < 0.05) {
            ck_assert_int_eq(pipeline_settle(world->pipeline, now_ms), STORE_OK);
            month_agrees(world, now_ms);
            month_agrees(world, now_ms + 1800000);
        }
        if (test_random_unit(random) > 0.005)
            continue;
        while (held_count > 0)
            take(world, &readings->items[held[--held_count]]);
        pipeline_look_again(world->pipeline, INT64_MAX);
        ck_assert_int_eq(pipeline_settle(world->pipeline, now_ms), STORE_OK);
        month_agrees(world, now_ms);
    }
}

START_TEST(the_mean_of_a_month_is_that_of_its_hours) {
    static struct readings readings;
    struct test_random random = {test_seed()};
    struct world world;
    open_world(&world);
    month_agrees(&world, day_start(&world, 20000));
    for (int part = 0; part < 2; part++) {
        int64_t from_day = 20000 + 45 * part;
        make_readings(&readings, &random, day_start(&world, from_day),
                      day_start(&world, from_day + 38));
        follow_months(&world, &random, &readings);
    }
    int64_t end_ms = readings.items[readings.count - 1].time_ms;
    ck_assert_int_eq(pipeline_settle(world.pipeline, end_ms), STORE_OK);
    for (int hours = 0; hours < 800; hours += 7) /* nothing comes any more */
        month_agrees(&world, end_ms + hours * DURATION_HOUR_MS + hours);
    close_world(&world);
}
END_TEST

START_TEST(days_are_as_long_as_the_clocks_say) {
    struct world world;
    open_world(&world);
    const int64_t short_day = timestamp_days_from_civil(2026, 3, 8);
    const int64_t long_day = timestamp_days_from_civil(2025, 11, 2);
    const int64_t days[] = {long_day, short_day};
    const int64_t hours[] = {25, 23};
    for (size_t d = 0; d < 2; d++) {
        int64_t start_ms = day_start(&world, days[d]);
        for (int64_t t = 0; t <= hours[d] * 6; t++) {
            const struct reading reading = {start_ms + t * 600000, 100.0 + (double)(t % 2)};
            take(&world, &reading);
        }
        ck_assert_int_eq(pipeline_settle(world.pipeline, start_ms), STORE_OK);
        struct history store = stored_history_view(pipeline_memory(world.pipeline));
        struct history_day day;
        ck_assert_uint_eq(history_days(&store, 0, days[d], days[d] + 1, &day, 1), 1);
        ck_assert_int_eq(day.covered_ms, hours[d] * DURATION_HOUR_MS);
        ck_assert_int_eq(day.count, hours[d] * 6);
        ck_assert_double_eq_tol(day.mean, 100.5, 1e-9);
    }
    close_world(&world);
}
END_TEST

START_TEST(an_unfinished_day_is_not_kept) {
    struct world world;
    int64_t day = 20400, found = 0;
    open_world(&world);
    for (int64_t t = 0; t < 100; t++) {
        const struct reading reading = {day_start(&world, day) + t * 600000, 100.0};
        take(&world, &reading);
    }
    ck_assert_int_eq(pipeline_settle(world.pipeline, day_start(&world, day)), STORE_OK);
    struct history store = stored_history_view(pipeline_memory(world.pipeline));
    struct history_day row;
    ck_assert(pipeline_begin(world.pipeline));
    ck_assert_uint_eq(history_days(&store, 0, day, day + 1, &row, 1), 1);
    int64_t key = pipeline_key(world.pipeline, 0);
    ck_assert_int_eq(series_newest_day(world.store, key, &found), STORE_NOT_FOUND);
    /* A reading past midnight ends it. */
    const struct reading next = {day_start(&world, day + 1) + 1, 100.0};
    take(&world, &next);
    ck_assert_uint_eq(history_days(&store, 0, day, day + 1, &row, 1), 1);
    ck_assert_int_eq(series_newest_day(world.store, key, &found), STORE_OK);
    ck_assert_int_eq(found, day);
    close_world(&world);
}
END_TEST

/* ---- which days are due ---- */

static void judge_all(struct world *world, int64_t now_ms) {
    for (int i = 0; i < 1000; i++) {
        bool more = daily_upkeep_step(upkeep_daily(world->upkeep), world->pipeline, now_ms);
        ck_assert_int_eq(pipeline_settle(world->pipeline, now_ms), STORE_OK);
        if (!more)
            return;
    }
    ck_abort_msg("there is no end to the days");
}

static int64_t judged(const struct world *world) {
    int64_t day = 0;
    return daily_upkeep_judged(upkeep_daily(world->upkeep), 0, &day) ? day : -1;
}

static void feed(struct world *world, size_t point, int64_t from_ms, int64_t to_ms,
                 int64_t arrival_ms) {
    int64_t every_ms = world->fleet->points[point].description->every_ms;
    for (int64_t t = from_ms; t < to_ms; t += every_ms) {
        const struct reading reading = {t, 200.0 + (double)(t / every_ms % 7)};
        ck_assert_int_eq(
            pipeline_take(world->pipeline, point, &reading, SERIES_FROM_SENSOR, arrival_ms),
            PIPELINE_NEW);
    }
    ck_assert_int_eq(pipeline_settle(world->pipeline, arrival_ms), STORE_OK);
}

START_TEST(a_day_is_judged_once_all_points_are_past_it) {
    struct world world;
    int64_t day = 20400;
    open_world(&world);
    int64_t end_ms = day_start(&world, day + 1), now_ms = end_ms + 15 * DURATION_MINUTE_MS;
    feed(&world, 0, day_start(&world, day), end_ms + 600000, now_ms);
    feed(&world, 1, day_start(&world, day), end_ms - DURATION_HOUR_MS, now_ms);
    judge_all(&world, now_ms);
    ck_assert_int_lt(judged(&world), day); /* radon of the last hour has not come */
    feed(&world, 1, end_ms - DURATION_HOUR_MS, end_ms + 1, now_ms);
    judge_all(&world, now_ms);
    ck_assert_int_eq(judged(&world), day);
    close_world(&world);
}
END_TEST

START_TEST(a_silent_point_does_not_hold_up_the_others) {
    struct world world;
    int64_t day = 20400;
    open_world(&world);
    int64_t end_ms = day_start(&world, day + 1), now_ms = end_ms + 4 * DURATION_HOUR_MS;
    feed(&world, 1, day_start(&world, day), day_start(&world, day) + 7200000, now_ms);
    feed(&world, 0, day_start(&world, day), now_ms, now_ms);
    judge_all(&world, now_ms);
    ck_assert_int_eq(judged(&world), day);
    close_world(&world);
}
END_TEST

START_TEST(the_past_waits_until_it_is_complete) {
    struct world world;
    int64_t day = 20400, now_ms = 0;
    open_world(&world);
    now_ms = day_start(&world, day + 100);
    feed(&world, 0, day_start(&world, day), day_start(&world, day + 20) + 1, now_ms);
    judge_all(&world, now_ms + 1000);
    ck_assert_int_lt(judged(&world), day); /* radon may still come */
    feed(&world, 1, day_start(&world, day), day_start(&world, day + 20) + 1, now_ms + 2000);
    judge_all(&world, now_ms + 2000);
    ck_assert_int_eq(judged(&world), day + 19);
    /* A point that never comes is waited for some seconds, not for ever. */
    feed(&world, 0, day_start(&world, day + 21), day_start(&world, day + 25) + 1, now_ms + 3000);
    judge_all(&world, now_ms + 4000);
    ck_assert_int_lt(judged(&world), day + 24);
    judge_all(&world, now_ms + 15000);
    ck_assert_int_eq(judged(&world), day + 24);
    close_world(&world);
}
END_TEST

/* Each step goes over the whole fleet: the parts of an import must not each cause one. */
START_TEST(an_import_asks_for_a_step_when_it_begins) {
    struct world world;
    open_world(&world);
    const int64_t now_ms = day_start(&world, 20500);
    upkeep_history_came(world.upkeep, now_ms);
    ck_assert(upkeep_asked(world.upkeep));
    int64_t next_ms = upkeep_step(world.upkeep, world.pipeline, now_ms, false);
    ck_assert_int_eq(pipeline_settle(world.pipeline, now_ms), STORE_OK);
    ck_assert_int_gt(next_ms, now_ms + 1000); /* and again when that is over */
    ck_assert_int_lt(next_ms, now_ms + 3000);
    upkeep_history_came(world.upkeep, now_ms + 100);
    ck_assert(!upkeep_asked(world.upkeep));
    upkeep_history_came(world.upkeep, now_ms + 60000);
    ck_assert(upkeep_asked(world.upkeep));
    close_world(&world);
}
END_TEST

START_TEST(a_restart_neither_repeats_nor_skips_a_day) {
    struct world world;
    int64_t day = 20400;
    open_world(&world);
    int64_t now_ms = day_start(&world, day + 5) + 3600000;
    for (size_t point = 0; point < 2; point++)
        feed(&world, point, day_start(&world, day), now_ms, now_ms);
    judge_all(&world, now_ms);
    ck_assert_int_eq(judged(&world), day + 4);
    close_pipeline(&world);
    open_pipeline(&world, now_ms);
    ck_assert_int_eq(judged(&world), -1);
    judge_all(&world, now_ms);
    ck_assert_int_eq(judged(&world), day + 4);
    for (size_t point = 0; point < 2; point++)
        feed(&world, point, now_ms, day_start(&world, day + 6) + 1, now_ms + DURATION_DAY_MS);
    judge_all(&world, now_ms + DURATION_DAY_MS);
    ck_assert_int_eq(judged(&world), day + 5);
    close_world(&world);
}
END_TEST

/* After a start each system's note is looked up: of a large fleet that takes more than a turn. */
START_TEST(where_all_systems_stand_is_looked_up_over_several_turns) {
    enum { SYSTEMS = 5 };
    char texts[SYSTEMS][200];
    const char *systems[SYSTEMS];
    struct world world = {.folder = store_test_folder()};
    const int64_t now_ms = 20400 * DURATION_DAY_MS;
    for (size_t s = 0; s < SYSTEMS; s++) {
        snprintf(texts[s], sizeof texts[s], "id: house-%zu\n%s", s, strchr(house, '\n') + 1);
        systems[s] = texts[s];
    }
    world.fleet = small_fleet(NULL, systems, SYSTEMS);
    world.path = store_test_path(world.folder, "houses.db");
    open_pipeline(&world, 0);
    for (size_t s = 1; s < SYSTEMS; s++) /* the first has never spoken: nothing is looked up */
        feed(&world, 2 * s, now_ms - DURATION_HOUR_MS, now_ms, now_ms);
    close_pipeline(&world);
    open_pipeline(&world, now_ms);
    later_each_look_ms = 25;
    size_t steps = 1;
    while (daily_upkeep_step(upkeep_daily(world.upkeep), world.pipeline, now_ms))
        steps++;
    later_each_look_ms = 0;
    ck_assert_uint_eq(steps, SYSTEMS); /* one a system that spoke, and one that finds nothing */
    close_world(&world);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("stored_history");
    tcase_set_timeout(tcase, 300);
    tcase_add_test(tcase, store_and_memory_agree);
    tcase_add_test(tcase, the_mean_of_a_month_is_that_of_its_hours);
    tcase_add_test(tcase, days_are_as_long_as_the_clocks_say);
    tcase_add_test(tcase, an_unfinished_day_is_not_kept);
    tcase_add_test(tcase, a_day_is_judged_once_all_points_are_past_it);
    tcase_add_test(tcase, a_silent_point_does_not_hold_up_the_others);
    tcase_add_test(tcase, the_past_waits_until_it_is_complete);
    tcase_add_test(tcase, an_import_asks_for_a_step_when_it_begins);
    tcase_add_test(tcase, a_restart_neither_repeats_nor_skips_a_day);
    tcase_add_test(tcase, where_all_systems_stand_is_looked_up_over_several_turns);
    return run_test_case(tcase);
}
