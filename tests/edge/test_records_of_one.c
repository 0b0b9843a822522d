/* What is asked of one system looks at no row of another: a fleet's last house costs what its first
   one does. */
#include "store_operations.h"

#include "store/store_sqlite.h"

static const char *folder;
static struct store *store;

static void set_up(void) {
    folder = store_test_folder();
    store_test_prepare(store_test_path(folder, "subslab.db"));
    store = store_test_open(store_test_path(folder, "subslab.db"), NULL);
    ck_assert_int_eq(operation_people(store, NULL), STORE_OK);
}

static void tear_down(void) {
    store_close(store);
    store_test_remove(folder);
}

static bool on_test(void *context, const struct record_radon_test *test) {
    (void)context;
    return test != NULL;
}

/* Rows that statements have stepped over in whole tables, as SQLite counts them. */
static int scanned(void) {
    int steps = 0;
    for (sqlite3_stmt *one = NULL; (one = sqlite3_next_stmt(store->db, one));)
        steps += sqlite3_stmt_status(one, SQLITE_STMTSTATUS_FULLSCAN_STEP, 1);
    return steps;
}

static void put_for_others(void) {
    int64_t id;
    for (int i = 0; i < 20; i++) {
        const struct record_commissioning record = {0,          "elm-4",        100 + i, 200,
                                                    "somebody", "commissioned", "{}"};
        const struct record_visit visit = {0, "elm-4", 100 + i, 200, "somebody", "a", "b", NULL};
        const struct record_radon_test test = {.system = "elm-4",
                                               .to_ms = 100 + i,
                                               .kind = "short",
                                               .place = "cellar",
                                               .device = "canister",
                                               .by = "somebody"};
        ck_assert_int_eq(record_commissioning_add(store, &record, &id), STORE_OK);
        ck_assert_int_eq(record_visit_add(store, &visit, &id), STORE_OK);
        ck_assert_int_eq(record_radon_test_add(store, &test, &id), STORE_OK);
    }
}

START_TEST(lists_of_one_system_go_by_an_index) {
    char *text = NULL;
    size_t length = 0;
    FILE *answer = open_memstream(&text, &length);
    ck_assert_ptr_nonnull(answer);
    put_for_others();
    scanned();
    ck_assert_int_eq(record_commissioning_list(store, NULL, RECORD_OLDEST_FIRST,
                                               store_test_print_commissioning, answer),
                     STORE_OK);
    ck_assert_int_gt(scanned(), 0); /* of all: it does count */
    ck_assert_int_eq(record_commissioning_list(store, "elm-3", RECORD_OLDEST_FIRST,
                                               store_test_print_commissioning, answer),
                     STORE_OK);
    ck_assert_int_eq(
        record_visit_list(store, "elm-3", RECORD_NEWEST_FIRST, store_test_print_visit, answer),
        STORE_OK);
    ck_assert_int_eq(record_radon_test_list(store, "elm-3", RECORD_OLDEST_FIRST, on_test, answer),
                     STORE_OK);
    ck_assert_int_eq(
        record_home_report_newest(store, "elm-3", 5, store_test_print_home_report, answer),
        STORE_OK);
    struct record_alarm_filter its = {.system = "elm-3", .since_ms = TIMESTAMP_NONE};
    ck_assert_int_eq(record_alarm_list(store, &its, store_test_print_alarm, answer), STORE_OK);
    its.only_open = true;
    ck_assert_int_eq(record_alarm_list(store, &its, store_test_print_alarm, answer), STORE_OK);
    ck_assert_int_eq(scanned(), 0);
    fclose(answer);
    ck_assert_uint_gt(length, 100);
    free(text);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("records_of_one");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, lists_of_one_system_go_by_an_index);
    return run_test_case(tcase);
}
