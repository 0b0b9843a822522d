/* What a homeowner's link says, and in which language. */
#include "test_support.h"
#include "words/accept_language.h"
#include "words/home_texts.h"
#include "words/wording.h"

#include <stdbool.h>
#include <string.h>

/* A placeholder that one language forgets would leave a fact out; one that none fills would show.
 */
START_TEST(languages_have_the_same_placeholders) {
    static const char *const names[] = {"{a}", "{b}", "{c}"};
    const char *english = home_text(WORDING_ENGLISH, (enum home_text)_i);
    for (size_t language = 0; language < home_text_languages(); language++) {
        const char *text = home_text(language, (enum home_text)_i);
        ck_assert_msg(text && *text, "text %d in language %zu", _i, language);
        for (size_t i = 0; i < 3; i++)
            ck_assert_msg(!strstr(english, names[i]) == !strstr(text, names[i]), "%s", text);
        for (const char *at = text; (at = strchr(at, '{')); at += 3)
            ck_assert_msg(at[1] >= 'a' && at[1] <= 'c' && at[2] == '}', "%s", text);
    }
}
END_TEST

/* RFC 9110, 12.5.4: ranges with weights, 1 where none is given, 0 is "not acceptable". */
static const struct {
    const char *header;
    bool found;
    const char *code;
} headers[] = {
    {NULL, false, "en"},
    {"", false, "en"},
    {"es", true, "es"},
    {"es-MX,es;q=0.9,en;q=0.8", true, "es"},
    {"en-US,en;q=0.9,es;q=0.8", true, "en"},
    {"fr-CA, es;q=0.3, en;q=0.2", true, "es"},
    {"en;q=0.1, ES-419 ; q=0.7", true, "es"},
    {"en;q=0.7,es;q=0.7", true, "en"},
    {"es;q=0", false, "en"},
    {"es;q=0, en;q=0.001", true, "en"},
    {"de, fr;q=0.9, *;q=0.5", false, "en"},
    {"est, eng", false, "en"},
    {"es;q=abc,en;q=0.2", true, "en"},
    {"es;q=7,en;q=0.2", true, "en"},
    {";q=1,,e,es;", false, "en"},
};

START_TEST(a_browser_says_which_language) {
    size_t language = 1;
    ck_assert_msg(accept_language_find(headers[_i].header, &language) == headers[_i].found, "%s",
                  headers[_i].header);
    ck_assert_str_eq(wording_language_code(language), headers[_i].code);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("home texts");
    tcase_add_loop_test(tcase, languages_have_the_same_placeholders, 0, HOME_TEXT_COUNT);
    tcase_add_loop_test(tcase, a_browser_says_which_language, 0,
                        (int)(sizeof headers / sizeof headers[0]));
    return run_test_case(tcase);
}
