/*
 * Whole batches in a store that fails, is cut or is killed: writing them until the first failure,
 * and finding again all that were committed. Through the failing VFS, whose syncs cost nothing.
 */
#ifndef TESTS_STORE_BATCHES_H
#define TESTS_STORE_BATCHES_H

#include "failing_vfs.h"
#include "store_support.h"

#include <stdio.h>
#include <unistd.h>

#define BATCHES 6

/* ---- of one test ---- */

static const char *folder, *path;

static void set_up(void) {
    failing_vfs_register();
    folder = store_test_folder();
    path = store_test_path(folder, "subslab.db");
}

static void tear_down(void) {
    store_test_remove(folder);
}

static void remove_files(void) {
    static const char *const suffixes[] = {"", "-wal", "-shm", ".creating", ".creating-journal"};
    char name[400];
    for (size_t i = 0; i < sizeof suffixes / sizeof suffixes[0]; i++) {
        snprintf(name, sizeof name, "%s%s", path, suffixes[i]);
        unlink(name);
    }
}

/* What is known after a run: `certain` batches were committed; the next one may be. */
struct run {
    int64_t certain;
    enum store_status status; /* the first that was not OK */
};

/* Opens, writes, checks points, closes and opens again half-way; stops at the first failure. */
static struct run write_batches(void) {
    struct run run = {0, STORE_OK};
    struct store *store = NULL;
    char why[500];
    const struct store_options options = {STORE_READ_WRITE, 50, FAILING_VFS};
    for (int64_t i = 0; i < BATCHES && run.status == STORE_OK; i++) {
        if (!store)
            run.status = store_open(path, &options, &store, why, sizeof why);
        if (run.status == STORE_OK)
            run.status = store_test_write_batch(store, i);
        if (run.status != STORE_OK)
            break;
        run.certain = i + 1;
        if (i % 3 == 1)
            store_checkpoint(store);
        if (i % 3 == 2) {
            store_close(store);
            store = NULL;
        }
    }
    store_close(store);
    return run;
}

static void expect_whole(int64_t certain) {
    struct store *store = store_test_open(path, FAILING_VFS);
    int64_t kept = store_test_count_batches(store);
    ck_assert_msg(kept == certain || kept == certain + 1, "%lld batches kept, %lld committed",
                  (long long)kept, (long long)certain);
    store_test_verify(store);
    for (int64_t i = kept; i < BATCHES; i++) /* it goes on */
        ck_assert_int_eq(store_test_write_batch(store, i), STORE_OK);
    ck_assert_int_eq(store_test_count_batches(store), BATCHES > kept ? BATCHES : kept);
    store_close(store);
}

#endif
