/*
 * Packing while calls fail, the power goes or the process is killed: every reading stays.
 */
#include "power_cut.h"
#include "series_pack_bench.h"

#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

/* ---- faults ---- */

#define BATCHES 20 /* 200 readings of each of three points: more than a day */

#define LAST_MS (INT64_C(1700000000000) + 2 * DAY_MS)

static void make_batches(void) {
    static const char *const suffixes[] = {"", "-wal", "-shm"};
    char name[400];
    for (size_t i = 0; i < 3; i++) {
        snprintf(name, sizeof name, "%s%s", path, suffixes[i]);
        unlink(name);
    }
    struct store *store = store_test_open(path, FAILING_VFS);
    for (int64_t i = 0; i < BATCHES; i++)
        ck_assert_int_eq(store_test_write_batch(store, i), STORE_OK);
    store_close(store);
}

static void expect_all_batches(void) {
    struct store *store = store_test_open(path, NULL);
    ck_assert_int_eq(store_test_count_batches(store), BATCHES);
    store_test_verify(store);
    store_close(store);
}

/* Packs in small steps until something fails; checks points in between. */
static enum store_status pack_with_faults(void) {
    struct store *store = NULL;
    char why[500];
    const struct store_options options = {STORE_READ_WRITE, 50, FAILING_VFS};
    enum store_status status = store_open(path, &options, &store, why, sizeof why);
    for (int packed = 1; status == STORE_OK && packed > 0;) {
        status = series_pack(store, LAST_MS, 50, &packed);
        if (status == STORE_OK)
            store_checkpoint(store);
    }
    store_close(store);
    return status;
}

START_TEST(every_failing_call_leaves_every_reading) {
    static const struct {
        unsigned kinds;
        int code;
        bool lasting;
    } faults[] = {{FAIL_WRITE, SQLITE_FULL, false},
                  {FAIL_WRITE, SQLITE_IOERR_WRITE, true},
                  {FAIL_SYNC, SQLITE_IOERR_FSYNC, false},
                  {FAIL_READ, SQLITE_IOERR_READ, false}};
    failing_vfs_register();
    long stopped = 0, n = 1;
    for (bool fired = true; fired; n += 1 + n / 8) {
        make_batches();
        failing_vfs_arm(faults[_i].kinds, n, faults[_i].code, faults[_i].lasting);
        stopped += pack_with_faults() != STORE_OK;
        fired = failing_vfs_fired();
        failing_vfs_arm(0, 0, 0, false);
        expect_all_batches();
    }
    printf("fault %d: calls up to %ld failed, %ld runs stopped\n", _i, n, stopped);
    ck_assert_int_gt(stopped, 0);
    ck_assert_int_gt(ask("SELECT count(*) FROM packs"), 0);
}
END_TEST

START_TEST(a_power_cut_while_packing_leaves_every_reading) {
    failing_vfs_register();
    uint64_t random = test_seed() + (uint64_t)_i;
    struct test_random choice = {random};
    make_batches();
    failing_vfs_start_shadows();
    struct store *store = store_test_open(path, FAILING_VFS);
    int steps = (int)(test_random_next(&choice) % 8);
    for (int i = 0; i < steps; i++) {
        pack(store, LAST_MS, 50);
        if (test_random_unit(&choice) < 0.3)
            store_checkpoint(store);
    }
    int packed;
    failing_vfs_arm(FAIL_SYNC, 1, SQLITE_IOERR_FSYNC, true);
    if (_i % 2)
        ck_assert_int_ne(series_pack(store, LAST_MS, 50, &packed), STORE_OK);
    else
        store_checkpoint(store);
    const char *home = power_cut(folder, store, &random);
    struct store *left = store_test_open(store_test_path(home, "subslab.db"), NULL);
    ck_assert_int_eq(store_test_count_batches(left), BATCHES);
    store_test_verify(left);
    store_close(left);
    store_test_remove(home);
}
END_TEST

START_TEST(a_kill_while_packing_loses_nothing) {
    failing_vfs_register();
    struct test_random random = {test_seed()};
    make_batches();
    for (int kills = 0; kills < 30; kills++) {
        pid_t child = fork();
        if (child == 0) {
            struct store *store = store_test_open(path, FAILING_VFS);
            int packed = 1;
            while (packed > 0 && series_pack(store, LAST_MS, 10, &packed) == STORE_OK)
                ;
            pause();
        }
        usleep((useconds_t)(test_random_unit(&random) * 60000.0));
        kill(child, SIGKILL);
        int status;
        waitpid(child, &status, 0);
        ck_assert(WIFSIGNALED(status));
        expect_all_batches();
    }
    ck_assert_int_gt(ask("SELECT count(*) FROM packs"), 0);
}
END_TEST

int main(void) {
    TCase *faults = tcase_create("faults");
    tcase_add_checked_fixture(faults, set_up, tear_down);
    tcase_add_loop_test(faults, every_failing_call_leaves_every_reading, 0, 4);
    tcase_add_loop_test(faults, a_power_cut_while_packing_leaves_every_reading, 0, 20);
    tcase_add_test(faults, a_kill_while_packing_loses_nothing);
    return run_test_case(faults);
}
