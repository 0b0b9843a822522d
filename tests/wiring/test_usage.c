/*
 * What the usage of a command allows, and that completion knows every word of every usage.
 */
#include "test_support.h"
#include "tool/ctl.h"
#include "tool/usage.h"
#include "tool/usage_words.h"

#include <stdio.h>
#include <string.h>

/* "role option word place", an item a line. */
static void write(const char *usage, char *text, size_t size) {
    struct usage_item items[USAGE_ITEMS_MAX];
    size_t count = usage_read(usage, items), used = 0;
    text[0] = '\0';
    for (size_t i = 0; i < count; i++)
        used += (size_t)snprintf(text + used, size - used, "%s%s%s%s%d%s\n", items[i].option,
                                 *items[i].option ? " " : "", items[i].word,
                                 items[i].role == USAGE_OPERAND ? " #" : " ", items[i].place,
                                 items[i].repeats ? " ..." : "");
}

static const struct {
    const char *usage, *items;
} rows[] = {
    {"", ""},
    {"ALARM --by NAME [--note TEXT]", "ALARM #0\n--by 0\n--by NAME 0\n--note 0\n--note TEXT 0\n"},
    {"[--all] [--system S] [--json]", "--all 0\n--system 0\n--system S 0\n--json 0\n"},
    {"SYSTEM FILE | SYSTEM --learn FROM TO --by NAME",
     "SYSTEM #0\nFILE #1\nSYSTEM #0\n--learn 0\n--learn FROM 0\n--learn TO 1\n--by 0\n--by NAME "
     "0\n"},
    {"SYSTEM[/POINT] [--as csv|senml]", "SYSTEM[/POINT] #0\n--as 0\n--as csv|senml 0\n"},
    {"R.csv [--commission SYSTEM=FILE | FOLDER] … [--fleet]",
     "R.csv #0\n--commission 0\n--commission SYSTEM=FILE 0\n--commission FOLDER 0 ...\n--fleet "
     "0\n"},
    {"SYSTEM [POINT=VALUE …] --on DATE", "SYSTEM #0\nPOINT=VALUE #1 ...\n--on 0\n--on DATE 0\n"},
    {"[--closed-house | --open-house]", "--closed-house 0\n--open-house 0\n"},
    {"[FILE …]", "FILE #0 ...\n"},
};

START_TEST(items_of_a_usage) {
    char text[1000];
    write(rows[_i].usage, text, sizeof text);
    ck_assert_str_eq(text, rows[_i].items);
}
END_TEST

START_TEST(values_of_an_option) {
    struct usage_item items[USAGE_ITEMS_MAX];
    size_t count = usage_read("SYSTEM [--all] --learn FROM TO | --again ID", items);
    ck_assert_int_eq(usage_values(items, count, "--all"), 0);
    ck_assert_int_eq(usage_values(items, count, "--learn"), 2);
    ck_assert_int_eq(usage_values(items, count, "--again"), 1);
    ck_assert_int_eq(usage_values(items, count, "--nothing"), -1);
}
END_TEST

/* A new command whose usage has a new word: add it to usage_words.c. */
START_TEST(completion_knows_each_word_of_each_command) {
    size_t seen = 0;
    for (size_t c = 0; ctl_command_at(c); c++) {
        struct usage_item items[USAGE_ITEMS_MAX];
        size_t count = usage_read(ctl_command_at(c)->usage, items);
        ck_assert_uint_lt(count, USAGE_ITEMS_MAX);
        for (size_t i = 0; i < count; i++) {
            ck_assert_uint_lt(strlen(items[i].word), USAGE_WORD_SIZE - 1);
            if (items[i].role != USAGE_OPTION)
                ck_assert_msg(strchr(items[i].word, '|') || usage_meaning(items[i].word), "%s: %s",
                              ctl_command_at(c)->name, items[i].word);
            seen++;
        }
    }
    ck_assert_uint_gt(seen, 60);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("usage");
    tcase_add_loop_test(tcase, items_of_a_usage, 0, sizeof rows / sizeof rows[0]);
    tcase_add_test(tcase, values_of_an_option);
    tcase_add_test(tcase, completion_knows_each_word_of_each_command);
    return run_test_case(tcase);
}
