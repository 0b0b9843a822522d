/*
 * Every operation of the store that the daemon uses fails at each call of the disk in turn: an
 * error is returned, nothing is half done, what was committed is found again, and the work goes on.
 */
#include "failing_vfs.h"
#include "store_operations.h"

#include <sqlite3.h>

static const char *folder, *prepared, *path;
static uint64_t sum_before;

static void set_up(void) {
    failing_vfs_register();
    folder = store_test_folder();
    prepared = store_test_path(folder, "prepared.db");
    path = store_test_path(folder, "subslab.db");
    store_test_prepare(prepared);
    sum_before = store_test_sum(prepared);
}

static void tear_down(void) {
    store_test_remove(folder);
}

struct outcome {
    enum store_status status; /* of opening or of the operation */
    char *answer;             /* owned */
};

/* Opens the store and runs the operation; the fault comes in the one or the other. */
static struct outcome run(const struct store_operation *operation, unsigned kinds, long n, int code,
                          bool lasting) {
    struct outcome outcome = {STORE_OK, NULL};
    const struct store_options options = {STORE_READ_WRITE, 20, FAILING_VFS};
    bool opening = operation->run == operation_nothing;
    struct store *store = NULL;
    size_t size = 0;
    char why[500] = "";
    FILE *answer = open_memstream(&outcome.answer, &size);
    ck_assert_ptr_nonnull(answer);
    if (opening)
        failing_vfs_arm(kinds, n, code, lasting);
    outcome.status = store_open(path, &options, &store, why, sizeof why);
    ck_assert_msg(outcome.status == STORE_OK || opening, "%s", why);
    ck_assert(outcome.status == STORE_OK || why[0]);
    if (!opening)
        failing_vfs_arm(kinds, n, code, lasting);
    if (outcome.status == STORE_OK)
        outcome.status = operation->run(store, answer);
    if (outcome.status == STORE_FAILING && store)
        ck_assert(store_error(store)[0]);
    store_close(store);
    fclose(answer);
    return outcome;
}

/* After a failure: the store is as before or as after, is sound, and the work goes on. */
static void expect_whole(const struct store_operation *operation, enum store_status status,
                         uint64_t sum_after, const char *where) {
    struct store *store = store_test_open(path, FAILING_VFS); /* its syncs are quick */
    store_test_verify(store);
    store_close(store);
    uint64_t sum = store_test_sum(path);
    if (status == STORE_OK)
        ck_assert_msg(sum == sum_after, "%s: done, but not as without the fault", where);
    ck_assert_msg(sum == sum_before || sum == sum_after, "%s: half done", where);
    if (sum == sum_after || !operation->writes)
        return;
    struct outcome again = run(operation, 0, 0, 0, false);
    ck_assert_msg(again.status == STORE_OK, "%s: the work does not go on", where);
    ck_assert_msg(store_test_sum(path) == sum_after, "%s: done wrongly afterwards", where);
    free(again.answer);
}

struct fault {
    const char *name;
    unsigned kinds;
    int code;
    bool lasting;
};

static const struct fault faults[] = {
    {"open", FAIL_OPEN, SQLITE_CANTOPEN, false},
    {"read", FAIL_READ, SQLITE_IOERR_READ, false},
    {"write", FAIL_WRITE, SQLITE_IOERR_WRITE, false},
    {"full", FAIL_WRITE, SQLITE_FULL, true},
    {"sync", FAIL_SYNC, SQLITE_IOERR_FSYNC, false},
    {"truncate", FAIL_TRUNCATE, SQLITE_IOERR_TRUNCATE, false},
    {"delete", FAIL_DELETE, SQLITE_IOERR_DELETE, false},
    {"size", FAIL_SIZE, SQLITE_IOERR_FSTAT, false},
    {"access", FAIL_ACCESS, SQLITE_IOERR_ACCESS, false},
    {"lock", FAIL_LOCK, SQLITE_IOERR_LOCK, false},
    {"busy lock", FAIL_LOCK, SQLITE_BUSY, true},
    {"busy log", FAIL_SHARED, SQLITE_BUSY, false},
    {"shared memory", FAIL_SHARED, SQLITE_IOERR_SHMMAP, false},
    {"everything", FAIL_EVERYTHING, SQLITE_IOERR, true},
};
#define FAULTS ((int)(sizeof faults / sizeof faults[0]))

static long try_fault(const struct store_operation *operation, const struct fault *fault,
                      const char *right_answer, uint64_t sum_after) {
    long n = 1, failed = 0;
    for (bool fired = true; fired; n++) {
        char where[200];
        snprintf(where, sizeof where, "%s, %s %ld", operation->name, fault->name, n);
        store_test_copy(prepared, path);
        struct outcome outcome = run(operation, fault->kinds, n, fault->code, fault->lasting);
        fired = failing_vfs_fired();
        failing_vfs_arm(0, 0, 0, false);
        /* A page that cannot be read is a finding, as one that cannot be understood. */
        bool found = operation->run == operation_verify && strstr(outcome.answer, "finding: ");
        ck_assert_msg(outcome.status == STORE_OK || outcome.status == STORE_FAILING ||
                          (found && outcome.status == STORE_DAMAGED),
                      "%s: status %d", where, (int)outcome.status);
        ck_assert_msg(outcome.status == STORE_OK || fired, "%s: failed without a cause", where);
        if (outcome.status == STORE_OK)
            ck_assert_msg(strcmp(outcome.answer, right_answer) == 0, "%s: a wrong answer: %s",
                          where, outcome.answer);
        failed += outcome.status != STORE_OK;
        free(outcome.answer);
        expect_whole(operation, outcome.status, sum_after, where);
    }
    printf("  %s: %ld calls, %ld of them stop it\n", fault->name, n - 2, failed);
    return failed;
}

START_TEST(each_call_that_fails_leaves_all_or_nothing) {
    const struct store_operation *operation = &store_operations[_i];
    long failed = 0;
    store_test_copy(prepared, path);
    struct outcome right = run(operation, 0, 0, 0, false);
    ck_assert_int_eq(right.status, STORE_OK);
    uint64_t sum_after = store_test_sum(path);
    ck_assert_int_eq(sum_after != sum_before, operation->writes);
    printf("%s\n", operation->name);
    for (int i = 0; i < FAULTS; i++)
        failed += try_fault(operation, &faults[i], right.answer, sum_after);
    ck_assert_int_gt(failed, 0);
    free(right.answer);
}
END_TEST

int main(void) {
    TCase *everywhere = tcase_create("everywhere");
    tcase_add_checked_fixture(everywhere, set_up, tear_down);
    tcase_set_timeout(everywhere, 300);
    tcase_add_loop_test(everywhere, each_call_that_fails_leaves_all_or_nothing, 0,
                        STORE_OPERATIONS);
    return run_test_case(everywhere);
}
