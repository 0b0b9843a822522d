/* Parts of the page that need no daemon: escaping, addresses, forms, accounts, sessions, allowance.
 */
#include "page/accounts.h"
#include "page/cache.h"
#include "page/form.h"
#include "page/html.h"
#include "page/session.h"
#include "page/tries.h"
#include "test_support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The characters that WHATWG HTML, 13.3 asks to be escaped in text and attribute values. */
static const struct {
    const char *text, *written;
} escaped[] = {
    {"<script>", "&lt;script&gt;"},
    {"a & b", "a &amp; b"},
    {"\"'", "&quot;&#39;"},
    {"&amp;", "&amp;amp;"},
    {"plain \xc3\xa9 \xe2\x82\xac \xf0\x9f\x8f\xa0",
     "plain \xc3\xa9 \xe2\x82\xac \xf0\x9f\x8f\xa0"},
    {"line\nline\ttab", "line\nline\ttab"},
    {"a\x1b[31m\x07\x7f\rb", "a[31mb"},
    {"\xc2\x85x", "x"},                       /* a C1 control */
    {"\xc0\xaf", "\xef\xbf\xbd\xef\xbf\xbd"}, /* overlong slash, RFC 3629 section 10 */
    {"\xed\xa0\x80", "\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd"}, /* a surrogate */
    {"\xe2\x82", "\xef\xbf\xbd\xef\xbf\xbd"},                 /* cut short */
    {"\xe2<b>", "\xef\xbf\xbd&lt;b&gt;"},                     /* does not swallow what follows */
    {"", ""},
};

START_TEST(text_is_escaped) {
    struct html html = {0};
    html_text(&html, escaped[_i].text);
    char *text = text_buffer_take(&html.text);
    ck_assert_str_eq(text ? text : "", escaped[_i].written);
    free(text);
}
END_TEST

START_TEST(attributes_are_escaped_and_left_out) {
    struct html html = {0};
    html_element(&html, "a", "<x>", "href", "/?a=\"b\"", "title", NULL, "hidden", "", NULL);
    char *text = text_buffer_take(&html.text);
    ck_assert_str_eq(text, "<a href=\"/?a=&quot;b&quot;\" hidden=\"\">&lt;x&gt;</a>");
    free(text);
}
END_TEST

START_TEST(addresses_are_percent_encoded) { /* RFC 3986, 2.1 and 2.3 */
    struct html_address address = html_address("/systems/");
    html_address_part(&address, "a/b?c#d e\xc3\xa9");
    html_address_query(&address, "find", "x&y=z");
    html_address_query(&address, "page", "");
    html_address_query(&address, "units", "si");
    ck_assert_str_eq(address.text, "/systems/a%2Fb%3Fc%23d%20e%C3%A9?find=x%26y%3Dz&units=si");
}
END_TEST

START_TEST(an_address_never_grows_over_its_room) {
    struct html_address address = html_address("/");
    char part[600];
    memset(part, '/', sizeof part - 1);
    part[sizeof part - 1] = '\0';
    html_address_part(&address, part);
    html_address_part(&address, part);
    ck_assert_uint_lt(strlen(address.text), sizeof address.text);
    ck_assert_uint_eq(strlen(address.text), address.length);
}
END_TEST

static const struct {
    const char *body;
    bool good;
    const char *name, *value;
} forms[] = {
    {"a=1&b=2", true, "b", "2"},         {"a=x+y%21", true, "a", "x y!"},
    {"a=%C3%A9", true, "a", "\xc3\xa9"}, {"a", true, "a", ""},
    {"a=1&a=2", true, "a", "1"},         {"", true, "a", ""},
    {"&&a=1&", true, "a", "1"},          {"a=++x++", true, "a", "x"},
    {"a=b=c", true, "a", "b=c"},         {"a=%00", false, NULL, NULL},
    {"a=%", false, NULL, NULL},          {"a=%4", false, NULL, NULL},
    {"a=%zz", false, NULL, NULL},
};

START_TEST(forms_are_parsed) { /* WHATWG URL, 5.1 */
    struct page_form *form = calloc(1, sizeof *form);
    bool good = page_form_parse(forms[_i].body, strlen(forms[_i].body), form);
    ck_assert_int_eq(good, forms[_i].good);
    if (good)
        ck_assert_str_eq(page_form_value(form, forms[_i].name), forms[_i].value);
    free(form);
}
END_TEST

START_TEST(forms_have_limits) {
    struct page_form *form = calloc(1, sizeof *form);
    char *body = calloc(1, PAGE_FORM_BYTES_MAX + 2);
    memset(body, 'a', PAGE_FORM_BYTES_MAX + 1);
    ck_assert(page_form_parse(body, PAGE_FORM_BYTES_MAX, form));
    ck_assert(!page_form_parse(body, PAGE_FORM_BYTES_MAX + 1, form));
    for (size_t i = 0; i < 2 * (PAGE_FORM_FIELDS_MAX + 1); i++)
        body[i] = i % 2 ? '&' : 'a';
    ck_assert(!page_form_parse(body, 2 * (PAGE_FORM_FIELDS_MAX + 1), form));
    ck_assert(!page_form_parse("a\0b", 3, form));
    free(body);
    free(form);
}
END_TEST

START_TEST(any_bytes_are_a_form_or_none) {
    struct page_form *form = calloc(1, sizeof *form);
    struct test_random random = {test_seed()};
    for (int run = 0; run < 20000; run++) {
        static const char letters[] = "ab=&%+0Ff\xc3\n ";
        char body[40];
        size_t length = test_random_below(&random, sizeof body);
        for (size_t i = 0; i < length; i++)
            body[i] = letters[test_random_next(&random) % (sizeof letters - 1)];
        if (page_form_parse(body, length, form))
            ck_assert_uint_le(strlen(page_form_value(form, "a")), length);
    }
    free(form);
}
END_TEST

#define YESCRYPT                                                                                   \
    "$y$j9T$2WLguQyaLmYt1uFvni8uA0$zn3OLrcoByWX6Njqwu.k6ZrFeC/n0Rahb786lHEegI9" /* by mkpasswd */

static const struct {
    const char *text;
    size_t count; /* 0: refused */
} files[] = {
    {"installer:" YESCRYPT "\n", 1},
    {"# people\n\ninstaller:" YESCRYPT "\r\nworkshop:" YESCRYPT, 2},
    {"", 0},
    {"# nobody\n", 0},
    {"installer\n", 0},
    {":" YESCRYPT "\n", 0},
    {"installer:\n", 0},
    {"installer:three small pumps\n", 0},
    {"installer:$y$\n", 0},
    {"installer:" YESCRYPT "\ninstaller:" YESCRYPT "\n", 0},
};

START_TEST(account_files_are_checked) {
    struct page_accounts *accounts = calloc(1, sizeof *accounts);
    char why[200] = "";
    bool good = page_accounts_parse(files[_i].text, accounts, why, sizeof why);
    ck_assert_int_eq(good, files[_i].count > 0);
    if (good)
        ck_assert_uint_eq(accounts->count, files[_i].count);
    else
        ck_assert_str_ne(why, "");
    free(accounts);
}
END_TEST

START_TEST(passwords_are_checked_by_libcrypt) {
    struct page_accounts *accounts = calloc(1, sizeof *accounts);
    char why[200];
    ck_assert(page_accounts_parse("installer:" YESCRYPT, accounts, why, sizeof why));
    ck_assert_ptr_eq(page_accounts_check(accounts, "installer", "three small pumps"),
                     &accounts->rows[0]);
    ck_assert_ptr_null(page_accounts_check(accounts, "installer", "three small pump"));
    ck_assert_ptr_null(page_accounts_check(accounts, "installer", ""));
    ck_assert_ptr_null(page_accounts_check(accounts, "nobody", "three small pumps"));
    free(accounts);
}
END_TEST

START_TEST(sessions_end) {
    struct page_sessions *sessions = calloc(1, sizeof *sessions);
    const struct page_account account = {"installer", YESCRYPT};
    const int64_t hour_ms = 3600000;
    struct page_session *session = page_session_begin(sessions, &account, 0);
    char key[PAGE_SECRET_SIZE];
    memcpy(key, session->key, sizeof key);
    ck_assert_uint_eq(strlen(key), PAGE_SECRET_SIZE - 1);
    ck_assert_str_ne(session->key, session->token);
    ck_assert_ptr_eq(page_session_find(sessions, key, 11 * hour_ms), session);
    ck_assert_ptr_eq(page_session_find(sessions, key, 22 * hour_ms), session);
    ck_assert_ptr_null(page_session_find(sessions, key, 35 * hour_ms)); /* 13 h unseen */
    session = page_session_begin(sessions, &account, 0);
    memcpy(key, session->key, sizeof key);
    for (int64_t at_ms = 0; at_ms <= 7 * 24 * hour_ms; at_ms += 10 * hour_ms)
        ck_assert_ptr_nonnull(page_session_find(sessions, key, at_ms));
    ck_assert_ptr_null(page_session_find(sessions, key, 7 * 24 * hour_ms + 1)); /* however busy */
    ck_assert_ptr_null(page_session_find(sessions, "", 0));
    ck_assert_ptr_null(page_session_find(sessions, NULL, 0));
    free(sessions);
}
END_TEST

START_TEST(sessions_are_bounded_and_differ) {
    struct page_sessions *sessions = calloc(1, sizeof *sessions);
    const struct page_account account = {"installer", YESCRYPT};
    char first[PAGE_SECRET_SIZE], newest[PAGE_SECRET_SIZE] = "";
    for (int i = 0; i <= PAGE_SESSIONS_MAX; i++) {
        struct page_session *session = page_session_begin(sessions, &account, 1000 + i);
        ck_assert_str_ne(session->key, newest);
        memcpy(newest, session->key, sizeof newest);
        if (i == 0)
            memcpy(first, session->key, sizeof first);
    }
    ck_assert_ptr_null(page_session_find(sessions, first, 2000)); /* made room */
    ck_assert_ptr_nonnull(page_session_find(sessions, newest, 2000));
    free(sessions);
}
END_TEST

START_TEST(the_allowance_runs_out_and_grows_again) {
    struct page_allowance allowance = {.share = 0.75};
    ck_assert(page_allowance_any(&allowance, 1000));
    page_allowance_take(&allowance, 900); /* 0.75 x 800 were there */
    ck_assert(!page_allowance_any(&allowance, 1100));
    ck_assert(!page_allowance_any(&allowance, 1390));
    ck_assert(page_allowance_any(&allowance, 1410)); /* -300 + 0.75 x 410 */
    ck_assert(page_allowance_any(&allowance, 100000));
    page_allowance_take(&allowance, 601); /* never more than that */
    ck_assert(!page_allowance_any(&allowance, 100000));
}
END_TEST

static bool guess(struct page_tries *tries, const char *account, const char *address,
                  int64_t now_ms) {
    bool may = page_tries_may(tries, account, address, now_ms);
    if (may)
        page_tries_wrong(tries, account, address, now_ms);
    return may;
}

START_TEST(ten_wrong_tries_then_one_in_three_seconds) {
    struct page_tries *tries = calloc(1, sizeof *tries);
    for (int i = 0; i < 10; i++)
        ck_assert(guess(tries, "installer", "203.0.113.7", 1000 + 1000 * i));
    int64_t now_ms = 10000; /* three came back meanwhile */
    for (int i = 0; i < 3; i++)
        ck_assert(guess(tries, "installer", "203.0.113.7", now_ms));
    ck_assert(!guess(tries, "installer", "203.0.113.7", now_ms + 500));
    ck_assert(guess(tries, "workshop", "203.0.113.7", now_ms + 500)); /* another account */
    ck_assert(guess(tries, "installer", "203.0.113.7", now_ms + 3000));
    ck_assert(!guess(tries, "installer", "203.0.113.7", now_ms + 3500));
    free(tries);
}
END_TEST

START_TEST(a_right_password_costs_nothing) {
    struct page_tries *tries = calloc(1, sizeof *tries);
    for (int i = 0; i < 1000; i++)
        ck_assert(page_tries_may(tries, "installer", "203.0.113.7", 1000 + 100 * i));
    free(tries);
}
END_TEST

/* One of a second at the account, and with `flood` a thousand more under names that nobody has. */
static void guess_for_minutes(bool flood) {
    struct page_tries *tries = calloc(1, sizeof *tries);
    int looked_at = 0;
    for (int64_t now_ms = 1; now_ms < 120000; now_ms++) {
        char name[40];
        snprintf(name, sizeof name, "nobody %lld", (long long)now_ms);
        if (flood)
            looked_at += guess(tries, name, "203.0.113.7", now_ms);
        if (now_ms % 1000 == 0)
            looked_at += guess(tries, "installer", "203.0.113.7", now_ms);
        if (now_ms % 10000 == 0 && !page_tries_may(tries, "installer", "198.51.100.4", now_ms))
            ck_abort_msg("kept out at %lld", (long long)now_ms);
    }
    ck_assert_int_le(looked_at, 10 + 10 + 2 * 120); /* work for two a second */
    free(tries);
}

START_TEST(guessing_keeps_nobody_out_elsewhere) {
    guess_for_minutes(false);
    guess_for_minutes(true);
}
END_TEST

START_TEST(guesses_from_everywhere_are_bounded_work) {
    struct page_tries *tries = calloc(1, sizeof *tries);
    int looked_at = 0;
    for (int64_t now_ms = 1; now_ms <= 60000; now_ms++) {
        char address[40];
        snprintf(address, sizeof address, "%lld", (long long)now_ms);
        looked_at += guess(tries, "installer", address, now_ms);
    }
    ck_assert_int_le(looked_at, 10 + 10 * 60 + 10 + 2 * 60);
    ck_assert_int_ge(looked_at, 10 * 59);
    free(tries);
}
END_TEST

#define ROWS(table) ((int)(sizeof(table) / sizeof((table)[0])))

int main(void) {
    TCase *parts = tcase_create("page parts");
    tcase_add_loop_test(parts, text_is_escaped, 0, ROWS(escaped));
    tcase_add_test(parts, attributes_are_escaped_and_left_out);
    tcase_add_test(parts, addresses_are_percent_encoded);
    tcase_add_test(parts, an_address_never_grows_over_its_room);
    tcase_add_loop_test(parts, forms_are_parsed, 0, ROWS(forms));
    tcase_add_test(parts, forms_have_limits);
    tcase_add_test(parts, any_bytes_are_a_form_or_none);
    tcase_add_loop_test(parts, account_files_are_checked, 0, ROWS(files));
    tcase_add_test(parts, passwords_are_checked_by_libcrypt);
    tcase_add_test(parts, sessions_end);
    tcase_add_test(parts, sessions_are_bounded_and_differ);
    tcase_add_test(parts, the_allowance_runs_out_and_grows_again);
    tcase_add_test(parts, ten_wrong_tries_then_one_in_three_seconds);
    tcase_add_test(parts, a_right_password_costs_nothing);
    tcase_add_test(parts, guessing_keeps_nobody_out_elsewhere);
    tcase_add_test(parts, guesses_from_everywhere_are_bounded_work);
    return run_test_case(parts);
}
