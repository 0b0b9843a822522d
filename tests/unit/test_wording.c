/* Messages: whole with all facts and with none, plain, and what each kind of alarm says. */
#include "wording_bench.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

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
    ck_assert_msg(!strstr(text, facts->place.system_id) || !*facts->place.system_id, "id in: %s",
                  text);
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
            for (size_t language = 0; language < wording_language_count; language++)
                for (int units = 0; units < 2; units++) {
                    facts.role = (enum wording_role)role;
                    facts.kind = (enum wording_kind)kind;
                    facts.language = language;
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
                                  .place.system_id = "",
                                  .quantity = QUANTITY_COUNT,
                                  .value = (double)NAN,
                                  .setpoint = (double)NAN,
                                  .baseline = (double)NAN,
                                  .explained.confidence = (double)NAN,
                                  .since_ms = INT64_C(1773303300000),
                                  .raised_ms = INT64_C(1773303300000),
                                  .returned_ms = TIMESTAMP_NONE};
    check_all(facts);
}
END_TEST

START_TEST(a_long_or_wild_name_keeps_the_first_line_short_and_single) {
    struct wording_facts facts = full_facts();
    facts.condition = (enum condition)_i;
    facts.place.system_name =
        "A very long name\r\nwith a\tbreak, ñandú ñandú ñandú ñandú ñandú ñandú "
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
    facts.mixup.sent_unit = "hPa";
    facts.mixup.declared_unit = "Pa";
    static const char *const lines_of[] = {
        "Unit: it seems to send hPa where Pa is set; before, it read 270 Pa\n",
        "Unidad: parece que envía hPa donde está fijado Pa; antes marcaba 270 Pa\n"};
    for (size_t language = 0; language < wording_language_count; language++)
        for (int role = 0; role < WORDING_ROLE_COUNT; role++) {
            facts.language = language;
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
    for (size_t language = 0; language < wording_language_count; language++) {
        facts.language = language;
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
    facts.language = spanish();
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

/* Of what the reader is told to look at: ice, from the ground; nobody is sent up a ladder. Only
   where ice can be the fault: it closes the end of the pipe of a fan that runs. */
static const struct {
    enum condition condition;
    const char *cause;
    bool frost, looks;
} looks_for_ice[] = {
    {CONDITION_SUCTION_LOW, NULL, true, true},
    {CONDITION_SUCTION_LOW, NULL, false, false},
    {CONDITION_SUCTION_LOW, "undecided", true, true},
    {CONDITION_SUCTION_LOW, "unknown", true, true},
    {CONDITION_SUCTION_LOW, "blocked-discharge", true, true},
    {CONDITION_SUCTION_LOW, "blocked-discharge", false, false},
    {CONDITION_SUCTION_LOW, "fan-worn or blocked-discharge", true, true},
    {CONDITION_SUCTION_LOW, "leak", true, false},
    {CONDITION_SUCTION_LOST, "fan-off", true, false},
    {CONDITION_SUCTION_LOST, NULL, true, true},
    {CONDITION_FAN_STOPPED, NULL, true, false},
    {CONDITION_SUCTION_HIGH, NULL, true, false},
    {CONDITION_SUCTION_FADING, NULL, true, false},
    {CONDITION_FAN_WEAK, NULL, true, false},
    {CONDITION_FAN_WEAK, "blocked-discharge", true, true},
    {CONDITION_POWER_HIGH, NULL, true, false},
    {CONDITION_FIELD_WEAK, NULL, true, false},
    {CONDITION_GROUND_CHANGED, NULL, true, false},
    {CONDITION_WATER_HIGH, "blocked-discharge", true, false},
    {CONDITION_RADON_HIGH, NULL, true, false},
};

START_TEST(ice_is_looked_for_where_it_can_be_the_fault) {
    struct wording_facts facts = full_facts();
    facts.role = WORDING_HOMEOWNER;
    facts.kind = WORDING_RAISED;
    facts.condition = looks_for_ice[_i].condition;
    facts.explained.cause = looks_for_ice[_i].cause;
    facts.explained.frost = looks_for_ice[_i].frost;
    for (int language = 0; language < 2; language++) {
        facts.language = language == 0 ? WORDING_ENGLISH : spanish();
        char *text = wording_render(&facts);
        const char *look =
            language == 0 ? "From the ground, look for ice" : "Desde el suelo, vea si hay hielo";
        const char *leave = language == 0 ? "Do not climb on the roof" : "No suba al techo";
        ck_assert_msg((strstr(text, look) != NULL) == looks_for_ice[_i].looks, "%s", text);
        ck_assert_msg(!looks_for_ice[_i].looks || strstr(text, leave), "%s", text);
        ck_assert_msg(looks_for_ice[_i].looks || !strstr(text, language == 0 ? " ice" : "hielo"),
                      "%s", text);
        free(text);
    }
}
END_TEST

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
    facts.language = spanish();
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
    for (size_t l = 0; l < wording_language_count; l++) {
        const struct wording_texts *texts = wording_languages[l].texts;
        each_once(texts->quantities, QUANTITY_COUNT, "quantity");
        each_once(texts->causes, CAUSE_COUNT, "cause");
        for (int c = 0; c < CONDITION_COUNT; c++) {
            const struct wording_condition_text *text = &texts->conditions[c];
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

/* 1.2 pCi/L is 44.4 Bq/m3 (NIST SP 811 (2008) B.8). */
START_TEST(a_verdict_on_radon_says_what_it_is_from) {
    static const char *const expected[][2] = {
        {"Since the repair: 1.2 pCi/L over 21 days\n", "Measured: 1.2 pCi/L over 21 days\n"},
        {"Desde la reparación: 1.2 pCi/L en 21 días\n", "Medido: 1.2 pCi/L en 21 días\n"}};
    for (int i = 0; i < 8; i++) {
        struct wording_facts facts = full_facts();
        facts.kind = WORDING_RETURNED;
        facts.role = i & 1 ? WORDING_HOMEOWNER : WORDING_CONTRACTOR;
        facts.language = i & 2 ? spanish() : WORDING_ENGLISH;
        facts.explained.since_repair = !(i & 4);
        facts.units = UNIT_SYSTEM_US;
        facts.condition = CONDITION_RADON_ABOVE_ACTION;
        facts.explained.mean_bq_m3 = 44.4;
        facts.explained.mean_days = 21;
        char *text = wording_render(&facts);
        ck_assert_msg(strstr(text, expected[(i & 2) / 2][(i & 4) / 4]), "%s", text);
        free(text);
    }
}
END_TEST

START_TEST(a_homeowner_is_told_whom_to_call_and_what_to_leave_alone) {
    struct wording_facts facts = full_facts();
    facts.role = WORDING_HOMEOWNER;
    facts.condition = CONDITION_FAN_STOPPED;
    char *text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Call Quillmere Radon, 555 0100.\n"), "%s", text);
    ck_assert_msg(strstr(text, "Do not open the fan"), "%s", text);
    ck_assert_msg(strstr(text, "U-tube gauge"), "%s", text);
    ck_assert_msg(strstr(text, "not an emergency"), "%s", text);
    ck_assert_msg(strstr(text, "carbon monoxide (CO) alarm"), "%s", text);
    free(text);
    facts.contractor.name = facts.contractor.telephone = NULL;
    text = wording_render(&facts);
    ck_assert_msg(strstr(text, "Call the firm that put in your radon system."), "%s", text);
    free(text);
    facts.condition = CONDITION_BATTERY_LOW;
    text = wording_render(&facts);
    ck_assert_msg(strstr(text, "- The firm that put in"), "capital: %s", text);
    free(text);
}
END_TEST

int main(void) {
    TCase *wording = tcase_create("wording");
    tcase_add_checked_fixture(wording, set_up, tear_down);
    tcase_add_test(wording, every_row_has_its_words);
    tcase_add_loop_test(wording, ice_is_looked_for_where_it_can_be_the_fault, 0,
                        sizeof looks_for_ice / sizeof looks_for_ice[0]);
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
    tcase_add_test(wording, a_verdict_on_radon_says_what_it_is_from);
    tcase_add_test(wording, a_homeowner_is_told_whom_to_call_and_what_to_leave_alone);
    return run_test_case(wording);
}
