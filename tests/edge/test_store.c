/* Opening, transactions, integrity and backup, and what files may be found under the store's name.
 */
#include "store_files.h"

#include <dirent.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static int files_in_folder(void) {
    DIR *list = opendir(folder);
    int count = 0;
    for (const struct dirent *entry; (entry = readdir(list));)
        count += entry->d_name[0] != '.';
    closedir(list);
    return count;
}

/* ---- opening ---- */

START_TEST(a_new_store_is_private_and_ours) {
    mode_t old = umask(_i ? 077 : 022);
    make_store(1);
    umask(old);
    struct stat info;
    ck_assert_int_eq(stat(path, &info), 0);
    ck_assert_int_eq(info.st_mode & 0777, _i ? 0600 : 0640);
    size_t length;
    char *bytes = file_bytes(path, &length);
    ck_assert(memcmp(bytes + 68, "SuBw", 4) == 0);
    ck_assert_int_eq(bytes[18], 2); /* SQLite file format: 2 is write-ahead log */
    ck_assert_int_eq(bytes[63], 9); /* version of the schema */
    free(bytes);
    struct store *store = store_test_open(path, NULL);
    ck_assert_int_eq(store_test_write_batch(store, 1), STORE_OK);
    ck_assert_int_eq(stat(store_test_path(folder, "subslab.db-wal"), &info), 0);
    ck_assert_int_eq(info.st_mode & 0777, _i ? 0600 : 0640);
    int64_t file_size, wal_size;
    store_size(store, &file_size, &wal_size);
    ck_assert_int_gt(file_size, 0);
    ck_assert_int_eq(wal_size, info.st_size);
    ck_assert_int_eq(store_probe(store), STORE_OK);
    store_close(store);
    store_close(NULL);
}
END_TEST

START_TEST(a_store_keeps_what_was_committed) {
    make_store(3);
    struct store *store = store_test_open(path, NULL);
    ck_assert_int_eq(store_test_count_batches(store), 3);
    ck_assert_int_eq(store_begin(store), STORE_OK);
    ck_assert_int_eq(store_test_append_batch(store, 3), STORE_OK);
    store_close(store); /* rolls back */
    store = store_test_open(path, NULL);
    ck_assert_int_eq(store_test_count_batches(store), 3);
    store_test_verify(store);
    store_close(store);
}
END_TEST

START_TEST(left_overs_of_a_broken_creation_do_not_matter) {
    write_file(store_test_path(folder, "subslab.db.creating"), "half", 4);
    write_file(store_test_path(folder, "subslab.db.creating-journal"), "half", 4);
    make_store(1);
    ck_assert_int_eq(files_in_folder(), 2); /* the store and its lock */
}
END_TEST

START_TEST(what_is_not_ours_is_not_touched) {
    static const char *const makers[] = {
        "PRAGMA journal_mode=WAL; CREATE TABLE t(x); INSERT INTO t VALUES (1)",
        "CREATE TABLE points(x); PRAGMA application_id=1; PRAGMA user_version=1"};
    if (_i == 0)
        write_file(path, "", 0);
    else if (_i == 1)
        write_file(path,
                   "a shopping list, much longer than the hundred bytes of a header of a "
                   "database file, with milk, bread, butter and eggs\n",
                   118);
    else
        raw(path, makers[_i - 2]);
    size_t length, length_after;
    char *before = file_bytes(path, &length);
    expect_refused(STORE_FOREIGN, _i == 0 ? "empty" : "not a store");
    char *after = file_bytes(path, &length_after);
    ck_assert_uint_eq(length, length_after);
    ck_assert(memcmp(before, after, length) == 0);
    ck_assert_int_eq(files_in_folder(), 1);
    free(before);
    free(after);
}
END_TEST

START_TEST(a_folder_is_not_a_store) {
    ck_assert_int_eq(mkdir(path, 0700), 0);
    expect_refused(STORE_FOREIGN, "not a regular file");
    rmdir(path);
}
END_TEST

START_TEST(a_newer_store_is_left_alone) {
    make_store(2);
    raw(path, "PRAGMA user_version=99");
    size_t length, length_after;
    char *before = file_bytes(path, &length);
    expect_refused(STORE_NEWER, "newer version");
    char *after = file_bytes(path, &length_after);
    ck_assert_uint_eq(length, length_after);
    ck_assert(memcmp(before, after, length) == 0);
    free(before);
    free(after);
}
END_TEST

START_TEST(a_newer_version_may_be_in_the_log_alone) {
    make_store(2);
    sqlite3 *db;
    ck_assert_int_eq(sqlite3_open(path, &db), SQLITE_OK);
    sqlite3_db_config(db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
    ck_assert_int_eq(sqlite3_exec(db, "PRAGMA user_version=99", NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(db);
    struct stat info;
    ck_assert_int_eq(stat(store_test_path(folder, "subslab.db-wal"), &info), 0);
    size_t length, length_after;
    char *before = file_bytes(path, &length);
    expect_refused(STORE_NEWER, "newer version");
    char *after = file_bytes(path, &length_after);
    ck_assert_uint_eq(length, length_after);
    ck_assert(memcmp(before, after, length) == 0);
    ck_assert_int_eq(stat(store_test_path(folder, "subslab.db-wal"), &info), 0);
    ck_assert_int_gt(info.st_size, 0);
    free(before);
    free(after);
}
END_TEST

START_TEST(a_folder_that_is_missing_or_closed_is_a_failure) {
    path = store_test_path(folder, "no/such/subslab.db");
    expect_refused(STORE_FAILING, "cannot be made");
    const struct store_options reading = {STORE_READ_ONLY, 50, NULL};
    struct store *store = NULL;
    path = store_test_path(folder, "subslab.db");
    ck_assert_int_eq(store_open(path, &reading, &store, why, sizeof why), STORE_FAILING);
    ck_assert_ptr_nonnull(strstr(why, "no such file"));
    ck_assert_int_eq(files_in_folder(), 0);
}
END_TEST

/* Root may write anywhere, so the look is taken as another user. */
static void become_nobody(void) {
    if (geteuid() == 0 && (setgid(65534) != 0 || setuid(65534) != 0))
        _exit(90);
}

static int status_as_nobody(void) {
    pid_t child = fork();
    if (child == 0) {
        struct store *store = NULL;
        become_nobody();
        enum store_status status = try_open(&store);
        _exit(status != STORE_OK && strstr(why, folder) ? (int)status : 80 + (int)status);
    }
    int status;
    waitpid(child, &status, 0);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

START_TEST(a_read_only_file_is_a_failure_with_its_path) {
    make_store(1);
    ck_assert_int_eq(chmod(path, 0444), 0);
    ck_assert_int_eq(chmod(store_test_path(folder, "subslab.db.lock"), 0666), 0);
    ck_assert_int_eq(chmod(folder, 0777), 0);
    ck_assert_int_eq(status_as_nobody(), STORE_FAILING);
    ck_assert_int_eq(chmod(path, 0000), 0);
    ck_assert_int_eq(status_as_nobody(), STORE_FAILING);
    ck_assert_int_eq(chmod(folder, 0755), 0);
    ck_assert_int_eq(chmod(path, 0640), 0);
    struct store *store = store_test_open(path, NULL);
    ck_assert_int_eq(store_test_count_batches(store), 1);
    store_close(store);
}
END_TEST

START_TEST(a_reader_beside_the_daemon_reads_and_cannot_write) {
    struct store *writer = store_test_open(path, NULL), *reader = NULL;
    ck_assert_int_eq(store_test_write_batch(writer, 0), STORE_OK);
    const struct store_options options = {STORE_READ_ONLY, 50, NULL};
    ck_assert_int_eq(store_open(path, &options, &reader, why, sizeof why), STORE_OK);
    ck_assert_int_eq(store_test_count_batches(reader), 1);
    ck_assert_int_eq(store_test_write_batch(writer, 1), STORE_OK);
    ck_assert_int_eq(store_test_count_batches(reader), 2);
    store_test_verify(reader);
    ck_assert_int_eq(store_begin(reader), STORE_FAILING);
    ck_assert_ptr_nonnull(strstr(store_error(reader), "read-only"));
    store_close(reader);
    store_close(writer);
}
END_TEST

/* ---- lock ---- */

START_TEST(a_second_daemon_is_refused_with_the_number_of_the_first) {
    struct store *store = store_test_open(path, NULL);
    char number[30];
    snprintf(number, sizeof number, "process %ld)", (long)getpid());
    expect_refused(STORE_LOCKED, number);
    pid_t child = fork();
    if (child == 0) {
        struct store *other = NULL;
        _exit(try_open(&other) == STORE_LOCKED && strstr(why, number) ? 0 : 1);
    }
    int status;
    waitpid(child, &status, 0);
    ck_assert_int_eq(status, 0);
    store_close(store);
    store = store_test_open(path, NULL);
    store_close(store);
}
END_TEST

START_TEST(a_store_named_through_a_link_has_the_same_lock) {
    struct store *store = store_test_open(path, NULL), *other = NULL;
    const struct store_options options = {STORE_READ_WRITE, 50, NULL};
    const char *link = store_test_path(folder, "link.db");
    const char *link_to_link = store_test_path(folder, "link-to-link.db");
    ck_assert_int_eq(symlink("subslab.db", link), 0);
    ck_assert_int_eq(symlink(link, link_to_link), 0);
    ck_assert_int_eq(store_open(link, &options, &other, why, sizeof why), STORE_LOCKED);
    ck_assert_int_eq(store_open(link_to_link, &options, &other, why, sizeof why), STORE_LOCKED);
    store_close(store);
    store = store_test_open(link_to_link, NULL);
    ck_assert_int_eq(store_test_write_batch(store, 0), STORE_OK);
    expect_refused(STORE_LOCKED, "in use by another daemon");
    store_close(store);
    ck_assert_int_ne(access(store_test_path(folder, "link.db.lock"), F_OK), 0);
}
END_TEST

START_TEST(a_killed_daemon_leaves_no_lock) {
    int ready[2];
    ck_assert_int_eq(pipe(ready), 0);
    pid_t child = fork();
    if (child == 0) {
        struct store *store = NULL;
        char done = try_open(&store) == STORE_OK ? 'y' : 'n';
        if (write(ready[1], &done, 1) != 1)
            _exit(1);
        pause();
    }
    char answer = 'n';
    ck_assert_int_eq(read(ready[0], &answer, 1), 1);
    ck_assert_int_eq(answer, 'y');
    expect_refused(STORE_LOCKED, "in use by another daemon");
    kill(child, SIGKILL);
    waitpid(child, NULL, 0);
    struct store *store = store_test_open(path, NULL);
    store_close(store);
}
END_TEST

START_TEST(another_holder_of_the_database_is_named) {
    struct store *store = store_test_open(path, NULL);
    ck_assert_int_eq(store_test_write_batch(store, 0), STORE_OK);
    sqlite3 *other;
    ck_assert_int_eq(sqlite3_open(path, &other), SQLITE_OK);
    ck_assert_int_eq(sqlite3_exec(other, "BEGIN EXCLUSIVE", NULL, NULL, NULL), SQLITE_OK);
    ck_assert_int_eq(store_begin(store), STORE_FAILING);
    ck_assert(!store_in_transaction(store));
    ck_assert_ptr_nonnull(strstr(store_error(store), "another process holds the database"));
    ck_assert_ptr_nonnull(strstr(store_error(store), path));
    sqlite3_exec(other, "ROLLBACK", NULL, NULL, NULL);
    sqlite3_close(other);
    ck_assert_int_eq(store_test_write_batch(store, 1), STORE_OK); /* goes on by itself */
    ck_assert_int_eq(store_test_count_batches(store), 2);
    store_close(store);
}
END_TEST

START_TEST(a_long_reader_shows_in_the_size_of_the_log) {
    struct store *store = store_test_open(path, NULL);
    sqlite3 *reader;
    ck_assert_int_eq(sqlite3_open(path, &reader), SQLITE_OK);
    ck_assert_int_eq(sqlite3_exec(reader, "BEGIN; SELECT count(*) FROM readings", NULL, NULL, NULL),
                     SQLITE_OK);
    int64_t file_size, held, after, batch = 0;
    for (; batch < 40; batch++)
        ck_assert_int_eq(store_test_write_batch(store, batch), STORE_OK);
    store_checkpoint(store);
    store_size(store, &file_size, &held);
    ck_assert_int_eq(store_test_write_batch(store, batch++), STORE_OK);
    store_size(store, &file_size, &after);
    ck_assert_int_gt(after, held); /* cannot begin anew */
    sqlite3_close(reader);
    store_checkpoint(store);
    held = after;
    ck_assert_int_eq(store_test_write_batch(store, batch++), STORE_OK);
    store_size(store, &file_size, &after);
    ck_assert_int_eq(after, held); /* begins anew in the same file */
    ck_assert_int_eq(store_test_count_batches(store), batch);
    store_close(store);
}
END_TEST

START_TEST(a_file_that_vanished_is_noticed) {
    struct store *store = store_test_open(path, NULL);
    ck_assert_int_eq(store_probe(store), STORE_OK);
    ck_assert_int_eq(unlink(path), 0);
    ck_assert_int_eq(store_probe(store), STORE_FAILING);
    store_close(store);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("store");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_loop_test(tcase, a_new_store_is_private_and_ours, 0, 2);
    tcase_add_test(tcase, a_store_keeps_what_was_committed);
    tcase_add_test(tcase, left_overs_of_a_broken_creation_do_not_matter);
    tcase_add_loop_test(tcase, what_is_not_ours_is_not_touched, 0, 4);
    tcase_add_test(tcase, a_folder_is_not_a_store);
    tcase_add_test(tcase, a_newer_store_is_left_alone);
    tcase_add_test(tcase, a_newer_version_may_be_in_the_log_alone);
    tcase_add_test(tcase, a_folder_that_is_missing_or_closed_is_a_failure);
    tcase_add_test(tcase, a_read_only_file_is_a_failure_with_its_path);
    tcase_add_test(tcase, a_reader_beside_the_daemon_reads_and_cannot_write);
    tcase_add_test(tcase, a_second_daemon_is_refused_with_the_number_of_the_first);
    tcase_add_test(tcase, a_store_named_through_a_link_has_the_same_lock);
    tcase_add_test(tcase, a_killed_daemon_leaves_no_lock);
    tcase_add_test(tcase, another_holder_of_the_database_is_named);
    tcase_add_test(tcase, a_long_reader_shows_in_the_size_of_the_log);
    tcase_add_test(tcase, a_file_that_vanished_is_noticed);
    return run_test_case(tcase);
}
