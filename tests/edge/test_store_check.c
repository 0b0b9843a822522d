/*
 * Damage to the files of a store, what verify finds, and copies by backup.
 */
#include "store/store_sqlite.h"
#include "store_files.h"

#include <fcntl.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

/* ---- damage ---- */

START_TEST(damaged_files_are_told_and_set_aside_whole) {
    make_store(40);
    size_t length;
    char *bytes = file_bytes(path, &length);
    ck_assert_uint_gt(length, 16384);
    if (_i == 0)
        memset(bytes, 0, 16);
    else if (_i == 1)
        memset(bytes + 100, 0xA5, 900);
    else if (_i == 2)
        length = 50;
    else
        length = 4096 * (size_t)(_i - 2);
    write_file(path, bytes, length);
    write_file(store_test_path(folder, "subslab.db-wal"), "", 0);
    expect_refused(STORE_DAMAGED, "damaged");
    char moved[400];
    ck_assert_int_eq(store_set_aside(path, 1764064800000, moved, sizeof moved), STORE_OK);
    ck_assert_ptr_nonnull(strstr(moved, "subslab.db.damaged-20251125T100000Z"));
    size_t moved_length;
    char *moved_bytes = file_bytes(moved, &moved_length);
    ck_assert_uint_eq(moved_length, length);
    ck_assert(memcmp(moved_bytes, bytes, length) == 0);
    free(moved_bytes);
    free(bytes);
    make_store(1);
    ck_assert_int_eq(store_set_aside(path, 1764064800000, moved, sizeof moved), STORE_FAILING);
    struct store *store = store_test_open(path, NULL); /* the name was taken: still in its place */
    ck_assert_int_eq(store_test_count_batches(store), 1);
    store_close(store);
}
END_TEST

START_TEST(a_log_without_its_file_is_not_taken_for_a_new_store) {
    write_file(store_test_path(folder, "subslab.db-wal"), "left over", 9);
    expect_refused(STORE_DAMAGED, "the file is gone");
    char moved[400];
    ck_assert_int_eq(store_set_aside(path, 1764064800000, moved, sizeof moved), STORE_OK);
    make_store(1);
    ck_assert_int_eq(store_set_aside(store_test_path(folder, "none.db"), 0, moved, sizeof moved),
                     STORE_NOT_FOUND);
}
END_TEST

static bool is_intact(const struct reading *got, const struct reading *want) {
    int64_t shift = got->time_ms - want->time_ms;
    return shift > -1000 && shift < 1000 && got->value - want->value < 1e-6 * want->value &&
           want->value - got->value < 1e-6 * want->value;
}

/* Reads what verify called sound, against the store as it was. */
static void expect_intact(struct store *store, const struct reading *want, size_t count) {
    int64_t key;
    struct reading got[400];
    size_t got_count;
    ck_assert_int_eq(series_find(store, "elm-3", "suction", &key), STORE_OK);
    ck_assert_int_eq(series_read(store, key, 0, INT64_MAX, got, 400, &got_count), STORE_OK);
    ck_assert_uint_eq(got_count, count);
    for (size_t i = 0; i < count; i++)
        ck_assert_msg(is_intact(&got[i], &want[i]), "reading %zu changed unnoticed", i);
}

static void count_finding(void *context, const char *text) {
    (void)text;
    ++*(int *)context;
}

START_TEST(a_flipped_bit_is_noticed_or_harmless) {
    make_store(30);
    struct reading want[400];
    size_t count, length;
    int64_t key;
    struct store *store = store_test_open(path, NULL);
    ck_assert_int_eq(series_find(store, "elm-3", "suction", &key), STORE_OK);
    ck_assert_int_eq(series_read(store, key, 0, INT64_MAX, want, 400, &count), STORE_OK);
    store_close(store);
    char *bytes = file_bytes(path, &length);
    struct test_random random = {test_seed()};
    int noticed = 0;
    const char *wal = store_test_path(folder, "subslab.db-wal");
    const char *shm = store_test_path(folder, "subslab.db-shm");
    for (int i = 0; i < 200; i++) {
        size_t bit = (size_t)(test_random_next(&random) % (length * 8));
        bytes[bit / 8] = (char)(bytes[bit / 8] ^ (1 << bit % 8));
        write_file(path, bytes, length);
        unlink(wal);
        unlink(shm);
        int findings = 0;
        store = NULL;
        enum store_status status = try_open(&store);
        if (status == STORE_OK) {
            status = store_verify(store, count_finding, NULL, &findings);
            if (status == STORE_OK)
                expect_intact(store, want, count);
            store_close(store);
        }
        ck_assert_int_ne(status, STORE_LOCKED);
        ck_assert_int_ne(status, STORE_OUT_OF_MEMORY);
        noticed += status != STORE_OK;
        bytes[bit / 8] = (char)(bytes[bit / 8] ^ (1 << bit % 8));
    }
    free(bytes);
    printf("flipped bits noticed: %d of 200\n", noticed);
    ck_assert_int_gt(noticed, 10);
}
END_TEST

/* ---- verify ---- */

struct tampering {
    const char *sql, *words;
};

static const struct tampering tamperings[] = {
    {"DELETE FROM hours WHERE hour_ms = (SELECT max(hour_ms) FROM hours)", "missing"},
    {"INSERT INTO hours VALUES (1, 1600000000000 / 3600000 * 3600000, 0, 1, 60000, NULL, NULL)",
     "there are no readings"},
    {"UPDATE hours SET value_ms = value_ms * 1.00001 WHERE point = 2 AND hour_ms = (SELECT "
     "min(hour_ms) FROM hours)",
     "sum"},
    {"UPDATE hours SET covered_ms = covered_ms - 1 WHERE point = 1", "covered"},
    {"UPDATE hours SET highest = highest + 1 WHERE point = 3", "lowest or highest"},
    {"DELETE FROM readings WHERE time_ms = (SELECT max(time_ms) FROM readings);"
     "UPDATE totals SET value = (SELECT count(*) FROM readings) WHERE name = 'readings'",
     "readings noted"},
    {"UPDATE totals SET value = value + 1 WHERE name = 'readings'", "running total"},
    {"UPDATE totals SET value = 1 WHERE name = 'outbox 2'", "running total"},
    {"INSERT INTO outbox VALUES (1, 'e', 'office', 's', 't', 'c', 'b', 0, 0, 0, 0, 0, 0, 0, 0, "
     "NULL)",
     "marked wrongly"},
    {"INSERT INTO days VALUES (77, 1, 0, 1, 0, 0, 0, 0)", "belongs to no row"},
};

static char all_findings[6000];

static void keep_finding(void *context, const char *text) {
    ++*(int *)context;
    size_t length = strlen(all_findings);
    snprintf(all_findings + length, sizeof all_findings - length, "%s\n", text);
}

static double last_progress;

static void keep_progress(void *context, double done) {
    (void)context;
    ck_assert_double_ge(done, last_progress);
    ck_assert_double_le(done, 1.0);
    last_progress = done;
}

START_TEST(verify_finds_what_was_tampered_with) {
    make_store(5);
    struct store *store = store_test_open(path, NULL);
    store_test_verify(store);
    store_close(store);
    raw(path, tamperings[_i].sql);
    store = store_test_open(path, NULL);
    int findings = 0;
    last_progress = 0;
    ck_assert_int_eq(store_verify(store, keep_finding, keep_progress, &findings), STORE_DAMAGED);
    ck_assert_int_gt(findings, 0);
    ck_assert_double_eq(last_progress, 1.0);
    ck_assert_msg(strstr(all_findings, tamperings[_i].words), "says: %s", all_findings);
    store_close(store);
}
END_TEST

/* ---- backup ---- */

START_TEST(a_backup_is_a_whole_store) {
    make_store(10);
    struct store *store = store_test_open(path, NULL);
    ck_assert_int_eq(store_test_write_batch(store, 10), STORE_OK); /* some of it in the log */
    const char *copy = store_test_path(folder, "copy.db");
    write_file(store_test_path(folder, "copy.db.partial"), "cut off", 7);
    last_progress = 0;
    ck_assert_int_eq(store_backup(store, copy, NULL, keep_progress, NULL, why, sizeof why),
                     STORE_OK);
    ck_assert_double_eq(last_progress, 1.0);
    ck_assert_int_eq(access(store_test_path(folder, "copy.db.partial"), F_OK), -1);
    ck_assert_int_eq(store_test_write_batch(store, 11), STORE_OK);
    store_close(store);
    struct stat info;
    ck_assert_int_eq(stat(copy, &info), 0);
    ck_assert_int_eq(info.st_mode & 0137, 0);
    store = store_test_open(copy, NULL);
    ck_assert_int_eq(store_test_count_batches(store), 11);
    store_test_verify(store);
    ck_assert_int_eq(store_test_write_batch(store, 11), STORE_OK); /* it can be put in its place */
    ck_assert_int_eq(store_backup(store, path, NULL, NULL, NULL, why, sizeof why), STORE_FAILING);
    ck_assert_ptr_nonnull(strstr(why, "exists already"));
    ck_assert_int_eq(store_backup(store, store_test_path(folder, "no/copy.db"), NULL, NULL, NULL,
                                  why, sizeof why),
                     STORE_FAILING);
    store_close(store);
}
END_TEST

/* Else copies of a night would replace, one by one, those that are sound. */
START_TEST(a_store_that_lacks_pages_is_told_in_place_of_a_copy) {
    make_store(60);
    int64_t page =
        store_test_ask(path, "SELECT rootpage FROM sqlite_schema WHERE name = 'readings'");
    FILE *file = fopen(path, "r+b");
    char zeros[4096] = {0};
    ck_assert_ptr_nonnull(file);
    ck_assert_int_eq(fseek(file, (page - 1) * (long)sizeof zeros, SEEK_SET), 0);
    ck_assert_uint_eq(fwrite(zeros, 1, sizeof zeros, file), sizeof zeros);
    ck_assert_int_eq(fclose(file), 0);
    sqlite3 *db; /* as a daemon has it open that has not met the damage yet */
    ck_assert_int_eq(sqlite3_open(path, &db), SQLITE_OK);
    struct store store = {.db = db};
    const char *copy = store_test_path(folder, "copy.db");
    ck_assert_int_eq(store_backup(&store, copy, NULL, NULL, NULL, why, sizeof why), STORE_DAMAGED);
    ck_assert_msg(strstr(why, copy) && strstr(why, "restore an earlier copy"), "says: %s", why);
    ck_assert_int_eq(access(copy, F_OK), -1);
    ck_assert_int_eq(access(store_test_path(folder, "copy.db.partial"), F_OK), -1);
    sqlite3_close(db);
}
END_TEST

START_TEST(a_backup_has_no_free_pages) {
    make_store(200);
    raw(path, "DELETE FROM readings");
    struct store *store = store_test_open(path, NULL);
    const char *copy = store_test_path(folder, "copy.db");
    ck_assert_int_eq(store_backup(store, copy, NULL, NULL, NULL, why, sizeof why), STORE_OK);
    store_close(store);
    ck_assert_int_gt(store_test_ask(path, "PRAGMA freelist_count"), 10);
    ck_assert_int_eq(store_test_ask(copy, "PRAGMA freelist_count"), 0);
    ck_assert_int_eq(store_test_ask(copy, "PRAGMA application_id"), STORE_APPLICATION_ID);
}
END_TEST

START_TEST(a_backup_while_another_writes_is_one_moment) {
    make_store(20);
    int stop[2];
    ck_assert_int_eq(pipe(stop), 0);
    ck_assert_int_eq(fcntl(stop[0], F_SETFL, O_NONBLOCK), 0);
    pid_t child = fork();
    if (child == 0) {
        struct store *store = NULL;
        char byte;
        int64_t batch = 20;
        if (try_open(&store) != STORE_OK)
            _exit(1);
        while (read(stop[0], &byte, 1) < 0)
            if (store_test_write_batch(store, batch++) != STORE_OK)
                _exit(2);
        store_close(store);
        _exit(0);
    }
    const struct store_options options = {STORE_READ_ONLY, 1000, NULL};
    for (int i = 0; i < 5; i++) {
        struct store *reader = NULL, *copy;
        char name[20];
        snprintf(name, sizeof name, "copy-%d.db", i);
        usleep(50000);
        ck_assert_int_eq(store_open(path, &options, &reader, why, sizeof why), STORE_OK);
        enum store_status status =
            store_backup(reader, store_test_path(folder, name), NULL, NULL, NULL, why, sizeof why);
        ck_assert_msg(status == STORE_OK, "%s", why);
        store_close(reader);
        copy = store_test_open(store_test_path(folder, name), NULL);
        ck_assert_int_ge(store_test_count_batches(copy), 20);
        store_test_verify(copy);
        store_close(copy);
    }
    ck_assert_int_eq(write(stop[1], "s", 1), 1);
    int status;
    waitpid(child, &status, 0);
    ck_assert_int_eq(status, 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("store");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_loop_test(tcase, damaged_files_are_told_and_set_aside_whole, 0, 7);
    tcase_add_test(tcase, a_log_without_its_file_is_not_taken_for_a_new_store);
    tcase_add_test(tcase, a_flipped_bit_is_noticed_or_harmless);
    tcase_add_loop_test(tcase, verify_finds_what_was_tampered_with, 0,
                        (int)(sizeof tamperings / sizeof tamperings[0]));
    tcase_add_test(tcase, a_backup_is_a_whole_store);
    tcase_add_test(tcase, a_store_that_lacks_pages_is_told_in_place_of_a_copy);
    tcase_add_test(tcase, a_backup_has_no_free_pages);
    tcase_add_test(tcase, a_backup_while_another_writes_is_one_moment);
    return run_test_case(tcase);
}
