/*
 * Stores of older versions, as kept in store_version_1.sql and its like, become one of today: whole
 * or not at all, and who reads sees no difference before, while and after what they hold is packed
 * in small steps.
 */
#include "power_cut.h"
#include "store/records.h"
#include "store/store_sqlite.h"
#include "test_support.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#define BATCHES 12 /* in the store of version 1 */
#define NEWEST 9   /* version */
#define LAST_MS INT64_C(1800000000000)
#define ROOM 2000

static const char *folder, *path;
static char *sqls[NEWEST]; /* by version */

/* All that can be read of the points of a store. */
struct snapshot {
    size_t reading_count[4], hour_count[4];
    struct reading readings[4][ROOM];
    struct series_hour hours[4][ROOM];
};
static struct snapshot before, after;

static void set_up(void) {
    folder = store_test_folder();
    path = store_test_path(folder, "subslab.db");
    for (int version = 1; version < NEWEST; version++) {
        char name[300];
        snprintf(name, sizeof name, TEST_DATA_DIR "/store_version_%d.sql", version);
        FILE *file = fopen(name, "r");
        ck_assert_ptr_nonnull(file);
        sqls[version] = calloc(1, 200000);
        ck_assert_ptr_nonnull(sqls[version]);
        ck_assert_uint_gt(fread(sqls[version], 1, 199999, file), 10000);
        fclose(file);
    }
}

static void tear_down(void) {
    for (int version = 1; version < NEWEST; version++)
        free(sqls[version]);
    store_test_remove(folder);
}

static int64_t ask(const char *question) {
    return store_test_ask(path, question);
}

static void make_version(int version) {
    static const char *const suffixes[] = {"", "-wal", "-shm"};
    char name[400];
    for (size_t i = 0; i < 3; i++) {
        snprintf(name, sizeof name, "%s%s", path, suffixes[i]);
        unlink(name);
    }
    sqlite3 *db;
    ck_assert_int_eq(sqlite3_open(path, &db), SQLITE_OK);
    ck_assert_int_eq(
        sqlite3_exec(db, "PRAGMA synchronous=OFF; PRAGMA journal_mode=WAL", NULL, NULL, NULL),
        SQLITE_OK);
    ck_assert_int_eq(sqlite3_exec(db, sqls[version], NULL, NULL, NULL), SQLITE_OK);
    ck_assert_int_eq(sqlite3_close(db), SQLITE_OK);
    ck_assert_int_eq(ask("PRAGMA user_version"), version);
}

/* The version that its tables belong to. */
static int64_t tables(void) {
    return 1 + ask("SELECT max(name IN ('day_packs', 'packs')) + max(name = 'day_hours') + "
                   "max(name = 'packs') + max(name = 'by_hand') + "
                   "max(name = 'radon_tests') + max(name = 'home_reports') + "
                   "max(name = 'arrivals') + max(name = 'trackers' AND sql LIKE '%STRICT') "
                   "FROM sqlite_schema");
}

/* ---- what is read ---- */

static void look(struct store *store, struct snapshot *snapshot) {
    static const char *const points[4] = {"suction", "radon", "hole-1", "old"};
    *snapshot = (struct snapshot){0};
    for (int i = 0; i < 4; i++) {
        int64_t key;
        if (series_find(store, "elm-3", points[i], &key) != STORE_OK)
            continue;
        ck_assert_int_eq(series_read(store, key, INT64_MIN, INT64_MAX, snapshot->readings[i], ROOM,
                                     &snapshot->reading_count[i]),
                         STORE_OK);
        ck_assert_int_eq(series_hours(store, key, INT64_MIN, INT64_MAX, snapshot->hours[i], ROOM,
                                      &snapshot->hour_count[i]),
                         STORE_OK);
    }
}

static void look_at_old(void) {
    struct store *store = NULL;
    char why[500];
    const struct store_options options = {STORE_READ_ONLY, 100, NULL};
    ck_assert_int_eq(store_open(path, &options, &store, why, sizeof why), STORE_OK);
    look(store, &before);
    store_close(store);
}

static void expect_the_same(struct store *store) {
    look(store, &after);
    for (int i = 0; i < 4; i++) {
        ck_assert_uint_eq(before.reading_count[i], after.reading_count[i]);
        ck_assert_uint_eq(before.hour_count[i], after.hour_count[i]);
        ck_assert(memcmp(before.readings[i], after.readings[i],
                         before.reading_count[i] * sizeof before.readings[i][0]) == 0);
        for (size_t h = 0; h < before.hour_count[i]; h++) {
            const struct series_hour *a = &before.hours[i][h], *b = &after.hours[i][h];
            ck_assert_int_eq(a->hour_ms, b->hour_ms);
            ck_assert_int_eq(a->count, b->count);
            ck_assert_int_eq(a->covered_ms, b->covered_ms);
            ck_assert_double_eq(a->value_ms, b->value_ms);
            ck_assert(a->count == 0 || (a->lowest == b->lowest && a->highest == b->highest));
        }
    }
}

/* The lazy part: what there is becomes packed in small steps, and reads the same after each. */
static void expect_packed(struct store *store) {
    int packed = 1;
    while (packed > 0) {
        ck_assert_int_eq(series_pack(store, LAST_MS, 40, &packed), STORE_OK);
        ck_assert_int_lt(packed, 2 * 40 + 24);
        expect_the_same(store);
    }
    store_test_verify(store);
}

static char finding[600]; /* the first */

static void keep_finding(void *context, const char *text) {
    (void)context;
    if (!*finding)
        snprintf(finding, sizeof finding, "%s", text);
}

/* ---- one of today ---- */

static void expect_batches(struct store *store) {
    ck_assert_int_eq(store_test_count_batches(store), BATCHES);
    ck_assert_int_eq(store_test_write_batch(store, BATCHES), STORE_OK);
    int packed;
    ck_assert_int_eq(series_pack(store, LAST_MS, 1000, &packed), STORE_OK);
    ck_assert_int_eq(store_test_count_batches(store), BATCHES + 1);
    store_test_verify(store);
    int64_t key, day;
    ck_assert_int_eq(series_find(store, "elm-3", "suction", &key), STORE_OK);
    ck_assert_int_eq(series_newest_day(store, key, &day), STORE_OK);
    ck_assert_int_eq(day, 19675);
}

static void expect_upgraded(int version) {
    struct store *store = store_test_open(path, NULL);
    store_test_verify(store);
    expect_the_same(store);
    expect_packed(store);
    if (version == 1)
        expect_batches(store);
    store_close(store);
    ck_assert_int_eq(ask("PRAGMA user_version"), NEWEST);
    ck_assert_int_eq(ask("SELECT count(*) FROM hours"), 0);
    ck_assert_int_eq(ask("SELECT count(*) FROM readings"), 0);
}

START_TEST(an_old_store_becomes_one_of_today) {
    make_version(_i);
    look_at_old();
    for (int i = 0; i < 3; i++)
        ck_assert_uint_gt(before.hour_count[i], 10);
    ck_assert_uint_eq(before.hour_count[3] > 10, _i > 1);
    expect_upgraded(_i);
}
END_TEST

START_TEST(hours_outlive_their_readings_after_an_upgrade) {
    make_version(_i);
    look_at_old();
    struct store *store = store_test_open(path, NULL);
    expect_packed(store);
    int deleted;
    do
        ck_assert_int_eq(series_expire(store, LAST_MS, 1000, &deleted), STORE_OK);
    while (deleted > 0);
    for (int i = 0; i < 4; i++)
        before.reading_count[i] = 0;
    expect_the_same(store);
    store_test_verify(store);
    store_close(store);
    ck_assert_int_eq(ask("SELECT count(*) FROM packs"), 0);
}
END_TEST

START_TEST(the_schema_is_the_same_however_one_came_to_it) {
    static const char look[] =
        "SELECT group_concat(name || ':' || coalesce(sql, ''), ';') FROM (SELECT * FROM "
        "sqlite_schema WHERE name NOT LIKE 'sqlite_%' ORDER BY name)";
    char *schemas[NEWEST];
    for (int i = 0; i < NEWEST; i++) {
        if (i > 0)
            make_version(i);
        else
            path = store_test_path(folder, "new.db");
        store_close(store_test_open(path, NULL));
        sqlite3 *db;
        sqlite3_stmt *statement;
        ck_assert_int_eq(sqlite3_open(path, &db), SQLITE_OK);
        ck_assert_int_eq(sqlite3_prepare_v2(db, look, -1, &statement, NULL), SQLITE_OK);
        ck_assert_int_eq(sqlite3_step(statement), SQLITE_ROW);
        schemas[i] = strdup((const char *)sqlite3_column_text(statement, 0));
        sqlite3_finalize(statement);
        sqlite3_close(db);
    }
    ck_assert_ptr_nonnull(strstr(schemas[0], "second_looks"));
    ck_assert_ptr_nonnull(strstr(schemas[0], "radon_tests"));
    for (int i = 1; i < NEWEST; i++)
        ck_assert_str_eq(schemas[0], schemas[i]);
    for (int i = 0; i < NEWEST; i++)
        free(schemas[i]);
}
END_TEST

/* ---- types (version 9) ---- */

#define LOOSE_TABLES                                                                               \
    "SELECT count(*) FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND NOT "     \
    "strict AND name NOT LIKE 'sqlite_%'"

START_TEST(records_are_kept_in_tables_that_know_their_types) {
    make_version(8);
    look_at_old();
    ck_assert_int_gt(ask(LOOSE_TABLES), 20);
    ck_assert_int_eq(ask("SELECT count(*) FROM trackers WHERE alarm = 2"), 1);
    struct store *store = store_test_open(path, NULL);
    store_test_verify(store);
    expect_the_same(store);
    ck_assert_int_eq(ask(LOOSE_TABLES), 0);
    ck_assert_int_eq(record_tracker_put(store, &(struct record_tracker){"elm-3", "radon",
                                                                        "radon-high", 2, LAST_MS}),
                     STORE_OK);
    static const char *const wrong[] = {"UPDATE outbox SET body = x'00'",
                                        "INSERT INTO totals VALUES ('rooms', 'many')",
                                        "UPDATE refused SET example = 'text'"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        ck_assert_int_eq(sqlite3_exec(store->db, wrong[i], NULL, NULL, NULL),
                         SQLITE_CONSTRAINT_DATATYPE);
    store_close(store);
    ck_assert_int_eq(ask("SELECT count(*) FROM trackers WHERE point = 'suction' AND phase = 2 AND "
                         "since_ms = 1700000000000 OR since_ms = 1800000000000"),
                     2);
}
END_TEST

/* Rows that no version wrote, as somebody may have put them there with a shell. */
START_TEST(what_is_of_a_wrong_type_is_told_and_keeps_nobody_from_starting) {
    make_version(8);
    sqlite3 *db;
    ck_assert_int_eq(sqlite3_open(path, &db), SQLITE_OK);
    ck_assert_int_eq(sqlite3_exec(db,
                                  "UPDATE refused SET example = 'text' WHERE topic = 'a/b';"
                                  "UPDATE days SET median = 'low';"
                                  "INSERT INTO notes VALUES ('x', x'00')",
                                  NULL, NULL, NULL),
                     SQLITE_OK);
    ck_assert_int_eq(sqlite3_close(db), SQLITE_OK);
    look_at_old();
    for (int starts = 0; starts < 2; starts++) {
        struct store *store = store_test_open(path, NULL);
        expect_the_same(store);
        ck_assert_int_eq(store_test_write_batch(store, 3000 + starts), STORE_OK);
        ck_assert_int_eq(store_verify(store, keep_finding, NULL, NULL), STORE_DAMAGED);
        ck_assert_str_eq(finding, "non-TEXT value in notes.value");
        store_close(store);
        look_at_old();
    }
}
END_TEST

static int defend(sqlite3 *db, char **error, const void *api) {
    (void)error;
    (void)api;
    return sqlite3_db_config(db, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
}

/* As a SQLite does that is built with SQLITE_DEFAULT_DEFENSIVE. */
START_TEST(an_upgrade_goes_where_schemas_are_defended) {
    make_version(8);
    look_at_old();
    sqlite3_auto_extension((void (*)(void))defend);
    expect_upgraded(8);
    sqlite3_reset_auto_extension();
}
END_TEST

START_TEST(a_reader_reads_an_old_version_and_leaves_it) {
    make_version(_i);
    look_at_old();
    struct store *store = NULL;
    char why[500];
    const struct store_options options = {STORE_READ_ONLY, 100, NULL};
    ck_assert_int_eq(store_open(path, &options, &store, why, sizeof why), STORE_OK);
    store_test_verify(store);
    ck_assert_int_eq(
        store_backup(store, store_test_path(folder, "copy.db"), NULL, NULL, NULL, why, sizeof why),
        STORE_OK);
    store_close(store);
    ck_assert_int_eq(ask("PRAGMA user_version"), _i);
    path = store_test_path(folder, "copy.db");
    expect_upgraded(_i);
}
END_TEST

START_TEST(a_failing_upgrade_leaves_the_old_version) {
    int version = 1 + _i / 2;
    static const struct {
        unsigned kinds;
        int code;
    } faults[] = {{FAIL_WRITE, SQLITE_FULL}, {FAIL_SYNC, SQLITE_IOERR_FSYNC}};
    failing_vfs_register();
    int stopped = 0;
    bool fired = true;
    for (long n = 1; fired; n++) {
        make_version(version);
        look_at_old();
        struct store *store = NULL;
        char why[500];
        const struct store_options options = {STORE_READ_WRITE, 50, FAILING_VFS};
        failing_vfs_arm(faults[_i % 2].kinds, n, faults[_i % 2].code, true);
        enum store_status status = store_open(path, &options, &store, why, sizeof why);
        store_close(store);
        fired = failing_vfs_fired();
        failing_vfs_arm(0, 0, 0, false);
        if (status != STORE_OK) {
            ck_assert_int_eq(status, STORE_FAILING);
            stopped++;
        }
        ck_assert_int_eq(ask("PRAGMA user_version"), tables()); /* both or neither */
        expect_upgraded(version);
    }
    ck_assert_int_gt(stopped, 0);
}
END_TEST

START_TEST(a_power_cut_in_an_upgrade_leaves_the_old_or_the_new) {
    failing_vfs_register();
    uint64_t random = test_seed() + (uint64_t)_i;
    int version = 1 + _i / 16;
    make_version(version);
    look_at_old();
    failing_vfs_start_shadows();
    struct store *store = NULL;
    char why[500];
    const struct store_options options = {STORE_READ_WRITE, 50, FAILING_VFS};
    failing_vfs_arm(FAIL_SYNC, 1 + _i % 4, SQLITE_IOERR_FSYNC, true);
    enum store_status status = store_open(path, &options, &store, why, sizeof why);
    ck_assert_msg(status == STORE_OK || status == STORE_FAILING, "%s", why);
    const char *home = power_cut(folder, store, &random);
    path = store_test_path(home, "subslab.db");
    ck_assert_int_eq(ask("PRAGMA user_version"), tables());
    expect_upgraded(version);
    store_test_remove(home);
}
END_TEST

static int64_t monotonic_us(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return now.tv_sec * INT64_C(1000000) + now.tv_nsec / 1000;
}

START_TEST(a_kill_in_an_upgrade_leaves_the_old_or_the_new) {
    struct test_random random = {test_seed()};
    int old = 0;
    make_version(_i);
    int64_t began_us = monotonic_us();
    store_close(store_test_open(path, NULL));
    double upgrade_us = (double)(monotonic_us() - began_us);
    for (int kills = 0; kills < 30; kills++) {
        make_version(_i);
        look_at_old();
        pid_t child = fork();
        if (child == 0) {
            store_test_open(path, NULL);
            pause();
        }
        usleep((useconds_t)(test_random_unit(&random) * 1.5 * upgrade_us));
        kill(child, SIGKILL);
        int status;
        waitpid(child, &status, 0);
        ck_assert(WIFSIGNALED(status));
        int64_t version = ask("PRAGMA user_version");
        ck_assert_int_eq(version, tables());
        old += version < NEWEST;
        expect_upgraded(_i);
    }
    printf("30 kills, %d before the upgrade was done\n", old);
}
END_TEST

int main(void) {
    test_seed();
    TCase *tcase = tcase_create("upgrade");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_loop_test(tcase, an_old_store_becomes_one_of_today, 1, NEWEST);
    tcase_add_loop_test(tcase, hours_outlive_their_readings_after_an_upgrade, 1, NEWEST);
    tcase_add_test(tcase, the_schema_is_the_same_however_one_came_to_it);
    tcase_add_test(tcase, records_are_kept_in_tables_that_know_their_types);
    tcase_add_test(tcase, what_is_of_a_wrong_type_is_told_and_keeps_nobody_from_starting);
    tcase_add_test(tcase, an_upgrade_goes_where_schemas_are_defended);
    tcase_add_loop_test(tcase, a_reader_reads_an_old_version_and_leaves_it, 1, NEWEST);
    tcase_add_loop_test(tcase, a_failing_upgrade_leaves_the_old_version, 0, 2 * (NEWEST - 1));
    tcase_add_loop_test(tcase, a_power_cut_in_an_upgrade_leaves_the_old_or_the_new, 0,
                        16 * (NEWEST - 1));
    tcase_add_loop_test(tcase, a_kill_in_an_upgrade_leaves_the_old_or_the_new, 1, NEWEST);
    return run_test_case(tcase);
}
