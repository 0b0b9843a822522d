/* Failing disks: whole committed batches are always there. */
#include "store_batches.h"
#include "test_support.h"

#include <sqlite3.h>
#include <string.h>

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
    const struct fault *fault = &faults[_i];
    long n = 1, stopped = 0;
    for (bool fired = true; fired; n++) {
        remove_files();
        failing_vfs_arm(fault->kinds, n, fault->code, fault->lasting);
        struct run run = write_batches();
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
    ck_assert_int_eq(write_batches().status, STORE_OK);
    struct store *store = store_test_open(path, FAILING_VFS);
    const char *copy = store_test_path(folder, "copy.db");
    const char *partial = store_test_path(folder, "copy.db.partial");
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
        ck_assert_int_eq(access(partial, F_OK), -1);
    }
    ck_assert_int_gt(n, 5);
    store_close(store);
}
END_TEST

int main(void) {
    test_seed();
    TCase *disk = tcase_create("disk");
    tcase_add_checked_fixture(disk, set_up, tear_down);
    tcase_add_loop_test(disk, every_failing_call_leaves_whole_batches, 0,
                        (int)(sizeof faults / sizeof faults[0]));
    tcase_add_test(disk, each_commit_is_synced_and_a_failed_sync_ends_the_handle);
    tcase_add_test(disk, a_full_disk_is_told_and_the_same_handle_goes_on_when_there_is_room);
    tcase_add_test(disk, what_follows_a_failure_in_a_transaction_is_not_kept_alone);
    tcase_add_test(disk, a_backup_to_a_failing_disk_leaves_nothing);
    return run_test_case(disk);
}
