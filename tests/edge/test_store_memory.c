/*
 * Every operation of the store that the daemon uses, with each of its allocations failing in turn,
 * SQLite's and our own: an error or the right answer, nothing half done, nothing lost of what was
 * committed.
 */
#include "failing_memory.h"
#include "failing_vfs.h"
#include "store_operations.h"

static const char *folder, *prepared, *path;
static uint64_t sum_before;
static sqlite3_mem_methods real_memory;

static void *sqlite_malloc(int size) {
    return allocation_fails() ? NULL : real_memory.xMalloc(size);
}

static void *sqlite_realloc(void *old, int size) {
    return allocation_fails() ? NULL : real_memory.xRealloc(old, size);
}

static void set_up(void) {
    ck_assert_int_eq(sqlite3_config(SQLITE_CONFIG_GETMALLOC, &real_memory), SQLITE_OK);
    sqlite3_mem_methods memory = real_memory;
    memory.xMalloc = sqlite_malloc;
    memory.xRealloc = sqlite_realloc;
    ck_assert_int_eq(sqlite3_config(SQLITE_CONFIG_MALLOC, &memory), SQLITE_OK);
    failing_vfs_register(); /* for its quick syncs; it fails nothing */
    folder = store_test_folder();
    prepared = store_test_path(folder, "prepared.db");
    path = store_test_path(folder, "subslab.db");
    store_test_prepare(prepared);
    sum_before = store_test_sum(prepared);
}

static void tear_down(void) {
    store_test_remove(folder);
}

/* The answer is the caller's. Status: of opening, or of the operation. */
static enum store_status run(const struct store_operation *operation, long n, char **answer) {
    const struct store_options options = {STORE_READ_WRITE, 20, FAILING_VFS};
    struct store *store = NULL;
    size_t size = 0;
    char why[500] = "";
    bool opening = operation->run == operation_nothing;
    FILE *stream = open_memstream(answer, &size);
    ck_assert_ptr_nonnull(stream);
    failing_memory_arm(opening ? n : 0);
    enum store_status status = store_open(path, &options, &store, why, sizeof why);
    ck_assert(status == STORE_OK || (opening && why[0]));
    if (!opening)
        failing_memory_arm(n);
    if (status == STORE_OK)
        status = operation->run(store, stream);
    allocations_left = 0;
    store_close(store);
    fclose(stream);
    return status;
}

static void expect_whole(const struct store_operation *operation, enum store_status status,
                         uint64_t sum_after, long n) {
    uint64_t sum = store_test_sum(path);
    if (status == STORE_OK)
        ck_assert_msg(sum == sum_after, "%s %ld: done, but wrongly", operation->name, n);
    ck_assert_msg(sum == sum_before || sum == sum_after, "%s %ld: half done", operation->name, n);
}

START_TEST(each_missing_allocation_leaves_all_or_nothing) {
    const struct store_operation *operation = &store_operations[_i];
    char *right = NULL, *answer = NULL;
    long n = 1, told = 0;
    store_test_copy(prepared, path);
    ck_assert_int_eq(run(operation, 0, &right), STORE_OK);
    uint64_t sum_after = store_test_sum(path);
    for (bool failed = true; failed; n += n < 300 ? 1 : n / 40) {
        store_test_copy(prepared, path);
        enum store_status status = run(operation, n, &answer);
        failed = allocation_failed;
        ck_assert_msg(status == STORE_OK || status == STORE_OUT_OF_MEMORY ||
                          status == STORE_FAILING ||
                          (status == STORE_DAMAGED && operation->run == operation_verify),
                      "%s %ld: status %d", operation->name, n, (int)status);
        ck_assert_msg(status != STORE_OK || strcmp(answer, right) == 0,
                      "%s %ld: a wrong answer:\n%s", operation->name, n, answer);
        told += status == STORE_OUT_OF_MEMORY;
        free(answer);
        expect_whole(operation, status, sum_after, n);
    }
    printf("%s: allocations up to %ld, %ld told as out of memory\n", operation->name, n, told);
    ck_assert_int_gt(told, 0);
    free(right);
}
END_TEST

int main(void) {
    TCase *memory = tcase_create("memory");
    tcase_add_checked_fixture(memory, set_up, tear_down);
    tcase_set_timeout(memory, 250);
    tcase_add_loop_test(memory, each_missing_allocation_leaves_all_or_nothing, 0, STORE_OPERATIONS);
    return run_test_case(memory);
}
