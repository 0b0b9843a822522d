/*
 * store_support: a folder for a test's store, and batches of readings whose content follows from
 * their number, so that what a store holds can be told from how many batches it kept.
 * Functions in a header, because only programs that link the store can use them.
 */
#ifndef STORE_SUPPORT_H
#define STORE_SUPPORT_H

#include "store/series.h"
#include "store/store.h"
#include "store/verify.h"
#include "test_support.h"

#include <dirent.h>
#include <sqlite3.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define BATCH_SIZE 30
#define STORE_TEST_INTERVAL_MS 600000

/** A new folder under TMPDIR, and a path in it; the last 64 paths stay valid. */
static inline const char *store_test_folder(void) {
    static char folder[200];
    const char *base = getenv("TMPDIR");
    snprintf(folder, sizeof folder, "%s/store-test-XXXXXX", base ? base : "/tmp");
    ck_assert_ptr_nonnull(mkdtemp(folder));
    return folder;
}

static inline const char *store_test_path(const char *folder, const char *name) {
    static char paths[64][300];
    static size_t next;
    char *path = paths[next++ % 64];
    int length = snprintf(path, 300, "%s/%s", folder, name);
    ck_assert_int_lt(length, 300);
    return path;
}

static inline void store_test_remove(const char *folder) {
    DIR *list = opendir(folder);
    ck_assert_ptr_nonnull(list);
    for (const struct dirent *entry; (entry = readdir(list));) {
        char path[600];
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        unlink(path);
    }
    closedir(list);
    rmdir(folder);
}

/** The whole number that a question to the file of a store has for an answer. */
static inline int64_t store_test_ask(const char *path, const char *sql) {
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

/** Opens or fails the test. `vfs` may be NULL. */
static inline struct store *store_test_open(const char *path, const char *vfs) {
    struct store *store = NULL;
    char why[500] = "";
    const struct store_options options = {STORE_READ_WRITE, 100, vfs};
    enum store_status status = store_open(path, &options, &store, why, sizeof why);
    ck_assert_msg(status == STORE_OK, "status %d: %s", (int)status, why);
    return store;
}

static inline struct reading store_test_reading(int64_t number, int64_t i) {
    int64_t n = number * BATCH_SIZE + i;
    return (struct reading){INT64_C(1700000000000) + n / 3 * STORE_TEST_INTERVAL_MS,
                            200.0 + (double)(n * 7919 % 1009) / 7.0};
}

static inline enum store_status store_test_keys(struct store *store, int64_t keys[3]) {
    static const char *const points[3] = {"suction", "radon", "hole-1"};
    for (int i = 0; i < 3; i++) {
        enum store_status status = series_key(store, "elm-3", points[i], &keys[i]);
        if (status == STORE_OK)
            status = series_set_interval(store, keys[i], STORE_TEST_INTERVAL_MS);
        if (status != STORE_OK)
            return status;
    }
    return STORE_OK;
}

/** Appends batch `number` (0, 1, …) with its rollups in the open transaction. */
static inline enum store_status store_test_append_batch(struct store *store, int64_t number) {
    int64_t keys[3];
    enum store_status status = store_test_keys(store, keys);
    for (int64_t i = 0; status == STORE_OK && i < BATCH_SIZE; i++) {
        struct reading reading = store_test_reading(number, i);
        enum series_append result;
        status = series_append(store, keys[i % 3], &reading, SERIES_FROM_SENSOR, true, &result);
        if (status == STORE_OK && result != SERIES_NEW) /* a check allocates, also when it holds */
            ck_abort_msg("reading %lld of batch %lld is not new", (long long)i, (long long)number);
    }
    for (int k = 0; status == STORE_OK && k < 3; k++)
        status =
            series_hours_rebuild(store, keys[k], STORE_TEST_INTERVAL_MS,
                                 store_test_reading(number, 0).time_ms - STORE_TEST_INTERVAL_MS,
                                 store_test_reading(number, BATCH_SIZE - 1).time_ms);
    return status;
}

/** begin, append, commit. */
static inline enum store_status store_test_write_batch(struct store *store, int64_t number) {
    enum store_status status = store_begin(store);
    if (status != STORE_OK)
        return status;
    status = store_test_append_batch(store, number);
    if (status == STORE_OK)
        return store_commit(store);
    store_rollback(store);
    return status;
}

/** Fails the test unless the store holds exactly whole batches 0 … n-1; returns n. */
static inline int64_t store_test_count_batches(struct store *store) {
    int64_t total, keys[3];
    ck_assert_int_eq(series_count(store, &total), STORE_OK);
    ck_assert_msg(total % BATCH_SIZE == 0, "%lld readings are no whole batches", (long long)total);
    if (total == 0)
        return 0;
    static const char *const points[3] = {"suction", "radon", "hole-1"};
    int64_t found = 0;
    for (int k = 0; k < 3; k++) {
        ck_assert_int_eq(series_find(store, "elm-3", points[k], &keys[k]), STORE_OK);
        size_t room = (size_t)total, count;
        struct reading *readings = calloc(room, sizeof *readings);
        ck_assert_ptr_nonnull(readings);
        ck_assert_int_eq(series_read(store, keys[k], 0, INT64_MAX, readings, room, &count),
                         STORE_OK);
        for (size_t i = 0; i < count; i++) {
            struct reading want = store_test_reading(0, (int64_t)i * 3 + k);
            ck_assert_int_eq(readings[i].time_ms, want.time_ms);
            ck_assert_double_eq(readings[i].value, want.value);
        }
        found += (int64_t)count;
        free(readings);
    }
    ck_assert_int_eq(found, total);
    return total / BATCH_SIZE;
}

static inline void store_test_finding(void *context, const char *text) {
    (void)context;
    ck_abort_msg("verify: %s", text);
}

/** Fails the test unless store_verify is content. */
static inline void store_test_verify(struct store *store) {
    enum store_status status = store_verify(store, store_test_finding, NULL, NULL);
    ck_assert_msg(status == STORE_OK, "verify: status %d", (int)status);
}

#endif
