/*
 * Texts for the place where they will be used: which topics a filter takes, which paths a page
 * stands below.
 */
#include "settings/checked_text.h"

#include "test_support.h"

struct filter_row {
    const char *filter, *topic;
    bool takes;
};

/* The examples of MQTT 5.0, section 4.7.1 (OASIS), and of its non-normative comments. */
static const struct filter_row rows[] = {
    {"sport/tennis/player1/#", "sport/tennis/player1", true},
    {"sport/tennis/player1/#", "sport/tennis/player1/ranking", true},
    {"sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", true},
    {"sport/#", "sport", true},
    {"#", "anything/at/all", true},
    {"sport/tennis/+", "sport/tennis/player1", true},
    {"sport/tennis/+", "sport/tennis/player2", true},
    {"sport/tennis/+", "sport/tennis/player1/ranking", false},
    {"sport/+", "sport", false},
    {"sport/+", "sport/", true},
    {"+/+", "/finance", true},
    {"/+", "/finance", true},
    {"+", "/finance", false},
    {"sport", "sport", true},
    {"sport", "sport/tennis", false},
    {"sport/tennis", "sport", false},
    {"sport", "sports", false},
    {"sport/#", "sports/tennis", false},
};

START_TEST(a_filter_takes_what_the_standard_says) {
    const struct filter_row *row = &rows[_i];
    ck_assert_msg(checked_text_filter_takes(row->filter, row->topic) == row->takes, "%s and %s",
                  row->filter, row->topic);
}
END_TEST

static const struct {
    const char *base;
    bool good;
} bases[] = {
    {"/radon", true},      {"/house/radon-2", true},
    {"/r", true},          {"/.well-known", true},
    {"", false},           {"/", false},
    {"radon", false},      {"/radon/", false},
    {"//radon", false},    {"/a//b", false},
    {"/../x", false},      {"/a/.", false},
    {"/a b", false},       {"/a%2fb", false},
    {"/a?b", false},       {"/a\r\nX: y", false},
    {"/;HttpOnly", false}, {"https://x/radon", false},
};

START_TEST(a_base_is_a_plain_path) {
    bool good = checked_text_base(bases[_i].base) == NULL;
    ck_assert_msg(good == bases[_i].good, "%s", bases[_i].base);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("checked_text");
    tcase_add_loop_test(tcase, a_base_is_a_plain_path, 0, sizeof bases / sizeof bases[0]);
    tcase_add_loop_test(tcase, a_filter_takes_what_the_standard_says, 0,
                        sizeof rows / sizeof rows[0]);
    return run_test_case(tcase);
}
