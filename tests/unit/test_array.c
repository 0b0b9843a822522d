/*
 * array: what was put in stays, and there is always room for one more (the sanitizers of the check
 * build watch the writes and what is left).
 */
#include "measure/array.h"

#include "test_support.h"

#include <stdbool.h>
#include <stdlib.h>

START_TEST(what_was_added_stays_and_taking_away_is_free) {
    struct test_random random = {test_seed()};
    enum { STEPS = 20000 };
    static size_t expected[STEPS];
    size_t *items = NULL, count = 0;
    for (size_t step = 0; step < STEPS; step++) {
        bool growing = step / 1000 % 2 == 0;
        if (count > 0 && test_random_next(&random) % 10 < (growing ? 2 : 8)) {
            count -= 1 + test_random_below(&random, count) % 40;
        } else {
            items = array_room(items, count, sizeof *items);
            ck_assert_ptr_nonnull(items);
            items[count] = expected[count] = step;
            count++;
        }
        for (size_t i = step % 97; i < count; i += 97)
            ck_assert_uint_eq(items[i], expected[i]);
    }
    free(items);
}
END_TEST

START_TEST(an_array_moves_seldom) {
    char *items = NULL;
    size_t grown = 0;
    for (size_t count = 0; count < (size_t)1 << 16; count++) {
        char *former = items;
        bool full = count == 0 || (count & (count - 1)) == 0;
        items = array_room(items, count, 3);
        if (!full)
            ck_assert_ptr_eq(items, former);
        grown += full;
        items[3 * count] = items[3 * count + 2] = 1;
    }
    ck_assert_uint_le(grown, 17);
    free(items);
}
END_TEST

START_TEST(what_is_reserved_needs_no_move) {
    int *items = array_room(NULL, 0, sizeof *items);
    ck_assert_ptr_nonnull(items);
    items[0] = 7;
    items = array_reserve(items, 21, sizeof *items);
    ck_assert_ptr_nonnull(items);
    for (int i = 1; i < 21; i++)
        items[i] = i;
    for (size_t count = 21; count < 100; count++) { /* and it goes on growing by array_room */
        items = array_room(items, count, sizeof *items);
        items[count] = (int)count;
    }
    ck_assert_int_eq(items[0], 7);
    for (int i = 1; i < 100; i++)
        ck_assert_int_eq(items[i], i);
    free(items);
    free(array_reserve(NULL, 0, sizeof *items));
}
END_TEST

START_TEST(texts_are_copied_and_none_is_refused) {
    char **texts = NULL, name[] = "kitchen";
    size_t count = 0;
    for (size_t i = 0; i < 9; i++) {
        name[0] = (char)('a' + i);
        ck_assert(array_add_text(&texts, &count, name));
    }
    ck_assert(!array_add_text(&texts, &count, NULL));
    ck_assert_uint_eq(count, 9);
    ck_assert_str_eq(texts[0], "aitchen");
    ck_assert_str_eq(texts[8], "iitchen");
    array_free_texts(texts, count);
    array_free_texts(NULL, 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("array");
    tcase_add_test(tcase, what_was_added_stays_and_taking_away_is_free);
    tcase_add_test(tcase, an_array_moves_seldom);
    tcase_add_test(tcase, what_is_reserved_needs_no_move);
    tcase_add_test(tcase, texts_are_copied_and_none_is_refused);
    return run_test_case(tcase);
}
