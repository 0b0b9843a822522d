#include "test_support.h"
#include "words/wording.h"
#include "words/wording_texts.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct time_zone *utc;

static void set_up(void) {
    utc = time_zone_create_utc();
    ck_assert_ptr_nonnull(utc);
}

static void tear_down(void) {
    time_zone_destroy(utc);
}

static const char *const evidence[] = {"suction 0.02 inH2O of 1.1", "fan power 0 W of 19 W"};
static const char *const check[] = {"switch and breaker", "the U-tube"};
static const char *const bring[] = {"spare fan", "micromanometer"};
static const char *const lines[] = {"12 Birch Lane: suction lost", "3 Elm Way: battery low"};

static struct wording_facts full_facts(void) {
    return (struct wording_facts){
        .zone = utc,
        .condition = CONDITION_SUCTION_LOST,
        .system_id = "birch-lane-12",
        .system_name = "12 Birch Lane",
        .system_address = "12 Birch Lane, Springdale",
        .point_id = "suction",
        .point_name = "riser gauge",
        .quantity = QUANTITY_SUCTION,
        .dimension = DIMENSION_PRESSURE,
        .value = 5.0,
        .setpoint = 27.4,
        .baseline = 274.0,
        .since_ms = INT64_C(1773303300000), /* 2026-03-12T08:15:00Z */
        .raised_ms = INT64_C(1773305100000),
        .returned_ms = TIMESTAMP_NONE,
        .by = "the office",
        .note = "on my way",
        .cause = "fan-off",
        .confidence = 0.85,
        .evidence = {evidence, 2},
        .check = {check, 2},
        .bring = {bring, 2},
        .contractor = "Clear Air, 555 0100",
        .occurrences = 1,
    };
}

static bool has_word(const char *text, const char *word) {
    size_t length = strlen(word);
    for (const char *at = text; (at = strstr(at, word)); at++) {
        bool begins = at == text || !isalnum((unsigned char)at[-1]);
        bool ends = !isalnum((unsigned char)at[length]) && (unsigned char)at[length] < 0x80;
        if (begins && ends)
            return true;
    }
    return false;
}

static size_t first_line_characters(const char *text) {
    size_t count = 0;
    for (; *text && *text != '\n'; text++)
        count += ((unsigned char)*text & 0xC0) != 0x80;
    return count;
}

static void check_shape(const struct wording_facts *facts, const char *text) {
    const char *name = condition_info(facts->condition)->name;
    ck_assert_msg(strlen(text) > 60, "%s: short: %s", name, text);
    ck_assert_msg(!strstr(text, "nan") && !strstr(text, "inf "), "%s: %s", name, text);
    ck_assert_msg(!strpbrk(text, "{}"), "%s: placeholder left: %s", name, text);
    ck_assert_msg(!strstr(text, "  "), "%s: two blanks: %s", name, text);
    ck_assert_msg(!strstr(text, " \n"), "%s: blank at a line's end: %s", name, text);
    ck_assert_msg(!strstr(text, "(null)"), "%s: %s", name, text);
    ck_assert_msg(!strstr(text, ".."), "%s: two stops: %s", name, text);
    ck_assert_msg(first_line_characters(text) <= WORDING_SUBJECT_MAX, "%s: long: %s", name, text);
    ck_assert_msg(first_line_characters(text) > 10, "%s: %s", name, text);
    ck_assert_msg(strstr(text, "\n\n") == strchr(text, '\n'), "%s: no subject: %s", name, text);
    ck_assert_msg(text[strlen(text) - 1] == '\n', "%s: %s", name, text);
}

/* What people in the house should never have to read. */
static void check_plain(const struct wording_facts *facts, const char *text) {
    static const char *const jargon[] = {"Pa",          "inH2O",      "baseline",      "setpoint",
                                         "deadband",    "riser",      "commissioning", "resistance",
                                         "probability", "subslabctl", "broker",        "manometer",
                                         "succión",     "bróker"};
    for (size_t i = 0; i < sizeof jargon / sizeof jargon[0]; i++)
        ck_assert_msg(!has_word(text, jargon[i]), "%s in: %s", jargon[i], text);
    for (int i = 0; i < CONDITION_COUNT; i++)
        ck_assert_msg(!strstr(text, condition_info((enum condition)i)->name), "%s in: %s",
                      condition_info((enum condition)i)->name, text);
    ck_assert_msg(!strstr(text, facts->system_id) || !*facts->system_id, "id in: %s", text);
}

static bool is_over(enum wording_kind kind) {
    return kind == WORDING_RETURNED || kind == WORDING_RAISED_AND_RETURNED ||
           kind == WORDING_UNWATCHED;
}

/* What, where, since when, what to do. */
static void check_five_rules(const struct wording_facts *facts, const char *text) {
    static const char *const where[] = {"Where: ", "Dónde: "};
    static const char *const since[] = {"Since: ", "Desde: "};
    bool about_alarm = facts->kind <= WORDING_ESCALATED;
    ck_assert_msg(strstr(text, where[facts->language]), "no place: %s", text);
    ck_assert_msg(!about_alarm || strstr(text, since[facts->language]), "no time: %s", text);
    ck_assert_msg(!about_alarm || strstr(text, "2026"), "no date: %s", text);
    if (about_alarm && facts->role != WORDING_HOMEOWNER)
        ck_assert_msg(strstr(text, facts->language ? "Qué hacer: " : "Do: "), "no advice: %s",
                      text);
    if (about_alarm && facts->role == WORDING_HOMEOWNER && !is_over(facts->kind) &&
        facts->kind != WORDING_ACKNOWLEDGED)
        ck_assert_msg(strstr(text, facts->language ? "Qué puede hacer:" : "What you can do:"),
                      "no advice: %s", text);
}

static void check_all(struct wording_facts facts) {
    for (int role = 0; role < WORDING_ROLE_COUNT; role++)
        for (int kind = 0; kind < WORDING_KIND_COUNT; kind++)
            for (int language = 0; language < WORDING_LANGUAGE_COUNT; language++)
                for (int units = 0; units < 2; units++) {
                    facts.role = (enum wording_role)role;
                    facts.kind = (enum wording_kind)kind;
                    facts.language = (enum wording_language)language;
                    facts.units = (enum unit_system)units;
                    facts.returned_ms =
                        is_over(facts.kind) ? facts.since_ms + 7200000 : TIMESTAMP_NONE;
                    char *text = wording_render(&facts);
                    ck_assert_ptr_nonnull(text);
                    check_shape(&facts, text);
                    check_five_rules(&facts, text);
                    if (role == WORDING_HOMEOWNER)
                        check_plain(&facts, text);
                    free(text);
                }
}

START_TEST(every_message_is_whole_with_all_facts) {
    struct wording_facts facts = full_facts();
    facts.condition = (enum condition)_i;
    check_all(facts);
}
END_TEST

START_TEST(every_message_is_whole_with_no_facts) {
    struct wording_facts facts = {.zone = utc,
                                  .condition = (enum condition)_i,
                                  .system_id = "",
                                  .quantity = QUANTITY_COUNT,
                                  .value = (double)NAN,
                                  .setpoint = (double)NAN,
                                  .baseline = (double)NAN,
                                  .confidence = (double)NAN,
                                  .since_ms = INT64_C(1773303300000),
                                  .raised_ms = INT64_C(1773303300000),
                                  .returned_ms = TIMESTAMP_NONE};
    check_all(facts);
}
END_TEST

START_TEST(a_long_or_wild_name_keeps_the_first_line_short_and_single) {
    struct wording_facts facts = full_facts();
    facts.condition = (enum condition)_i;
    facts.system_name = "A very long name\r\nwith a\tbreak, ñandú ñandú ñandú ñandú ñandú ñandú "
                        "and an \x1b[31mescape and \xff\xfe bad bytes, going on and on";
    check_all(facts);
}
END_TEST

START_TEST(numbers_of_the_alarm_are_in_the_trade_messages) {
    struct wording_facts facts = full_facts();
    char *text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Suction lost: 12 Birch Lane\n\n") == text, "%s", text);
    ck_assert_msg(strstr(text, "inH2O; limit 0.11"), "%s", text);
    ck_assert_msg(strstr(text, "at commissioning 1.1"), "%s", text);
    ck_assert_msg(strstr(text, "(2 %)"), "%s", text);
    ck_assert_msg(strstr(text, "2026-03-12 08:15"), "%s", text);
    ck_assert_msg(strstr(text, "(likely, 85 %)"), "%s", text);
    ck_assert_msg(!strstr(text, "spare fan"), "contractor: short: %s", text);
    free(text);
    facts.role = WORDING_TECHNICIAN;
    facts.units = UNIT_SYSTEM_SI;
    text = wording_render(&facts);
    ck_assert_msg(strstr(text, "274 Pa"), "%s", text);
    ck_assert_msg(strstr(text, "- spare fan\n"), "%s", text);
    ck_assert_msg(strstr(text, "- fan power 0 W of 19 W\n"), "%s", text);
    ck_assert_msg(strstr(text, "licensed electrician"), "%s", text);
    ck_assert_msg(strstr(text, "back-draft test"), "%s", text);
    free(text);
}
END_TEST

START_TEST(a_suspected_unit_is_named_with_what_was_read_before) {
    struct wording_facts facts = full_facts();
    facts.condition = CONDITION_SENSOR_IMPLAUSIBLE;
    facts.units = UNIT_SYSTEM_SI;
    facts.value = 2.7;
    facts.setpoint = 270.0;
    facts.sent_unit = "hPa";
    facts.declared_unit = "Pa";
    static const char *const lines_of[] = {
        "Unit: it seems to send hPa where Pa is set; before, it read 270 Pa\n",
        "Unidad: parece que envía hPa donde está fijado Pa; antes marcaba 270 Pa\n"};
    for (int language = 0; language < WORDING_LANGUAGE_COUNT; language++)
        for (int role = 0; role < WORDING_ROLE_COUNT; role++) {
            facts.language = (enum wording_language)language;
            facts.role = (enum wording_role)role;
            char *text = wording_render(&facts);
            check_shape(&facts, text);
            bool trade = role != WORDING_HOMEOWNER;
            ck_assert_msg(!strstr(text, lines_of[language]) == !trade, "%s", text);
            ck_assert_msg(!strstr(text, "limit") && !strstr(text, "límite"), "%s", text);
            ck_assert_msg(trade || !strstr(text, "hPa"), "%s", text);
            free(text);
        }
}
END_TEST

START_TEST(the_daemons_own_alarms_say_what_they_are_about) {
    struct wording_facts facts = full_facts();
    facts.condition = CONDITION_DELIVERY_FAILING;
    facts.subject = "van";
    facts.value = NAN;
    for (int language = 0; language < WORDING_LANGUAGE_COUNT; language++) {
        facts.language = (enum wording_language)language;
        char *text = wording_render(&facts);
        ck_assert_msg(strstr(text, language ? "Detalles: van\n" : "Details: van\n"), "%s", text);
        check_shape(&facts, text);
        free(text);
    }
}
END_TEST

START_TEST(times_are_local) {
    /* RFC 8536 version 1 file with one type: UTC-7, "MST". */
    static const char file[] = "TZif\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0"
                               "\0\0\0\0\0\0\0\1\0\0\0\4\xff\xff\x9d\x90\0\0MST";
    struct time_zone *zone = time_zone_create("test", file, sizeof file);
    ck_assert_ptr_nonnull(zone);
    struct wording_facts facts = full_facts();
    facts.zone = zone;
    char *text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Since: 2026-03-12 01:15 MST\n"), "%s", text);
    free(text);
    facts.role = WORDING_HOMEOWNER;
    text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Since: March 12, 2026, 01:15\n"), "%s", text);
    free(text);
    facts.language = WORDING_SPANISH;
    text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Desde: 12 de marzo de 2026, 01:15\n"), "%s", text);
    free(text);
    time_zone_destroy(zone);
}
END_TEST

static const struct {
    enum wording_value kind;
    enum dimension dimension;
    double value, setpoint;
    const char *expected;
} numbers[] = {
    {WORDING_VALUE_RATIO, DIMENSION_RATIO, 0.84, 0.90,
     "Ratio to commissioning: 0.84; limit 0.90\n"},
    {WORDING_VALUE_PROBABILITY, DIMENSION_RATIO, 0.973, 0.95, "Probability: 97 %; limit 95 %\n"},
    {WORDING_VALUE_DURATION, DIMENSION_RATIO, 7200e3, NAN, "For: 2 h\n"},
    {WORDING_VALUE_MEASURED, DIMENSION_RADON, 333.0, 296.0, "Reads: 9 pCi/L; limit 8 pCi/L\n"},
};

/* As on the page and in the evidence: 1 Pa would be 0.004 inH2O. */
START_TEST(a_pressure_field_is_shown_in_pascals) {
    struct wording_facts facts = full_facts();
    facts.condition = CONDITION_FIELD_WEAK;
    facts.quantity = QUANTITY_FIELD;
    facts.value = 1.4;
    facts.setpoint = 2.3;
    facts.baseline = 4.6;
    facts.units = UNIT_SYSTEM_US;
    char *text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Reads: 1.4 Pa; limit 2.3 Pa; at commissioning 4.6 Pa (30 %)\n"),
                  "%s", text);
    free(text);
}
END_TEST

START_TEST(the_span_of_a_trend_is_what_is_left) {
    struct wording_facts facts = full_facts();
    facts.condition = CONDITION_SUCTION_FADING;
    facts.value_kind = WORDING_VALUE_DURATION;
    facts.value = 150.0 * 86400e3;
    facts.setpoint = 180.0 * 86400e3;
    char *text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Time left: 150 d; limit 180 d\n"), "%s", text);
    free(text);
    facts.language = WORDING_SPANISH;
    text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Tiempo restante: 150 d; límite 180 d\n"), "%s", text);
    free(text);
}
END_TEST

static void each_once(const char *const *words, size_t count, const char *what) {
    for (size_t i = 0; i < count; i++) {
        ck_assert_msg(words[i] && *words[i], "%s %zu has no words", what, i);
        for (size_t k = 0; k < i; k++)
            ck_assert_msg(strcmp(words[i], words[k]) != 0, "%s %zu and %zu: %s", what, k, i,
                          words[i]);
    }
}

/* Runs before the messages are written: a row that is missing is named here. */
START_TEST(every_row_has_its_words) {
    const struct wording_texts *const languages[] = {&wording_english, &wording_spanish};
    for (size_t l = 0; l < 2; l++) {
        each_once(languages[l]->quantities, QUANTITY_COUNT, "quantity");
        each_once(languages[l]->causes, CAUSE_COUNT, "cause");
        for (int c = 0; c < CONDITION_COUNT; c++) {
            const struct wording_condition_text *text = &languages[l]->conditions[c];
            const char *const all[] = {text->plain_subject, text->plain_what, text->plain_over,
                                       text->subject,       text->what,       text->action,
                                       text->over};
            for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
                ck_assert_msg(all[i] && *all[i], "%s in language %zu has no words",
                              condition_info((enum condition)c)->name, l);
        }
    }
}
END_TEST

START_TEST(a_value_is_shown_as_what_it_is) {
    struct wording_facts facts = full_facts();
    facts.condition = CONDITION_CLOCK_JUMPED;
    facts.value_kind = numbers[_i].kind;
    facts.dimension = numbers[_i].dimension;
    facts.value = numbers[_i].value;
    facts.setpoint = numbers[_i].setpoint;
    facts.baseline = (double)NAN;
    char *text = wording_render(&facts);
    ck_assert_msg(strstr(text, numbers[_i].expected) ||
                      strstr(text, "9.00 pCi/L; limit 8.00 pCi/L"),
                  "%s", text);
    free(text);
}
END_TEST

START_TEST(a_homeowner_sees_the_radon_level_and_no_other_number) {
    struct wording_facts facts = full_facts();
    facts.role = WORDING_HOMEOWNER;
    facts.condition = CONDITION_RADON_HIGH;
    facts.quantity = QUANTITY_RADON;
    facts.dimension = DIMENSION_RADON;
    facts.value = 370.0;
    char *text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Measured: 10"), "%s", text);
    ck_assert_msg(strstr(text, "pCi/L"), "%s", text);
    free(text);
    facts.units = UNIT_SYSTEM_SI;
    text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Measured: 370 Bq/m"), "%s", text);
    free(text);
}
END_TEST

START_TEST(a_homeowner_is_told_whom_to_call_and_what_to_leave_alone) {
    struct wording_facts facts = full_facts();
    facts.role = WORDING_HOMEOWNER;
    facts.condition = CONDITION_FAN_STOPPED;
    char *text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Call Clear Air, 555 0100."), "%s", text);
    ck_assert_msg(strstr(text, "Do not open the fan"), "%s", text);
    ck_assert_msg(strstr(text, "U-tube gauge"), "%s", text);
    ck_assert_msg(strstr(text, "not an emergency"), "%s", text);
    ck_assert_msg(strstr(text, "carbon monoxide (CO) alarm"), "%s", text);
    free(text);
    facts.contractor = NULL;
    text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Call the firm that put in your radon system."), "%s", text);
    free(text);
    facts.condition = CONDITION_BATTERY_LOW;
    text = wording_render(&facts);
    ck_assert_msg(strstr(text, "- The firm that put in"), "capital: %s", text);
    free(text);
}
END_TEST

START_TEST(a_digest_and_a_visit_list_their_lines) {
    struct wording_facts facts = full_facts();
    facts.kind = WORDING_DIGEST;
    facts.system_name = facts.system_id = "";
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
    ck_assert_msg(strstr(text, "Springdale"), "%s", text);
    free(text);
}
END_TEST

START_TEST(a_place_is_named_once) {
    struct wording_facts facts = full_facts();
    facts.point_name = "suction";
    char *text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Where: 12 Birch Lane, Springdale (birch-lane-12); suction\n"), "%s",
                  text);
    free(text);
    facts.system_name = "Miller";
    facts.role = WORDING_HOMEOWNER;
    text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Where: Miller, 12 Birch Lane, Springdale\n"), "%s", text);
    ck_assert_msg(strstr(text, "\nWe will write again when it is over.\n"), "%s", text);
    free(text);
}
END_TEST

START_TEST(a_bundle_counts_what_it_leaves_out) {
    struct wording_facts facts = full_facts();
    facts.kind = WORDING_BUNDLE;
    facts.system_name = facts.system_id = "";
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
    text = wording_status_line(WORDING_SPANISH, WORDING_CONTRACTOR, &status);
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

/* Syllables by groups of vowels, a silent e at the end left out: the usual count by machine. */
static int syllables(const char *word, size_t length) {
    int count = 0;
    bool before = false;
    for (size_t i = 0; i < length; i++) {
        bool vowel = strchr("aeiouy", tolower((unsigned char)word[i])) != NULL;
        count += vowel && !before;
        before = vowel;
    }
    if (length > 2 && tolower((unsigned char)word[length - 1]) == 'e' && count > 1 &&
        !strchr("aeiouyl", tolower((unsigned char)word[length - 2])))
        count--;
    return count > 0 ? count : 1;
}

/* 0.39 words/sentences + 11.8 syllables/words - 15.59: Kincaid, Fishburne, Rogers and Chissom 1975
   (Navy Research Branch Report 8-75). A line's end ends a sentence. */
static double reading_grade(const char *text) {
    int words = 0, sentences = 0, syllable_count = 0;
    bool open = false;
    while (*text) {
        size_t length = 0;
        while (isalpha((unsigned char)text[length]) || (length > 0 && text[length] == '\''))
            length++;
        if (length > 0) {
            words++;
            syllable_count += syllables(text, length);
            open = true;
            text += length;
            continue;
        }
        if (open && strchr(".!?\n", *text)) {
            sentences++;
            open = false;
        }
        text++;
    }
    return 0.39 * words / sentences + 11.8 * syllable_count / words - 15.59;
}

START_TEST(the_grade_is_counted_as_published) { /* the formula on words counted by hand */
    ck_assert_double_eq_tol(reading_grade("The cat sat on the mat."),
                            0.39 * 6 + 11.8 * 6 / 6 - 15.59, 1e-9);
    ck_assert_double_eq_tol(reading_grade("Look at the table. Do it now, please!\n"),
                            0.39 * 8 / 2 + 11.8 * 9 / 8 - 15.59, 1e-9);
    /* 6, 4, 4, 5, 6, 1 and 5 syllables; the count by machine may be off by two (ia, io) */
    ck_assert_double_eq_tol(reading_grade("Depressurization infrastructure necessitates periodical "
                                          "reconfiguration of instrumentation."),
                            0.39 * 7 + 11.8 * 31 / 7 - 15.59, 11.8 * 2 / 7);
}
END_TEST

START_TEST(a_homeowner_of_twelve_can_read_it) {
    struct wording_facts facts = full_facts();
    facts.role = WORDING_HOMEOWNER;
    facts.condition = (enum condition)_i;
    for (int kind = 0; kind < WORDING_KIND_COUNT; kind++) {
        facts.kind = (enum wording_kind)kind;
        facts.returned_ms = is_over(facts.kind) ? facts.since_ms + 7200000 : TIMESTAMP_NONE;
        char *text = wording_render(&facts);
        ck_assert_msg(reading_grade(text) <= 7.0, "grade %.1f: %s", reading_grade(text), text);
        free(text);
    }
}
END_TEST

START_TEST(languages_are_found_by_their_code) {
    enum wording_language language = WORDING_SPANISH;
    ck_assert(wording_language_find("en", &language) && language == WORDING_ENGLISH);
    ck_assert(wording_language_find("es-MX", &language) && language == WORDING_SPANISH);
    ck_assert(!wording_language_find("esperanto", &language) && language == WORDING_ENGLISH);
    ck_assert(!wording_language_find(NULL, &language));
}
END_TEST

int main(void) {
    TCase *wording = tcase_create("wording");
    tcase_add_checked_fixture(wording, set_up, tear_down);
    tcase_add_test(wording, every_row_has_its_words);
    tcase_add_test(wording, a_pressure_field_is_shown_in_pascals);
    tcase_add_test(wording, the_span_of_a_trend_is_what_is_left);
    tcase_add_loop_test(wording, every_message_is_whole_with_all_facts, 0, CONDITION_COUNT);
    tcase_add_loop_test(wording, every_message_is_whole_with_no_facts, 0, CONDITION_COUNT);
    tcase_add_loop_test(wording, a_long_or_wild_name_keeps_the_first_line_short_and_single, 0,
                        CONDITION_COUNT);
    tcase_add_test(wording, numbers_of_the_alarm_are_in_the_trade_messages);
    tcase_add_test(wording, a_suspected_unit_is_named_with_what_was_read_before);
    tcase_add_test(wording, the_daemons_own_alarms_say_what_they_are_about);
    tcase_add_test(wording, times_are_local);
    tcase_add_loop_test(wording, a_value_is_shown_as_what_it_is, 0,
                        sizeof numbers / sizeof numbers[0]);
    tcase_add_test(wording, a_homeowner_sees_the_radon_level_and_no_other_number);
    tcase_add_test(wording, a_homeowner_is_told_whom_to_call_and_what_to_leave_alone);
    tcase_add_test(wording, a_digest_and_a_visit_list_their_lines);
    tcase_add_test(wording, a_place_is_named_once);
    tcase_add_test(wording, a_bundle_counts_what_it_leaves_out);
    tcase_add_test(wording, an_alarm_is_one_line);
    tcase_add_test(wording, a_status_is_one_line);
    tcase_add_test(wording, a_chattering_alarm_says_so_with_its_count);
    tcase_add_test(wording, what_is_shelved_says_until_when_by_whom_and_why);
    tcase_add_test(wording, the_grade_is_counted_as_published);
    tcase_add_loop_test(wording, a_homeowner_of_twelve_can_read_it, 0, CONDITION_COUNT);
    tcase_add_test(wording, languages_are_found_by_their_code);
    return run_test_case(wording);
}
