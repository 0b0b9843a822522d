/* Packed days in the store: nobody who reads sees a difference, nothing is lost, damage is told. */
#include "series_pack_bench.h"

#include <math.h>
#include <string.h>

#define FOR_EVER (INT64_MAX / 2)

static void change(const char *sql) {
    sqlite3 *db;
    ck_assert_int_eq(sqlite3_open(path, &db), SQLITE_OK);
    ck_assert_int_eq(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(db);
}

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

START_TEST(retention_leaves_some_points_longer) {
    struct store *store = store_test_open(path, NULL);
    int64_t longer = make_days(store, 6, 144), other, total;
    int deleted;
    const struct series_longer kept = {longer, 2 * DAY_MS};
    ck_assert_int_eq(series_key(store, "h", "other", &other), STORE_OK);
    for (int day = 0; day < 6; day++)
        append(store, other, day * DAY_MS, 1.0, false);
    pack_all(store, 2 * DAY_MS);
    ck_assert_int_eq(series_keep_longer(store, &kept, 1), STORE_OK);
    ck_assert_int_eq(series_expire(store, 3 * DAY_MS, 10000, &deleted), STORE_OK);
    ck_assert_int_eq(deleted, 144 + 3);
    ck_assert_int_eq(series_expire(store, 3 * DAY_MS + HOUR_MS, 10000, &deleted), STORE_OK);
    ck_assert_int_eq(deleted, 1);
    /* When nothing else is to go, its own time comes all the same. */
    ck_assert_int_eq(series_expire(store, 6 * DAY_MS, 10000, &deleted), STORE_OK);
    ck_assert_int_eq(series_expire(store, 8 * DAY_MS, 10000, &deleted), STORE_OK);
    ck_assert_int_eq(series_count(store, &total), STORE_OK);
    ck_assert_int_eq(total, 0);
    ck_assert_int_eq(series_keep_longer(store, NULL, 0), STORE_OK);
    store_test_verify(store);
    store_close(store);
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
    ck_assert_int_eq(store_backup(store, copy, NULL, NULL, NULL, why, sizeof why), STORE_OK);
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
    {"UPDATE packs SET pack = CAST(x'D2' || substr(pack, 2) AS BLOB)", "damaged"},
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
    {"UPDATE day_hours SET hours = CAST(x'E2' || substr(hours, 2) AS BLOB)", "hours are damaged"},
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

int main(void) {
    TCase *same = tcase_create("same"), *retention = tcase_create("retention");
    tcase_add_checked_fixture(same, set_up, tear_down);
    tcase_add_checked_fixture(retention, set_up, tear_down);
    tcase_add_test(same, only_closed_days_are_packed);
    tcase_add_test(same, one_step_is_small);
    tcase_add_test(same, twins_of_packed_readings_are_found_whatever_is_said);
    tcase_add_test(same, points_are_packed_in_turn);
    tcase_add_test(same, a_backup_holds_the_packs);
    tcase_add_test(same, hours_of_a_packed_day_are_what_its_pack_says);
    tcase_add_test(same, hours_of_readings_that_went_for_age_are_kept);
    tcase_add_loop_test(same, exceptions_of_an_earlier_build_count_until_the_day_is_packed_again, 0,
                        2);
    tcase_add_test(same, a_damaged_pack_is_told_and_stops_nothing_else);
    tcase_add_loop_test(same, verify_finds_what_was_tampered_with, 0,
                        (int)(sizeof tamperings / sizeof tamperings[0]));
    tcase_add_test(retention, retention_takes_packed_days_whole);
    tcase_add_test(retention, retention_leaves_some_points_longer);
    TCase *const cases[] = {same, retention};
    return run_test_cases(cases, 2);
}
