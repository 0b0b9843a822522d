/* History loaded in bulk: nobody who reads sees a difference to what came reading by reading. */
#include "pack/day_pack.h"
#include "store_support.h"

#include <math.h>

#define DAY_MS DAY_PACK_DAY_MS
#define HOUR_MS INT64_C(3600000)
#define INTERVAL_MS INT64_C(1800000)
#define START_MS (INT64_C(19723) * DAY_MS) /* 2024-01-01 */

enum { READINGS_MAX = 4000 };

static const char *folder;
static struct store *single, *bulk; /* reading by reading; in parts */
static int64_t keys[2];
static struct test_random randomness;

static void set_up(void) {
    struct store **stores[2] = {&single, &bulk};
    folder = store_test_folder();
    for (int i = 0; i < 2; i++) {
        *stores[i] = store_test_open(store_test_path(folder, i ? "bulk.db" : "single.db"), NULL);
        ck_assert_int_eq(series_key(*stores[i], "mill", "suction", &keys[i]), STORE_OK);
        ck_assert_int_eq(series_set_interval(*stores[i], keys[i], INTERVAL_MS), STORE_OK);
    }
}

static void tear_down(void) {
    store_close(single);
    store_close(bulk);
    store_test_remove(folder);
}

static int64_t ask(const char *name, const char *sql) {
    return store_test_ask(store_test_path(folder, name), sql);
}

/* ---- the same readings on both ways ---- */

static void rebuild(struct store *store, int64_t key, int64_t from_ms, int64_t to_ms) {
    if (from_ms <= to_ms)
        ck_assert_int_eq(series_hours_rebuild(store, key, INTERVAL_MS, from_ms, to_ms), STORE_OK);
}

static void load(const struct reading *readings, size_t count, int64_t before_ms) {
    struct series_span rolled;
    int64_t from_ms = readings[0].time_ms - INTERVAL_MS, to_ms = readings[count - 1].time_ms;
    ck_assert_int_eq(
        series_load(bulk, keys[1], readings, count, SERIES_FROM_IMPORT, before_ms, &rolled),
        STORE_OK);
    if (rolled.from_ms == rolled.to_ms)
        rolled.from_ms = rolled.to_ms = from_ms;
    rebuild(bulk, keys[1], from_ms, rolled.from_ms - 1);
    rebuild(bulk, keys[1], rolled.to_ms > from_ms ? rolled.to_ms : from_ms, to_ms);
}

static void append(const struct reading *readings, size_t count) {
    ck_assert_int_eq(store_begin(single), STORE_OK);
    for (size_t i = 0; i < count; i++) {
        enum series_append result;
        ck_assert_int_eq(
            series_append(single, keys[0], &readings[i], SERIES_FROM_IMPORT, true, &result),
            STORE_OK);
        ck_assert_int_eq(result, SERIES_NEW);
    }
    ck_assert_int_eq(store_commit(single), STORE_OK);
    rebuild(single, keys[0], readings[0].time_ms - INTERVAL_MS, readings[count - 1].time_ms);
}

static void same_readings(void) {
    static struct reading a[READINGS_MAX], b[READINGS_MAX];
    size_t a_count, b_count;
    int64_t a_total, b_total;
    ck_assert_int_eq(series_read(single, keys[0], 0, INT64_MAX, a, READINGS_MAX, &a_count),
                     STORE_OK);
    ck_assert_int_eq(series_read(bulk, keys[1], 0, INT64_MAX, b, READINGS_MAX, &b_count), STORE_OK);
    ck_assert_uint_eq(a_count, b_count);
    for (size_t i = 0; i < a_count; i++) {
        ck_assert_int_eq(a[i].time_ms, b[i].time_ms);
        ck_assert(memcmp(&a[i].value, &b[i].value, sizeof(double)) == 0);
    }
    ck_assert_int_eq(series_count(single, &a_total), STORE_OK);
    ck_assert_int_eq(series_count(bulk, &b_total), STORE_OK);
    ck_assert_int_eq(a_total, b_total);
}

static bool same_number(double a, double b) {
    return (isnan(a) && isnan(b)) || memcmp(&a, &b, sizeof a) == 0;
}

static void same_hours(void) {
    static struct series_hour a[2000], b[2000];
    size_t a_count, b_count;
    ck_assert_int_eq(series_hours(single, keys[0], 0, INT64_MAX, a, 2000, &a_count), STORE_OK);
    ck_assert_int_eq(series_hours(bulk, keys[1], 0, INT64_MAX, b, 2000, &b_count), STORE_OK);
    ck_assert_uint_eq(a_count, b_count);
    for (size_t i = 0; i < a_count; i++) {
        ck_assert_int_eq(a[i].hour_ms, b[i].hour_ms);
        ck_assert_int_eq(a[i].count, b[i].count);
        ck_assert_int_eq(a[i].covered_ms, b[i].covered_ms);
        ck_assert(same_number(a[i].value_ms, b[i].value_ms));
        ck_assert(same_number(a[i].lowest, b[i].lowest));
        ck_assert(same_number(a[i].highest, b[i].highest));
    }
}

static void same(void) {
    same_readings();
    same_hours();
    store_test_verify(bulk);
}

static void pack_all(struct store *store, int64_t before_ms) {
    int packed;
    do
        ck_assert_int_eq(series_pack(store, before_ms, 500, &packed), STORE_OK);
    while (packed > 0);
}

/* Some eight days, with holes, some across midnight. */
static size_t draw(struct reading *readings) {
    int64_t at_ms = START_MS + (int64_t)(test_random_unit(&randomness) * (double)DAY_MS);
    size_t count = 0;
    while (count < READINGS_MAX && at_ms < START_MS + 8 * DAY_MS) {
        readings[count++] = (struct reading){at_ms, 200.0 + test_random_normal(&randomness)};
        bool hole = test_random_unit(&randomness) < 0.02;
        double step = hole ? 30.0 * (double)HOUR_MS : 2.0 * (double)INTERVAL_MS;
        at_ms += 1 + (int64_t)(test_random_unit(&randomness) * step);
    }
    return count;
}

START_TEST(parts_of_any_length_read_as_readings_one_by_one) {
    static struct reading readings[READINGS_MAX];
    randomness = (struct test_random){test_seed() + (uint64_t)_i};
    size_t count = draw(readings);
    int64_t before_ms = START_MS + (int64_t)(test_random_next(&randomness) % 10) * DAY_MS;
    for (size_t i = 0, length; i < count; i += length) {
        length = 1 + test_random_below(&randomness, count / 2 + 1);
        length = length < count - i ? length : count - i;
        append(readings + i, length);
        load(readings + i, length, before_ms);
        if (test_random_next(&randomness) % 4 == 0)
            pack_all(bulk, before_ms);
        same();
    }
    pack_all(bulk, before_ms);
    pack_all(single, before_ms);
    same();
}
END_TEST

START_TEST(whole_days_are_packed_at_once) {
    struct reading readings[5 * 24 + 1];
    for (int i = 0; i <= 5 * 24; i++)
        readings[i] = (struct reading){START_MS + i * HOUR_MS + 60000, 200.0 + i % 7};
    struct series_span rolled;
    ck_assert_int_eq(series_load(bulk, keys[1], readings, 5 * 24 + 1, SERIES_FROM_IMPORT,
                                 START_MS + 4 * DAY_MS, &rolled),
                     STORE_OK);
    ck_assert_int_eq(rolled.from_ms, START_MS);
    ck_assert_int_eq(rolled.to_ms, START_MS + 4 * DAY_MS); /* the fifth day is not over */
    ck_assert_int_eq(ask("bulk.db", "SELECT count(*) FROM packs"), 4);
    ck_assert_int_eq(ask("bulk.db", "SELECT count(*) FROM day_hours"), 4);
    ck_assert_int_eq(ask("bulk.db", "SELECT count(*) FROM readings"), 24 + 1);
    ck_assert_int_eq(ask("bulk.db", "SELECT count(*) FROM hours"), 0);
    ck_assert_int_eq(ask("bulk.db", "SELECT value FROM totals WHERE name = 'readings'"), 121);
}
END_TEST

START_TEST(a_day_goes_on_where_an_earlier_part_ended) {
    struct reading readings[48];
    for (int i = 0; i < 48; i++)
        readings[i] = (struct reading){START_MS + i * HOUR_MS, 200.0 + i % 7};
    append(readings, 48);
    load(readings, 5, START_MS + 9 * DAY_MS); /* nothing follows: it may go on */
    ck_assert_int_eq(ask("bulk.db", "SELECT count(*) FROM packs"), 0);
    load(readings + 5, 43, START_MS + 9 * DAY_MS);
    ck_assert_int_eq(ask("bulk.db", "SELECT count FROM packs"), 24);
    same();
}
END_TEST

START_TEST(a_day_without_readings_has_the_hour_that_the_next_one_covers) {
    struct reading readings[24];
    for (int i = 0; i < 24; i++) /* an hour of the first day, one of the third, one of the fourth */
        readings[i] = (struct reading){START_MS +
                                           (i < 8    ? 0
                                            : i < 16 ? 2
                                                     : 3) *
                                               DAY_MS +
                                           (i % 8 + 1) * 420000,
                                       200.0 + i % 7};
    append(readings, 24);
    load(readings, 24, START_MS + 9 * DAY_MS);
    ck_assert_int_eq(ask("bulk.db", "SELECT count(*) FROM packs"), 2);
    ck_assert_int_eq(ask("bulk.db", "SELECT count(*) FROM hours WHERE count = 0"), 2);
    same();
}
END_TEST

START_TEST(a_late_reading_finds_its_packed_twin) {
    struct reading readings[48], again;
    enum series_append result;
    for (int i = 0; i < 48; i++)
        readings[i] = (struct reading){START_MS + i * HOUR_MS, 200.0 + i % 7};
    load(readings, 48, START_MS + 9 * DAY_MS);
    again = readings[7];
    ck_assert_int_eq(series_append(bulk, keys[1], &again, SERIES_FROM_SENSOR, false, &result),
                     STORE_OK);
    ck_assert_int_eq(result, SERIES_SAME);
    again.value = 1.0;
    ck_assert_int_eq(series_append(bulk, keys[1], &again, SERIES_FROM_SENSOR, false, &result),
                     STORE_OK);
    ck_assert_int_eq(result, SERIES_CONFLICT);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("series_load");
    tcase_set_timeout(tcase, 120);
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_loop_test(tcase, parts_of_any_length_read_as_readings_one_by_one, 0, 12);
    tcase_add_test(tcase, whole_days_are_packed_at_once);
    tcase_add_test(tcase, a_day_goes_on_where_an_earlier_part_ended);
    tcase_add_test(tcase, a_day_without_readings_has_the_hour_that_the_next_one_covers);
    tcase_add_test(tcase, a_late_reading_finds_its_packed_twin);
    return run_test_case(tcase);
}
