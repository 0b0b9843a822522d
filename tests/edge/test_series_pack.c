/* Packed days in the store: nobody who reads sees a difference, nothing is lost, damage is told. */
#include "failing_vfs.h"
#include "pack/day_pack.h"
#include "store_support.h"
#include "test_support.h"

#include "store/verify.h"

#include <math.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#define DAY_MS DAY_PACK_DAY_MS
#define HOUR_MS INT64_C(3600000)
#define INTERVAL_MS 600000
#define FOR_EVER (INT64_MAX / 2)

static const char *folder, *path;

static void set_up(void) {
    folder = store_test_folder();
    path = store_test_path(folder, "subslab.db");
}

static void tear_down(void) {
    store_test_remove(folder);
}

static int pack(struct store *store, int64_t before_ms, int most) {
    int packed;
    ck_assert_int_eq(series_pack(store, before_ms, most, &packed), STORE_OK);
    return packed;
}

static int pack_all(struct store *store, int64_t before_ms) {
    int sum = 0, packed;
    do {
        packed = pack(store, before_ms, 500);
        sum += packed;
    } while (packed > 0);
    return sum;
}

static enum series_append append(struct store *store, int64_t key, int64_t time_ms, double value,
                                 bool certainly_new) {
    struct reading reading = {time_ms, value};
    enum series_append result;
    ck_assert_int_eq(
        series_append(store, key, &reading, SERIES_FROM_SENSOR, certainly_new, &result), STORE_OK);
    return result;
}

static int64_t ask(const char *sql) {
    sqlite3 *db;
    sqlite3_stmt *statement;
    ck_assert_int_eq(sqlite3_open(path, &db), SQLITE_OK);
    ck_assert_int_eq(sqlite3_prepare_v2(db, sql, -1, &statement, NULL), SQLITE_OK);
    ck_assert_int_eq(sqlite3_step(statement), SQLITE_ROW);
    int64_t answer = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    sqlite3_close(db);
    return answer;
}

static void change(const char *sql) {
    sqlite3 *db;
    ck_assert_int_eq(sqlite3_open(path, &db), SQLITE_OK);
    ck_assert_int_eq(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(db);
}

/* ---- two stores, one of them packed now and then ---- */

struct pair {
    struct store *rows, *packs;
    int64_t keys[2], interval_ms;
};

static int64_t random_time(struct test_random *random) {
    int64_t time = (int64_t)(test_random_unit(random) * 6 * DAY_MS) - 2 * DAY_MS;
    switch (test_random_next(random) % 4) {
    case 0:
        return time / DAY_MS * DAY_MS - (int64_t)(test_random_next(random) % 2); /* edges */
    case 1:
        return time / INTERVAL_MS * INTERVAL_MS;
    case 2:
        return time / HOUR_MS * HOUR_MS;
    default:
        return time;
    }
}

static void same_reading(enum store_status a_status, const struct reading *a,
                         enum store_status b_status, const struct reading *b) {
    ck_assert_int_eq(a_status, b_status);
    if (a_status != STORE_OK)
        return;
    ck_assert_int_eq(a->time_ms, b->time_ms);
    ck_assert(memcmp(&a->value, &b->value, sizeof(double)) == 0);
}

static void same_neighbours(const struct pair *pair, int64_t key, int64_t time_ms) {
    struct reading a = {0}, b = {0};
    enum store_status found = series_before(pair->rows, key, time_ms, &a);
    same_reading(found, &a, series_before(pair->packs, key, time_ms, &b), &b);
    found = series_after(pair->rows, key, time_ms, &a);
    same_reading(found, &a, series_after(pair->packs, key, time_ms, &b), &b);
    found = series_newest(pair->rows, key, &a);
    same_reading(found, &a, series_newest(pair->packs, key, &b), &b);
}

static void same_range(const struct pair *pair, int64_t key, int64_t from_ms, int64_t to_ms,
                       size_t capacity) {
    static struct reading a[3000], b[3000];
    size_t a_count, b_count;
    ck_assert_int_eq(series_read(pair->rows, key, from_ms, to_ms, a, capacity, &a_count), STORE_OK);
    ck_assert_int_eq(series_read(pair->packs, key, from_ms, to_ms, b, capacity, &b_count),
                     STORE_OK);
    ck_assert_uint_eq(a_count, b_count);
    for (size_t i = 0; i < a_count; i++)
        same_reading(STORE_OK, &a[i], STORE_OK, &b[i]);
}

static void same_hours(const struct pair *pair, int64_t key, int64_t from_ms, int64_t to_ms,
                       size_t capacity) {
    static struct series_hour a[3000], b[3000];
    size_t a_count, b_count;
    ck_assert_int_eq(series_hours(pair->rows, key, from_ms, to_ms, a, capacity, &a_count),
                     STORE_OK);
    ck_assert_int_eq(series_hours(pair->packs, key, from_ms, to_ms, b, capacity, &b_count),
                     STORE_OK);
    ck_assert_uint_eq(a_count, b_count);
    for (size_t i = 0; i < a_count; i++) {
        ck_assert_int_eq(a[i].hour_ms, b[i].hour_ms);
        ck_assert_int_eq(a[i].count, b[i].count);
        ck_assert_int_eq(a[i].covered_ms, b[i].covered_ms);
        ck_assert(memcmp(&a[i].value_ms, &b[i].value_ms, sizeof(double)) == 0);
        ck_assert(isnan(a[i].lowest) == isnan(b[i].lowest));
        ck_assert(isnan(a[i].lowest) || memcmp(&a[i].lowest, &b[i].lowest, sizeof(double)) == 0);
        ck_assert(isnan(a[i].highest) || memcmp(&a[i].highest, &b[i].highest, sizeof(double)) == 0);
    }
}

static void same_counts(const struct pair *pair) {
    int64_t a, b;
    ck_assert_int_eq(series_count(pair->rows, &a), STORE_OK);
    ck_assert_int_eq(series_count(pair->packs, &b), STORE_OK);
    ck_assert_int_eq(a, b);
}

static void append_both(const struct pair *pair, struct test_random *random) {
    int64_t key = pair->keys[test_random_next(random) % 2], time = random_time(random);
    int number = test_random_unit(random) < 0.3 ? 40 : 1;
    for (int i = 0; i < number; i++, time += pair->interval_ms) {
        double value = round(600 + 10 * test_random_unit(random)) / 100 * 249.08891;
        enum series_append a = append(pair->rows, key, time, value, false);
        ck_assert_int_eq(append(pair->packs, key, time, value, false), a);
        for (int s = 0; s < 2; s++)
            ck_assert_int_eq(series_hours_rebuild(s ? pair->packs : pair->rows, key,
                                                  pair->interval_ms, time - pair->interval_ms,
                                                  time + pair->interval_ms),
                             STORE_OK);
    }
}

/* Retention at midnight: packed days go whole. */
static void expire_both(const struct pair *pair, int64_t before_ms) {
    int deleted;
    for (int s = 0; s < 2; s++)
        ck_assert_int_eq(series_expire(s ? pair->packs : pair->rows, before_ms, 1000000, &deleted),
                         STORE_OK);
}

static void one_step(struct pair *pair, struct test_random *random) {
    int64_t key = pair->keys[test_random_next(random) % 2];
    switch (test_random_next(random) % 9) {
    case 0:
        pack(pair->packs, random_time(random), 1 + (int)(test_random_next(random) % 100));
        break;
    case 1: { /* what is rolled back leaves no trace */
        ck_assert_int_eq(store_begin(pair->packs), STORE_OK);
        append(pair->packs, key, random_time(random), 1.0, false);
        pack(pair->packs, random_time(random), 1000);
        store_rollback(pair->packs);
        break;
    }
    case 2:
        same_range(pair, key, random_time(random), random_time(random),
                   1 + (size_t)(test_random_next(random) % 50));
        break;
    case 3:
        same_range(pair, key, INT64_MIN, INT64_MAX, 3000);
        break;
    case 4:
        same_neighbours(pair, key, random_time(random));
        break;
    case 5:
        same_hours(pair, key, random_time(random), random_time(random),
                   1 + (size_t)(test_random_next(random) % 50));
        break;
    default:
        append_both(pair, random);
    }
}

START_TEST(nobody_who_reads_sees_a_difference) {
    static const int64_t intervals[] = {INTERVAL_MS, INTERVAL_MS / 2, HOUR_MS, 26 * HOUR_MS};
    struct test_random random = {test_seed() + (uint64_t)_i};
    struct pair pair = {store_test_open(store_test_path(folder, "rows.db"), NULL),
                        store_test_open(path, NULL),
                        {0},
                        intervals[_i % 4]};
    for (int k = 0; k < 2; k++) {
        int64_t key;
        ck_assert_int_eq(series_key(pair.rows, "elm-3", k ? "b" : "a", &pair.keys[k]), STORE_OK);
        ck_assert_int_eq(series_key(pair.packs, "elm-3", k ? "b" : "a", &key), STORE_OK);
        ck_assert_int_eq(key, pair.keys[k]);
        for (int s = 0; s < 2; s++)
            ck_assert_int_eq(series_set_interval(s ? pair.packs : pair.rows, key, pair.interval_ms),
                             STORE_OK);
    }
    for (int i = 0; i < 150; i++)
        one_step(&pair, &random);
    pack_all(pair.packs, 2 * DAY_MS);
    for (int k = 0; k < 2; k++)
        same_hours(&pair, pair.keys[k], INT64_MIN, INT64_MAX, 3000);
    expire_both(&pair, _i % 3 ? -DAY_MS : DAY_MS);
    for (int i = 0; i < 50; i++)
        one_step(&pair, &random);
    store_close(pair.packs);
    pair.packs = store_test_open(path, NULL);
    for (int k = 0; k < 2; k++) {
        same_range(&pair, pair.keys[k], INT64_MIN, INT64_MAX, 3000);
        same_hours(&pair, pair.keys[k], INT64_MIN, INT64_MAX, 3000);
        for (int i = 0; i < 100; i++)
            same_neighbours(&pair, pair.keys[k], random_time(&random));
        same_neighbours(&pair, pair.keys[k], INT64_MIN);
        same_neighbours(&pair, pair.keys[k], INT64_MAX);
    }
    same_counts(&pair);
    pack_all(pair.packs, 100 * DAY_MS);
    for (int k = 0; k < 2; k++)
        same_hours(&pair, pair.keys[k], INT64_MIN, INT64_MAX, 3000);
    store_close(pair.rows);
    store_close(pair.packs);
    ck_assert_int_eq(ask("SELECT count(*) FROM hours"), 0);
}
END_TEST

/* ---- packing ---- */

/* Rows of a day at ten minutes: its readings and its hours. */
#define DAY_ROWS (144 + 24)
#define DAY_BEFORE 1 /* the hour before midnight, which the first reading covers */

static int64_t make_days(struct store *store, int days, int a_day) {
    int64_t key;
    ck_assert_int_eq(store_begin(store), STORE_OK);
    ck_assert_int_eq(series_key(store, "elm-3", "suction", &key), STORE_OK);
    ck_assert_int_eq(series_set_interval(store, key, INTERVAL_MS), STORE_OK);
    for (int d = 0; d < days; d++)
        for (int i = 0; i < a_day; i++)
            append(store, key, d * DAY_MS + i * (DAY_MS / a_day),
                   (double)(60 + i * 7 % 5) / 100 * 249.08891, true);
    ck_assert_int_eq(series_hours_rebuild(store, key, INTERVAL_MS, -INTERVAL_MS, days * DAY_MS),
                     STORE_OK);
    ck_assert_int_eq(store_commit(store), STORE_OK);
    return key;
}

START_TEST(only_closed_days_are_packed) {
    struct store *store = store_test_open(path, NULL);
    make_days(store, 4, 144);
    ck_assert_int_eq(pack_all(store, 0), DAY_BEFORE);
    ck_assert_int_eq(pack_all(store, DAY_MS - 1), 0);
    ck_assert_int_eq(pack_all(store, 3 * DAY_MS + 5), 3 * DAY_ROWS);
    ck_assert_int_eq(pack_all(store, 3 * DAY_MS + 5), 0);
    store_test_verify(store);
    store_close(store);
    ck_assert_int_eq(ask("SELECT count(*) FROM readings"), 144);
    ck_assert_int_eq(ask("SELECT count(*) FROM hours"), 24);
    ck_assert_int_eq(ask("SELECT count(*) FROM day_hours"), 4);
    ck_assert_int_lt(ask("SELECT max(length(hours)) FROM day_hours WHERE day >= 0"), 24);
    ck_assert_int_eq(ask("SELECT count(*) FROM packs"), 3);
    ck_assert_int_eq(ask("SELECT sum(count) FROM packs"), 3 * 144);
    ck_assert_int_eq(ask("SELECT max(from_ms) / 86400000 FROM packs"), 2);
    ck_assert_int_lt(ask("SELECT max(length(pack)) FROM packs"), 144);
    ck_assert_int_eq(ask("SELECT value FROM totals WHERE name = 'packed to day'"), 2);
}
END_TEST

START_TEST(one_step_is_small) {
    struct store *store = store_test_open(path, NULL);
    int64_t key = make_days(store, 1, 86400);
    int steps = 0, packed;
    while ((packed = pack(store, DAY_MS, 4000)) > 0) {
        ck_assert_int_le(packed, 4000 + 1 + 24);
        steps++;
    }
    ck_assert_int_eq(steps, 22);
    static struct series_hour hours[30];
    size_t hour_count;
    ck_assert_int_eq(series_hours(store, key, 0, DAY_MS, hours, 30, &hour_count), STORE_OK);
    ck_assert_uint_eq(hour_count, 24);
    for (int i = 0; i < 24; i++)
        ck_assert_int_eq(hours[i].count, 3600);
    struct reading reading;
    ck_assert_int_eq(series_newest(store, key, &reading), STORE_OK);
    ck_assert_int_eq(reading.time_ms, DAY_MS - 1000);
    store_test_verify(store);
    store_close(store);
    ck_assert_int_eq(ask("SELECT count(*) FROM readings"), 0);
    ck_assert_int_eq(ask("SELECT count(*) FROM hours"), 0);
    ck_assert_int_eq(ask("SELECT sum(count) FROM packs"), 86400);
    ck_assert_int_eq(ask("SELECT max(count) FROM packs"), 4000);
    ck_assert_int_eq(ask("SELECT count(*) FROM packs"), 22);
}
END_TEST

START_TEST(twins_of_packed_readings_are_found_whatever_is_said) {
    struct store *store = store_test_open(path, NULL);
    int64_t key = make_days(store, 3, 144);
    struct reading packed;
    ck_assert_int_eq(series_after(store, key, 0, &packed), STORE_OK);
    ck_assert_int_eq(pack_all(store, 3 * DAY_MS), DAY_BEFORE + 3 * DAY_ROWS);
    for (int certainly = 0; certainly < 2; certainly++) {
        ck_assert_int_eq(append(store, key, 0, packed.value, certainly), SERIES_SAME);
        ck_assert_int_eq(append(store, key, 0, packed.value + 1, certainly), SERIES_CONFLICT);
    }
    ck_assert_int_eq(append(store, key, 1, 5.0, false), SERIES_NEW);
    ck_assert_int_eq(append(store, key, 1, 5.0, false), SERIES_SAME); /* beside the pack */
    ck_assert_int_eq(append(store, key, 1, 6.0, false), SERIES_CONFLICT);
    ck_assert_int_eq(pack_all(store, 3 * DAY_MS), 1);
    ck_assert_int_eq(append(store, key, 1, 6.0, false), SERIES_CONFLICT);
    struct reading got[2];
    size_t count;
    ck_assert_int_eq(series_read(store, key, 0, 2, got, 2, &count), STORE_OK);
    ck_assert_uint_eq(count, 2);
    ck_assert_double_eq(got[0].value, packed.value);
    ck_assert_double_eq(got[1].value, 5.0);
    int64_t total;
    ck_assert_int_eq(series_count(store, &total), STORE_OK);
    ck_assert_int_eq(total, 3 * 144 + 1);
    store_close(store);
}
END_TEST

START_TEST(retention_takes_packed_days_whole) {
    struct store *store = store_test_open(path, NULL);
    int64_t key = make_days(store, 6, 144), total;
    ck_assert_int_eq(pack_all(store, 4 * DAY_MS), DAY_BEFORE + 4 * DAY_ROWS);
    append(store, key, 1, 5.0, false); /* beside a pack */
    int deleted, sum = 0;
    do {
        ck_assert_int_eq(series_expire(store, 2 * DAY_MS + HOUR_MS, 100, &deleted), STORE_OK);
        sum += deleted;
    } while (deleted >= 100);
    ck_assert_int_eq(sum, 2 * 144 + 1);
    struct reading oldest;
    ck_assert_int_eq(series_after(store, key, INT64_MIN, &oldest), STORE_OK);
    ck_assert_int_eq(oldest.time_ms, 2 * DAY_MS);
    ck_assert_int_eq(series_count(store, &total), STORE_OK);
    ck_assert_int_eq(total, 4 * 144);
    ck_assert_int_eq(series_hours_rebuild(store, key, INTERVAL_MS, 0, 6 * DAY_MS), STORE_OK);
    store_test_verify(store);
    ck_assert_int_eq(series_expire(store, 5 * DAY_MS, 10000, &deleted), STORE_OK);
    ck_assert_int_eq(deleted, 3 * 144);
    store_test_verify(store);
    store_close(store);
    ck_assert_int_eq(ask("SELECT count(*) FROM packs"), 0);
}
END_TEST

START_TEST(points_are_packed_in_turn) {
    struct store *store = store_test_open(path, NULL);
    ck_assert_int_eq(store_begin(store), STORE_OK);
    for (int p = 0; p < 1300; p++) { /* more than one call looks at */
        char name[20];
        int64_t key;
        snprintf(name, sizeof name, "p%d", p);
        ck_assert_int_eq(series_key(store, "elm-3", name, &key), STORE_OK);
        if (p % 100 == 99)
            append(store, key, -5 * DAY_MS + p, 1.5, true);
    }
    ck_assert_int_eq(store_commit(store), STORE_OK);
    int calls = 0, packed = 0;
    while (packed < 13 && calls < 10) {
        packed += pack(store, 0, 100);
        calls++;
    }
    ck_assert_int_eq(packed, 13);
    ck_assert_int_le(calls, 4);
    store_close(store);
}
END_TEST

START_TEST(a_backup_holds_the_packs) {
    struct store *store = store_test_open(path, NULL);
    int64_t key = make_days(store, 5, 144), total;
    char why[500];
    ck_assert_int_eq(pack_all(store, 4 * DAY_MS), DAY_BEFORE + 4 * DAY_ROWS);
    const char *copy = store_test_path(folder, "copy.db");
    ck_assert_int_eq(store_backup(store, copy, NULL, NULL, why, sizeof why), STORE_OK);
    store_close(store);
    store = store_test_open(copy, NULL);
    store_test_verify(store);
    ck_assert_int_eq(series_count(store, &total), STORE_OK);
    ck_assert_int_eq(total, 5 * 144);
    static struct reading got[1000];
    size_t count;
    ck_assert_int_eq(series_read(store, key, 0, FOR_EVER, got, 1000, &count), STORE_OK);
    ck_assert_uint_eq(count, 5 * 144);
    store_close(store);
}
END_TEST

/* ---- hours of a packed day ---- */

static size_t hours_of(struct store *store, int64_t key, int64_t day, struct series_hour *hours) {
    size_t count;
    ck_assert_int_eq(series_hours(store, key, day * DAY_MS, (day + 1) * DAY_MS, hours, 30, &count),
                     STORE_OK);
    return count;
}

static void expect_hours(struct store *store, int64_t key, int64_t day,
                         const struct series_hour *hours, size_t count) {
    static struct series_hour got[30];
    ck_assert_uint_eq(hours_of(store, key, day, got), count);
    for (size_t i = 0; i < count; i++) {
        ck_assert_int_eq(got[i].hour_ms, hours[i].hour_ms);
        ck_assert_int_eq(got[i].count, hours[i].count);
        ck_assert_int_eq(got[i].covered_ms, hours[i].covered_ms);
        ck_assert(memcmp(&got[i].value_ms, &hours[i].value_ms, sizeof(double)) == 0);
    }
}

START_TEST(hours_of_a_packed_day_are_what_its_pack_says) {
    struct store *store = store_test_open(path, NULL);
    int64_t key = make_days(store, 4, 144);
    static struct series_hour hours[30], quarter[30];
    size_t count = hours_of(store, key, 1, hours);
    /* Sums that no readings give, and one hour that is missing. */
    const struct series_hour odd = {DAY_MS + 5 * HOUR_MS, 3, 1e9 / 3, 1000, -5.5, 1e9};
    const struct series_hour none = {DAY_MS + 7 * HOUR_MS, 0, 0, 0, (double)NAN, (double)NAN};
    ck_assert_int_eq(series_hour_put(store, key, &odd), STORE_OK);
    ck_assert_int_eq(series_hour_put(store, key, &none), STORE_OK);
    pack_all(store, 3 * DAY_MS);
    expect_hours(store, key, 1, hours, count);
    /* Another interval changes no day that is packed, until it is packed again. */
    ck_assert_int_eq(series_set_interval(store, key, INTERVAL_MS / 4), STORE_OK);
    expect_hours(store, key, 1, hours, count);
    ck_assert_int_eq(append(store, key, DAY_MS + 1, 5.0, false), SERIES_NEW);
    pack_all(store, 3 * DAY_MS);
    ck_assert_uint_eq(hours_of(store, key, 1, quarter), 24);
    for (int i = 0; i < 24; i++) {
        ck_assert_int_eq(quarter[i].count, i == 0 ? 7 : 6);
        ck_assert_int_eq(quarter[i].covered_ms, HOUR_MS / 4 + (i == 0 ? 1 : 0));
    }
    store_test_verify(store);
    store_close(store);
}
END_TEST

/* Retention has taken a morning as rows, before the day was packed. */
START_TEST(hours_of_readings_that_went_for_age_are_kept) {
    struct store *store = store_test_open(path, NULL);
    int64_t key = make_days(store, 4, 144);
    static struct series_hour hours[2][30];
    size_t counts[2] = {hours_of(store, key, 1, hours[0]), hours_of(store, key, 2, hours[1])};
    int deleted;
    ck_assert_int_eq(series_expire(store, DAY_MS + 10 * HOUR_MS, 10000, &deleted), STORE_OK);
    ck_assert_int_eq(deleted, 144 + 60);
    pack_all(store, 3 * DAY_MS);
    for (int d = 0; d < 2; d++)
        expect_hours(store, key, 1 + d, hours[d], counts[d]);
    ck_assert_int_eq(series_expire(store, 2 * DAY_MS, 10000, &deleted), STORE_OK);
    for (int d = 0; d < 2; d++)
        expect_hours(store, key, 1 + d, hours[d], counts[d]);
    store_close(store);
}
END_TEST

/* The second day of make_days as an earlier build left it: the hours 5 and 7 in a way of their own,
   written down beside those that are computed. */
static const char exceptions_sql[] =
    "UPDATE day_hours SET hours = x'E107C0CF2400C0CF24B77878CF81AE6240A0000006FFB0BD0205FF887A12D10"
    "100040D0700C0989ABC040100A16CC301D102000410090300F755FCCA94A58D1D00006088E3C8AD6E0FF1F6' "
    "WHERE day = 1";

START_TEST(exceptions_of_an_earlier_build_count_until_the_day_is_packed_again) {
    struct store *store = store_test_open(path, NULL);
    int64_t key = make_days(store, 4, 144);
    static struct series_hour hours[30], seen[30], got[30];
    ck_assert_uint_eq(hours_of(store, key, 1, hours), 24);
    pack_all(store, 3 * DAY_MS);
    store_close(store);
    change(exceptions_sql);
    store = store_test_open(path, NULL);
    memcpy(seen, hours, sizeof seen);
    seen[5] = (struct series_hour){DAY_MS + 5 * HOUR_MS, 3, 1e9 / 3, 1000000, -5.5, 1e9};
    memmove(&seen[7], &seen[8], 16 * sizeof seen[0]);
    expect_hours(store, key, 1, seen, 23);
    ck_assert_uint_eq(hours_of(store, key, 1, got), 23);
    ck_assert_double_eq(got[5].lowest, -5.5);
    ck_assert_double_eq(got[5].highest, 1e9);
    if (_i == 0) { /* a late reading: the day is packed again */
        ck_assert_int_eq(append(store, key, DAY_MS + INTERVAL_MS / 2, hours[0].lowest, false),
                         SERIES_NEW);
        pack_all(store, 3 * DAY_MS);
        ck_assert_uint_eq(hours_of(store, key, 1, got), 24);
        ck_assert_int_eq(got[0].count, 7);
        hours[0] = got[0];
        expect_hours(store, key, 1, hours, 24);
        store_test_verify(store);
    } else { /* its readings go for age: the hours stay as they are */
        int deleted;
        ck_assert_int_eq(series_expire(store, 2 * DAY_MS, 10000, &deleted), STORE_OK);
        ck_assert_int_eq(deleted, 2 * 144);
        expect_hours(store, key, 1, seen, 23);
    }
    store_close(store);
}
END_TEST

/* ---- damage ---- */

static char findings[2000];

static void keep_finding(void *context, const char *text) {
    ++*(int *)context;
    size_t length = strlen(findings);
    snprintf(findings + length, sizeof findings - length, "%s\n", text);
}

START_TEST(a_damaged_pack_is_told_and_stops_nothing_else) {
    struct store *store = store_test_open(path, NULL);
    int64_t key = make_days(store, 4, 144);
    pack_all(store, 3 * DAY_MS);
    store_close(store);
    change("UPDATE packs SET pack = CAST(substr(pack, 1, 20) || x'00' || substr(pack, 22) AS "
           "BLOB) WHERE from_ms = 86400000");
    store = store_test_open(path, NULL);
    int count = 0;
    ck_assert_int_eq(store_verify(store, keep_finding, NULL, &count), STORE_DAMAGED);
    ck_assert_int_eq(count, 1);
    ck_assert_msg(strstr(findings, "packed day of elm-3/suction, 1970-01-02: damaged"), "%s",
                  findings);
    store_close(store);
    store = store_test_open(path, NULL);
    static struct reading got[1000];
    static struct series_hour hours[200];
    struct reading reading;
    size_t got_count;
    int64_t damaged_key, day_ms;
    ck_assert(!series_damage_next(store, &damaged_key, &day_ms));
    /* Whoever reads finds a gap of a day. */
    ck_assert_int_eq(series_read(store, key, 0, FOR_EVER, got, 1000, &got_count), STORE_OK);
    ck_assert_uint_eq(got_count, 3 * 144);
    ck_assert_int_eq(got[144].time_ms, 2 * DAY_MS);
    ck_assert_uint_eq(series_damage_met(store), 1);
    ck_assert_int_eq(series_hours(store, key, 0, FOR_EVER, hours, 200, &got_count), STORE_OK);
    ck_assert_uint_eq(got_count, 3 * 24);
    ck_assert_int_eq(hours[24].hour_ms, 2 * DAY_MS);
    ck_assert_int_eq(series_before(store, key, 2 * DAY_MS, &reading), STORE_OK);
    ck_assert_int_eq(reading.time_ms, DAY_MS - INTERVAL_MS);
    ck_assert_int_eq(series_after(store, key, DAY_MS, &reading), STORE_OK);
    ck_assert_int_eq(reading.time_ms, 2 * DAY_MS);
    ck_assert_int_eq(series_newest(store, key, &reading), STORE_OK);
    ck_assert_uint_eq(series_damage_met(store), 4);
    /* It is told, once. */
    ck_assert(series_damage_next(store, &damaged_key, &day_ms));
    ck_assert_int_eq(damaged_key, key);
    ck_assert_int_eq(day_ms, DAY_MS);
    ck_assert(!series_damage_next(store, &damaged_key, &day_ms));
    /* A late reading of that day is kept, its hours are left as they are, and packing passes on. */
    ck_assert_int_eq(append(store, key, DAY_MS + 77, 5.0, false), SERIES_NEW);
    ck_assert_int_eq(series_hours_rebuild(store, key, INTERVAL_MS, DAY_MS, DAY_MS), STORE_OK);
    ck_assert_int_eq(pack_all(store, 4 * DAY_MS), DAY_ROWS);
    ck_assert_int_eq(series_after(store, key, 3 * DAY_MS, &reading), STORE_OK);
    ck_assert_int_eq(series_read(store, key, DAY_MS, 2 * DAY_MS, got, 1000, &got_count), STORE_OK);
    ck_assert_uint_eq(got_count, 1);
    int deleted;
    ck_assert_int_eq(series_expire(store, 2 * DAY_MS, 10000, &deleted), STORE_OK);
    ck_assert_int_eq(deleted, 2 * 144 + 1);
    store_test_verify(store);
    ck_assert_int_eq(series_hours(store, key, 0, FOR_EVER, hours, 200, &got_count), STORE_OK);
    ck_assert_uint_eq(got_count, 3 * 24);
    store_close(store);
}
END_TEST

static const struct {
    const char *sql, *words;
} tamperings[] = {
    {"UPDATE packs SET pack = (SELECT pack FROM packs WHERE from_ms = 86400000) WHERE from_ms = 0",
     "1970-01-01: damaged"},
    {"UPDATE packs SET pack = x''", "damaged"},
    {"UPDATE packs SET pack = x'D2' || substr(pack, 2)", "damaged"},
    {"UPDATE packs SET count = count + 1 WHERE from_ms = 0;"
     "UPDATE totals SET value = value + 1 WHERE name = 'readings'",
     "another number"},
    {"UPDATE packs SET count = count + 1", "running total"},
    {"DELETE FROM packs WHERE from_ms = 86400000", "running total"},
    {"DELETE FROM packs WHERE from_ms = 86400000;"
     "UPDATE totals SET value = value - 144 WHERE name = 'readings'",
     "there are no readings"},
    {"INSERT INTO readings VALUES (1, 600000, 7.0, 0);"
     "UPDATE totals SET value = value + 1 WHERE name = 'readings'",
     "twice"},
    {"UPDATE packs SET point = 9", "belongs to no row"},
    {"UPDATE day_hours SET point = 9", "belongs to no row"},
    {"UPDATE day_hours SET hours = (SELECT hours FROM day_hours WHERE day = 1) WHERE day = 0",
     "1970-01-01: its hours are damaged"},
    {"UPDATE day_hours SET hours = x''", "hours are damaged"},
    {"UPDATE day_hours SET hours = x'E2' || substr(hours, 2)", "hours are damaged"},
    {"DELETE FROM day_hours WHERE day = 1", "missing"},
    {"DELETE FROM packs WHERE from_ms = 2 * 86400000;"
     "UPDATE totals SET value = value - 144 WHERE name = 'readings'",
     "hours are noted, but there are no readings"},
    {"INSERT INTO hours VALUES (1, 7200000, 0, 0, 0, NULL, NULL)", "missing"},
    {"INSERT INTO hours VALUES (1, 7200000, 6, 1, 3600000, 0, 1)", "lowest or highest"},
};

START_TEST(verify_finds_what_was_tampered_with) {
    struct store *store = store_test_open(path, NULL);
    make_days(store, 4, 144);
    pack_all(store, 3 * DAY_MS);
    store_test_verify(store);
    store_close(store);
    change(tamperings[_i].sql);
    store = store_test_open(path, NULL);
    int count = 0;
    ck_assert_int_eq(store_verify(store, keep_finding, NULL, &count), STORE_DAMAGED);
    ck_assert_msg(strstr(findings, tamperings[_i].words), "says: %s", findings);
    store_close(store);
}
END_TEST

/* ---- faults ---- */

#define BATCHES 20 /* 200 readings of each of three points: more than a day */
#define LAST_MS (INT64_C(1700000000000) + 2 * DAY_MS)

static void make_batches(void) {
    static const char *const suffixes[] = {"", "-wal", "-shm"};
    char name[400];
    for (size_t i = 0; i < 3; i++) {
        snprintf(name, sizeof name, "%s%s", path, suffixes[i]);
        unlink(name);
    }
    struct store *store = store_test_open(path, FAILING_VFS);
    for (int64_t i = 0; i < BATCHES; i++)
        ck_assert_int_eq(store_test_write_batch(store, i), STORE_OK);
    store_close(store);
}

static void expect_all_batches(void) {
    struct store *store = store_test_open(path, NULL);
    ck_assert_int_eq(store_test_count_batches(store), BATCHES);
    store_test_verify(store);
    store_close(store);
}

/* Packs in small steps until something fails; checks points in between. */
static enum store_status pack_with_faults(void) {
    struct store *store = NULL;
    char why[500];
    const struct store_options options = {STORE_READ_WRITE, 50, FAILING_VFS};
    enum store_status status = store_open(path, &options, &store, why, sizeof why);
    for (int packed = 1; status == STORE_OK && packed > 0;) {
        status = series_pack(store, LAST_MS, 50, &packed);
        if (status == STORE_OK)
            store_checkpoint(store);
    }
    store_close(store);
    return status;
}

START_TEST(every_failing_call_leaves_every_reading) {
    static const struct {
        unsigned kinds;
        int code;
        bool lasting;
    } faults[] = {{FAIL_WRITE, SQLITE_FULL, false},
                  {FAIL_WRITE, SQLITE_IOERR_WRITE, true},
                  {FAIL_SYNC, SQLITE_IOERR_FSYNC, false},
                  {FAIL_READ, SQLITE_IOERR_READ, false}};
    failing_vfs_register();
    long stopped = 0, n = 1;
    for (bool fired = true; fired; n += 1 + n / 8) {
        make_batches();
        failing_vfs_arm(faults[_i].kinds, n, faults[_i].code, faults[_i].lasting);
        stopped += pack_with_faults() != STORE_OK;
        fired = failing_vfs_fired();
        failing_vfs_arm(0, 0, 0, false);
        expect_all_batches();
    }
    printf("fault %d: calls up to %ld failed, %ld runs stopped\n", _i, n, stopped);
    ck_assert_int_gt(stopped, 0);
    ck_assert_int_gt(ask("SELECT count(*) FROM packs"), 0);
}
END_TEST

START_TEST(a_power_cut_while_packing_leaves_every_reading) {
    failing_vfs_register();
    uint64_t random = test_seed() + (uint64_t)_i;
    struct test_random choice = {random};
    make_batches();
    failing_vfs_start_shadows();
    struct store *store = store_test_open(path, FAILING_VFS);
    int steps = (int)(test_random_next(&choice) % 8);
    for (int i = 0; i < steps; i++) {
        pack(store, LAST_MS, 50);
        if (test_random_unit(&choice) < 0.3)
            store_checkpoint(store);
    }
    int packed;
    failing_vfs_arm(FAIL_SYNC, 1, SQLITE_IOERR_FSYNC, true);
    if (_i % 2)
        ck_assert_int_ne(series_pack(store, LAST_MS, 50, &packed), STORE_OK);
    else
        store_checkpoint(store);
    char home[300];
    snprintf(home, sizeof home, "%s", store_test_path(folder, "cut"));
    ck_assert_int_eq(mkdir(home, 0700), 0);
    failing_vfs_cut(home, &random);
    failing_vfs_arm(0, 0, 0, false);
    failing_vfs_stop_shadows();
    store_close(store);
    struct store *left = store_test_open(store_test_path(home, "subslab.db"), NULL);
    ck_assert_int_eq(store_test_count_batches(left), BATCHES);
    store_test_verify(left);
    store_close(left);
    store_test_remove(home);
}
END_TEST

START_TEST(a_kill_while_packing_loses_nothing) {
    failing_vfs_register();
    struct test_random random = {test_seed()};
    make_batches();
    for (int kills = 0; kills < 30; kills++) {
        pid_t child = fork();
        if (child == 0) {
            struct store *store = store_test_open(path, FAILING_VFS);
            int packed = 1;
            while (packed > 0 && series_pack(store, LAST_MS, 10, &packed) == STORE_OK)
                ;
            pause();
        }
        usleep((useconds_t)(test_random_unit(&random) * 60000.0));
        kill(child, SIGKILL);
        int status;
        waitpid(child, &status, 0);
        ck_assert(WIFSIGNALED(status));
        expect_all_batches();
    }
    ck_assert_int_gt(ask("SELECT count(*) FROM packs"), 0);
}
END_TEST

int main(void) {
    test_seed();
    TCase *same = tcase_create("same"), *faults = tcase_create("faults");
    tcase_add_checked_fixture(same, set_up, tear_down);
    tcase_add_loop_test(same, nobody_who_reads_sees_a_difference, 0, 40);
    tcase_add_test(same, only_closed_days_are_packed);
    tcase_add_test(same, one_step_is_small);
    tcase_add_test(same, twins_of_packed_readings_are_found_whatever_is_said);
    tcase_add_test(same, retention_takes_packed_days_whole);
    tcase_add_test(same, points_are_packed_in_turn);
    tcase_add_test(same, a_backup_holds_the_packs);
    tcase_add_test(same, hours_of_a_packed_day_are_what_its_pack_says);
    tcase_add_test(same, hours_of_readings_that_went_for_age_are_kept);
    tcase_add_loop_test(same, exceptions_of_an_earlier_build_count_until_the_day_is_packed_again, 0,
                        2);
    tcase_add_test(same, a_damaged_pack_is_told_and_stops_nothing_else);
    tcase_add_loop_test(same, verify_finds_what_was_tampered_with, 0,
                        (int)(sizeof tamperings / sizeof tamperings[0]));
    tcase_add_checked_fixture(faults, set_up, tear_down);
    tcase_add_loop_test(faults, every_failing_call_leaves_every_reading, 0, 4);
    tcase_add_loop_test(faults, a_power_cut_while_packing_leaves_every_reading, 0, 20);
    tcase_add_test(faults, a_kill_while_packing_loses_nothing);
    TCase *const tcases[] = {same, faults};
    return run_test_cases(tcases, 2);
}
