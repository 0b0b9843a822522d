/*
 * Languages: each says all that English says; and one that nobody speaks (pseudo_language.py),
 * added as one file and nothing else, goes through every message, sentence, list and calendar
 * entry. Its texts stand in brackets: a letter outside of them was left in the code.
 */
#include "diagnosis/diagnosis_cause.h"
#include "measure/time_zone.h"
#include "test_support.h"
#include "words/calendar.h"
#include "words/evidence.h"
#include "words/visit.h"
#include "words/wording.h"
#include "words/wording_texts.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { TEXTS = sizeof(struct wording_texts) / sizeof(const char *) };
_Static_assert(sizeof(struct wording_texts) == TEXTS * sizeof(const char *),
               "struct wording_texts holds texts and nothing else");

/* The n-th text of a language, in the order of the struct. */
static const char *text_at(size_t language, size_t n) {
    const char *text;
    memcpy(&text, (const char *)wording_languages[language].texts + n * sizeof text, sizeof text);
    return text;
}

static size_t pseudo(void) {
    size_t language;
    ck_assert(wording_language_find("xq", &language));
    return language;
}

/* How often a text has a placeholder. */
static size_t count_of(const char *text, const char *name, size_t length) {
    size_t count = 0;
    for (const char *at = text; (at = strchr(at, '{')); at++)
        count += strncmp(at, name, length) == 0 ? 1 : 0;
    return count;
}

/* A language may name whom to call where English does not, but leaves nothing out that English has
   numbers or names for; `…` marks what is left to it. */
static void check_same_placeholders(const char *english, const char *other) {
    for (const char *at = english; (at = strchr(at, '{')); at++) {
        size_t length = strcspn(at, "}") + 1;
        ck_assert_msg(count_of(other, at, length) >= 1, "%.*s of \"%s\" is not in \"%s\"",
                      (int)length, at, english, other);
    }
    for (const char *at = other; (at = strchr(at, '{')); at++) {
        size_t length = strcspn(at, "}") + 1;
        ck_assert_msg(count_of(english, at, length) >= 1, "%.*s of \"%s\" is not in \"%s\"",
                      (int)length, at, other, english);
    }
}

START_TEST(each_language_says_what_english_says) {
    ck_assert_uint_ge(wording_language_count, 3);
    for (size_t l = 1; l < wording_language_count; l++)
        for (size_t n = 0; n < TEXTS; n++) {
            const char *english = text_at(WORDING_ENGLISH, n), *other = text_at(l, n);
            ck_assert_msg(!english == !other, "%s has no text for \"%s\", or one too much: \"%s\"",
                          wording_languages[l].code, english ? english : "", other ? other : "");
            ck_assert_msg(!english || (*english && *other), "an empty text: \"%s\"", english);
            if (english)
                check_same_placeholders(english, other);
        }
}
END_TEST

/* What may be NULL: kinds without a prefix, or whose sentence says when it is told again; reasons
   of conditions that call for no visit, and of causes that are never claimed. */
START_TEST(english_has_all_texts) {
    const struct wording_texts *texts = wording_languages[WORDING_ENGLISH].texts;
    size_t missing = 0, allowed = 0;
    for (size_t n = 0; n < TEXTS; n++)
        missing += text_at(WORDING_ENGLISH, n) == NULL;
    for (int kind = 0; kind < WORDING_KIND_COUNT; kind++)
        allowed += (size_t)!texts->subject_prefix[kind] + (size_t)!texts->again[kind];
    for (int condition = 0; condition < CONDITION_COUNT; condition++)
        allowed += texts->conditions[condition].reason == NULL;
    for (int cause = 0; cause < CAUSE_COUNT; cause++)
        allowed += (size_t)!texts->reasoning[cause] + (size_t)!texts->cause_actions[cause];
    allowed += (size_t)!texts->plain_suffix[WORDING_HOME_REPORT]; /* its subject is its own */
    allowed += (size_t)!texts->facts[FACT_REASONING] + (size_t)!texts->items[VISIT_NONE];
    ck_assert_uint_eq(missing, allowed);
}
END_TEST

/* ---- the language that nobody speaks ---- */

/* Words that every language has: units, and the zone. */
static bool is_of_all(const char *word, size_t length) {
    static const char *const words[] = {"UTC", "inH",  "pCi", "Bq",  "Pa", "hPa",
                                        "min", "degF", "ft",  "cfm", "ms", "inH2O"};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strlen(words[i]) == length && memcmp(words[i], word, length) == 0)
            return true;
    return length < 2; /* 21 d, 3 h, L */
}

static void check_pseudo(const char *text) {
    int depth = 0;
    ck_assert_msg(strstr(text, "⟦") != NULL, "not a word of it: %s", text);
    for (const char *at = text; *at;) {
        if (strncmp(at, "⟦", strlen("⟦")) == 0)
            depth++;
        else if (strncmp(at, "⟧", strlen("⟧")) == 0)
            depth--;
        size_t length = 0;
        while (isalpha((unsigned char)at[length]))
            length++;
        /* An assertion that holds costs a write: not one a letter. */
        if (depth <= 0 && length > 0 && !is_of_all(at, length))
            ck_abort_msg("\"%.*s\" is in no language's file: %s", (int)length, at, text);
        at += length ? length : 1;
    }
    ck_assert_msg(depth >= 0, "%s", text);
}

static const char *const lines[] = {"1", "2"};

static struct wording_facts facts_of(enum condition condition, struct time_zone *zone) {
    return (struct wording_facts){
        .language = pseudo(),
        .zone = zone,
        .condition = condition,
        .place.system_id = "7",
        .place.system_name = "77",
        .place.system_address = "78",
        .place.point_id = "79",
        .quantity = QUANTITY_SUCTION,
        .dimension = DIMENSION_PRESSURE,
        .value = 5.0,
        .setpoint = 27.4,
        .baseline = 274.0,
        .mixup.sent_unit = "hPa",
        .mixup.declared_unit = "Pa",
        .since_ms = INT64_C(1773303300000),
        .raised_ms = INT64_C(1773305100000),
        .returned_ms = INT64_C(1773312300000),
        .subject = "80",
        .by = "81",
        .note = "82",
        .explained = {.cause = "fan-off or leak",
                      .confidence = 0.85,
                      .mean_bq_m3 = 188.7,
                      .year_lower_bq_m3 = 150.0,
                      .year_upper_bq_m3 = 230.0,
                      .mean_days = 120,
                      .frost = true,
                      .evidence = {lines, 2},
                      .check = {lines, 2},
                      .bring = {lines, 2}},
        .lines = {lines, 2},
        .contractor.name = "83",
        .contractor.telephone = "84",
        .action_level_bq_m3 = 148.0,
        .occurrences = 3,
        .more = 5,
        .until_ms = INT64_C(1773392300000),
    };
}

START_TEST(every_message_is_in_it) { /* _i: condition */
    struct time_zone *utc = time_zone_create_utc();
    struct wording_facts facts = facts_of((enum condition)_i, utc);
    for (int role = 0; role < WORDING_ROLE_COUNT; role++)
        for (int kind = 0; kind < WORDING_KIND_COUNT; kind++)
            for (int value = 0; value <= WORDING_VALUE_DURATION; value++)
                for (int bare = 0; bare < 2; bare++) {
                    facts.role = (enum wording_role)role;
                    facts.kind = (enum wording_kind)kind;
                    facts.value_kind = (enum wording_value)value;
                    facts.remind_every_ms = bare ? 0 : INT64_C(86400000);
                    facts.contractor.name = bare ? NULL : "83";
                    facts.explained.since_repair = bare != 0;
                    facts.place.system_name = facts.place.system_id = bare ? "" : "77";
                    facts.lines.count = bare ? 0 : 2;
                    char *text = wording_render(&facts), *line = wording_line(&facts);
                    check_pseudo(text);
                    check_pseudo(line);
                    free(text);
                    free(line);
                }
    time_zone_destroy(utc);
}
END_TEST

START_TEST(every_cause_is_in_it) { /* _i: condition */
    struct time_zone *utc = time_zone_create_utc();
    struct wording_facts facts = facts_of((enum condition)_i, utc);
    for (int role = 0; role < WORDING_ROLE_COUNT; role++)
        for (int cause = 0; cause < CAUSE_COUNT; cause++) {
            facts.role = (enum wording_role)role;
            facts.kind = WORDING_RAISED;
            facts.explained.cause = diagnosis_cause_word((enum diagnosis_cause)cause);
            char *text = wording_render(&facts);
            check_pseudo(text);
            free(text);
        }
    time_zone_destroy(utc);
}
END_TEST

START_TEST(every_status_is_in_it) {
    for (int role = 0; role < WORDING_ROLE_COUNT; role++)
        for (int kind = 0; kind < WORDING_STATUS_COUNT; kind++) {
            const struct wording_status status = {(enum wording_status_kind)kind,
                                                  CONDITION_BATTERY_LOW, "7", INT64_C(90000000)};
            char *text = wording_status_line(pseudo(), (enum wording_role)role, &status);
            check_pseudo(text);
            free(text);
        }
}
END_TEST

START_TEST(every_sentence_of_evidence_is_in_it) {
    for (int kind = 0; kind < FACT_COUNT; kind++)
        for (int cause = CAUSE_FAN_OFF; cause <= CAUSE_WATER_HIGH; cause++) {
            struct diagnosis_fact fact = {.kind = (enum diagnosis_fact_kind)kind,
                                          .quantity = QUANTITY_FIELD,
                                          .values = {3.0, 6.0, 7.0},
                                          .days = 90,
                                          .count = 4,
                                          .method = (enum fan_method)(cause % FAN_METHOD_COUNT),
                                          .cause = (enum diagnosis_cause)cause,
                                          .other = CAUSE_LEAK,
                                          .declared = unit_find("Pa", 2),
                                          .sent = unit_find("hPa", 3)};
            strcpy(fact.name, "12");
            if (cause % 2)
                fact.quantity = QUANTITY_RADON;
            for (int units = 0; units < 2; units++) {
                char *text = evidence_sentence(pseudo(), (enum unit_system)units, &fact);
                check_pseudo(text);
                free(text);
            }
        }
}
END_TEST

static void check_calendar(const struct visit *visit) {
    struct text_buffer text = {0};
    calendar_add_visit(&text, visit, "9", 0);
    char *plain = text_buffer_take(&text), *to = plain;
    ck_assert_ptr_nonnull(plain);
    for (const char *at = plain; *at;) { /* unfolded, and \n of RFC 5545 an end of line again */
        if (strncmp(at, "\r\n ", 3) == 0) {
            at += 3;
        } else if (strncmp(at, "\\n", 2) == 0) {
            at += 2;
            *to++ = '\n';
        } else {
            *to++ = *at++;
        }
    }
    *to = '\0';
    static const char *const properties[] = {"SUMMARY:", "DESCRIPTION:", "CATEGORIES:"};
    for (size_t i = 0; i < sizeof properties / sizeof properties[0]; i++) {
        char *value = strstr(plain, properties[i]), *end = value ? strstr(value, "\r\n") : NULL;
        ck_assert_msg(value && end, "%s", plain);
        *end = '\0';
        check_pseudo(value + strlen(properties[i]));
        *end = '\r';
    }
    free(plain);
}

START_TEST(every_visit_is_in_it) { /* _i: condition */
    struct visit_alarm alarm = {.condition = (enum condition)_i,
                                .priority = PRIORITY_MEDIUM,
                                .raised_ms = 0,
                                .quantity = QUANTITY_COUNT};
    struct visit_baseline baseline = {"1", "2", 274.0, DIMENSION_PRESSURE, QUANTITY_SUCTION};
    struct visit_input input = {.system = "7",
                                .name = "77",
                                .reader = {pseudo(), UNIT_SYSTEM_US},
                                .alarms = &alarm,
                                .alarm_count = 1,
                                .baseline = &baseline,
                                .baseline_count = 1,
                                .counted_ms = TIMESTAMP_NONE,
                                .last_visit_ms = TIMESTAMP_NONE,
                                .changed_ms = TIMESTAMP_NONE};
    struct visit visit;
    if (!visit_plan(&input, 1, &visit))
        return;
    for (size_t i = 0; i < visit.check_count; i++)
        check_pseudo(visit.check[i]);
    for (size_t i = 0; i < visit.bring_count; i++)
        check_pseudo(visit.bring[i]);
    check_calendar(&visit);
}
END_TEST

START_TEST(a_word_left_in_the_code_would_be_found) {
    check_pseudo("⟦Whërë: ñ⟧ 77 (7)\n");
    char wrong[] = "⟦Whërë: ñ⟧ 77\nSince: 7\n";
    const char *left = strstr(wrong, "Since");
    ck_assert(!is_of_all(left, strlen("Since")));
}
END_TEST

int main(void) {
    TCase *languages = tcase_create("languages");
    tcase_add_test(languages, each_language_says_what_english_says);
    tcase_add_test(languages, english_has_all_texts);
    tcase_add_test(languages, a_word_left_in_the_code_would_be_found);
    tcase_add_loop_test(languages, every_message_is_in_it, 0, CONDITION_COUNT);
    tcase_add_loop_test(languages, every_cause_is_in_it, 0, CONDITION_COUNT);
    tcase_add_test(languages, every_status_is_in_it);
    tcase_add_test(languages, every_sentence_of_evidence_is_in_it);
    tcase_add_loop_test(languages, every_visit_is_in_it, 0, CONDITION_COUNT);
    return run_test_case(languages);
}
