/*
 * A packed day that is damaged: the daemon starts, every reader finds a gap of that day and nothing
 * else, the condition store-damaged is raised for it once and stays over a restart, and the work
 * goes on.
 */
#include "measure/duration.h"
#include "pipeline/pipeline.h"
#include "pipeline/stored_history.h"
#include "small_fleet.h"
#include "store_support.h"
#include "upkeep/daily_upkeep.h"
#include "upkeep/upkeep.h"

#include <sqlite3.h>

#define DAYS 8
#define FIRST_DAY INT64_C(20000)
#define DAMAGED_DAY (FIRST_DAY + 3)
#define NOW_MS ((FIRST_DAY + DAYS) * DURATION_DAY_MS + DURATION_HOUR_MS)
#define EVERY_MS (10 * DURATION_MINUTE_MS)

static const char house[] = "id: house\ntime_zone: UTC\npoints:\n"
                            "  - {id: suction, quantity: suction, unit: Pa, every: 10 min}\n";

static const char *folder, *path;
static struct fleet *fleet;
static struct store *store;
static struct pipeline *pipeline;
static struct upkeep *upkeep;

static void start(void) {
    char why[200] = "";
    store = store_test_open(path, NULL);
    pipeline = pipeline_open(fleet, store, NOW_MS, why, sizeof why);
    ck_assert_msg(pipeline != NULL, "%s", why);
    upkeep = upkeep_open(fleet);
    ck_assert_ptr_nonnull(upkeep);
}

static void stop(void) {
    pipeline_close(pipeline);
    upkeep_close(upkeep);
    store_close(store);
}

static void turn(void) {
    pipeline_tick(pipeline, NOW_MS);
    pipeline_look_again(pipeline, INT64_MAX);
    ck_assert_int_eq(pipeline_settle(pipeline, NOW_MS), STORE_OK);
}

static void damage(void) {
    char sql[300];
    sqlite3 *db;
    snprintf(sql, sizeof sql,
             "UPDATE packs SET pack = CAST(substr(pack, 1, 20) || x'00' || substr(pack, 22) AS "
             "BLOB) WHERE from_ms = 86400000 * %lld",
             (long long)DAMAGED_DAY);
    ck_assert_int_eq(sqlite3_open(path, &db), SQLITE_OK);
    ck_assert_int_eq(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
    ck_assert_int_eq(sqlite3_changes(db), 1);
    sqlite3_close(db);
}

static void set_up(void) {
    const char *const systems[] = {house};
    fleet = small_fleet(NULL, systems, 1);
    folder = store_test_folder();
    path = store_test_path(folder, "house.db");
    start();
    for (int64_t t = FIRST_DAY * DURATION_DAY_MS; t <= NOW_MS; t += EVERY_MS) {
        const struct reading reading = {t, 100.0 + (double)(t / EVERY_MS % 7)};
        ck_assert_int_eq(pipeline_take(pipeline, 0, &reading, SERIES_FROM_SENSOR, t), PIPELINE_NEW);
    }
    turn();
    int packed;
    do
        ck_assert_int_eq(series_pack(store, NOW_MS - DURATION_DAY_MS, 1000, &packed), STORE_OK);
    while (packed > 0);
    stop();
    damage();
}

static void tear_down(void) {
    fleet_destroy(fleet);
    store_test_remove(folder);
}

static struct alarm *standing(void) {
    return alarm_book_standing(pipeline_alarms(pipeline), FLEET_NONE, FLEET_NONE,
                               CONDITION_STORE_DAMAGED);
}

static size_t hours_read(void) {
    static struct average_bucket hours[24 * (DAYS + 3)];
    const struct history history = stored_history_view(pipeline_memory(pipeline));
    size_t count = history_hours(&history, 0, (FIRST_DAY - 1) * DURATION_DAY_MS, NOW_MS, hours,
                                 24 * (DAYS + 3));
    for (size_t i = 0; i < count; i++)
        ck_assert_int_ne(hours[i].start_ms / DURATION_DAY_MS, DAMAGED_DAY);
    return count;
}

static size_t days_read(void) {
    struct history_day days[DAYS + 2];
    const struct history history = stored_history_view(pipeline_memory(pipeline));
    size_t count = history_days(&history, 0, FIRST_DAY - 1, FIRST_DAY + DAYS, days, DAYS + 2);
    for (size_t i = 0; i < count; i++)
        ck_assert_int_ne(days[i].local_day, DAMAGED_DAY);
    return count;
}

START_TEST(a_damaged_day_is_a_gap_that_is_told) {
    start();
    turn();
    ck_assert_ptr_null(standing());                           /* nobody has come upon it */
    ck_assert_uint_eq(hours_read(), 1 + 24 * (DAYS - 1) + 1); /* one before, one of today */
    ck_assert_uint_eq(days_read(), DAYS - 1);
    turn();
    const struct alarm *alarm = standing();
    ck_assert_ptr_nonnull(alarm);
    ck_assert_str_eq(alarm->subject, "2024-10-07 (UTC) of house/suction");
    ck_assert_int_eq(alarm->priority, PRIORITY_HIGH);
    size_t alarms = alarm_book_count(pipeline_alarms(pipeline));
    hours_read();
    turn();
    ck_assert_uint_eq(alarm_book_count(pipeline_alarms(pipeline)), alarms);
    stop();
    start();
    hours_read();
    turn();
    ck_assert_ptr_nonnull(standing());
    ck_assert_uint_eq(alarm_book_count(pipeline_alarms(pipeline)), alarms);
    stop();
}
END_TEST

START_TEST(the_work_goes_on) {
    start();
    /* A late reading of that day, with the second look at all that followed. */
    const struct reading late = {DAMAGED_DAY * DURATION_DAY_MS + 12345, 55.0};
    ck_assert_int_eq(pipeline_take(pipeline, 0, &late, SERIES_FROM_SENSOR, NOW_MS), PIPELINE_NEW);
    turn();
    struct reading kept;
    ck_assert_int_eq(series_after(store, pipeline_key(pipeline, 0), late.time_ms, &kept), STORE_OK);
    ck_assert_int_eq(kept.time_ms, late.time_ms);
    /* All days are judged, and a new reading is taken. */
    for (int i = 0; i < 1000 && daily_upkeep_step(upkeep_daily(upkeep), pipeline, NOW_MS); i++)
        turn();
    turn();
    int64_t judged;
    ck_assert(daily_upkeep_judged(upkeep_daily(upkeep), 0, &judged));
    ck_assert_int_eq(judged, FIRST_DAY + DAYS - 1);
    const struct reading next = {NOW_MS + 1, 101.0};
    ck_assert_int_eq(pipeline_take(pipeline, 0, &next, SERIES_FROM_SENSOR, NOW_MS), PIPELINE_NEW);
    turn();
    ck_assert_ptr_nonnull(standing());
    int packed;
    ck_assert_int_eq(series_pack(store, NOW_MS, 10000, &packed), STORE_OK);
    ck_assert_int_gt(packed, 100);
    stop();
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("store_damage");
    tcase_set_timeout(tcase, 120);
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, a_damaged_day_is_a_gap_that_is_told);
    tcase_add_test(tcase, the_work_goes_on);
    return run_test_case(tcase);
}
