/* Messages to people: order, priority, retries, and one contact that is down. */
#include "alarm/condition.h"
#include "store/outbox.h"
#include "store_support.h"
#include "test_support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

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

static int64_t insert(const char *contact, const char *system, int priority, int64_t not_before) {
    static int number;
    struct outbox_message message = {.contact = contact,
                                     .system = system,
                                     .type = "subslab.alarm.raised",
                                     .content_type = "application/json",
                                     .body = "{\"text\":\"caf\xc3\xa9\"}",
                                     .alarm = 12,
                                     .priority = priority,
                                     .created_ms = 1000 + ++number,
                                     .not_before_ms = not_before};
    snprintf(message.id, sizeof message.id, "event-%s-%s-%d", contact, system, number);
    int64_t row = 0;
    ck_assert_int_eq(outbox_insert(store, &message, &row), STORE_OK);
    return row;
}

/* Asks what is due and compares the rows, in order; -1 ends the list. */
static void expect_due(int64_t now, const char *const *busy, size_t busy_count, size_t capacity,
                       const int64_t *want) {
    struct outbox_message *messages[50];
    size_t count = 99, i = 0;
    ck_assert_int_eq(outbox_due(store, now, busy, busy_count, messages, capacity, &count),
                     STORE_OK);
    for (; i < count && want[i] >= 0; i++)
        ck_assert_msg(messages[i]->row == want[i], "place %zu: row %lld, not %lld", i,
                      (long long)messages[i]->row, (long long)want[i]);
    ck_assert_uint_eq(i, count);
    ck_assert_msg(want[i] == -1, "row %lld is not due", (long long)want[i]);
    while (count > 0)
        outbox_message_free(messages[--count]);
}
#define ROWS(...) ((const int64_t[]){__VA_ARGS__ - 1})

START_TEST(a_message_comes_back_as_it_went_in) {
    int64_t row = insert("office", "elm-3", PRIORITY_MEDIUM, 5000);
    ck_assert_int_eq(outbox_retry(store, row, 6000, "connection refused"), STORE_OK);
    struct outbox_message *messages[2];
    size_t count;
    ck_assert_int_eq(outbox_list(store, false, 0, messages, 2, &count), STORE_OK);
    ck_assert_uint_eq(count, 1);
    const struct outbox_message *m = messages[0];
    ck_assert_int_eq(m->row, row);
    ck_assert_ptr_nonnull(strstr(m->id, "event-office-elm-3-"));
    ck_assert_str_eq(m->contact, "office");
    ck_assert_str_eq(m->system, "elm-3");
    ck_assert_str_eq(m->type, "subslab.alarm.raised");
    ck_assert_str_eq(m->content_type, "application/json");
    ck_assert_str_eq(m->body, "{\"text\":\"caf\xc3\xa9\"}");
    ck_assert_int_eq(m->alarm, 12);
    ck_assert_int_eq(m->priority, PRIORITY_MEDIUM);
    ck_assert_int_gt(m->created_ms, 1000);
    ck_assert_int_eq(m->not_before_ms, 6000);
    ck_assert_int_eq(m->state, OUTBOX_WAITING);
    ck_assert_int_eq(m->tries, 1);
    ck_assert_int_eq(m->done_ms, 0);
    ck_assert_str_eq(m->last_answer, "connection refused");
    outbox_message_free(messages[0]);
    outbox_message_free(NULL);
}
END_TEST

START_TEST(one_message_by_row_and_by_event) {
    insert("a", "1", PRIORITY_LOW, 0);
    int64_t row = insert("a", "2", PRIORITY_LOW, 0);
    struct outbox_message *by_row = NULL, *by_id = NULL;
    ck_assert_int_eq(outbox_get(store, row, &by_row), STORE_OK);
    ck_assert_str_eq(by_row->system, "2");
    ck_assert_int_eq(outbox_find(store, by_row->id, &by_id), STORE_OK);
    ck_assert_int_eq(by_id->row, row);
    outbox_message_free(by_row);
    outbox_message_free(by_id);
    ck_assert_int_eq(outbox_get(store, row + 1, &by_row), STORE_NOT_FOUND);
    ck_assert_int_eq(outbox_find(store, "no such event", &by_row), STORE_NOT_FOUND);
}
END_TEST

START_TEST(order_holds_per_contact_and_system) {
    int64_t a1 = insert("office", "a", PRIORITY_MEDIUM, 100);
    int64_t a2 = insert("office", "a", PRIORITY_HIGH, 0); /* behind a1 in spite of its priority */
    int64_t b1 = insert("office", "b", PRIORITY_LOW, 0);
    int64_t o1 = insert("owner", "a", PRIORITY_LOW, 0);
    expect_due(50, NULL, 0, 50, ROWS(b1, o1, ));
    expect_due(100, NULL, 0, 50, ROWS(a1, b1, o1, ));
    ck_assert_int_eq(outbox_retry(store, a1, 500, "503"), STORE_OK);
    expect_due(100, NULL, 0, 50, ROWS(b1, o1, ));
    expect_due(500, NULL, 0, 50, ROWS(a1, b1, o1, ));
    ck_assert_int_eq(outbox_sent(store, a1, 510, "204"), STORE_OK);
    expect_due(510, NULL, 0, 50, ROWS(a2, b1, o1, ));
    ck_assert_int_eq(outbox_failed(store, a2, 520, "410"), STORE_OK);
    ck_assert_int_eq(outbox_sent(store, b1, 520, "200"), STORE_OK);
    expect_due(520, NULL, 0, 50, ROWS(o1, ));
    ck_assert_int_eq(outbox_sent(store, 999, 1, "204"), STORE_NOT_FOUND);
    ck_assert_int_eq(outbox_retry(store, a1, 1, "204"), STORE_NOT_FOUND); /* done */
}
END_TEST

START_TEST(high_priority_first_and_contacts_in_turn) {
    int64_t l1 = insert("a", "1", PRIORITY_LOW, 0);
    int64_t m1 = insert("a", "2", PRIORITY_MEDIUM, 0), m2 = insert("a", "3", PRIORITY_MEDIUM, 0);
    int64_t m3 = insert("b", "4", PRIORITY_MEDIUM, 0), h1 = insert("c", "5", PRIORITY_HIGH, 0);
    expect_due(0, NULL, 0, 50, ROWS(h1, m1, m3, m2, l1, ));
    expect_due(0, NULL, 0, 3, ROWS(h1, m1, m3, ));
    expect_due(0, NULL, 0, 0, ROWS());
    const char *const busy[] = {"c", "a"};
    expect_due(0, busy, 2, 50, ROWS(m3, ));
    expect_due(0, busy, 1, 50, ROWS(m1, m3, m2, l1, ));
}
END_TEST

START_TEST(what_quiet_hours_held_back_can_be_hastened) {
    int64_t held = insert("owner", "a", PRIORITY_LOW, 9000);
    int64_t urgent = insert("owner", "a", PRIORITY_HIGH, 100);
    insert("owner", "b", PRIORITY_LOW, 9000);
    expect_due(100, NULL, 0, 50, ROWS());
    ck_assert_int_eq(outbox_hasten(store, "owner", "a", 100), STORE_OK);
    expect_due(100, NULL, 0, 50, ROWS(held, ));
    ck_assert_int_eq(outbox_sent(store, held, 101, "204"), STORE_OK);
    expect_due(101, NULL, 0, 50, ROWS(urgent, ));
}
END_TEST

/* A try that is to come an hour later, reckoned by a clock that is two days ahead. */
START_TEST(a_clock_set_back_makes_no_message_wait_longer) {
    const int64_t hour = 3600000, day = 24 * hour, now = 100 * day;
    int64_t first = insert("office", "birch", 2, now + 2 * day + hour);
    int64_t second = insert("owner", "birch", 2, now - hour);
    int64_t third = insert("workshop", "birch", 2, now + day);
    ck_assert_int_eq(outbox_clock_back(store, now, 2 * day), STORE_OK);
    expect_due(now, NULL, 0, 10, ROWS(second, third, ));
    expect_due(now + hour, NULL, 0, 10, ROWS(first, second, third, ));
}
END_TEST

START_TEST(the_next_time_is_that_of_the_rows_that_may_go) {
    int64_t next;
    ck_assert_int_eq(outbox_next(store, &next), STORE_OK);
    ck_assert(next == INT64_MAX);
    int64_t first = insert("a", "1", PRIORITY_LOW, 700);
    insert("a", "1", PRIORITY_LOW, 100); /* cannot go before the first */
    insert("b", "1", PRIORITY_LOW, 900);
    ck_assert_int_eq(outbox_next(store, &next), STORE_OK);
    ck_assert_int_eq(next, 700);
    ck_assert_int_eq(outbox_sent(store, first, 700, "204"), STORE_OK);
    ck_assert_int_eq(outbox_next(store, &next), STORE_OK);
    ck_assert_int_eq(next, 100);
}
END_TEST

START_TEST(a_message_can_be_sent_again) {
    int64_t first = insert("a", "1", PRIORITY_LOW, 0), second = insert("a", "1", PRIORITY_LOW, 0);
    ck_assert_int_eq(outbox_failed(store, first, 10, "404"), STORE_OK);
    struct outbox_message *messages[5];
    size_t count;
    ck_assert_int_eq(outbox_list(store, true, 0, messages, 5, &count), STORE_OK);
    ck_assert_uint_eq(count, 1);
    ck_assert_int_eq(messages[0]->row, first);
    ck_assert_int_eq(messages[0]->state, OUTBOX_FAILED);
    ck_assert_int_eq(messages[0]->done_ms, 10);
    ck_assert_str_eq(messages[0]->last_answer, "404");
    char id[40];
    memcpy(id, messages[0]->id, sizeof id);
    outbox_message_free(messages[0]);
    ck_assert_int_eq(outbox_again(store, "no such event", 20), STORE_NOT_FOUND);
    ck_assert_int_eq(outbox_again(store, id, 20), STORE_OK);
    expect_due(19, NULL, 0, 5, ROWS()); /* it is the earlier one again: `second` waits behind it */
    expect_due(20, NULL, 0, 5, ROWS(first, ));
    ck_assert_int_eq(outbox_sent(store, first, 21, "204"), STORE_OK);
    expect_due(21, NULL, 0, 5, ROWS(second, ));
    ck_assert_int_eq(outbox_again(store, id, 30), STORE_OK); /* a sent one too */
    expect_due(30, NULL, 0, 5, ROWS(first, ));
}
END_TEST

START_TEST(counts_waiting_and_forgetting) {
    int64_t counts[3], rows, oldest;
    for (int i = 0; i < 10; i++)
        insert("a", i % 2 ? "1" : "2", PRIORITY_LOW, 0);
    ck_assert_int_eq(outbox_waiting(store, "b", &rows, &oldest), STORE_OK);
    ck_assert_int_eq(rows, 0);
    ck_assert_int_eq(oldest, 0);
    for (int64_t row = 1; row <= 6; row++)
        ck_assert_int_eq(outbox_sent(store, row, row * 10, "204"), STORE_OK);
    ck_assert_int_eq(outbox_failed(store, 7, 70, "400"), STORE_OK);
    ck_assert_int_eq(outbox_counts(store, counts), STORE_OK);
    ck_assert_int_eq(counts[OUTBOX_WAITING], 3);
    ck_assert_int_eq(counts[OUTBOX_SENT], 6);
    ck_assert_int_eq(counts[OUTBOX_FAILED], 1);
    struct outbox_message *messages[20];
    size_t count;
    ck_assert_int_eq(outbox_list(store, false, 0, messages, 20, &count), STORE_OK);
    ck_assert_uint_eq(count, 10);
    ck_assert_int_eq(messages[0]->row, 10);
    ck_assert_int_eq(outbox_waiting(store, "a", &rows, &oldest), STORE_OK);
    ck_assert_int_eq(rows, 3);
    ck_assert_int_eq(oldest, messages[2]->created_ms); /* row 8 */
    while (count > 0)
        outbox_message_free(messages[--count]);
    int deleted;
    ck_assert_int_eq(outbox_expire(store, 51, 3, &deleted), STORE_OK);
    ck_assert_int_eq(deleted, 3);
    ck_assert_int_eq(outbox_expire(store, 51, 3, &deleted), STORE_OK);
    ck_assert_int_eq(deleted, 2); /* rows 6 and 7 are younger: both stay */
    ck_assert_int_eq(outbox_counts(store, counts), STORE_OK);
    ck_assert_int_eq(counts[OUTBOX_SENT], 1);
    ck_assert_int_eq(counts[OUTBOX_FAILED], 1);
    ck_assert_int_eq(outbox_expire(store, 71, 3, &deleted), STORE_OK);
    ck_assert_int_eq(deleted, 2); /* what failed goes like what was sent */
    ck_assert_int_eq(outbox_counts(store, counts), STORE_OK);
    ck_assert_int_eq(counts[OUTBOX_SENT] + counts[OUTBOX_FAILED], 0);
    ck_assert_int_eq(counts[OUTBOX_WAITING], 3);
    ck_assert_int_gt(insert("a", "1", PRIORITY_LOW, 0), 10); /* numbers never come again */
}
END_TEST

/* Bodies carry names and addresses. */
START_TEST(failed_rows_go_after_their_time_and_none_before) {
    enum { ROWS_MANY = 50 };
    int64_t counts[3];
    for (int i = 0; i < ROWS_MANY; i++)
        ck_assert_int_eq(
            outbox_failed(store, insert("a", "1", PRIORITY_HIGH, 0), 100 + i, "HTTP 404"),
            STORE_OK);
    int deleted, all = 0;
    do {
        ck_assert_int_eq(outbox_expire(store, 100 + ROWS_MANY - 5, 7, &deleted), STORE_OK);
        ck_assert_int_le(deleted, 7);
        all += deleted;
    } while (deleted > 0);
    ck_assert_int_eq(all, ROWS_MANY - 5);
    ck_assert_int_eq(outbox_counts(store, counts), STORE_OK);
    ck_assert_int_eq(counts[OUTBOX_FAILED], 5);
}
END_TEST

START_TEST(an_insert_follows_its_transaction) {
    ck_assert_int_eq(store_begin(store), STORE_OK);
    int64_t row = insert("a", "1", PRIORITY_LOW, 0);
    expect_due(0, NULL, 0, 5, ROWS(row, ));
    store_rollback(store);
    expect_due(0, NULL, 0, 5, ROWS());
    int64_t counts[3];
    ck_assert_int_eq(outbox_counts(store, counts), STORE_OK);
    ck_assert_int_eq(counts[OUTBOX_WAITING], 0);
}
END_TEST

static double milliseconds(void) {
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return 1e3 * (double)now.tv_sec + 1e-6 * (double)now.tv_nsec;
}

/* 10 000 rows for a contact that is down, one for one that works. */
START_TEST(a_contact_that_is_down_costs_the_others_nothing) {
    char system[30];
    ck_assert_int_eq(store_begin(store), STORE_OK);
    for (int i = 0; i < 10000; i++) {
        snprintf(system, sizeof system, "system-%d", _i ? i : i % 10);
        insert("down", system, PRIORITY_HIGH, 0);
    }
    ck_assert_int_eq(store_commit(store), STORE_OK);
    int64_t live = insert("live", "system-1", PRIORITY_LOW, 0);
    const char *const busy[] = {"down"};
    expect_due(0, busy, 1, 50, ROWS(live, ));
    double begin = milliseconds();
    for (int i = 0; i < 200; i++)
        expect_due(0, busy, 1, 50, ROWS(live, ));
    double each = (milliseconds() - begin) / 200;
    printf("one look past 10000 waiting rows: %.3f ms\n", each);
    ck_assert_double_lt(each, 1.0);
    struct outbox_message *messages[50];
    size_t count;
    ck_assert_int_eq(outbox_due(store, 0, NULL, 0, messages, 50, &count), STORE_OK);
    ck_assert_uint_eq(count, _i ? 50 : 11); /* one of each (contact, system) */
    while (count > 0)
        outbox_message_free(messages[--count]);
}
END_TEST

/* Random operations against a plain list. */
struct plain {
    int64_t row, not_before;
    int contact, system, priority, state;
};

static bool is_head(const struct plain *rows, size_t count, size_t i) {
    for (size_t k = 0; k < count; k++)
        if (k < i && rows[k].state == OUTBOX_WAITING && rows[k].contact == rows[i].contact &&
            rows[k].system == rows[i].system)
            return false;
    return rows[i].state == OUTBOX_WAITING;
}

static void compare_with(const struct plain *rows, size_t count, int64_t now) {
    struct outbox_message *due[50];
    size_t due_count, want = 0;
    int64_t next = INT64_MAX, got_next;
    ck_assert_int_eq(outbox_due(store, now, NULL, 0, due, 50, &due_count), STORE_OK);
    for (size_t i = 0; i < count; i++) {
        if (!is_head(rows, count, i))
            continue;
        next = rows[i].not_before < next ? rows[i].not_before : next;
        bool found = false;
        for (size_t k = 0; k < due_count; k++)
            found = found || due[k]->row == rows[i].row;
        ck_assert_int_eq(found, rows[i].not_before <= now);
        want += found;
    }
    ck_assert_uint_eq(due_count, want);
    ck_assert_int_eq(outbox_next(store, &got_next), STORE_OK);
    ck_assert(got_next == next);
    for (size_t k = 1; k < due_count; k++)
        ck_assert_int_le(due[k]->priority, due[k - 1]->priority);
    while (due_count > 0)
        outbox_message_free(due[--due_count]);
}

START_TEST(random_operations_agree_with_a_plain_list) {
    static const char *const names[3] = {"x", "y", "z"};
    struct test_random random = {test_seed() + (uint64_t)_i};
    struct plain rows[150];
    size_t count = 0;
    for (int64_t now = 0; count < 150; now++) {
        uint64_t draw = test_random_next(&random);
        size_t pick = count ? (size_t)(draw / 64 % count) : 0;
        if (draw % 4 == 0 || count == 0) {
            struct plain row = {0,
                                now + (int64_t)(draw / 4 % 30),
                                (int)(draw / 256 % 3),
                                (int)(draw / 1024 % 3),
                                (int)(draw / 4096 % 3),
                                OUTBOX_WAITING};
            row.row = insert(names[row.contact], names[row.system], row.priority, row.not_before);
            rows[count++] = row;
        } else if (rows[pick].state == OUTBOX_WAITING && draw % 4 == 1) {
            rows[pick].state = draw / 8 % 2 ? OUTBOX_SENT : OUTBOX_FAILED;
            ck_assert_int_eq(rows[pick].state == OUTBOX_SENT
                                 ? outbox_sent(store, rows[pick].row, now, "204")
                                 : outbox_failed(store, rows[pick].row, now, "400"),
                             STORE_OK);
        } else if (rows[pick].state == OUTBOX_WAITING && draw % 4 == 2) {
            rows[pick].not_before = now + 10;
            ck_assert_int_eq(outbox_retry(store, rows[pick].row, now + 10, "503"), STORE_OK);
        }
        compare_with(rows, count, now);
    }
}
END_TEST

int main(void) {
    test_seed();
    TCase *tcase = tcase_create("outbox");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, a_message_comes_back_as_it_went_in);
    tcase_add_test(tcase, one_message_by_row_and_by_event);
    tcase_add_test(tcase, order_holds_per_contact_and_system);
    tcase_add_test(tcase, a_clock_set_back_makes_no_message_wait_longer);
    tcase_add_test(tcase, high_priority_first_and_contacts_in_turn);
    tcase_add_test(tcase, what_quiet_hours_held_back_can_be_hastened);
    tcase_add_test(tcase, the_next_time_is_that_of_the_rows_that_may_go);
    tcase_add_test(tcase, a_message_can_be_sent_again);
    tcase_add_test(tcase, counts_waiting_and_forgetting);
    tcase_add_test(tcase, failed_rows_go_after_their_time_and_none_before);
    tcase_add_test(tcase, an_insert_follows_its_transaction);
    tcase_add_loop_test(tcase, a_contact_that_is_down_costs_the_others_nothing, 0, 2);
    tcase_add_loop_test(tcase, random_operations_agree_with_a_plain_list, 0, 4);
    return run_test_case(tcase);
}
