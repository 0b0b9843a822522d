/* What a message promises that says that something is over, and what it must not. */
#include "wording_bench.h"

#include <stdlib.h>
#include <string.h>

static char *over(enum condition condition, enum wording_role role, size_t language) {
    struct wording_facts facts = full_facts();
    facts.condition = condition;
    facts.role = role;
    facts.language = language;
    facts.kind = WORDING_RETURNED;
    facts.returned_ms = facts.since_ms + INT64_C(7200000);
    facts.explained = explanation_none();
    char *text = wording_render(&facts);
    ck_assert_ptr_nonnull(text);
    return text;
}

/* They return at a deadband from their limit, far from the level or the baseline. */
START_TEST(what_is_over_is_not_said_to_be_good) {
    char *text = over(CONDITION_RADON_HIGH, WORDING_HOMEOWNER, WORDING_ENGLISH);
    SAYS(text, "Radon is no longer far above that level. It may still be above it.");
    free(text);
    text = over(CONDITION_SUCTION_LOST, WORDING_HOMEOWNER, WORDING_ENGLISH);
    SAYS(text, "There is some pull under your floor again. We go on watching.");
    SAYS_NOT(text, "is back");
    free(text);
}
END_TEST

/* Radon that is no longer surely high may be high all the same. */
START_TEST(the_end_of_a_radon_alarm_is_no_all_clear) {
    static const char *const nothing[] = {"You need to do nothing", "no hace falta hacer nada"};
    static const char *const may_be[] = {"This does not say that radon is low now.",
                                         "Esto no dice que el radón sea bajo ahora."};
    static const char *const subject[] = {": this alarm is over\n", ": esta alarma terminó\n"};
    const size_t read[] = {WORDING_ENGLISH, spanish()};
    for (int c = CONDITION_RADON_HIGH; c <= CONDITION_RADON_RISING; c++)
        for (size_t l = 0; l < 2; l++) {
            char *text = over((enum condition)c, WORDING_HOMEOWNER, read[l]);
            SAYS_NOT(text, nothing[l]);
            SAYS(text, may_be[l]);
            SAYS(text, subject[l]);
            free(text);
        }
}
END_TEST

START_TEST(the_trade_is_not_calmed_about_radon_either) {
    static const char *const calm[] = {"Nothing urgent", "Nada urgente"};
    static const char *const may_be[] = {"Do: It may still be too high",
                                         "Qué hacer: Aún puede ser"};
    const size_t read[] = {WORDING_ENGLISH, spanish()};
    for (int c = CONDITION_RADON_HIGH; c <= CONDITION_RADON_RISING; c++)
        for (size_t l = 0; l < 2; l++) {
            char *text = over((enum condition)c, WORDING_CONTRACTOR, read[l]);
            SAYS_NOT(text, calm[l]);
            SAYS(text, may_be[l]);
            free(text);
        }
}
END_TEST

static void check_done(const char *text) {
    static const char *const wrong[] = {"fault", "falla", "what caused it", "la causa", "alarm"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        SAYS_NOT(text, wrong[i]);
}

/* A test, a reading, a visit and a calibration were due: no fault, and nothing caused them. */
START_TEST(what_was_due_is_done_and_was_no_fault) {
    static const enum condition due[] = {CONDITION_READING_DUE, CONDITION_RETEST_DUE,
                                         CONDITION_VISIT_DUE, CONDITION_CALIBRATION_DUE};
    static const char *const subject[] = {": it is done\n", ": ya está hecho\n"};
    const size_t read[] = {WORDING_ENGLISH, spanish()};
    for (size_t i = 0; i < sizeof due / sizeof due[0]; i++)
        for (int role = 0; role < WORDING_ROLE_COUNT; role++)
            for (size_t l = 0; l < 2; l++) {
                char *text = over(due[i], (enum wording_role)role, read[l]);
                check_done(text);
                if (role == WORDING_HOMEOWNER)
                    SAYS(text, subject[l]);
                free(text);
            }
}
END_TEST

/* The sensor of a hole, or suction alone, does not see the fan. */
START_TEST(a_weak_pull_does_not_prove_that_the_fan_runs) {
    struct wording_facts facts = full_facts();
    facts.condition = CONDITION_FIELD_WEAK;
    facts.role = WORDING_HOMEOWNER;
    facts.explained = explanation_none();
    char *text = wording_render(&facts);
    SAYS(text, "Most likely the fan still runs.");
    free(text);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("messages over");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, what_is_over_is_not_said_to_be_good);
    tcase_add_test(tcase, the_end_of_a_radon_alarm_is_no_all_clear);
    tcase_add_test(tcase, the_trade_is_not_calmed_about_radon_either);
    tcase_add_test(tcase, what_was_due_is_done_and_was_no_fault);
    tcase_add_test(tcase, a_weak_pull_does_not_prove_that_the_fan_runs);
    return run_test_case(tcase);
}
