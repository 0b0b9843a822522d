/*
 * store_files: the files of a store in a folder, and the database behind its back. Functions in a
 * header, because only programs that link the store can use them.
 */
#ifndef STORE_FILES_H
#define STORE_FILES_H

#include "store/verify.h"
#include "store_support.h"
#include "test_support.h"

#include <sqlite3.h>
#include <stdio.h>
#include <string.h>

static const char *folder, *path;

static char why[600];

static inline void set_up(void) {
    folder = store_test_folder();
    path = store_test_path(folder, "subslab.db");
}

static inline void tear_down(void) {
    store_test_remove(folder);
}

static inline enum store_status try_open(struct store **store) {
    const struct store_options options = {STORE_READ_WRITE, 50, NULL};
    why[0] = '\0';
    return store_open(path, &options, store, why, sizeof why);
}

static inline void expect_refused(enum store_status want, const char *words) {
    struct store *store = NULL;
    enum store_status status = try_open(&store);
    ck_assert_msg(status == want, "status %d: %s", (int)status, why);
    ck_assert_ptr_null(store);
    ck_assert_msg(strstr(why, words) && strstr(why, folder), "says: %s", why);
}

static inline void write_file(const char *name, const void *bytes, size_t length) {
    FILE *file = fopen(name, "wb");
    ck_assert_ptr_nonnull(file);
    ck_assert_uint_eq(fwrite(bytes, 1, length, file), length);
    fclose(file);
}

static inline void raw(const char *file, const char *sql) {
    sqlite3 *db;
    char *error = NULL;
    ck_assert_int_eq(sqlite3_open(file, &db), SQLITE_OK);
    ck_assert_msg(sqlite3_exec(db, sql, NULL, NULL, &error) == SQLITE_OK, "%s", error);
    ck_assert_int_eq(sqlite3_close(db), SQLITE_OK);
}

static inline char *file_bytes(const char *file, size_t *length) {
    return test_read_file(file, length);
}

static inline void make_store(int64_t batches) {
    struct store *store = store_test_open(path, NULL);
    for (int64_t i = 0; i < batches; i++)
        ck_assert_int_eq(store_test_write_batch(store, i), STORE_OK);
    store_close(store);
}

#endif
