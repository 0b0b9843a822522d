/* A backlog that is gathered: nobody who reads sees a difference to readings put into their places
   one by one, whenever the process dies. */
#include "pack/day_pack.h"
#include "store_support.h"

#include <math.h>

#define POINTS 5
#define HOUR_MS INT64_C(3600000)
#define DAY_MS DAY_PACK_DAY_MS
#define INTERVAL_MS INT64_C(1800000)
#define START_MS (INT64_C(19723) * DAY_MS) /* 2024-01-01 */

enum { READINGS_MAX = 4000, HOURS_MAX = 1000 };

static const char *folder;
static struct store *direct, *gathered;
static int64_t keys[POINTS], newest_ms[POINTS];
static struct test_random randomness;

static unsigned below(unsigned limit) {
    return (unsigned)(test_random_next(&randomness) % limit);
}

static void set_up(void) {
    struct store **stores[2] = {&direct, &gathered};
    folder = store_test_folder();
    for (int i = 0; i < 2; i++) {
        *stores[i] =
            store_test_open(store_test_path(folder, i ? "gathered.db" : "direct.db"), NULL);
        for (int p = 0; p < POINTS; p++) {
            char name[20];
            snprintf(name, sizeof name, "point-%d", p);
            ck_assert_int_eq(series_key(*stores[i], "mill", name, &keys[p]), STORE_OK);
            ck_assert_int_eq(series_set_interval(*stores[i], keys[p], INTERVAL_MS), STORE_OK);
            newest_ms[p] = START_MS - 1;
        }
    }
}

static void tear_down(void) {
    store_close(direct);
    store_close(gathered);
    store_test_remove(folder);
}

static int64_t ask(const char *sql) {
    return store_test_ask(store_test_path(folder, "gathered.db"), sql);
}

/* ---- what comes ---- */

static void append(struct store *store, int point, const struct reading *reading, bool newest) {
    enum series_append result;
    ck_assert_int_eq(
        series_append(store, keys[point], reading, SERIES_FROM_SENSOR, newest, &result), STORE_OK);
    ck_assert_int_eq(result, SERIES_NEW);
}

/* The hours that the monitor would put: those that were computed where every reading is at once. */
static void put_hours(int point, int64_t from_ms, int64_t to_ms) {
    struct series_hour hours[HOURS_MAX];
    size_t count;
    ck_assert_int_eq(series_hours_rebuild(direct, keys[point], INTERVAL_MS, from_ms, to_ms),
                     STORE_OK);
    ck_assert_int_eq(
        series_hours(direct, keys[point], from_ms - HOUR_MS, to_ms + 1, hours, HOURS_MAX, &count),
        STORE_OK);
    for (size_t i = 0; i < count; i++)
        ck_assert_int_eq(series_hour_put(gathered, keys[point], &hours[i]), STORE_OK);
}

static void take_newest(int point) {
    const struct reading reading = {newest_ms[point] + 1 + below(2 * (unsigned)INTERVAL_MS),
                                    200.0 + test_random_normal(&randomness)};
    newest_ms[point] = reading.time_ms;
    append(direct, point, &reading, true);
    append(gathered, point, &reading, true);
    put_hours(point, reading.time_ms - INTERVAL_MS, reading.time_ms);
}

static void take_late(int point) {
    struct store *const stores[2] = {direct, gathered};
    struct reading before;
    const int64_t at_ms = newest_ms[point] - 1 - below(8 * (unsigned)HOUR_MS);
    const struct reading late = {at_ms, 100.0};
    if (at_ms < START_MS || (series_before(direct, keys[point], at_ms + 1, &before) == STORE_OK &&
                             before.time_ms == at_ms))
        return;
    for (int i = 0; i < 2; i++) {
        append(stores[i], point, &late, false);
        ck_assert_int_eq(series_hours_rebuild(stores[i], keys[point], INTERVAL_MS,
                                              at_ms - INTERVAL_MS, at_ms + INTERVAL_MS),
                         STORE_OK);
    }
}

static void take_turn(void) {
    ck_assert_int_eq(store_begin(direct), STORE_OK);
    ck_assert_int_eq(store_begin(gathered), STORE_OK);
    for (unsigned i = below(40); i > 0; i--) {
        take_newest((int)below(POINTS));
        if (below(20) == 0)
            take_late((int)below(POINTS));
    }
    ck_assert_int_eq(store_commit(direct), STORE_OK);
    ck_assert_int_eq(store_commit(gathered), STORE_OK);
}

/* A turn that fails leaves nothing. */
static void take_and_fail(void) {
    const struct reading reading = {newest_ms[0] + 1000, 1.0};
    ck_assert_int_eq(store_begin(gathered), STORE_OK);
    append(gathered, 0, &reading, true);
    store_rollback(gathered);
}

/* ---- what is read ---- */

static void same_point(int point) {
    static struct reading a[READINGS_MAX], b[READINGS_MAX];
    static struct series_hour c[HOURS_MAX], d[HOURS_MAX];
    size_t counts[4];
    int64_t key = keys[point];
    ck_assert_int_eq(series_read(direct, key, 0, INT64_MAX, a, READINGS_MAX, &counts[0]), STORE_OK);
    ck_assert_int_eq(series_read(gathered, key, 0, INT64_MAX, b, READINGS_MAX, &counts[1]),
                     STORE_OK);
    ck_assert_uint_eq(counts[0], counts[1]);
    for (size_t i = 0; i < counts[0]; i++)
        ck_assert(memcmp(&a[i], &b[i], sizeof a[i]) == 0);
    ck_assert_int_eq(series_hours(direct, key, 0, INT64_MAX, c, HOURS_MAX, &counts[2]), STORE_OK);
    ck_assert_int_eq(series_hours(gathered, key, 0, INT64_MAX, d, HOURS_MAX, &counts[3]), STORE_OK);
    ck_assert_uint_eq(counts[2], counts[3]);
    for (size_t i = 0; i < counts[2]; i++)
        ck_assert(c[i].hour_ms == d[i].hour_ms && c[i].count == d[i].count &&
                  c[i].covered_ms == d[i].covered_ms &&
                  memcmp(&c[i].value_ms, &d[i].value_ms, sizeof(double)) == 0);
}

static void same_total(void) {
    int64_t a, b;
    ck_assert_int_eq(series_count(direct, &a), STORE_OK);
    ck_assert_int_eq(series_count(gathered, &b), STORE_OK);
    ck_assert_int_eq(a, b);
}

static void same_all(void) {
    for (int point = 0; point < POINTS; point++)
        same_point(point);
    same_total();
}

static void copy(const char *from, const char *to) {
    char command[700];
    snprintf(command, sizeof command, "cp %s %s", store_test_path(folder, from),
             store_test_path(folder, to));
    ck_assert_int_eq(system(command), 0);
}

/* What a process that dies now leaves. */
static void same_after_a_death(void) {
    copy("gathered.db", "dead.db");
    copy("gathered.db-wal", "dead.db-wal");
    struct store *alive = gathered;
    gathered = store_test_open(store_test_path(folder, "dead.db"), NULL);
    same_all();
    store_test_verify(gathered);
    store_close(gathered);
    gathered = alive;
}

/* As the operator's tool does beside a daemon at work. */
static void verify_beside(void) {
    struct store *reader = NULL;
    char why[500] = "";
    const struct store_options options = {STORE_READ_ONLY, 100, NULL};
    ck_assert_int_eq(
        store_open(store_test_path(folder, "gathered.db"), &options, &reader, why, sizeof why),
        STORE_OK);
    store_test_verify(reader);
    store_close(reader);
}

static void pack_both(void) {
    int packed;
    ck_assert_int_eq(series_pack(direct, newest_ms[0] - DAY_MS, 500, &packed), STORE_OK);
    ck_assert_int_eq(series_pack(gathered, newest_ms[0] - DAY_MS, 500, &packed), STORE_OK);
}

static void one_step(void) {
    bool more;
    take_turn();
    switch (below(12)) {
    case 0:
        same_after_a_death();
        break;
    case 1:
        same_point((int)below(POINTS));
        break;
    case 2:
        ck_assert_int_eq(series_place(gathered, 1 + (int)below(60), true, &more), STORE_OK);
        break;
    case 3:
        series_gather(gathered, below(3) > 0);
        break;
    case 4:
        take_and_fail();
        break;
    case 5:
        pack_both();
        break;
    case 6:
        verify_beside();
        break;
    default:
        ck_assert_int_eq(series_place(gathered, 1 + (int)below(60), false, &more), STORE_OK);
    }
    same_total();
}

START_TEST(nobody_sees_a_difference) {
    randomness = (struct test_random){test_seed() + (uint64_t)_i};
    series_gather(gathered, true);
    for (int i = 0; i < 60; i++)
        one_step();
    same_after_a_death();
    same_all();
    store_test_verify(gathered);
    series_gather(gathered, false);
    for (bool more = true; more;)
        ck_assert_int_eq(series_place(gathered, 100, false, &more), STORE_OK);
    ck_assert_int_eq(ask("SELECT count(*) FROM arrivals"), 0);
    same_all();
    store_test_verify(gathered);
}
END_TEST

static void come_in_turn(int count) {
    for (int i = 0; i < count; i++)
        append(gathered, i % POINTS, &(struct reading){START_MS + i * INT64_C(1000), 200.0}, true);
}

START_TEST(what_is_asked_of_a_point_goes_into_its_place) {
    struct reading found;
    series_gather(gathered, true);
    come_in_turn(50 * POINTS);
    ck_assert_int_eq(ask("SELECT count(*) FROM readings"), 0);
    ck_assert_int_eq(series_newest(gathered, keys[1], &found), STORE_OK);
    ck_assert_int_eq(found.time_ms, START_MS + (49 * POINTS + 1) * INT64_C(1000));
    ck_assert_int_eq(ask("SELECT count(*) FROM readings"), 50);
}
END_TEST

START_TEST(they_go_when_the_backlog_is_over_or_the_store_is_closed) {
    bool more;
    series_gather(gathered, true);
    come_in_turn(50 * POINTS);
    ck_assert_int_eq(series_place(gathered, 60, false, &more), STORE_OK);
    ck_assert(!more);
    ck_assert_int_eq(ask("SELECT count(*) FROM arrivals"), 50 * POINTS);
    series_gather(gathered, false);
    ck_assert_int_eq(series_place(gathered, 60, false, &more), STORE_OK);
    ck_assert(more);
    ck_assert_int_eq(ask("SELECT count(*) FROM readings"), 100); /* two points: not many at once */
    store_close(gathered);
    ck_assert_int_eq(ask("SELECT count(*) FROM arrivals"), 0);
    ck_assert_int_eq(ask("SELECT count(*) FROM readings"), 50 * POINTS);
    gathered = store_test_open(store_test_path(folder, "gathered.db"), NULL);
}
END_TEST

START_TEST(without_room_they_go_while_more_come) {
    const int most = 262144;
    series_gather(gathered, true);
    ck_assert_int_eq(store_begin(gathered), STORE_OK);
    come_in_turn(most);
    ck_assert_int_eq(store_commit(gathered), STORE_OK);
    for (int i = 0; i < POINTS + 1; i++)
        append(gathered, i % POINTS,
               &(struct reading){START_MS + (most + i) * INT64_C(1000), 200.0}, true);
    ck_assert_int_eq(ask("SELECT count(*) FROM readings"), most + POINTS);
    ck_assert_int_eq(ask("SELECT count(*) FROM arrivals"), 1);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("series_arrivals");
    tcase_set_timeout(tcase, 120);
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_loop_test(tcase, nobody_sees_a_difference, 0, 12);
    tcase_add_test(tcase, what_is_asked_of_a_point_goes_into_its_place);
    tcase_add_test(tcase, they_go_when_the_backlog_is_over_or_the_store_is_closed);
    tcase_add_test(tcase, without_room_they_go_while_more_come);
    return run_test_case(tcase);
}
