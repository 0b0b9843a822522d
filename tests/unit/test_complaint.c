/*
 * Complaints: what the settings and the API say in English is found again, with what stands in it,
 * and said in another language; what is not of ours stays.
 */
#include "complaints.h"
#include "test_support.h"
#include "words/complaint.h"
#include "words/wording_texts.h"

#include <string.h>

static void check_says(const char *english, const char *expected) {
    char text[COMPLAINT_BYTES];
    size_t spanish = 0;
    ck_assert(wording_language_find("es", &spanish));
    ck_assert_str_eq(complaint_text(text, spanish, english), expected);
    ck_assert_str_eq(complaint_text(text, WORDING_ENGLISH, english), english);
}

START_TEST(a_sentence_is_said_with_its_parts) {
    check_says("soon is not a date; allowed: a date such as 2025-09-30",
               "soon no es una fecha; se admite: una fecha como 2025-09-30");
    check_says(
        "\"a b\" is not an id; allowed: 1 to 64 letters (a-z, A-Z), digits and . _ -, the first a "
        "letter or digit",
        "\"a b\" no es un código; se admite: de 1 a 64 letras (a-z, A-Z), cifras y . _ -, la "
        "primera "
        "una letra o cifra");
    check_says("1 W is a unit of another kind; allowed for fan-power: W, kW",
               "1 W es una unidad de otra clase; se admite para potencia del ventilador: W, kW");
}
END_TEST

START_TEST(of_two_forms_the_special_one) {
    check_says("is missing; allowed: one of the branches east, west",
               "falta; se admite: uno de los tubos verticales east, west");
    check_says("is missing; allowed: an id such as suction",
               "falta; se admite: un código como suction");
}
END_TEST

START_TEST(what_is_not_ours_stays) {
    check_says("", "");
    check_says("the disk is on fire", "the disk is on fire");
    check_says("is missing; allowed: apples", "falta; se admite: apples");
    check_says("{a} is not {b}", "{a} is not {b}");
}
END_TEST

START_TEST(a_long_one_is_cut) {
    char text[COMPLAINT_BYTES], english[3 * COMPLAINT_BYTES];
    size_t spanish = 0;
    ck_assert(wording_language_find("es", &spanish));
    memset(english, 'x', sizeof english);
    memcpy(english, "is missing; allowed: ", strlen("is missing; allowed: "));
    english[sizeof english - 1] = '\0';
    ck_assert_uint_eq(strlen(complaint_text(text, spanish, english)), COMPLAINT_BYTES - 1);
    ck_assert_uint_eq(strlen(complaint_text(text, WORDING_ENGLISH, english)), COMPLAINT_BYTES - 1);
}
END_TEST

/* The code fills them with printf, one after the other: so their places come in order, and a
   percent sign beside one would be taken for another. */
START_TEST(english_can_be_printed) {
    for (int i = 0; i < COMPLAINT_COUNT; i++) {
        const char *text = wording_languages[WORDING_ENGLISH].texts->complaints[i];
        char next = 'a';
        for (const char *at = text; (at = strchr(at, '{')); at++, next++)
            ck_assert_msg(at[1] == next && at[2] == '}', "%s", text);
        ck_assert_msg(next <= 'd', "three places at most: %s", text);
        ck_assert_msg(next == 'a' || !strchr(text, '%'), "%s", text);
    }
}
END_TEST

int main(void) {
    TCase *complaint = tcase_create("complaint");
    tcase_add_test(complaint, a_sentence_is_said_with_its_parts);
    tcase_add_test(complaint, of_two_forms_the_special_one);
    tcase_add_test(complaint, what_is_not_ours_stays);
    tcase_add_test(complaint, a_long_one_is_cut);
    tcase_add_test(complaint, english_can_be_printed);
    return run_test_case(complaint);
}
