/*
 * Deleting goes by the newest reading of the fleet and pauses for a day after the clock was moved:
 * a clock that is ahead, however it came to that, ages nothing.
 */
#include "announce_bench.h"

#include "store/series.h"

#define DAY DURATION_DAY_MS
enum { ROOM = 2000, DAYS = 40, KEPT_DAYS = 30 };
static const char kept_a_month[] =
    "broker: {host: 127.0.0.1}\nstore: {file: test.db, keep_readings: 30 d}\n"
    "operator_socket: test.sock\nsystems: systems/\ncontacts:\n" CONTACT("office", "contractor",
                                                                         "");

static void take(size_t point, int64_t time_ms) {
    const struct reading reading = {time_ms, 200.0 + (double)(time_ms / MINUTE % 13)};
    ck_assert_int_eq(pipeline_take(pipeline, point, &reading, SERIES_FROM_SENSOR, now),
                     PIPELINE_NEW);
}

/* Hourly readings of forty days up to now, of two houses. */
static void set_up_forty_days(void) {
    set_up();
    begin(kept_a_month, 2);
    for (int64_t hour = DAYS * 24; hour > 0; hour--)
        for (size_t point = 0; point < 2; point++)
            take(point, now - hour * DURATION_HOUR_MS);
    ck_assert_int_eq(pipeline_settle(pipeline, now), STORE_OK);
}

/* As many turns of upkeep as it takes until nothing more is deleted or packed. */
static void keep_house(void) {
    for (int i = 0; i < 300; i++) {
        int64_t next_ms = upkeep_step(upkeep, pipeline, now, false);
        ck_assert_int_eq(pipeline_settle(pipeline, now), STORE_OK);
        if (next_ms > now)
            return;
    }
    ck_abort_msg("upkeep does not end");
}

static int64_t oldest_ms(size_t point) {
    static struct reading readings[ROOM];
    size_t count = 0;
    ck_assert_int_eq(series_read(store, pipeline_key(pipeline, point), INT64_MIN, INT64_MAX,
                                 readings, ROOM, &count),
                     STORE_OK);
    ck_assert_uint_gt(count, 0);
    return readings[0].time_ms;
}

/* A day is deleted as a whole, a reading within it no sooner. */
static void expect_kept_from(size_t point, int64_t from_ms) {
    ck_assert_int_ge(oldest_ms(point), from_ms - DAY - DURATION_HOUR_MS);
    ck_assert_int_le(oldest_ms(point), from_ms + DURATION_HOUR_MS);
}

START_TEST(what_is_older_than_it_is_kept_goes) {
    keep_house();
    for (size_t point = 0; point < 2; point++)
        expect_kept_from(point, now - KEPT_DAYS * DAY);
}
END_TEST

START_TEST(a_clock_that_is_ahead_ages_nothing) {
    int64_t newest_ms = now - DURATION_HOUR_MS;
    now += 400 * DAY; /* as after a start: nobody saw it move */
    keep_house();
    for (size_t point = 0; point < 2; point++)
        expect_kept_from(point, newest_ms - KEPT_DAYS * DAY);
    newest_ms += 20 * DAY;
    take(0, newest_ms); /* one sensor of the fleet speaks: time has passed */
    ck_assert_int_eq(pipeline_settle(pipeline, now), STORE_OK);
    keep_house();
    now += DURATION_HOUR_MS; /* the other's days are no longer waited for */
    keep_house();
    for (size_t point = 0; point < 2; point++)
        expect_kept_from(point, newest_ms - KEPT_DAYS * DAY);
}
END_TEST

START_TEST(for_a_day_after_a_jump_nothing_is_deleted) {
    int64_t oldest_before_ms = oldest_ms(1);
    now += 20 * DAY;
    pipeline_clock_moved(pipeline, 20 * DAY, now);
    take(0, now); /* its time is ours, wrong with the clock */
    ck_assert_int_eq(pipeline_settle(pipeline, now), STORE_OK);
    keep_house();
    ck_assert_int_eq(oldest_ms(1), oldest_before_ms);
    now += DAY - DURATION_HOUR_MS;
    keep_house();
    ck_assert_int_eq(oldest_ms(1), oldest_before_ms);
    now += 2 * DURATION_HOUR_MS;
    keep_house();
    expect_kept_from(1, now - DAY - KEPT_DAYS * DAY);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("retention");
    tcase_add_checked_fixture(tcase, set_up_forty_days, tear_down);
    tcase_add_test(tcase, what_is_older_than_it_is_kept_goes);
    tcase_add_test(tcase, a_clock_that_is_ahead_ages_nothing);
    tcase_add_test(tcase, for_a_day_after_a_jump_nothing_is_deleted);
    return run_test_case(tcase);
}
