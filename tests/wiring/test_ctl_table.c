/*
 * Tables and texts of the operator's tool: never wider than 80 columns, nothing cut off, nothing
 * that a terminal would obey.
 */
#include "test_support.h"
#include "tool/table.h"
#include "tool/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *printed(const struct ctl_table *table) {
    char *text = NULL;
    size_t size = 0;
    FILE *to = open_memstream(&text, &size);
    ck_assert_ptr_nonnull(to);
    ctl_table_print(table, to);
    fclose(to);
    return text;
}

/* Every line is at most 80 columns wide and has no blank at its end. */
static void check_lines(const char *text) {
    while (*text) {
        char line[1024];
        size_t length = strcspn(text, "\n");
        ck_assert_uint_lt(length, sizeof line);
        memcpy(line, text, length);
        line[length] = '\0';
        ck_assert_msg(ctl_text_width(line) <= 80, "%zu columns: %s", ctl_text_width(line), line);
        ck_assert_msg(length == 0 || line[length - 1] != ' ', "blank at the end: \"%s\"", line);
        text += length + 1;
    }
}

START_TEST(narrow_table_is_as_it_is) {
    static const struct ctl_column columns[] = {{"NAME", false, CTL_KEEP_NOTHING},
                                                {"COUNT", true, CTL_KEEP_NOTHING}};
    struct ctl_table *table = ctl_table_create(columns, 2);
    ctl_table_add(table, "suction");
    ctl_table_add_number(table, 7);
    ctl_table_add(table, "hole-1");
    ctl_table_add_number(table, 12345678);
    char *text = printed(table);
    ck_assert_str_eq(text, "NAME        COUNT\n"
                           "suction         7\n"
                           "hole-1   12345678\n");
    free(text);
    ctl_table_destroy(table);
}
END_TEST

START_TEST(long_texts_go_on_below) {
    static const struct ctl_column columns[] = {{"ID", true, CTL_KEEP_NOTHING},
                                                {"TEXT", false, CTL_KEEP_NOTHING},
                                                {"WHERE", false, CTL_KEEP_NOTHING}};
    struct ctl_table *table = ctl_table_create(columns, 3);
    ctl_table_add_number(table, 12);
    ctl_table_add(table, "one two three four five six seven eight nine ten eleven twelve thirteen "
                         "fourteen fifteen sixteen seventeen eighteen nineteen twenty");
    ctl_table_add(table, "birch-lane-12");
    char *text = printed(table);
    check_lines(text);
    ck_assert_ptr_nonnull(strstr(text, "birch-lane-12")); /* other columns give way first */
    ck_assert_ptr_nonnull(strstr(text, "twenty"));
    ck_assert_ptr_nonnull(strstr(text, "\n    "));
    free(text);
    ctl_table_destroy(table);
}
END_TEST

START_TEST(words_wider_than_the_screen_are_broken) {
    static const struct ctl_column columns[] = {{"TOPIC", false, CTL_KEEP_NOTHING},
                                                {"REASON", false, CTL_KEEP_NOTHING}};
    struct ctl_table *table = ctl_table_create(columns, 2);
    char topic[301];
    memset(topic, 'x', 300);
    topic[300] = '\0';
    ctl_table_add(table, topic);
    ctl_table_add(table, "not-a-number");
    char *text = printed(table);
    check_lines(text);
    size_t count = 0;
    for (const char *c = text; *c; c++)
        count += *c == 'x';
    ck_assert_uint_eq(count, 300);
    free(text);
    ctl_table_destroy(table);
}
END_TEST

/* In 43 columns a text of that column breaks at its blanks, one that is added whole does not. */
START_TEST(what_is_added_whole_stays_on_a_line) {
    static const struct ctl_column columns[] = {{"HOUSE", false, CTL_KEEP_WHOLE},
                                                {"STATUS", false, CTL_KEEP_WORDS},
                                                {"SUCTION", true, CTL_KEEP_WHOLE}};
    struct ctl_table *table = ctl_table_create(columns, 3);
    ctl_table_add(table, "birch-lane-12");
    ctl_table_add_whole(table, "fuera de l\xC3\xADmites");
    ctl_table_add(table, "0.56 inH2O");
    ctl_table_add(table, "birch-lane-13");
    ctl_table_add(table, "not heard since 2026-03-12");
    ctl_table_add(table, "0.56 inH2O");
    setenv("COLUMNS", "43", 1);
    char *text = printed(table);
    unsetenv("COLUMNS");
    ck_assert_str_eq(text, "HOUSE          STATUS               SUCTION\n"
                           "birch-lane-12  fuera de l\xC3\xADmites  0.56 inH2O\n"
                           "birch-lane-13  not heard since   0.56 inH2O\n"
                           "               2026-03-12\n");
    free(text);
    ctl_table_destroy(table);
}
END_TEST

START_TEST(random_tables_lose_nothing) {
    struct test_random random = {test_seed()};
    static const struct ctl_column columns[] = {
        {"A", false, CTL_KEEP_NOTHING}, {"B", true, CTL_KEEP_NOTHING},
        {"C", false, CTL_KEEP_NOTHING}, {"D", false, CTL_KEEP_NOTHING},
        {"E", false, CTL_KEEP_NOTHING}, {"F", true, CTL_KEEP_NOTHING}};
    static const char *const letters[] = {"a",  "b", "-", " ",         "\xC3\xA9", "\xE6\xB0\xB4",
                                          "\n", "z", "1", "e\xCC\x81", "\x1b",     "\xFF"};
    for (int round = 0; round < 200; round++) {
        size_t width = 1 + test_random_below(&random, 6), marks = 0;
        struct ctl_table *table = ctl_table_create(columns, width);
        for (size_t cell = 0; cell < 3 * width; cell++) {
            char text[400] = "";
            for (size_t i = test_random_below(&random, 60); i > 0; i--) {
                const char *letter = letters[test_random_next(&random) % 12];
                marks += *letter == 'z';
                strcat(text, letter);
            }
            ctl_table_add(table, text);
        }
        char *text = printed(table);
        size_t seen = 0;
        check_lines(text);
        for (const char *c = text; *c; c++)
            seen += *c == 'z';
        ck_assert_uint_eq(seen, marks);
        ck_assert(strchr(text, '\x1b') == NULL);
        free(text);
        ctl_table_destroy(table);
    }
}
END_TEST

/* Widths by EastAsianWidth.txt and category Mn of the Unicode Character Database. */
START_TEST(width_is_in_columns) {
    ck_assert_uint_eq(ctl_text_width("suction"), 7);
    ck_assert_uint_eq(ctl_text_width("\xC2\xB5Pa"), 3);               /* micro sign */
    ck_assert_uint_eq(ctl_text_width("e\xCC\x81"), 1);                /* combining acute */
    ck_assert_uint_eq(ctl_text_width("\xE6\xB0\xB4\xE6\xB0\xB4"), 4); /* two wide ideographs */
    ck_assert_uint_eq(ctl_text_width(""), 0);
}
END_TEST

START_TEST(nothing_commands_the_terminal) {
    static const struct {
        const char *dirty, *clean;
    } rows[] = {
        {"plain", "plain"},
        {"red\x1b[31mtext", "red\xEF\xBF\xBD[31mtext"},
        {"bell\a", "bell\xEF\xBF\xBD"},
        {"two\nlines\tand", "two lines and"},
        {"\xC2\x9B"
         "31m",
         "\xEF\xBF\xBD"
         "31m"}, /* CSI as one C1 character */
        {"a\xE2\x80\xAE"
         "b",
         "a\xEF\xBF\xBD"
         "b"}, /* right-to-left override */
        {"cut\xC3", "cut\xEF\xBF\xBD"},
        {"\xFF\xFE", "\xEF\xBF\xBD\xEF\xBF\xBD"},
        {"\xC3\xA9t\xC3\xA9", "\xC3\xA9t\xC3\xA9"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char *clean = ctl_text_clean(rows[i].dirty);
        ck_assert_str_eq(clean, rows[i].clean);
        free(clean);
    }
}
END_TEST

START_TEST(lines_break_at_blanks_alone) {
    size_t next = 0;
    ck_assert_uint_eq(ctl_text_line("one two three", 9, &next), 7);
    ck_assert_uint_eq(next, 8);
    ck_assert_uint_eq(ctl_text_line("on 2026-03-12 it", 12, &next), 2); /* a date stays whole */
    ck_assert_uint_eq(next, 3);
    ck_assert_uint_eq(ctl_text_line("abcdefgh", 3, &next), 3);
    ck_assert_uint_eq(next, 3);
    ck_assert_uint_eq(ctl_text_line("one two", 7, &next), 7);
    ck_assert_uint_eq(ctl_text_line("\xE6\xB0\xB4", 1, &next), 3); /* at least one character */
}
END_TEST

static char *alarm_table(const char *columns_told, const char *id) {
    static const struct ctl_column columns[] = {
        {"NO", true, CTL_KEEP_WHOLE},         {"WHERE", false, CTL_KEEP_WORDS},
        {"CONDITION", false, CTL_KEEP_WHOLE}, {"STATE", false, CTL_KEEP_WHOLE},
        {"RAISED", false, CTL_KEEP_WHOLE},    {"RETURNED", false, CTL_KEEP_WHOLE}};
    static const char *const cells[] = {"12",
                                        "birch-lane-12 suction",
                                        "suction-lost",
                                        "returned unacknowledged",
                                        "2026-03-12 08:15 MST",
                                        "2026-03-12 09:15 MST"};
    setenv("COLUMNS", columns_told, 1);
    struct ctl_table *table = ctl_table_create(columns, 6);
    for (size_t i = 0; i < 6; i++)
        ctl_table_add(table, id && i == 3 ? id : cells[i]);
    char *text = printed(table);
    ctl_table_destroy(table);
    unsetenv("COLUMNS");
    return text;
}

START_TEST(dates_ids_and_states_are_never_broken) {
    static const char *const widths[] = {"60", "80", "100", "132"};
    for (size_t i = 0; i < 4; i++) {
        char *text = alarm_table(widths[i], NULL);
        static const char *const kept[] = {"birch-lane-12", "suction-lost",
                                           "returned unacknowledged", "2026-03-12 08:15 MST",
                                           "2026-03-12 09:15 MST"};
        for (size_t n = 0; n < 5; n++)
            ck_assert_msg(strstr(text, kept[n]), "%s columns: %s in\n%s", widths[i], kept[n], text);
        for (const char *at = text; *at; at += strcspn(at, "\n") + 1)
            ck_assert_msg(strcspn(at, "\n") <= strtoul(widths[i], NULL, 10), "%s", at);
        free(text);
    }
}
END_TEST

START_TEST(a_wide_terminal_has_one_line_a_row) {
    char *text = alarm_table("132", NULL);
    size_t lines = 0;
    for (const char *at = text; (at = strchr(at, '\n')); at++)
        lines++;
    ck_assert_msg(lines == 2, "%s", text);
    free(text);
}
END_TEST

START_TEST(a_long_id_at_the_end_has_a_line_of_its_own) {
    static const struct ctl_column columns[] = {{"CONTACT", false, CTL_KEEP_WHOLE},
                                                {"ANSWER", false, CTL_KEEP_NOTHING},
                                                {"ID", false, CTL_KEEP_WHOLE}};
    struct ctl_table *table = ctl_table_create(columns, 3);
    for (int row = 0; row < 2; row++) {
        ctl_table_add(table, "office");
        ctl_table_add(table, "410 Gone: the address that was told does not exist any more");
        ctl_table_add(table, "msg_9cdcb1d4cabc8326112b9383eb4bac7a");
    }
    char *text = printed(table);
    check_lines(text);
    ck_assert_msg(strstr(text, "\n    msg_9cdcb1d4cabc8326112b9383eb4bac7a\n") &&
                      !strstr(text, "\n\n"),
                  "%s", text);
    free(text);
    ctl_table_destroy(table);
}
END_TEST

START_TEST(what_is_too_long_for_any_column_stands_alone) {
    static const char id[] = "a-name-that-is-sixty-four-characters-long-and-never-to-be-broken";
    char *text = alarm_table("132", id);
    ck_assert_msg(strstr(text, id) && strstr(text, "broken\n"), "%s", text);
    ck_assert_ptr_nonnull(strstr(text, "  2026-03-12 08:15 MST  2026-03-12 09:15 MST\n"));
    free(text);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("ctl_table");
    tcase_add_test(tcase, narrow_table_is_as_it_is);
    tcase_add_test(tcase, long_texts_go_on_below);
    tcase_add_test(tcase, words_wider_than_the_screen_are_broken);
    tcase_add_test(tcase, what_is_added_whole_stays_on_a_line);
    tcase_add_test(tcase, random_tables_lose_nothing);
    tcase_add_test(tcase, width_is_in_columns);
    tcase_add_test(tcase, nothing_commands_the_terminal);
    tcase_add_test(tcase, lines_break_at_blanks_alone);
    tcase_add_test(tcase, dates_ids_and_states_are_never_broken);
    tcase_add_test(tcase, a_wide_terminal_has_one_line_a_row);
    tcase_add_test(tcase, a_long_id_at_the_end_has_a_line_of_its_own);
    tcase_add_test(tcase, what_is_too_long_for_any_column_stands_alone);
    return run_test_case(tcase);
}
