/*
 * Two stores with the same random readings, one of them packed now and then: nobody who reads sees
 * a difference.
 */
#include "series_pack_bench.h"

#include <math.h>
#include <string.h>

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

int main(void) {
    TCase *same = tcase_create("same");
    tcase_add_checked_fixture(same, set_up, tear_down);
    tcase_add_loop_test(same, nobody_who_reads_sees_a_difference, 0, 40);
    return run_test_case(same);
}
