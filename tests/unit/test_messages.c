/*
 * Every message, read as the people do who get it: a row a condition, a role, a language and a kind
 * (raised, over, reminder, test, list, digest). Each says what happened, what it means, what to do,
 * what to leave alone, whom to call and when we write again; none says what does not fit.
 */
#include "reading_level.h"
#include "test_support.h"
#include "words/evidence.h"
#include "words/visit_texts.h"
#include "words/wording.h"
#include "words/wording_texts.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const enum wording_kind kinds[] = {WORDING_RAISED, WORDING_RETURNED, WORDING_REMINDER,
                                          WORDING_TEST,   WORDING_BUNDLE,   WORDING_DIGEST};
enum { KINDS = sizeof kinds / sizeof kinds[0] };

static const char whom[] = "Quillmere Radon, +1 555 0100";
static const char *const lines[] = {"1", "2"};
static struct time_zone *utc;

static void set_up(void) {
    utc = time_zone_create_utc();
    ck_assert_ptr_nonnull(utc);
}

static void tear_down(void) {
    time_zone_destroy(utc);
}

static size_t spanish(void) {
    size_t language;
    ck_assert(wording_language_find("es", &language));
    return language;
}

static bool is_over(enum wording_kind kind) {
    return kind == WORDING_RETURNED || kind == WORDING_RAISED_AND_RETURNED ||
           kind == WORDING_UNWATCHED;
}

/* No number of its own, so that all there are come from the tables. */
static struct wording_facts row(enum condition condition, enum wording_role role, size_t language,
                                enum wording_kind kind) {
    return (struct wording_facts){
        .role = role,
        .language = language,
        .zone = utc,
        .kind = kind,
        .condition = condition,
        .place.system_id = "mill-house",
        .place.system_name = "Mill House",
        .quantity = QUANTITY_COUNT,
        .value = (double)NAN,
        .setpoint = (double)NAN,
        .baseline = (double)NAN,
        .since_ms = INT64_C(1773303300000), /* 2026-03-12T08:15:00Z */
        .raised_ms = INT64_C(1773305100000),
        .returned_ms = is_over(kind) ? INT64_C(1773312300000) : TIMESTAMP_NONE,
        .explained = explanation_none(),
        .lines = {lines, kind == WORDING_BUNDLE || kind == WORDING_DIGEST ? 2 : 0},
        .contractor.name = "Quillmere Radon",
        .contractor.telephone = "+1 555 0100",
        .action_level_bq_m3 = 148.0,
    };
}

static const struct wording_texts *texts_of(const struct wording_facts *facts) {
    return wording_languages[facts->language].texts;
}

static char *read_message(const struct wording_facts *facts) {
    char *text = wording_render(facts);
    ck_assert_ptr_nonnull(text);
    return text;
}

/* ---- the table ---- */

static const char *what_happened(const struct wording_facts *facts) {
    const struct wording_texts *texts = texts_of(facts);
    const struct wording_condition_text *condition = &texts->conditions[facts->condition];
    bool plain = facts->role == WORDING_HOMEOWNER;
    switch (facts->kind) {
    case WORDING_TEST:
        return plain ? texts->plain_test : texts->test;
    case WORDING_BUNDLE:
        return texts->bundle_plain;
    case WORDING_DIGEST:
        return plain ? texts->digest_plain : texts->digest;
    case WORDING_RETURNED:
        return plain ? condition->plain_over : condition->over;
    default:
        return plain ? condition->plain_what : condition->what;
    }
}

/* Each part under its heading, in this order, none of them empty. */
static void check_homeowner(const struct wording_facts *facts, const char *text) {
    const struct wording_texts *texts = texts_of(facts);
    const char *const headings[] = {texts->meaning, texts->can_do, texts->leave_alone};
    const char *at = text;
    for (size_t i = 0; i < 3; i++) {
        at = strstr(at, headings[i]);
        ck_assert_msg(at != NULL, "no \"%s\" in: %s", headings[i], text);
        at += strlen(headings[i]) + 2;
        ck_assert_msg(strlen(at) > 20 && *at != '\n', "nothing under %s: %s", headings[i], text);
    }
    char last[200];
    snprintf(last, sizeof last, "\n%s: %s\n",
             facts->language == spanish() ? "A quién llamar" : "Whom to call", whom);
    const char *end = strstr(at, last);
    ck_assert_msg(end && end[strlen(last)] == '\0', "does not end with whom to call: %s", text);
    const char *again = strstr(at, "\n\n");
    ck_assert_msg(again && end > again + 20, "not when we write again: %s", text);
}

static void check_trade(const struct wording_facts *facts, const char *text) {
    const struct wording_texts *texts = texts_of(facts);
    char label[80];
    snprintf(label, sizeof label, "\n%s: ", texts->again_label);
    SAYS(text, label);
    if (facts->kind == WORDING_RAISED || facts->kind == WORDING_RETURNED ||
        facts->kind == WORDING_REMINDER) {
        snprintf(label, sizeof label, "\n%s: ", texts->action);
        SAYS(text, label);
    }
    if (facts->role == WORDING_TECHNICIAN) {
        SAYS(text, whom);
        if (facts->kind == WORDING_RAISED || facts->kind == WORDING_REMINDER)
            SAYS(text, texts->caution_codes);
    }
}

/* No stopped fan's advice where it runs, and the caution on flue gas where the fan or the field is
   meant. */
static void check_fits(const struct wording_facts *facts, const char *text) {
    static const char *const of_stopped[] = {"switch of the fan", "interruptor del ventilador"};
    static const char *const of_gas[] = {"\n\nIf a carbon monoxide (CO) alarm sounds: go outside "
                                         "and call the emergency number.",
                                         "\n\nSi suena una alarma de monóxido de carbono (CO): "
                                         "salga y llame al número de emergencias."};
    bool stands = facts->kind == WORDING_RAISED || facts->kind == WORDING_REMINDER;
    bool stopped =
        facts->condition == CONDITION_SUCTION_LOST || facts->condition == CONDITION_FAN_STOPPED;
    bool of_air = facts->condition <= CONDITION_GROUND_CHANGED;
    size_t language = facts->language == spanish();
    ck_assert_msg((strstr(text, of_stopped[language]) != NULL) == (stands && stopped), "%s", text);
    ck_assert_msg((strstr(text, of_gas[language]) != NULL) == (stands && of_air), "%s", text);
}

static void check_level(const struct wording_facts *facts, const char *text) {
    double grade = facts->language == spanish() ? 0.0 : reading_grade_english(text);
    double ease = facts->language == spanish() ? reading_ease_spanish(text) : 100.0;
    ck_assert_msg(grade <= 6.0 && ease >= 70.0, "grade %.1f, ease %.1f: %s", grade, ease, text);
}

/* What settings and programs call a condition is no word of a message. */
static void check_no_id(const char *text) {
    for (int c = 0; c < CONDITION_COUNT; c++)
        SAYS_NOT(text, condition_info((enum condition)c)->name);
}

START_TEST(each_message_answers_what_its_reader_asks) { /* _i: condition */
    size_t read[] = {WORDING_ENGLISH, spanish()};
    for (size_t l = 0; l < 2; l++)
        for (int role = 0; role < WORDING_ROLE_COUNT; role++)
            for (int k = 0; k < KINDS; k++) {
                const struct wording_facts facts =
                    row((enum condition)_i, (enum wording_role)role, read[l], kinds[k]);
                char *text = read_message(&facts);
                SAYS(text, what_happened(&facts));
                check_no_id(text);
                if (role == WORDING_HOMEOWNER) {
                    check_homeowner(&facts, text);
                    check_fits(&facts, text);
                    check_level(&facts, text);
                } else {
                    check_trade(&facts, text);
                }
                free(text);
            }
}
END_TEST

/* ---- numbers that a setting can change ---- */

static bool has_word(const char *text, const char *word) {
    size_t length = strlen(word);
    for (const char *at = text; (at = strstr(at, word)); at++)
        if ((at == text || !isalpha((unsigned char)at[-1])) && !isalpha((unsigned char)at[length]))
            return true;
    return false;
}

/* Twelve hours of a closed house before a short test is the protocol's (EPA 402-R-92-003), 0 of a
   field is no limit that is set. */
static bool is_settled_number(const char *at) {
    return strncmp(at, "12 hor", 6) == 0 || strncmp(at, "12 hou", 6) == 0 ||
           (strncmp(at, "0 ", 2) == 0 && !isdigit((unsigned char)at[-1]));
}

static void check_no_number(const char *text) {
    static const char *const words[] = {"half",   "twice",  "double", "tenth", "third",  "quarter",
                                        "fifth",  "two",    "three",  "mitad", "doble",  "décima",
                                        "tercio", "cuarto", "quinto", "dos",   "tercera"};
    for (const char *at = text; *at; at++) {
        if (is_settled_number(at)) {
            at += strspn(at, "0123456789");
            continue;
        }
        ck_assert_msg(!isdigit((unsigned char)*at), "a number: %s", text);
    }
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strcmp(words[i], "two") != 0 || !strstr(text, "two sides"))
            if (strcmp(words[i], "dos") != 0 || !strstr(text, "dos lados"))
                ck_assert_msg(!has_word(text, words[i]), "\"%s\": %s", words[i], text);
}

START_TEST(no_limit_or_span_stands_fixed_in_a_text) {
    for (size_t l = 0; l < wording_language_count; l++) {
        const struct wording_texts *texts = wording_languages[l].texts;
        for (int c = 0; c < CONDITION_COUNT; c++) {
            const struct wording_condition_text *text = &texts->conditions[c];
            const char *const all[] = {text->plain_subject, text->plain_what, text->plain_over,
                                       text->subject,       text->what,       text->action,
                                       text->over};
            for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
                check_no_number(all[i]);
        }
        for (int a = 0; a < ADVICE_COUNT; a++) {
            const struct wording_advice_text *text = &texts->advice[a];
            check_no_number(text->meaning);
            check_no_number(text->can_do);
            check_no_number(text->leave_alone);
            check_no_number(text->again);
        }
        for (int c = CAUSE_FAN_OFF; c <= CAUSE_WATER_HIGH; c++)
            check_no_number(texts->cause_actions[c]);
        check_no_number(texts->several_actions);
    }
}
END_TEST

/* One hard sentence hides among twenty easy ones: a text alone may be harder than a whole message,
   but not by much. Of a few words the formulas say nothing. */
static void check_text_alone(size_t language, const char *text) {
    enum { FEW_WORDS = 8 };
    size_t words = 1;
    for (const char *at = text; *at; at++)
        words += *at == ' ';
    double grade = reading_grade_english(text), ease = reading_ease_spanish(text);
    bool good = language == WORDING_ENGLISH ? grade <= 9.5 : ease >= 50.0;
    ck_assert_msg(words < FEW_WORDS || good, "grade %.1f, ease %.1f: %s", grade, ease, text);
}

START_TEST(no_text_to_a_homeowner_is_hard_alone) {
    size_t read[] = {WORDING_ENGLISH, spanish()};
    for (size_t l = 0; l < 2; l++) {
        const struct wording_texts *texts = wording_languages[read[l]].texts;
        for (int c = 0; c < CONDITION_COUNT; c++) {
            check_text_alone(read[l], texts->conditions[c].plain_what);
            check_text_alone(read[l], texts->conditions[c].plain_over);
        }
        for (int a = 0; a < ADVICE_COUNT; a++) {
            check_text_alone(read[l], texts->advice[a].meaning);
            check_text_alone(read[l], texts->advice[a].can_do);
            check_text_alone(read[l], texts->advice[a].leave_alone);
            check_text_alone(read[l], texts->advice[a].again);
        }
        check_text_alone(read[l], texts->carbon_monoxide);
    }
}
END_TEST

/* ---- what was untrue or unsafe ---- */

static char *message(enum condition condition, enum wording_role role, enum wording_kind kind) {
    const struct wording_facts facts = row(condition, role, WORDING_ENGLISH, kind);
    return read_message(&facts);
}

/* The alarm ends when it is no longer sure; the mean may still be above. 5.1 pCi/L is 188.7 Bq/m3
   (NIST SP 811 (2008) B.8). */
START_TEST(the_end_of_radon_above_action_promises_nothing) {
    for (int role = 0; role < WORDING_ROLE_COUNT; role++) {
        struct wording_facts facts = row(CONDITION_RADON_ABOVE_ACTION, (enum wording_role)role,
                                         WORDING_ENGLISH, WORDING_RETURNED);
        facts.explained.mean_bq_m3 = 188.7;
        facts.explained.mean_days = 120;
        char *text = read_message(&facts);
        SAYS(text, "It is no longer sure that the");
        SAYS(text, "Measured: 5.1 pCi/L over 120 days\n");
        SAYS(text, "Level to act at: 4 pCi/L\n");
        SAYS_NOT(text, "is below");
        if (role == WORDING_HOMEOWNER)
            SAYS(text, "Keep it on.");
        free(text);
    }
}
END_TEST

START_TEST(a_test_says_nothing_of_the_house) {
    char *text = message(CONDITION_FAN_STOPPED, WORDING_HOMEOWNER, WORDING_TEST);
    SAYS(text, "This is a test message. It says nothing about your home.");
    SAYS_NOT(text, "othing is wrong");
    free(text);
    text = message(CONDITION_FAN_STOPPED, WORDING_CONTRACTOR, WORDING_TEST);
    SAYS_NOT(text, "No alarm");
    free(text);
}
END_TEST

/* It lists statuses, shelvings and dates: alarms of sensors stand beside it. */
START_TEST(an_empty_digest_does_not_say_that_no_alarm_stands) {
    for (int role = 0; role < WORDING_ROLE_COUNT; role++) {
        struct wording_facts facts =
            row(CONDITION_COUNT, (enum wording_role)role, WORDING_ENGLISH, WORDING_DIGEST);
        facts.lines.count = 0;
        char *text = read_message(&facts);
        SAYS_NOT(text, "No alarm");
        SAYS_NOT(text, "All is as it should be");
        SAYS(text, "sensors alone");
        free(text);
    }
}
END_TEST

START_TEST(radon_above_action_says_how_sure_and_from_what) {
    for (int role = 0; role < WORDING_ROLE_COUNT; role++) {
        struct wording_facts facts = row(CONDITION_RADON_ABOVE_ACTION, (enum wording_role)role,
                                         WORDING_ENGLISH, WORDING_RAISED);
        facts.explained.mean_bq_m3 = 188.7;
        facts.explained.mean_days = 120;
        facts.explained.year_lower_bq_m3 = 151.7; /* 4.1 pCi/L */
        facts.explained.year_upper_bq_m3 = 229.4; /* 6.2 pCi/L */
        facts.value_kind = WORDING_VALUE_PROBABILITY;
        facts.value = 0.9971;
        facts.setpoint = 0.95;
        char *text = read_message(&facts);
        SAYS(text, "of a whole year is very likely ");
        SAYS(text, role == WORDING_HOMEOWNER
                       ? "Radon is very likely too high in the long run\n"
                       : "Radon very likely above action level: Mill House\n");
        SAYS_NOT(text, "The system does not do its job");
        SAYS(text, "Measured: 5.1 pCi/L over 120 days\n");
        SAYS(text, "Average of a whole year: 4.1 pCi/L to 6.2 pCi/L (95 % sure)\n");
        SAYS(text, "Level to act at: 4 pCi/L\n");
        if (role != WORDING_HOMEOWNER)
            SAYS(text, "Probability: over 99 %; limit 95 %\n");
        free(text);
    }
}
END_TEST

START_TEST(nobody_is_sent_into_water) {
    char *text = message(CONDITION_WATER_HIGH, WORDING_HOMEOWNER, WORDING_RAISED);
    SAYS(text, "Look from the stairs");
    SAYS(text, "Do not step into water that may reach outlets, cords or the pump.");
    SAYS_NOT(text, "if the sump pump runs");
    free(text);
    text = message(CONDITION_WATER_HIGH, WORDING_TECHNICIAN, WORDING_RAISED);
    SAYS(text, "Circuit off before you step into water");
    free(text);
    SAYS(evidence_item(WORDING_ENGLISH, VISIT_PUMP), "Circuit off before you step into water");
}
END_TEST

/* Before what it means and what to do, and a paragraph of its own. */
START_TEST(carbon_monoxide_comes_first) {
    char *text = message(CONDITION_SUCTION_LOW, WORDING_HOMEOWNER, WORDING_RAISED);
    const char *gas = strstr(text, "\n\nIf a carbon monoxide (CO) alarm sounds: go outside");
    ck_assert_msg(gas && gas < strstr(text, "What it means"), "%s", text);
    free(text);
}
END_TEST

START_TEST(capacitors_ladders_and_drills_come_with_their_cautions) {
    const char *capacitor = evidence_item(WORDING_ENGLISH, VISIT_CAPACITOR);
    SAYS(capacitor, "Run capacitor");
    SAYS(capacitor, "licensed electrician; power off, discharge first");
    SAYS(evidence_item(WORDING_ENGLISH, VISIT_LADDER), "fall protection");
    SAYS(evidence_item(WORDING_ENGLISH, VISIT_DRILL),
         "find pipes, wires and slab heating first; control the dust");
    for (int i = 1; i < VISIT_ITEM_COUNT; i++)
        SAYS_NOT(evidence_item(WORDING_ENGLISH, (enum visit_item)i), "Start capacitor");
    char *text = message(CONDITION_FAN_STOPPED, WORDING_TECHNICIAN, WORDING_RAISED);
    SAYS(text, "Before you leave: the fan runs; note the U-tube.");
    free(text);
}
END_TEST

/* ---- the homeowner's messages ---- */

START_TEST(a_switch_comes_with_what_to_do_then) {
    char *text = message(CONDITION_FAN_STOPPED, WORDING_HOMEOWNER, WORDING_RAISED);
    SAYS(text, "If it is off, turn it on.");
    SAYS(text, "If it trips again, leave it off and call.");
    free(text);
}
END_TEST

START_TEST(a_retest_says_how_and_where_and_when_we_write) {
    char *text = message(CONDITION_RETEST_DUE, WORDING_HOMEOWNER, WORDING_RAISED);
    SAYS(text, "We will write again when the test is recorded.");
    SAYS(text, "12 hours before it starts");
    SAYS(text, "lowest floor that you live on");
    free(text);
    text = message(CONDITION_CALIBRATION_DUE, WORDING_HOMEOWNER, WORDING_RAISED);
    SAYS_NOT(text, "radon monitor"); /* it may be any instrument */
    free(text);
}
END_TEST

START_TEST(who_is_reminded_is_told_so) {
    struct wording_facts facts =
        row(CONDITION_FAN_STOPPED, WORDING_CONTRACTOR, WORDING_ENGLISH, WORDING_RAISED);
    char *text = read_message(&facts);
    SAYS(text, "\nAgain: when it is over\n");
    free(text);
    facts.remind_every_ms = INT64_C(86400000);
    text = read_message(&facts);
    SAYS(text, "\nAgain: every 1 d while nobody has acknowledged it, and when it is over\n");
    free(text);
    facts.role = WORDING_HOMEOWNER;
    text = read_message(&facts);
    SAYS(text, "\nWe will remind you until someone is on it, and write when it is over.\n");
    free(text);
}
END_TEST

/* Words that are another trade's or nobody's in Spanish. */
START_TEST(spanish_says_it_as_the_trade_does) {
    static const char *const wrong[] = {"gases de humo", "pasarela", "callad",       "calló",
                                        "callaron",      "números",  "le toca a un", "tubo en U",
                                        "van primero",   "parejo",   "abanico",      "soplador",
                                        "despresuriz",   "en regla", "fusible",      "alarma real"};
    const struct wording_texts *texts = wording_languages[spanish()].texts;
    for (size_t n = 0; n < sizeof *texts / sizeof(const char *); n++) {
        const char *text;
        memcpy(&text, (const char *)texts + n * sizeof text, sizeof text);
        for (size_t i = 0; text && i < sizeof wrong / sizeof wrong[0]; i++)
            SAYS_NOT(text, wrong[i]);
    }
}
END_TEST

START_TEST(without_a_name_it_is_the_firm_that_built_it) {
    struct wording_facts facts =
        row(CONDITION_FAN_STOPPED, WORDING_HOMEOWNER, WORDING_ENGLISH, WORDING_RAISED);
    facts.contractor.name = facts.contractor.telephone = NULL;
    char *text = read_message(&facts);
    SAYS(text, "\nWhom to call: the firm that put in your radon system\n");
    free(text);
    facts.role = WORDING_TECHNICIAN;
    text = read_message(&facts);
    SAYS_NOT(text, "Whom to call");
    free(text);
}
END_TEST

int main(void) {
    TCase *messages = tcase_create("messages");
    tcase_add_checked_fixture(messages, set_up, tear_down);
    tcase_add_loop_test(messages, each_message_answers_what_its_reader_asks, 0, CONDITION_COUNT);
    tcase_add_test(messages, no_limit_or_span_stands_fixed_in_a_text);
    tcase_add_test(messages, no_text_to_a_homeowner_is_hard_alone);
    tcase_add_test(messages, the_end_of_radon_above_action_promises_nothing);
    tcase_add_test(messages, a_test_says_nothing_of_the_house);
    tcase_add_test(messages, an_empty_digest_does_not_say_that_no_alarm_stands);
    tcase_add_test(messages, radon_above_action_says_how_sure_and_from_what);
    tcase_add_test(messages, nobody_is_sent_into_water);
    tcase_add_test(messages, carbon_monoxide_comes_first);
    tcase_add_test(messages, capacitors_ladders_and_drills_come_with_their_cautions);
    tcase_add_test(messages, a_switch_comes_with_what_to_do_then);
    tcase_add_test(messages, a_retest_says_how_and_where_and_when_we_write);
    tcase_add_test(messages, who_is_reminded_is_told_so);
    tcase_add_test(messages, spanish_says_it_as_the_trade_does);
    tcase_add_test(messages, without_a_name_it_is_the_firm_that_built_it);
    return run_test_case(messages);
}
