/* Readings, rollups and daily rows of points. */
#include "store_support.h"
#include "test_support.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define HOUR 3600000

static const char *folder;
static struct store *store;
static int64_t key;

static void set_up(void) {
    folder = store_test_folder();
    store = store_test_open(store_test_path(folder, "s.db"), NULL);
    ck_assert_int_eq(series_key(store, "elm-3", "suction", &key), STORE_OK);
}

static void tear_down(void) {
    store_close(store);
    store_test_remove(folder);
}

static enum series_append append(int64_t time_ms, double value) {
    struct reading reading = {time_ms, value};
    enum series_append result;
    ck_assert_int_eq(series_append(store, key, &reading, SERIES_FROM_SENSOR, false, &result),
                     STORE_OK);
    return result;
}

START_TEST(keys_are_stable) {
    int64_t other, again, missing = -7;
    ck_assert_int_eq(series_key(store, "elm-3", "radon", &other), STORE_OK);
    ck_assert_int_ne(other, key);
    ck_assert_int_eq(series_key(store, "elm-3", "suction", &again), STORE_OK);
    ck_assert_int_eq(again, key);
    ck_assert_int_eq(series_find(store, "elm-3", "flow", &missing), STORE_NOT_FOUND);
    ck_assert_int_eq(missing, -7);
    ck_assert_int_eq(series_find(store, "ELM-3", "suction", &missing), STORE_NOT_FOUND);
    store_close(store);
    store = store_test_open(store_test_path(folder, "s.db"), NULL);
    ck_assert_int_eq(series_find(store, "elm-3", "radon", &again), STORE_OK);
    ck_assert_int_eq(again, other);
}
END_TEST

START_TEST(a_twin_is_the_same_or_a_conflict_and_the_first_is_kept) {
    ck_assert_int_eq(append(1000, 250.25), SERIES_NEW);
    ck_assert_int_eq(append(1000, 250.25), SERIES_SAME);
    ck_assert_int_eq(append(1000, 250.26), SERIES_CONFLICT);
    ck_assert_int_eq(append(1001, 0.0), SERIES_NEW);
    ck_assert_int_eq(append(1001, -0.0), SERIES_SAME);
    struct reading reading;
    ck_assert_int_eq(series_after(store, key, 1000, &reading), STORE_OK);
    ck_assert_double_eq(reading.value, 250.25);
    int64_t count;
    ck_assert_int_eq(series_count(store, &count), STORE_OK);
    ck_assert_int_eq(count, 2);
}
END_TEST

START_TEST(values_come_back_to_the_last_bit) {
    const double values[] = {0.1, -1e-300, 1e300, 3.0, 4611686018427387904.0, 248.84, -0.5};
    for (size_t i = 0; i < sizeof values / sizeof values[0]; i++)
        append((int64_t)i, values[i]);
    struct reading readings[10];
    size_t count;
    ck_assert_int_eq(series_read(store, key, 0, 10, readings, 10, &count), STORE_OK);
    ck_assert_uint_eq(count, sizeof values / sizeof values[0]);
    for (size_t i = 0; i < count; i++)
        ck_assert(memcmp(&readings[i].value, &values[i], sizeof(double)) == 0);
}
END_TEST

START_TEST(neighbours_and_pages) {
    struct reading reading = {-1, -1};
    ck_assert_int_eq(series_newest(store, key, &reading), STORE_NOT_FOUND);
    int64_t other;
    ck_assert_int_eq(series_key(store, "elm-3", "zz", &other), STORE_OK);
    for (int64_t t = -5; t <= 5; t++)
        append(t * 1000, (double)t);
    ck_assert_int_eq(series_newest(store, other, &reading), STORE_NOT_FOUND);
    ck_assert_int_eq(series_newest(store, key, &reading), STORE_OK);
    ck_assert_int_eq(reading.time_ms, 5000);
    ck_assert_int_eq(series_before(store, key, 2000, &reading), STORE_OK);
    ck_assert_int_eq(reading.time_ms, 1000);
    ck_assert_int_eq(series_before(store, key, -5000, &reading), STORE_NOT_FOUND);
    ck_assert_int_eq(series_after(store, key, 2000, &reading), STORE_OK);
    ck_assert_int_eq(reading.time_ms, 2000);
    ck_assert_int_eq(series_after(store, key, 5001, &reading), STORE_NOT_FOUND);
    struct reading page[4];
    size_t count, total = 0;
    int64_t from = -4000;
    do {
        ck_assert_int_eq(series_read(store, key, from, 5000, page, 4, &count), STORE_OK);
        for (size_t i = 0; i < count; i++)
            ck_assert_int_eq(page[i].time_ms, -4000 + (int64_t)(total + i) * 1000);
        total += count;
        from = count ? page[count - 1].time_ms + 1 : from;
    } while (count == 4);
    ck_assert_uint_eq(total, 9); /* -4 … 4: `to` is outside */
}
END_TEST

START_TEST(a_rollback_takes_readings_and_count_back) {
    append(1, 1.0);
    ck_assert_int_eq(store_begin(store), STORE_OK);
    ck_assert(store_in_transaction(store));
    append(2, 2.0);
    int64_t count;
    ck_assert_int_eq(series_count(store, &count), STORE_OK);
    ck_assert_int_eq(count, 2);
    store_rollback(store);
    ck_assert(!store_in_transaction(store));
    ck_assert_int_eq(series_count(store, &count), STORE_OK);
    ck_assert_int_eq(count, 1);
    ck_assert_int_eq(append(2, 9.0), SERIES_NEW);
    store_close(store);
    store = store_test_open(store_test_path(folder, "s.db"), NULL);
    ck_assert_int_eq(series_count(store, &count), STORE_OK);
    ck_assert_int_eq(count, 2);
}
END_TEST

/* ---- rollups ---- */

static int by_time(const void *a, const void *b) {
    int64_t x = ((const struct reading *)a)->time_ms, y = ((const struct reading *)b)->time_ms;
    return (x > y) - (x < y);
}

/* What one hour must hold, straight from the definition: every reading against the hour. */
static struct series_hour expected_hour(const struct reading *sorted, size_t count,
                                        int64_t interval_ms, int64_t hour_ms) {
    struct series_hour hour = {hour_ms, 0, 0, 0, (double)NAN, (double)NAN};
    for (size_t i = 0; i < count; i++) {
        int64_t end = sorted[i].time_ms, begin = end - interval_ms;
        if (i > 0 && sorted[i - 1].time_ms > begin)
            begin = sorted[i - 1].time_ms;
        if (end >= hour_ms && end < hour_ms + HOUR) {
            hour.lowest = fmin(hour.lowest, sorted[i].value);
            hour.highest = fmax(hour.highest, sorted[i].value);
            hour.count++;
        }
        begin = begin > hour_ms ? begin : hour_ms;
        end = end < hour_ms + HOUR ? end : hour_ms + HOUR;
        if (end > begin) {
            hour.value_ms += sorted[i].value * (double)(end - begin);
            hour.covered_ms += end - begin;
        }
    }
    return hour;
}

static void expect_hours(const struct reading *sorted, size_t count, int64_t interval_ms,
                         int64_t from_hour, int64_t to_hour) {
    struct series_hour got[4000];
    size_t got_count, next = 0;
    ck_assert_int_eq(series_hours(store, key, INT64_MIN, INT64_MAX, got, 4000, &got_count),
                     STORE_OK);
    for (int64_t hour_ms = from_hour; hour_ms <= to_hour; hour_ms += HOUR) {
        struct series_hour want = expected_hour(sorted, count, interval_ms, hour_ms);
        if (want.count == 0 && want.covered_ms == 0)
            continue;
        ck_assert_uint_lt(next, got_count);
        ck_assert_int_eq(got[next].hour_ms, want.hour_ms);
        ck_assert_int_eq(got[next].count, want.count);
        ck_assert_int_eq(got[next].covered_ms, want.covered_ms);
        ck_assert_double_eq_tol(got[next].value_ms, want.value_ms,
                                1e-9 * fabs(want.value_ms) + 1e-3);
        if (want.count > 0) {
            ck_assert_double_eq(got[next].lowest, want.lowest);
            ck_assert_double_eq(got[next].highest, want.highest);
        } else {
            ck_assert(isnan(got[next].lowest) && isnan(got[next].highest));
        }
        next++;
    }
    ck_assert_uint_eq(next, got_count);
}

static size_t random_readings(struct test_random *random, struct reading *readings, size_t wanted,
                              int64_t base, int64_t interval_ms) {
    int64_t time = base;
    for (size_t i = 0; i < wanted; i++) {
        double draw = test_random_unit(random);
        int64_t step = draw < 0.1   ? 1 + (int64_t)(test_random_unit(random) * 20.0 * HOUR)
                       : draw < 0.2 ? interval_ms
                       : draw < 0.3 ? HOUR - ((time % HOUR + HOUR) % HOUR) /* on the hour */
                                    : 1 + (int64_t)(draw * 2.0 * (double)interval_ms);
        time += step;
        readings[i] = (struct reading){time, 1000.0 * test_random_unit(random) - 300.0};
    }
    return wanted;
}

static void shuffle(struct test_random *random, struct reading *readings, size_t count) {
    for (size_t i = count; i > 1; i--) {
        size_t j = (size_t)(test_random_next(random) % i);
        struct reading kept = readings[i - 1];
        readings[i - 1] = readings[j];
        readings[j] = kept;
    }
}

START_TEST(rollups_follow_the_definition) {
    static const int64_t intervals[] = {60000, 600000, 5400000, 86400000};
    struct test_random random = {test_seed() + (uint64_t)_i};
    int64_t interval_ms = intervals[_i % 4];
    int64_t base = _i % 3 == 0 ? -20 * HOUR : 1700000000000 + _i * 12345;
    struct reading sorted[60], readings[60];
    size_t count = random_readings(&random, readings, 60, base, interval_ms);
    memcpy(sorted, readings, sizeof sorted);
    qsort(sorted, count, sizeof sorted[0], by_time);
    shuffle(&random, readings, count);
    /* Each late reading is followed by a rebuild of what it can have touched. */
    for (size_t i = 0; i < count; i++) {
        append(readings[i].time_ms, readings[i].value);
        ck_assert_int_eq(series_hours_rebuild(store, key, interval_ms,
                                              readings[i].time_ms - interval_ms,
                                              readings[i].time_ms + interval_ms),
                         STORE_OK);
    }
    int64_t from = (base / HOUR - 30) * HOUR, to = (sorted[count - 1].time_ms / HOUR + 1) * HOUR;
    expect_hours(sorted, count, interval_ms, from, to);
    /* One rebuild of everything says the same. */
    ck_assert_int_eq(series_hours_rebuild(store, key, interval_ms, from, to), STORE_OK);
    expect_hours(sorted, count, interval_ms, from, to);
    ck_assert_int_eq(series_set_interval(store, key, interval_ms), STORE_OK);
}
END_TEST

START_TEST(whole_hours_add_up) {
    for (int64_t i = 0; i < 24 * 6; i++)
        append(1700006400000 + i * 600000, 10.0);
    ck_assert_int_eq(
        series_hours_rebuild(store, key, 600000, 1700006400000 - 600000, 1700006400000 + 24 * HOUR),
        STORE_OK);
    struct series_hour hours[40];
    size_t count;
    ck_assert_int_eq(series_hours(store, key, 0, INT64_MAX, hours, 40, &count), STORE_OK);
    int64_t covered = 0;
    double value = 0;
    for (size_t i = 0; i < count; i++) {
        covered += hours[i].covered_ms;
        value += hours[i].value_ms;
    }
    ck_assert_int_eq(covered, 24 * HOUR);
    ck_assert_double_eq(value, 10.0 * 24 * HOUR);
    ck_assert_int_eq(hours[0].count,
                     0); /* the first reading, on the hour, stands for the time before */
    ck_assert_int_eq(hours[0].covered_ms, 600000);
}
END_TEST

START_TEST(a_put_hour_replaces) {
    struct series_hour hour = {7 * HOUR, 0, 0.0, 60000, (double)NAN, (double)NAN}, got[2];
    size_t count;
    ck_assert_int_eq(series_hour_put(store, key, &hour), STORE_OK);
    hour = (struct series_hour){7 * HOUR, 3, 5.5, 70000, 1.0, 2.0};
    ck_assert_int_eq(series_hour_put(store, key, &hour), STORE_OK);
    ck_assert_int_eq(series_hours(store, key, 7 * HOUR, 8 * HOUR, got, 2, &count), STORE_OK);
    ck_assert_uint_eq(count, 1);
    ck_assert_int_eq(got[0].count, 3);
    ck_assert_double_eq(got[0].value_ms, 5.5);
    ck_assert_int_eq(series_hours(store, key, 0, 7 * HOUR, got, 2, &count), STORE_OK);
    ck_assert_uint_eq(count, 0);
}
END_TEST

START_TEST(days_are_kept_replaced_and_forgotten) {
    int64_t newest = -1;
    ck_assert_int_eq(series_newest_day(store, key, &newest), STORE_NOT_FOUND);
    for (int64_t d = 100; d < 110; d++) {
        struct series_day day = {d,        d * 24 * HOUR,   (d + 1) * 24 * HOUR,
                                 144,      1.5 * (double)d, 2.5 * (double)d,
                                 24 * HOUR};
        if (d == 105)
            day.median = day.mean = (double)NAN;
        ck_assert_int_eq(series_day_put(store, key, &day), STORE_OK);
        ck_assert_int_eq(series_day_put(store, key, &day), STORE_OK);
    }
    ck_assert_int_eq(series_newest_day(store, key, &newest), STORE_OK);
    ck_assert_int_eq(newest, 109);
    struct series_day days[20];
    size_t count;
    ck_assert_int_eq(series_days(store, key, 104, 107, days, 20, &count), STORE_OK);
    ck_assert_uint_eq(count, 3);
    ck_assert_int_eq(days[0].local_day, 104);
    ck_assert_double_eq(days[0].median, 156.0);
    ck_assert_double_eq(days[2].mean, 265.0);
    ck_assert_int_eq(days[2].end_ms, 107 * 24 * (int64_t)HOUR);
    ck_assert(isnan(days[1].median) && isnan(days[1].mean));
    ck_assert_int_eq(series_days_forget(store, key, 108, 109), STORE_OK);
    ck_assert_int_eq(series_newest_day(store, key, &newest), STORE_OK);
    ck_assert_int_eq(newest, 107);
}
END_TEST

static double expire_seconds(int calls, int64_t before_ms) {
    clock_t begin = clock();
    for (int i = 0; i < calls; i++) {
        int deleted;
        ck_assert_int_eq(series_expire(store, before_ms, 1000, &deleted), STORE_OK);
        ck_assert_int_eq(deleted, 0);
    }
    return (double)(clock() - begin) / CLOCKS_PER_SEC;
}

START_TEST(retention_rests_until_something_is_too_old) {
    enum { POINTS = 2000, ROUND = POINTS / 500 + 1 };
    ck_assert_int_eq(store_begin(store), STORE_OK);
    for (int p = 0; p < POINTS; p++) {
        char name[20];
        snprintf(name, sizeof name, "p%d", p);
        ck_assert_int_eq(series_key(store, "oak-9", name, &key), STORE_OK);
        append(HOUR, 1.0);
    }
    ck_assert_int_eq(store_commit(store), STORE_OK);
    double round = expire_seconds(ROUND, HOUR);
    ck_assert_double_lt(expire_seconds(10 * ROUND, HOUR), round);
    /* What comes late is seen, in a point that the round has passed too. */
    append(HOUR - 1, 2.0);
    int deleted = 0;
    for (int i = 0; i < ROUND && deleted == 0; i++)
        ck_assert_int_eq(series_expire(store, HOUR, 1000, &deleted), STORE_OK);
    ck_assert_int_eq(deleted, 1);
}
END_TEST

START_TEST(retention_goes_in_steps_and_leaves_rollups) {
    int64_t keys[5];
    const char *const names[5] = {"a", "b", "c", "d", "e"};
    for (int k = 0; k < 5; k++) {
        ck_assert_int_eq(series_key(store, "oak-9", names[k], &keys[k]), STORE_OK);
        ck_assert_int_eq(series_set_interval(store, keys[k], 600000), STORE_OK);
        key = keys[k];
        for (int64_t i = 1; i <= 60; i++)
            append(i * 600000, (double)(i + k));
        ck_assert_int_eq(series_hours_rebuild(store, key, 600000, 0, 600000 * 60), STORE_OK);
    }
    struct series_hour before[12], after[12];
    size_t count, count_after;
    key = keys[2];
    ck_assert_int_eq(series_hours(store, key, 0, INT64_MAX, before, 12, &count), STORE_OK);
    int deleted = 7, steps = 0, gone = 0;
    while (deleted > 0) {
        ck_assert_int_eq(series_expire(store, 5 * HOUR, 7, &deleted), STORE_OK);
        gone += deleted;
        ck_assert_int_lt(++steps, 100);
    }
    ck_assert_int_eq(gone, 5 * 29);
    /* A later cut deletes in every point, wherever the last call stopped. */
    ck_assert_int_eq(series_expire(store, 5 * HOUR + 600000, 3, &deleted), STORE_OK);
    ck_assert_int_eq(deleted, 3);
    for (gone = 0; deleted > 0; gone += deleted)
        ck_assert_int_eq(series_expire(store, 5 * HOUR + 2 * 600000, 1000, &deleted), STORE_OK);
    ck_assert_int_eq(gone, 7);
    int64_t left;
    ck_assert_int_eq(series_count(store, &left), STORE_OK);
    ck_assert_int_eq(left, 5 * 29);
    /* A rebuild of everything leaves the hours whose readings are gone and gets the rest right. */
    ck_assert_int_eq(series_hours_rebuild(store, key, 600000, 0, 600000 * 60), STORE_OK);
    ck_assert_int_eq(series_hours(store, key, 0, INT64_MAX, after, 12, &count_after), STORE_OK);
    ck_assert_uint_eq(count_after, count);
    for (size_t i = 0; i < count; i++) {
        ck_assert_int_eq(after[i].count, before[i].count);
        ck_assert_int_eq(after[i].covered_ms, before[i].covered_ms);
        ck_assert_double_eq(after[i].value_ms, before[i].value_ms);
    }
    store_test_verify(store);
}
END_TEST

START_TEST(a_changed_interval_does_not_condemn_old_rollups) {
    ck_assert_int_eq(series_set_interval(store, key, 600000), STORE_OK);
    int64_t interval = 0;
    ck_assert_int_eq(series_interval(store, key, &interval), STORE_OK);
    ck_assert_int_eq(interval, 600000);
    for (int64_t i = 1; i <= 30; i++)
        append(i * 900000, 5.0);
    ck_assert_int_eq(series_hours_rebuild(store, key, 600000, 0, 30 * 900000), STORE_OK);
    store_test_verify(store);
    ck_assert_int_eq(series_set_interval(store, key, 900000), STORE_OK);
    store_test_verify(store);
    for (int64_t i = 31; i <= 60; i++)
        append(i * 900000, 5.0);
    ck_assert_int_eq(series_hours_rebuild(store, key, 900000, 30 * 900000, 60 * 900000), STORE_OK);
    store_test_verify(store);
    ck_assert_int_eq(series_set_interval(store, 999, 1), STORE_NOT_FOUND);
}
END_TEST

int main(void) {
    test_seed(); /* once, before the tests fork */
    TCase *tcase = tcase_create("series");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, keys_are_stable);
    tcase_add_test(tcase, a_twin_is_the_same_or_a_conflict_and_the_first_is_kept);
    tcase_add_test(tcase, values_come_back_to_the_last_bit);
    tcase_add_test(tcase, neighbours_and_pages);
    tcase_add_test(tcase, a_rollback_takes_readings_and_count_back);
    tcase_add_loop_test(tcase, rollups_follow_the_definition, 0, 24);
    tcase_add_test(tcase, whole_hours_add_up);
    tcase_add_test(tcase, a_put_hour_replaces);
    tcase_add_test(tcase, days_are_kept_replaced_and_forgotten);
    tcase_add_test(tcase, retention_goes_in_steps_and_leaves_rollups);
    tcase_add_test(tcase, retention_rests_until_something_is_too_old);
    tcase_add_test(tcase, a_changed_interval_does_not_condemn_old_rollups);
    return run_test_case(tcase);
}
