/* Which alarms a message is about, and many waiting messages made into one. */
#include "alarm/condition.h"
#include "store/outbox_bundle.h"
#include "store_support.h"
#include "test_support.h"

#include <stdio.h>
#include <string.h>

#define RAISED "subslab.alarm.raised"
#define RETURNED "subslab.alarm.returned"

static const char *folder;
static struct store *store;

static void set_up(void) {
    folder = store_test_folder();
    store = store_test_open(store_test_path(folder, "s.db"), NULL);
}

static void tear_down(void) {
    store_test_verify(store);
    store_close(store);
    store_test_remove(folder);
}

static struct outbox_message message_of(const char *system, const char *type, int64_t alarm,
                                        int64_t created_ms) {
    static int number;
    struct outbox_message message = {.contact = "office",
                                     .system = system,
                                     .type = type,
                                     .content_type = "text/plain",
                                     .body = "one",
                                     .alarm = alarm,
                                     .priority = PRIORITY_MEDIUM,
                                     .created_ms = created_ms,
                                     .not_before_ms = created_ms};
    snprintf(message.id, sizeof message.id, "msg_%d", ++number);
    return message;
}

static int64_t insert(const char *system, const char *type, int64_t alarm, int64_t created_ms) {
    struct outbox_message message = message_of(system, type, alarm, created_ms);
    int64_t row = 0;
    char line[40];
    snprintf(line, sizeof line, "line %lld", (long long)alarm);
    const struct outbox_member member = {alarm, line, "{}"};
    ck_assert_int_eq(outbox_insert(store, &message, &row), STORE_OK);
    ck_assert_int_eq(outbox_member_put(store, row, &member), STORE_OK);
    return row;
}

static size_t untried(struct outbox_untried rows[10]) {
    size_t count = 99;
    ck_assert_int_eq(outbox_untried(store, "office", OUTBOX_RAISES, false, rows, 10, &count),
                     STORE_OK);
    return count;
}

static bool add_line(void *context, const struct outbox_member *member) {
    strcat(strcat(context, member->line), ";");
    return true;
}

static int64_t merge(struct outbox_untried *rows, size_t count) {
    struct outbox_message message = message_of("", "subslab.digest", OUTBOX_RAISES, 500);
    int64_t row = 0;
    ck_assert_int_eq(outbox_merge(store, &message, rows, count, &row), STORE_OK);
    return row;
}

START_TEST(rows_become_one_that_has_their_alarms) {
    struct outbox_untried rows[10];
    char lines[200] = "";
    insert("a", RAISED, 3, 100);
    insert("b", RAISED, 1, 200);
    insert("c", RAISED, 4, 300);
    int64_t behind = insert("c", RETURNED, 4, 300);
    ck_assert_uint_eq(untried(rows), 2);
    int64_t bundle = merge(rows, 2);
    ck_assert_int_eq(outbox_members(store, bundle, add_line, lines), STORE_OK);
    ck_assert_str_eq(lines, "line 1;line 3;");
    ck_assert_uint_eq(untried(rows), 1);
    ck_assert_int_eq(rows[0].row, bundle);
    ck_assert(rows[0].bundle);
    /* A raise whose return waits behind it stays in its place. */
    struct outbox_message *due[10];
    size_t count = 0;
    ck_assert_int_eq(outbox_due(store, 1000, NULL, 0, due, 10, &count), STORE_OK);
    ck_assert_uint_eq(count, 2);
    ck_assert_int_eq(due[0]->row, behind - 1);
    ck_assert_int_eq(due[1]->row, bundle);
    outbox_message_free(due[0]);
    outbox_message_free(due[1]);
}
END_TEST

START_TEST(a_row_that_a_try_has_begun_stays_as_it_is) {
    struct outbox_untried rows[10];
    int64_t row = insert("a", RAISED, 1, 100);
    ck_assert_int_eq(outbox_replace(store, row, RETURNED, "text/plain", "both"), STORE_OK);
    struct outbox_message *message = NULL;
    ck_assert_int_eq(outbox_get(store, row, &message), STORE_OK);
    ck_assert_str_eq(message->body, "both");
    ck_assert_str_eq(message->type, RETURNED);
    outbox_message_free(message);
    ck_assert_int_eq(outbox_begun(store, row), STORE_OK);
    ck_assert_int_eq(outbox_replace(store, row, RAISED, "text/plain", "x"), STORE_NOT_FOUND);
    ck_assert_uint_eq(untried(rows), 0);
}
END_TEST

START_TEST(without_a_system_only_what_comes_last_is_taken) {
    struct outbox_untried rows[10];
    insert("", RAISED, 1, 100);
    insert("", RETURNED, 1, 200);
    int64_t second = insert("", RAISED, 2, 300);
    int64_t third = insert("", RAISED, 3, 400);
    ck_assert_uint_eq(untried(rows), 2);
    ck_assert_int_eq(rows[0].row, second);
    ck_assert_int_eq(rows[1].row, third);
}
END_TEST

START_TEST(only_the_first_of_a_system_is_taken) {
    struct outbox_untried rows[10];
    insert("a", RETURNED, 1, 100);
    insert("a", RAISED, 2, 200); /* must not overtake the return before it */
    int64_t other = insert("b", RAISED, 3, 300);
    ck_assert_uint_eq(untried(rows), 1);
    ck_assert_int_eq(rows[0].row, other);
}
END_TEST

START_TEST(what_a_contact_was_told) {
    struct outbox_told told;
    struct outbox_untried rows[10];
    ck_assert_int_eq(outbox_told(store, "office", 7, &told), STORE_OK);
    ck_assert_int_eq(told.rows, 0);
    int64_t row = insert("a", RAISED, 7, 100);
    insert("b", RAISED, 8, 100);
    ck_assert_int_eq(outbox_told(store, "office", 7, &told), STORE_OK);
    ck_assert_int_eq(told.raise, row);
    ck_assert(told.raise_waits && told.raise_untried && !told.raise_bundled);
    ck_assert_uint_eq(untried(rows), 2);
    int64_t bundle = merge(rows, 2), open = 0;
    insert("a", "subslab.alarm.reminder", 7, 900);
    insert("a", "subslab.alarm.escalated", 7, 1000);
    ck_assert_int_eq(outbox_told(store, "office", 7, &told), STORE_OK);
    ck_assert_int_eq(told.raise, bundle);
    ck_assert(told.raise_bundled);
    ck_assert_int_eq(told.first_ms, 500);
    ck_assert_int_eq(told.last_ms, 1000);
    ck_assert_int_eq(told.escalated_ms, 1000);
    ck_assert_int_eq(outbox_told(store, "owner", 7, &told), STORE_OK);
    ck_assert_int_eq(told.rows, 0);
    ck_assert_int_eq(outbox_unreturned(store, bundle, 1000, &open), STORE_OK);
    ck_assert_int_eq(open, 2);
    insert("a", RETURNED, 7, 1100);
    ck_assert_int_eq(outbox_unreturned(store, bundle, 1000, &open), STORE_OK);
    ck_assert_int_eq(open, 1);
    bool shared = false;
    ck_assert_int_eq(outbox_shared(store, "office", "c", &shared), STORE_OK);
    ck_assert(shared);
    ck_assert_int_eq(outbox_shared(store, "office", "a", &shared), STORE_OK);
    ck_assert(!shared); /* a message waits for it */
    ck_assert_int_eq(outbox_sent(store, bundle, 1200, "204"), STORE_OK);
    ck_assert_int_eq(outbox_shared(store, "office", "c", &shared), STORE_OK);
    ck_assert(!shared);
}
END_TEST

START_TEST(bundles_are_counted) {
    struct outbox_untried rows[10];
    struct outbox_bundles bundles;
    insert("a", RAISED, 1, 100);
    size_t count = untried(rows);
    int64_t row = merge(rows, count);
    ck_assert_int_eq(outbox_bundles(store, "office", OUTBOX_RAISES, false, 500, &bundles),
                     STORE_OK);
    ck_assert_int_eq(bundles.count, 1);
    ck_assert_int_eq(bundles.newest_ms, 500);
    ck_assert(bundles.newest_untried);
    ck_assert_int_eq(outbox_begun(store, row), STORE_OK);
    ck_assert_int_eq(outbox_bundles(store, "office", OUTBOX_RAISES, false, 500, &bundles),
                     STORE_OK);
    ck_assert(!bundles.newest_untried);
    ck_assert_int_eq(outbox_bundles(store, "office", OUTBOX_RAISES, true, 0, &bundles), STORE_OK);
    ck_assert_int_eq(bundles.count, 0);
    ck_assert_int_eq(outbox_bundles(store, "office", OUTBOX_RAISES, false, 501, &bundles),
                     STORE_OK);
    ck_assert_int_eq(bundles.count, 0);
}
END_TEST

START_TEST(the_oldest_reminders_are_thinned_and_no_raise) {
    int thinned = 0;
    struct outbox_message *message = NULL;
    insert("a", RAISED, 1, 100);
    int64_t oldest = insert("b", "subslab.alarm.reminder", 2, 200);
    insert("c", "subslab.alarm.reminder", 3, 300);
    ck_assert_int_eq(outbox_thin(store, "office", 1, 900, "thinned", &thinned), STORE_OK);
    ck_assert_int_eq(thinned, 1);
    ck_assert_int_eq(outbox_get(store, oldest, &message), STORE_OK);
    ck_assert_int_eq(message->state, OUTBOX_FAILED);
    ck_assert_str_eq(message->last_answer, "thinned");
    outbox_message_free(message);
    ck_assert_int_eq(outbox_thin(store, "office", 5, 900, "thinned", &thinned), STORE_OK);
    ck_assert_int_eq(thinned, 1);
    ck_assert_int_eq(outbox_thin(store, "office", 5, 900, "thinned", &thinned), STORE_OK);
    ck_assert_int_eq(thinned, 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("outbox_bundle");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, rows_become_one_that_has_their_alarms);
    tcase_add_test(tcase, a_row_that_a_try_has_begun_stays_as_it_is);
    tcase_add_test(tcase, without_a_system_only_what_comes_last_is_taken);
    tcase_add_test(tcase, only_the_first_of_a_system_is_taken);
    tcase_add_test(tcase, what_a_contact_was_told);
    tcase_add_test(tcase, bundles_are_counted);
    tcase_add_test(tcase, the_oldest_reminders_are_thinned_and_no_raise);
    return run_test_case(tcase);
}
