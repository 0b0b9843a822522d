/* What is said in a line or a list: a digest, a visit, a bundle, an alarm, a status, a grade. */
#include "wording_bench.h"

#include <stdlib.h>
#include <string.h>

static const char *const lines[] = {"12 Birch Lane: suction lost", "3 Elm Way: battery low"};

START_TEST(a_digest_and_a_visit_list_their_lines) {
    struct wording_facts facts = full_facts();
    facts.kind = WORDING_DIGEST;
    facts.place.system_name = facts.place.system_id = "";
    facts.lines = (struct text_list){lines, 2};
    char *text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Summary (2): "), "%s", text);
    ck_assert_msg(strstr(text, "- 3 Elm Way: battery low\n"), "%s", text);
    free(text);
    facts = full_facts();
    facts.kind = WORDING_VISIT_DUE;
    facts.role = WORDING_TECHNICIAN;
    facts.lines = (struct text_list){lines, 1};
    text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Visit due: 12 Birch Lane\n"), "%s", text);
    ck_assert_msg(strstr(text, "Reasons:\n- 12 Birch Lane: suction lost\n"), "%s", text);
    ck_assert_msg(strstr(text, "Quillmere"), "%s", text);
    free(text);
}
END_TEST

START_TEST(a_place_is_named_once) {
    struct wording_facts facts = full_facts();
    facts.place.point_name = "suction";
    char *text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Where: 12 Birch Lane, Quillmere (birch-lane-12); suction\n"), "%s",
                  text);
    free(text);
    facts.place.system_name = "Miller";
    facts.role = WORDING_HOMEOWNER;
    text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Where: Miller, 12 Birch Lane, Quillmere\n"), "%s", text);
    ck_assert_msg(strstr(text, "\nWe will write again when it is over.\n"), "%s", text);
    free(text);
}
END_TEST

START_TEST(a_bundle_counts_what_it_leaves_out) {
    struct wording_facts facts = full_facts();
    facts.kind = WORDING_BUNDLE;
    facts.place.system_name = facts.place.system_id = "";
    facts.lines = (struct text_list){lines, 2};
    facts.more = 498;
    char *text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Alarms at once (500): the whole fleet\n\n") == text, "%s", text);
    ck_assert_msg(strstr(text, "- 3 Elm Way: battery low\n- and 498 more\n"), "%s", text);
    free(text);
}
END_TEST

START_TEST(an_alarm_is_one_line) {
    struct wording_facts facts = full_facts();
    facts.kind = WORDING_RAISED;
    facts.returned_ms = TIMESTAMP_NONE;
    char *text = wording_line(&facts);
    ck_assert_str_eq(text, "Suction lost: 12 Birch Lane, riser gauge; 2026-03-12 08:15 UTC");
    free(text);
    facts.kind = WORDING_RAISED_AND_RETURNED;
    facts.returned_ms = facts.since_ms + 3600000;
    text = wording_line(&facts);
    ck_assert_str_eq(
        text, "Came and went: Suction lost: 12 Birch Lane, riser gauge; 2026-03-12 09:15 UTC");
    free(text);
}
END_TEST

START_TEST(a_status_is_one_line) {
    struct wording_status status = {WORDING_OUT_OF_SPEC, CONDITION_COUNT, "12 Birch Lane",
                                    INT64_C(3) * 86400000 + 4000000};
    char *text = wording_status_line(WORDING_ENGLISH, WORDING_CONTRACTOR, &status);
    ck_assert_str_eq(text, "Out of spec for 3 d: 12 Birch Lane");
    free(text);
    status.kind = WORDING_SHELVED;
    status.condition = CONDITION_FAN_WEAK;
    status.age_ms = -1;
    text = wording_status_line(spanish(), WORDING_CONTRACTOR, &status);
    ck_assert_msg(strstr(text, "Aplazada: ") == text, "%s", text);
    free(text);
}
END_TEST

START_TEST(a_chattering_alarm_says_so_with_its_count) {
    struct wording_facts facts = full_facts();
    facts.kind = WORDING_CHATTERING;
    facts.occurrences = 5;
    char *text = wording_render(&facts);
    ck_assert_msg(strstr(text, "On and off: Suction lost: 12 Birch Lane\n\n") == text, "%s", text);
    ck_assert_msg(strstr(text, "Changes within an hour: 5\n"), "%s", text);
    free(text);
}
END_TEST

START_TEST(what_is_shelved_says_until_when_by_whom_and_why) {
    struct wording_facts facts = full_facts();
    facts.kind = WORDING_SHELVING_ENDS;
    facts.by = "the office";
    facts.note = "part on order";
    facts.until_ms = facts.since_ms + 86400000;
    char *text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Until: 2026-03-13 08:15 UTC\nBy: the office\nWhy: part on order\n"),
                  "%s", text);
    free(text);
}
END_TEST

START_TEST(the_grade_is_counted_as_published) { /* the formula on words counted by hand */
    ck_assert_double_eq_tol(reading_grade_english("The cat sat on the mat."),
                            0.39 * 6 + 11.8 * 6 / 6 - 15.59, 1e-9);
    ck_assert_double_eq_tol(reading_grade_english("Look at the table. Do it now, please!\n"),
                            0.39 * 8 / 2 + 11.8 * 9 / 8 - 15.59, 1e-9);
    /* 6, 4, 4, 5, 6, 1 and 5 syllables; the count by machine may be off by two (ia, io) */
    ck_assert_double_eq_tol(
        reading_grade_english("Depressurization infrastructure necessitates periodical "
                              "reconfiguration of instrumentation."),
        0.39 * 7 + 11.8 * 31 / 7 - 15.59, 11.8 * 2 / 7);
}
END_TEST

START_TEST(the_ease_is_counted_as_published) { /* the formula on words counted by hand */
    /* el ga-to es-tá en la me-sa: 9 syllables, 6 words */
    ck_assert_double_eq_tol(reading_ease_spanish("El gato está en la mesa."),
                            206.84 - 60.0 * 9 / 6 - 1.02 * 6, 1e-9);
    /* bue-no, rí-o, ra-íz, ciu-dad, an-ti-guo, pro-te-ger, quie-ro: 2, 2, 2, 2, 3, 3, 2 */
    ck_assert_double_eq_tol(reading_ease_spanish("Bueno río raíz ciudad. Antiguo proteger quiero."),
                            206.84 - 60.0 * 16 / 7 - 1.02 * 7 / 2, 1e-9);
}
END_TEST

START_TEST(languages_are_found_by_their_code) {
    size_t language = spanish();
    ck_assert(wording_language_find("en", &language) && language == WORDING_ENGLISH);
    ck_assert(wording_language_find("es-MX", &language) && language == spanish());
    ck_assert(!wording_language_find("esperanto", &language) && language == WORDING_ENGLISH);
    ck_assert(!wording_language_find(NULL, &language));
}
END_TEST

int main(void) {
    TCase *wording = tcase_create("wording");
    tcase_add_checked_fixture(wording, set_up, tear_down);
    tcase_add_test(wording, a_digest_and_a_visit_list_their_lines);
    tcase_add_test(wording, a_place_is_named_once);
    tcase_add_test(wording, a_bundle_counts_what_it_leaves_out);
    tcase_add_test(wording, an_alarm_is_one_line);
    tcase_add_test(wording, a_status_is_one_line);
    tcase_add_test(wording, a_chattering_alarm_says_so_with_its_count);
    tcase_add_test(wording, what_is_shelved_says_until_when_by_whom_and_why);
    tcase_add_test(wording, the_grade_is_counted_as_published);
    tcase_add_test(wording, the_ease_is_counted_as_published);
    tcase_add_test(wording, languages_are_found_by_their_code);
    return run_test_case(wording);
}
