/* A store of version 1, as kept in store_version_1.sql, becomes one of today: whole or not at all.
 */
#include "failing_vfs.h"
#include "store_support.h"
#include "test_support.h"

#include <signal.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#define BATCHES 12
#define LAST_MS INT64_C(1800000000000)

static const char *folder, *path;
static char *sql;

static void set_up(void) {
    folder = store_test_folder();
    path = store_test_path(folder, "subslab.db");
    FILE *file = fopen(TEST_DATA_DIR "/store_version_1.sql", "r");
    ck_assert_ptr_nonnull(file);
    sql = calloc(1, 200000);
    ck_assert_ptr_nonnull(sql);
    ck_assert_uint_gt(fread(sql, 1, 199999, file), 10000);
    fclose(file);
}

static void tear_down(void) {
    free(sql);
    store_test_remove(folder);
}

static int64_t ask(const char *question) {
    sqlite3 *db;
    sqlite3_stmt *statement;
    ck_assert_int_eq(sqlite3_open(path, &db), SQLITE_OK);
    ck_assert_int_eq(sqlite3_prepare_v2(db, question, -1, &statement, NULL), SQLITE_OK);
    ck_assert_int_eq(sqlite3_step(statement), SQLITE_ROW);
    int64_t answer = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    sqlite3_close(db);
    return answer;
}

static void make_version_1(void) {
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
    ck_assert_int_eq(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
    ck_assert_int_eq(sqlite3_close(db), SQLITE_OK);
    ck_assert_int_eq(ask("PRAGMA user_version"), 1);
}

static int64_t packs(void) {
    return ask("SELECT count(*) FROM sqlite_schema WHERE name = 'day_packs'");
}

static void expect_upgraded(void) {
    struct store *store = store_test_open(path, NULL);
    ck_assert_int_eq(store_test_count_batches(store), BATCHES);
    store_test_verify(store);
    ck_assert_int_eq(store_test_write_batch(store, BATCHES), STORE_OK);
    int packed;
    ck_assert_int_eq(series_pack(store, LAST_MS, 1000, &packed), STORE_OK);
    ck_assert_int_eq(packed, (BATCHES + 1) * BATCH_SIZE);
    ck_assert_int_eq(store_test_count_batches(store), BATCHES + 1);
    store_test_verify(store);
    int64_t key, day;
    ck_assert_int_eq(series_find(store, "elm-3", "suction", &key), STORE_OK);
    ck_assert_int_eq(series_newest_day(store, key, &day), STORE_OK);
    ck_assert_int_eq(day, 19675);
    store_close(store);
    ck_assert_int_eq(ask("PRAGMA user_version"), 2);
}

START_TEST(version_1_becomes_version_2) {
    make_version_1();
    expect_upgraded();
}
END_TEST

START_TEST(the_schema_is_the_same_however_one_came_to_it) {
    static const char look[] =
        "SELECT group_concat(name || ':' || coalesce(sql, ''), ';') FROM (SELECT * FROM "
        "sqlite_schema WHERE name NOT LIKE 'sqlite_%' ORDER BY name)";
    char *schemas[2];
    for (int i = 0; i < 2; i++) {
        if (i == 0)
            make_version_1();
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
    ck_assert_str_eq(schemas[0], schemas[1]);
    ck_assert_ptr_nonnull(strstr(schemas[0], "day_packs"));
    free(schemas[0]);
    free(schemas[1]);
}
END_TEST

START_TEST(a_reader_reads_version_1_and_leaves_it) {
    make_version_1();
    struct store *store = NULL;
    char why[500];
    const struct store_options options = {STORE_READ_ONLY, 100, NULL};
    ck_assert_int_eq(store_open(path, &options, &store, why, sizeof why), STORE_OK);
    ck_assert_int_eq(store_test_count_batches(store), BATCHES);
    store_test_verify(store);
    ck_assert_int_eq(
        store_backup(store, store_test_path(folder, "copy.db"), NULL, NULL, why, sizeof why),
        STORE_OK);
    store_close(store);
    ck_assert_int_eq(ask("PRAGMA user_version"), 1);
    path = store_test_path(folder, "copy.db");
    expect_upgraded();
}
END_TEST

START_TEST(a_failing_upgrade_leaves_version_1) {
    static const struct {
        unsigned kinds;
        int code;
    } faults[] = {{FAIL_WRITE, SQLITE_FULL}, {FAIL_SYNC, SQLITE_IOERR_FSYNC}};
    failing_vfs_register();
    int stopped = 0;
    bool fired = true;
    for (long n = 1; fired; n++) {
        make_version_1();
        struct store *store = NULL;
        char why[500];
        const struct store_options options = {STORE_READ_WRITE, 50, FAILING_VFS};
        failing_vfs_arm(faults[_i].kinds, n, faults[_i].code, true);
        enum store_status status = store_open(path, &options, &store, why, sizeof why);
        store_close(store);
        fired = failing_vfs_fired();
        failing_vfs_arm(0, 0, 0, false);
        if (status != STORE_OK) {
            ck_assert_int_eq(status, STORE_FAILING);
            stopped++;
        }
        ck_assert_int_eq(ask("PRAGMA user_version"), 1 + packs()); /* both or neither */
        expect_upgraded();
    }
    ck_assert_int_gt(stopped, 0);
}
END_TEST

START_TEST(a_power_cut_in_an_upgrade_leaves_version_1_or_2) {
    failing_vfs_register();
    uint64_t random = test_seed() + (uint64_t)_i;
    make_version_1();
    failing_vfs_start_shadows();
    struct store *store = NULL;
    char why[500];
    const struct store_options options = {STORE_READ_WRITE, 50, FAILING_VFS};
    failing_vfs_arm(FAIL_SYNC, 1 + _i % 4, SQLITE_IOERR_FSYNC, true);
    enum store_status status = store_open(path, &options, &store, why, sizeof why);
    ck_assert_msg(status == STORE_OK || status == STORE_FAILING, "%s", why);
    char home[300];
    snprintf(home, sizeof home, "%s", store_test_path(folder, "cut"));
    ck_assert_int_eq(mkdir(home, 0700), 0);
    failing_vfs_cut(home, &random);
    failing_vfs_arm(0, 0, 0, false);
    failing_vfs_stop_shadows();
    store_close(store);
    path = store_test_path(home, "subslab.db");
    ck_assert_int_eq(ask("PRAGMA user_version"), 1 + packs());
    expect_upgraded();
    store_test_remove(home);
}
END_TEST

START_TEST(a_kill_in_an_upgrade_leaves_version_1_or_2) {
    struct test_random random = {test_seed()};
    int old = 0;
    for (int kills = 0; kills < 30; kills++) {
        make_version_1();
        pid_t child = fork();
        if (child == 0) {
            store_test_open(path, NULL);
            pause();
        }
        usleep((useconds_t)(test_random_unit(&random) * 10000.0));
        kill(child, SIGKILL);
        int status;
        waitpid(child, &status, 0);
        ck_assert(WIFSIGNALED(status));
        int64_t version = ask("PRAGMA user_version");
        ck_assert_int_eq(version, 1 + packs());
        old += version == 1;
        expect_upgraded();
    }
    printf("30 kills, %d before the upgrade was done\n", old);
}
END_TEST

int main(void) {
    test_seed();
    TCase *tcase = tcase_create("upgrade");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, version_1_becomes_version_2);
    tcase_add_test(tcase, the_schema_is_the_same_however_one_came_to_it);
    tcase_add_test(tcase, a_reader_reads_version_1_and_leaves_it);
    tcase_add_loop_test(tcase, a_failing_upgrade_leaves_version_1, 0, 2);
    tcase_add_loop_test(tcase, a_power_cut_in_an_upgrade_leaves_version_1_or_2, 0, 16);
    tcase_add_test(tcase, a_kill_in_an_upgrade_leaves_version_1_or_2);
    return run_test_case(tcase);
}
