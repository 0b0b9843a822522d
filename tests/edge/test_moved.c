/* A system goes from one store into another: what is read of it is the same, whatever its rows were
   numbered by, and nothing of it is left behind or damaged on the way. */
#include "store/forget.h"
#include "store/moved.h"
#include "store_operations.h"

static const char *folder;
static struct store *from, *to;

static void set_up(void) {
    int64_t keys[3], row;
    int packed;
    folder = store_test_folder();
    store_test_prepare(store_test_path(folder, "from.db"));
    from = store_test_open(store_test_path(folder, "from.db"), NULL);
    to = store_test_open(store_test_path(folder, "to.db"), NULL);
    ck_assert_int_eq(store_test_keys(from, keys), STORE_OK);
    const struct record_look look = {1000, 2000, 1000, TIMESTAMP_NONE};
    const struct record_radon_test test = {.system = "elm-3",
                                           .from_ms = 1000,
                                           .to_ms = 2000,
                                           .recorded_ms = 3000,
                                           .value_bq_m3 = 120.0,
                                           .uncertainty_relative = 0.1,
                                           .kind = "short",
                                           .place = "cellar",
                                           .device = "canister",
                                           .by = "somebody"};
    ck_assert_int_eq(record_look_put(from, keys[0], &look), STORE_OK);
    ck_assert_int_eq(record_radon_test_add(from, &test, &row), STORE_OK);
    ck_assert_int_eq(operation_people(from, NULL), STORE_OK);
    ck_assert_int_eq(record_note_put(from, "daily elm-3", "{\"day\":19675}"), STORE_OK);
    ck_assert_int_eq(series_pack(from, FIRST_DAY_END_MS, 1000, &packed), STORE_OK);
    /* Rows of others, so that no number is the same there. */
    for (int i = 0; i < 9; i++) {
        char name[20];
        snprintf(name, sizeof name, "point-%d", i);
        ck_assert_int_eq(series_key(to, "mill", name, &row), STORE_OK);
    }
}

static void tear_down(void) {
    store_close(from);
    store_close(to);
    store_test_remove(folder);
}

static char *read_all(struct store *store) {
    char *text = NULL;
    size_t length = 0;
    FILE *answer = open_memstream(&text, &length);
    ck_assert_ptr_nonnull(answer);
    ck_assert_int_eq(operation_read_series(store, answer), STORE_OK);
    fclose(answer);
    ck_assert_uint_gt(length, 1000);
    return text;
}

static struct moved_counts carry(int64_t *highest) {
    struct moved_counts out, in;
    unsigned char *bytes;
    size_t size;
    char why[200] = "";
    ck_assert_int_eq(moved_out(from, "elm-3", "id: elm-3\n", &bytes, &size, &out), STORE_OK);
    struct moved *moved = moved_open(bytes, size, why, sizeof why);
    ck_assert_msg(moved, "%s", why);
    ck_assert_str_eq(moved_system(moved), "elm-3");
    ck_assert_str_eq(moved_file(moved), "id: elm-3\n");
    ck_assert_int_eq(store_begin(to), STORE_OK);
    ck_assert_int_eq(moved_in(to, moved, highest, &in), STORE_OK);
    ck_assert_int_eq(store_commit(to), STORE_OK);
    ck_assert(memcmp(&out, &in, sizeof out) == 0);
    moved_close(moved);
    moved_free(bytes);
    return in;
}

static bool on_alarm(void *context, const struct record_alarm *alarm) {
    int64_t *numbers = context;
    ck_assert_str_eq(alarm->system, "elm-3");
    numbers[numbers[0] + 1] = alarm->id;
    numbers[0]++;
    return true;
}

static bool on_look(void *context, const char *system, const char *point,
                    const struct record_look *look) {
    ck_assert_str_eq(system, "elm-3");
    ck_assert_str_eq(point, "suction");
    ck_assert_int_eq(look->from_ms, 1000);
    ++*(int *)context;
    return true;
}

START_TEST(all_of_it_is_read_there_as_it_was_here) {
    int64_t highest = 41, total, numbers[20] = {0};
    int looks = 0;
    char *before = read_all(from), note[40];
    struct moved_counts counts = carry(&highest);
    char *after = read_all(to);
    ck_assert_str_eq(before, after);
    free(before);
    free(after);
    ck_assert_int_eq(series_count(to, &total), STORE_OK);
    ck_assert_int_eq(total, counts.readings);
    ck_assert_int_eq(counts.readings, PREPARED_BATCHES * BATCH_SIZE);
    ck_assert_int_eq(counts.records, 4); /* commissioning, visit, test, report */
    const struct record_alarm_filter all = {.since_ms = TIMESTAMP_NONE};
    ck_assert_int_eq(record_alarm_list(to, &all, on_alarm, numbers), STORE_OK);
    ck_assert_int_eq(numbers[0], counts.alarms);
    for (int64_t i = 1; i <= numbers[0]; i++)
        ck_assert_int_gt(numbers[i], 41);
    ck_assert_int_eq(numbers[1], highest); /* newest first */
    ck_assert_int_eq(record_look_list(to, on_look, &looks), STORE_OK);
    ck_assert_int_eq(looks, 1);
    ck_assert_int_eq(record_note_get(to, "daily elm-3", note, sizeof note), STORE_OK);
    store_test_verify(to);
}
END_TEST

START_TEST(what_goes_on_there_finds_its_packed_days) {
    int64_t highest = 0, keys[3];
    enum series_append result;
    carry(&highest);
    ck_assert_int_eq(store_test_keys(to, keys), STORE_OK);
    const struct reading again = store_test_reading(0, 0);
    ck_assert_int_eq(series_append(to, keys[0], &again, SERIES_FROM_SENSOR, false, &result),
                     STORE_OK);
    ck_assert_int_eq(result, SERIES_SAME);
    /* And away again: nothing is left. */
    struct forgotten found;
    const struct forget what = {"elm-3", NULL, 0};
    ck_assert_int_eq(forget_system(to, &what), STORE_OK);
    ck_assert_int_eq(forget_count(to, "elm-3", &found), STORE_OK);
    ck_assert_int_eq(found.points + found.alarms + found.records, 0);
    store_test_verify(to);
}
END_TEST

START_TEST(other_bytes_are_refused) {
    struct moved_counts counts;
    unsigned char *bytes;
    size_t size;
    char why[200];
    ck_assert_int_eq(moved_out(from, "elm-3", "id: elm-3\n", &bytes, &size, &counts), STORE_OK);
    ck_assert_ptr_null(moved_open("none", 4, why, sizeof why));
    ck_assert_ptr_null(moved_open(bytes, size / 2, why, sizeof why));
    bytes[63] = 7; /* of an earlier schema */
    ck_assert_ptr_null(moved_open(bytes, size, why, sizeof why));
    ck_assert_ptr_nonnull(strstr(why, "another version"));
    moved_free(bytes);
}
END_TEST

START_TEST(a_damaged_day_stays_where_its_backup_is) {
    struct moved_counts counts;
    unsigned char *bytes = NULL;
    size_t size;
    sqlite3 *db;
    store_close(from);
    ck_assert_int_eq(sqlite3_open(store_test_path(folder, "from.db"), &db), SQLITE_OK);
    ck_assert_int_eq(
        sqlite3_exec(db, "UPDATE packs SET pack = x'0102030405060708'", NULL, NULL, NULL),
        SQLITE_OK);
    sqlite3_close(db);
    from = store_test_open(store_test_path(folder, "from.db"), NULL);
    ck_assert_int_eq(moved_out(from, "elm-3", "id: elm-3\n", &bytes, &size, &counts),
                     STORE_DAMAGED);
    ck_assert_ptr_null(bytes);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("moved");
    tcase_set_timeout(tcase, 120);
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, all_of_it_is_read_there_as_it_was_here);
    tcase_add_test(tcase, what_goes_on_there_finds_its_packed_days);
    tcase_add_test(tcase, other_bytes_are_refused);
    tcase_add_test(tcase, a_damaged_day_stays_where_its_backup_is);
    return run_test_case(tcase);
}
