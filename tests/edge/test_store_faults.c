/* Failing disks, power cuts, kills and missing memory: whole committed batches are always there. */
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

#define BATCHES 6

static const char *folder, *path;

static void set_up(void) {
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
static struct run write_batches(int64_t from, int64_t to, const char *vfs) {
    struct run run = {from, STORE_OK};
    struct store *store = NULL;
    char why[500];
    const struct store_options options = {STORE_READ_WRITE, 50, vfs};
    for (int64_t i = from; i < to && run.status == STORE_OK; i++) {
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
    struct store *store = store_test_open(path, NULL);
    int64_t kept = store_test_count_batches(store);
    ck_assert_msg(kept == certain || kept == certain + 1, "%lld batches kept, %lld committed",
                  (long long)kept, (long long)certain);
    store_test_verify(store);
    for (int64_t i = kept; i < BATCHES; i++) /* it goes on */
        ck_assert_int_eq(store_test_write_batch(store, i), STORE_OK);
    ck_assert_int_eq(store_test_count_batches(store), BATCHES > kept ? BATCHES : kept);
    store_close(store);
}

struct fault {
    unsigned kinds;
    int code;
    bool lasting;
};

static const struct fault faults[] = {
    {FAIL_WRITE, SQLITE_FULL, true},
    {FAIL_WRITE, SQLITE_FULL, false},
    {FAIL_WRITE, SQLITE_IOERR_WRITE, false},
    {FAIL_WRITE, SQLITE_READONLY, true},
    {FAIL_SYNC, SQLITE_IOERR_FSYNC, false},
    {FAIL_SYNC, SQLITE_IOERR_FSYNC, true},
    {FAIL_READ, SQLITE_IOERR_READ, false},
    {FAIL_OPEN, SQLITE_CANTOPEN, false},
    {FAIL_TRUNCATE, SQLITE_IOERR_TRUNCATE, false},
    {FAIL_OPEN | FAIL_READ | FAIL_WRITE | FAIL_SYNC | FAIL_TRUNCATE, SQLITE_IOERR, true},
};

START_TEST(every_failing_call_leaves_whole_batches) {
    failing_vfs_register();
    const struct fault *fault = &faults[_i];
    long n = 1, stopped = 0;
    for (bool fired = true; fired; n++) {
        remove_files();
        failing_vfs_arm(fault->kinds, n, fault->code, fault->lasting);
        struct run run = write_batches(0, BATCHES, FAILING_VFS);
        fired = failing_vfs_fired();
        failing_vfs_arm(0, 0, 0, false);
        ck_assert_msg(run.status == STORE_OK || run.status == STORE_FAILING, "n %ld: status %d", n,
                      (int)run.status);
        ck_assert_msg(fired || run.status == STORE_OK, "n %ld: failed without a cause", n);
        stopped += run.status != STORE_OK;
        expect_whole(run.certain);
    }
    printf("fault %d: %ld calls failed in turn, %ld runs stopped\n", _i, n - 2, stopped);
    ck_assert_int_gt(n, 2);
    ck_assert_int_gt(stopped, 0);
}
END_TEST

START_TEST(each_commit_is_synced_and_a_failed_sync_ends_the_handle) {
    failing_vfs_register();
    struct store *store = store_test_open(path, FAILING_VFS);
    ck_assert_int_eq(store_test_write_batch(store, 0), STORE_OK);
    ck_assert_int_eq(store_begin(store), STORE_OK);
    ck_assert_int_eq(store_test_append_batch(store, 1), STORE_OK);
    failing_vfs_arm(FAIL_SYNC, 1, SQLITE_IOERR_FSYNC, false);
    ck_assert_int_eq(store_commit(store), STORE_FAILING);
    ck_assert(failing_vfs_fired()); /* fails when a commit does not sync */
    ck_assert(!store_in_transaction(store));
    ck_assert_ptr_nonnull(strstr(store_error(store), "fsync"));
    ck_assert_ptr_nonnull(strstr(store_error(store), path));
    ck_assert_int_eq(store_begin(store), STORE_FAILING);
    ck_assert_int_eq(store_probe(store), STORE_FAILING);
    store_close(store);
    expect_whole(1);
}
END_TEST

START_TEST(a_full_disk_is_told_and_the_same_handle_goes_on_when_there_is_room) {
    failing_vfs_register();
    struct store *store = store_test_open(path, FAILING_VFS);
    ck_assert_int_eq(store_test_write_batch(store, 0), STORE_OK);
    failing_vfs_arm(FAIL_WRITE, 1, SQLITE_FULL, true);
    for (int i = 0; i < 3; i++) {
        ck_assert_int_eq(store_test_write_batch(store, 1), STORE_FAILING);
        ck_assert_ptr_nonnull(strstr(store_error(store), "disk is full"));
        ck_assert_int_eq(store_test_count_batches(store), 1); /* what is there can be read */
    }
    failing_vfs_arm(0, 0, 0, false);
    ck_assert_int_eq(store_test_write_batch(store, 1), STORE_OK);
    store_close(store);
    expect_whole(2);
}
END_TEST

START_TEST(what_follows_a_failure_in_a_transaction_is_not_kept_alone) {
    failing_vfs_register();
    struct store *store = store_test_open(path, FAILING_VFS);
    ck_assert_int_eq(store_test_write_batch(store, 0), STORE_OK);
    ck_assert_int_eq(store_begin(store), STORE_OK);
    /* More than the page cache holds, so that writing begins before the commit and fails. */
    failing_vfs_arm(FAIL_WRITE, 1, SQLITE_FULL, true);
    enum store_status status = STORE_OK;
    int64_t key;
    ck_assert_int_eq(series_key(store, "elm-3", "suction", &key), STORE_OK);
    for (int64_t i = 0; i < 3000000 && status == STORE_OK; i++) {
        struct reading reading = {i, 0.1 * (double)i};
        enum series_append result;
        status = series_append(store, key, &reading, SERIES_FROM_SENSOR, true, &result);
    }
    ck_assert_int_eq(status, STORE_FAILING);
    failing_vfs_arm(0, 0, 0, false);
    struct reading late = {1, 2.0};
    enum series_append result;
    ck_assert_int_eq(series_append(store, key, &late, SERIES_FROM_SENSOR, true, &result),
                     STORE_FAILING);
    ck_assert(store_in_transaction(store));
    ck_assert_int_eq(store_commit(store), STORE_FAILING);
    ck_assert(!store_in_transaction(store));
    ck_assert_int_eq(store_test_count_batches(store), 1);
    store_close(store);
    expect_whole(1);
}
END_TEST

START_TEST(a_backup_to_a_failing_disk_leaves_nothing) {
    failing_vfs_register();
    ck_assert_int_eq(write_batches(0, BATCHES, NULL).status, STORE_OK);
    struct store *store = store_test_open(path, FAILING_VFS);
    const char *copy = store_test_path(folder, "copy.db");
    char why[500];
    long n = 1;
    for (;; n++) {
        failing_vfs_arm(FAIL_WRITE | FAIL_SYNC | FAIL_READ | FAIL_OPEN | FAIL_TRUNCATE, n,
                        SQLITE_IOERR, false);
        enum store_status status = store_backup(store, copy, NULL, NULL, NULL, why, sizeof why);
        bool fired = failing_vfs_fired();
        failing_vfs_arm(0, 0, 0, false);
        if (!fired) {
            ck_assert_msg(status == STORE_OK, "%s", why);
            break;
        }
        if (status == STORE_OK) { /* a failure that did not matter */
            ck_assert_int_eq(unlink(copy), 0);
            continue;
        }
        ck_assert_int_eq(status, STORE_FAILING);
        ck_assert_int_eq(access(copy, F_OK), -1);
        ck_assert_int_eq(access(store_test_path(folder, "copy.db.partial"), F_OK), -1);
    }
    ck_assert_int_gt(n, 5);
    store_close(store);
}
END_TEST

/* ---- power cut ---- */

START_TEST(a_power_cut_keeps_what_was_committed) {
    failing_vfs_register();
    uint64_t random = test_seed() + (uint64_t)_i;
    struct test_random choice = {random};
    ck_assert_int_eq(write_batches(0, 1, NULL).status, STORE_OK);
    failing_vfs_start_shadows();
    struct store *store = store_test_open(path, FAILING_VFS);
    int64_t committed = 1;
    int64_t last = 2 + (int64_t)(test_random_next(&choice) % 20);
    while (committed < last) {
        ck_assert_int_eq(store_test_write_batch(store, committed), STORE_OK);
        committed++;
        if (test_random_unit(&choice) < 0.2)
            store_checkpoint(store);
        if (test_random_unit(&choice) < 0.1) {
            store_close(store);
            store = store_test_open(path, FAILING_VFS);
        }
    }
    int64_t certain = committed;
    if (_i % 3 == 0) { /* in the middle of a commit: its pages are written, its sync never comes */
        ck_assert_int_eq(store_begin(store), STORE_OK);
        ck_assert_int_eq(store_test_append_batch(store, committed), STORE_OK);
        failing_vfs_arm(FAIL_SYNC, 1, SQLITE_IOERR_FSYNC, true);
        ck_assert_int_eq(store_commit(store), STORE_FAILING);
    } else if (_i % 3 == 1) { /* in the middle of a check-point */
        failing_vfs_arm(FAIL_SYNC, 1 + (long)(test_random_next(&choice) % 2), SQLITE_IOERR_FSYNC,
                        true);
        store_checkpoint(store);
    }
    char home[300]; /* a copy: paths in it are made by the same helper */
    snprintf(home, sizeof home, "%s", store_test_path(folder, "cut"));
    ck_assert_int_eq(mkdir(home, 0700), 0);
    failing_vfs_cut(home, &random);
    failing_vfs_arm(0, 0, 0, false);
    failing_vfs_stop_shadows();
    store_close(store);
    struct store *left = store_test_open(store_test_path(home, "subslab.db"), NULL);
    int64_t kept = store_test_count_batches(left);
    ck_assert_msg(kept == certain || kept == certain + 1, "%lld batches kept, %lld committed",
                  (long long)kept, (long long)certain);
    store_test_verify(left);
    ck_assert_int_eq(store_test_write_batch(left, kept), STORE_OK);
    store_close(left);
    store_test_remove(home);
}
END_TEST

/* ---- kill ---- */

/* Tells the number of each committed batch through the pipe until it is killed. */
static void commit_for_ever(int told, bool check_points) {
    struct store *store = NULL;
    char why[500];
    const struct store_options options = {STORE_READ_WRITE, 1000, NULL};
    if (store_open(path, &options, &store, why, sizeof why) != STORE_OK)
        _exit(1);
    for (int64_t i = store_test_count_batches(store);; i++) {
        if (store_test_write_batch(store, i) != STORE_OK)
            _exit(2);
        if (write(told, &i, sizeof i) != sizeof i)
            _exit(3);
        if (check_points && i % 5 == 4)
            store_checkpoint(store);
    }
}

START_TEST(a_kill_loses_no_committed_batch) {
    struct test_random random = {test_seed()};
    int64_t certain = 0;
    for (int kill_number = 0; kill_number < 20; kill_number++) {
        int told[2];
        ck_assert_int_eq(pipe(told), 0);
        pid_t child = fork();
        if (child == 0) {
            close(told[0]);
            commit_for_ever(told[1], kill_number % 2);
        }
        close(told[1]);
        usleep((useconds_t)(test_random_unit(&random) * 60000.0));
        kill(child, SIGKILL);
        int64_t number;
        while (read(told[0], &number, sizeof number) == sizeof number)
            certain = number + 1;
        close(told[0]);
        int status;
        waitpid(child, &status, 0);
        ck_assert(WIFSIGNALED(status));
        struct store *store = store_test_open(path, NULL);
        int64_t kept = store_test_count_batches(store);
        ck_assert_msg(kept == certain || kept == certain + 1, "%lld kept, %lld told",
                      (long long)kept, (long long)certain);
        store_test_verify(store);
        certain = kept;
        store_close(store);
    }
    printf("20 kills, %lld batches\n", (long long)certain);
    ck_assert_int_gt(certain, 3);
}
END_TEST

/* ---- memory ---- */

static sqlite3_mem_methods real_memory;
static long allocations_left; /* 0: never fails */
static bool allocation_failed;

static bool is_out(void) {
    if (allocations_left == 0 || --allocations_left > 0)
        return false;
    allocation_failed = true;
    return true;
}

static void *failing_malloc(int size) {
    return is_out() ? NULL : real_memory.xMalloc(size);
}

static void *failing_realloc(void *old, int size) {
    return is_out() ? NULL : real_memory.xRealloc(old, size);
}

START_TEST(each_missing_allocation_leaves_whole_batches) {
    ck_assert_int_eq(sqlite3_config(SQLITE_CONFIG_GETMALLOC, &real_memory), SQLITE_OK);
    sqlite3_mem_methods memory = real_memory;
    memory.xMalloc = failing_malloc;
    memory.xRealloc = failing_realloc;
    ck_assert_int_eq(sqlite3_config(SQLITE_CONFIG_MALLOC, &memory), SQLITE_OK);
    failing_vfs_register(); /* for its quick syncs; it fails nothing */
    struct test_random random = {test_seed()};
    const long many = 100000000;
    allocations_left = many;
    ck_assert_int_eq(write_batches(0, BATCHES, FAILING_VFS).status, STORE_OK);
    uint64_t stride = (uint64_t)(many - allocations_left) / 30 + 1; /* about 60 runs */
    long n = 1, told = 0;
    for (bool failed = true; failed; n += 1 + (long)(test_random_next(&random) % stride)) {
        remove_files();
        allocation_failed = false;
        allocations_left = n;
        struct run run = write_batches(0, BATCHES, FAILING_VFS);
        failed = allocation_failed;
        allocations_left = 0;
        ck_assert_msg(run.status == STORE_OK || run.status == STORE_OUT_OF_MEMORY ||
                          run.status == STORE_FAILING,
                      "allocation %ld: status %d", n, (int)run.status);
        told += run.status == STORE_OUT_OF_MEMORY;
        expect_whole(run.certain);
    }
    printf("allocations up to %ld failed in turn, %ld told as out of memory\n", n, told);
    ck_assert_int_gt(told, 10);
}
END_TEST

int main(void) {
    test_seed();
    TCase *disk = tcase_create("disk"), *end = tcase_create("end");
    tcase_add_checked_fixture(disk, set_up, tear_down);
    tcase_add_loop_test(disk, every_failing_call_leaves_whole_batches, 0,
                        (int)(sizeof faults / sizeof faults[0]));
    tcase_add_test(disk, each_commit_is_synced_and_a_failed_sync_ends_the_handle);
    tcase_add_test(disk, a_full_disk_is_told_and_the_same_handle_goes_on_when_there_is_room);
    tcase_add_test(disk, what_follows_a_failure_in_a_transaction_is_not_kept_alone);
    tcase_add_test(disk, a_backup_to_a_failing_disk_leaves_nothing);
    tcase_add_checked_fixture(end, set_up, tear_down);
    tcase_add_loop_test(end, a_power_cut_keeps_what_was_committed, 0, 30);
    tcase_add_test(end, a_kill_loses_no_committed_batch);
    tcase_add_test(end, each_missing_allocation_leaves_whole_batches);
    TCase *const tcases[] = {disk, end};
    return run_test_cases(tcases, 2);
}
