/*
 * Tables of a store that are bounded, refused messages and unclaimed topics, and notes.
 */
#include "records_bench.h"

#include <stdio.h>
#include <string.h>

/* Keeps the last row of the list, that not seen for longest. */
static bool look(void *context, const struct record_refused *refused) {
    struct seen *seen = context;
    ck_assert(seen->rows == 0 || refused->last_ms <= seen->last_ms);
    seen->rows++;
    seen->count = refused->count;
    seen->first_ms = refused->first_ms;
    seen->last_ms = refused->last_ms;
    snprintf(seen->topic, sizeof seen->topic, "%s", refused->topic);
    snprintf(seen->reason, sizeof seen->reason, "%s", refused->reason);
    seen->example_length = refused->example_length;
    if (refused->example_length > 0)
        memcpy(seen->example, refused->example, refused->example_length);
    return true;
}

START_TEST(refusals_are_counted_and_the_first_example_is_kept_byte_for_byte) {
    const char bytes[] = "\x00\xff\xfe{\"a\":\x80\x00";
    ck_assert_int_eq(record_refused_add(store, "t/1", "malformed", 50, 1, bytes, sizeof bytes),
                     STORE_OK);
    ck_assert_int_eq(record_refused_add(store, "t/1", "malformed", 90, 4, "later", 5), STORE_OK);
    ck_assert_int_eq(record_refused_add(store, "t/1", "malformed", 40, 1, NULL, 0), STORE_OK);
    struct seen seen = {0};
    ck_assert_int_eq(record_refused_list(store, look, &seen), STORE_OK);
    ck_assert_int_eq(seen.rows, 1);
    ck_assert_int_eq(seen.count, 6);
    ck_assert_int_eq(seen.first_ms, 40);
    ck_assert_int_eq(seen.last_ms, 90);
    ck_assert_str_eq(seen.topic, "t/1");
    ck_assert_str_eq(seen.reason, "malformed");
    ck_assert_uint_eq(seen.example_length, sizeof bytes);
    ck_assert(memcmp(seen.example, bytes, sizeof bytes) == 0);
}
END_TEST

START_TEST(both_tables_are_bounded) {
    char topic[3000], example[3000];
    memset(example, 'e', sizeof example);
    memset(topic, 't', sizeof topic);
    memcpy(topic + 1023, "\xc3\xa9", 2); /* a character across the bound */
    topic[sizeof topic - 1] = '\0';
    ck_assert_int_eq(store_begin(store), STORE_OK);
    ck_assert_int_eq(record_refused_add(store, topic, "empty", 1, 1, example, sizeof example),
                     STORE_OK);
    ck_assert_int_eq(record_unclaimed_add(store, topic, 1, 1, example, sizeof example), STORE_OK);
    struct seen seen = {0};
    ck_assert_int_eq(record_unclaimed_list(store, look, &seen), STORE_OK);
    ck_assert_uint_eq(strlen(seen.topic), 1023);
    ck_assert_uint_eq(seen.example_length, RECORD_UNCLAIMED_BYTES);
    ck_assert_str_eq(seen.reason, "");
    ck_assert_int_eq(record_unclaimed_add(store, topic, 2, 1, "0.7", 3), STORE_OK);
    seen = (struct seen){0};
    ck_assert_int_eq(record_unclaimed_list(store, look, &seen), STORE_OK);
    ck_assert_int_eq(seen.rows, 1);
    ck_assert_uint_eq(seen.example_length, 3); /* the last message */
    ck_assert(memcmp(seen.example, "0.7", 3) == 0);
    seen = (struct seen){0};
    ck_assert_int_eq(record_refused_list(store, look, &seen), STORE_OK);
    ck_assert_uint_eq(seen.example_length, RECORD_EXAMPLE_BYTES);
    for (int i = 0; i < 1200; i++) {
        snprintf(topic, sizeof topic, "flood/%d", i);
        ck_assert_int_eq(record_refused_add(store, topic, "empty", 10 + i, 1, "x", 1), STORE_OK);
        ck_assert_int_eq(record_unclaimed_add(store, topic, 10 + i, 1, "x", 1), STORE_OK);
        if (i == 100) /* seen again: not the next to go */
            ck_assert_int_eq(record_refused_add(store, "flood/0", "empty", 5000, 1, "y", 1),
                             STORE_OK);
    }
    ck_assert_int_eq(store_commit(store), STORE_OK);
    seen = (struct seen){0};
    ck_assert_int_eq(record_refused_list(store, look, &seen), STORE_OK);
    ck_assert_int_eq(seen.rows, RECORD_REFUSED_ROWS);
    ck_assert_str_eq(seen.topic, "flood/201");
    seen = (struct seen){0};
    ck_assert_int_eq(record_unclaimed_list(store, look, &seen), STORE_OK);
    ck_assert_int_eq(seen.rows, RECORD_UNCLAIMED_ROWS);
    ck_assert_str_eq(seen.topic, "flood/200");
    store_test_verify(store);
}
END_TEST

START_TEST(notes) {
    char value[20] = "before", small[4];
    ck_assert_int_eq(record_note_get(store, "session", value, sizeof value), STORE_NOT_FOUND);
    ck_assert_str_eq(value, "before");
    ck_assert_int_eq(record_note_put(store, "session", "one"), STORE_OK);
    ck_assert_int_eq(record_note_put(store, "session", "second"), STORE_OK);
    ck_assert_int_eq(record_note_get(store, "session", value, sizeof value), STORE_OK);
    ck_assert_str_eq(value, "second");
    ck_assert_int_eq(record_note_get(store, "session", small, sizeof small), STORE_OK);
    ck_assert_str_eq(small, "sec");
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("records");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, refusals_are_counted_and_the_first_example_is_kept_byte_for_byte);
    tcase_add_test(tcase, both_tables_are_bounded);
    tcase_add_test(tcase, notes);
    return run_test_case(tcase);
}
