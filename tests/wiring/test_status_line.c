/*
 * The service manager's line: numbers in groups; tests/service/test_service_manager.py has the
 * rest.
 */
#include "service/status_line.h"
#include "test_support.h"

#include <string.h>

static const struct {
    size_t number;
    const char *text;
} rows[] = {
    {0, "0"},        {31, "31"},          {999, "999"},           {1000, "1 000"},
    {9812, "9 812"}, {100000, "100 000"}, {1234567, "1 234 567"},
};

START_TEST(a_number_stands_in_groups_of_three) {
    char text[32];
    size_t length = status_line_number(text, sizeof text, rows[_i].number);
    ck_assert_str_eq(text, rows[_i].text);
    ck_assert_uint_eq(length, strlen(text));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("status_line");
    tcase_add_loop_test(tcase, a_number_stands_in_groups_of_three, 0, sizeof rows / sizeof rows[0]);
    return run_test_case(tcase);
}
