/* Power cuts, kills and missing memory: whole committed batches are always there. */
#include "power_cut.h"
#include "store_batches.h"
#include "test_support.h"

#include <signal.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <sys/wait.h>

/* ---- power cut ---- */

START_TEST(a_power_cut_keeps_what_was_committed) {
    uint64_t random = test_seed() + (uint64_t)_i;
    struct test_random choice = {random};
    struct store *store = store_test_open(path, FAILING_VFS);
    ck_assert_int_eq(store_test_write_batch(store, 0), STORE_OK);
    store_close(store);
    failing_vfs_start_shadows();
    store = store_test_open(path, FAILING_VFS);
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
    const char *home = power_cut(folder, store, &random);
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
    ck_assert_int_eq(sqlite3_shutdown(), SQLITE_OK);
    ck_assert_int_eq(sqlite3_config(SQLITE_CONFIG_GETMALLOC, &real_memory), SQLITE_OK);
    sqlite3_mem_methods memory = real_memory;
    memory.xMalloc = failing_malloc;
    memory.xRealloc = failing_realloc;
    ck_assert_int_eq(sqlite3_config(SQLITE_CONFIG_MALLOC, &memory), SQLITE_OK);
    failing_vfs_register();
    struct test_random random = {test_seed()};
    const long many = 100000000;
    allocations_left = many;
    ck_assert_int_eq(write_batches().status, STORE_OK);
    uint64_t stride = (uint64_t)(many - allocations_left) / 30 + 1; /* about 60 runs */
    long n = 1, told = 0;
    for (bool failed = true; failed; n += 1 + (long)(test_random_next(&random) % stride)) {
        remove_files();
        allocation_failed = false;
        allocations_left = n;
        struct run run = write_batches();
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
    TCase *end = tcase_create("end");
    tcase_add_checked_fixture(end, set_up, tear_down);
    tcase_add_loop_test(end, a_power_cut_keeps_what_was_committed, 0, 30);
    tcase_add_test(end, a_kill_loses_no_committed_batch);
    tcase_add_test(end, each_missing_allocation_leaves_whole_batches);
    return run_test_case(end);
}
