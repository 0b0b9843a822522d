/* What to do fits the cause that is claimed, not only the condition that was met. */
#include "wording_bench.h"

#include "diagnosis/diagnosis_cause.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *raised(enum condition condition, const char *cause, enum wording_role role,
                    size_t language) {
    struct wording_facts facts = full_facts();
    facts.condition = condition;
    facts.role = role;
    facts.language = language;
    facts.explained = explanation_none();
    facts.explained.cause = cause;
    facts.explained.confidence = 0.97;
    char *text = wording_render(&facts);
    ck_assert_ptr_nonnull(text);
    return text;
}

/* Its line "Do: …". */
static void line_of_action(char line[400], const char *text, size_t language) {
    const char *label = language == WORDING_ENGLISH ? "\nDo: " : "\nQué hacer: ";
    const char *at = strstr(text, label);
    ck_assert_msg(at != NULL, "%s", text);
    snprintf(line, 400, "%.*s", (int)strcspn(at + 1, "\n"), at + 1);
}

/* Whom each sentence sends where; common practice of the trade, no source. */
static const struct {
    enum condition condition;
    const char *cause, *says, *says_in_spanish, *never, *never_in_spanish;
} rows[] = {
    {CONDITION_SUCTION_LOW, "leak", "sump lid", "tapa del sumidero", "weak fan",
     "ventilador débil"},
    {CONDITION_SUCTION_LOW, "fan-worn", "replace the fan", "cambiar el ventilador", "leak", "fuga"},
    {CONDITION_SUCTION_LOW, "gauge-tube", "second instrument", "segundo instrumento", "leak",
     "fuga"},
    {CONDITION_SUCTION_LOW, "water-high", "Circuit off before", "Corte el circuito antes", "leak",
     "fuga"},
    {CONDITION_SUCTION_LOW, "leak or fan-worn", "each of these", "cada una de estas", "seal",
     "séll"},
    {CONDITION_SUCTION_LOW, "undecided", "tell a leak from", "distinguen una fuga", "seal", "séll"},
    {CONDITION_SUCTION_LOW, "unknown", "tell a leak from", "distinguen una fuga", "seal", "séll"},
    {CONDITION_SUCTION_LOW, NULL, "tell a leak from", "distinguen una fuga", "seal", "séll"},
    {CONDITION_SUCTION_LOST, "leak", "sump lid", "tapa del sumidero", "has power", "corriente"},
    {CONDITION_SUCTION_FADING, "leak", "sump lid", "tapa del sumidero", "fan power", "potencia"},
    {CONDITION_SUCTION_HIGH, "gauge-tube", "second instrument", "segundo instrumento", "pit",
     "pozo"},
    {CONDITION_SUCTION_HIGH, "unit-mix-up", "the unit", "la unidad", "pit", "pozo"},
    {CONDITION_FIELD_WEAK, "leak", "sump lid", "tapa del sumidero", "near the hole", "agujero"},
    {CONDITION_FIELD_REVERSED, "field-lost", "zero", "cero", "sump lid", "sumidero"},
    {CONDITION_FAN_STOPPED, "sensor-fault", "hand measurement", "medida a mano", "breaker",
     "disyuntor"},
    {CONDITION_FAN_WEAK, "blocked-discharge", "end of the pipe", "la salida del tubo",
     "replace the fan", "cambiar el ventilador"},
    {CONDITION_FAN_FADING, "blocked-discharge", "end of the pipe", "la salida del tubo",
     "bring a fan", "lleve un ventilador"},
    {CONDITION_GROUND_CHANGED, "blocked-before-fan", "low spot", "punto bajo", "loose joints",
     "juntas sueltas"},
    {CONDITION_RADON_HIGH, "fan-off", "breaker", "disyuntor", "openings", "aberturas"},
    {CONDITION_RADON_ABOVE_ACTION, "radon-entry", "second monitor", "segundo monitor",
     "does not do its job", "no cumpla"},
    {CONDITION_WATER_HIGH, "blocked-before-fan", "Circuit off before", "Corte el circuito antes",
     "crushed", "aplastado"},
};
enum { ROWS = sizeof rows / sizeof rows[0] };

START_TEST(what_the_trade_does_follows_the_cause) {
    const size_t read[] = {WORDING_ENGLISH, spanish()};
    for (size_t l = 0; l < 2; l++)
        for (int role = WORDING_CONTRACTOR; role < WORDING_ROLE_COUNT; role++) {
            char line[400];
            if (role == WORDING_HOMEOWNER)
                continue;
            char *text =
                raised(rows[_i].condition, rows[_i].cause, (enum wording_role)role, read[l]);
            line_of_action(line, text, read[l]);
            SAYS(line, l == 0 ? rows[_i].says : rows[_i].says_in_spanish);
            SAYS_NOT(line, l == 0 ? rows[_i].never : rows[_i].never_in_spanish);
            free(text);
        }
}
END_TEST

/* Of a fan that runs nobody looks for the switch; of water nobody is sent to the gauge beside it.
 */
static const struct {
    enum condition condition;
    const char *cause;
    bool to_switch, fan_runs, from_stairs, sensor;
} homes[] = {
    {CONDITION_SUCTION_LOST, NULL, true, false, false, false},
    {CONDITION_SUCTION_LOST, "undecided", true, false, false, false},
    {CONDITION_SUCTION_LOST, "fan-off", true, false, false, false},
    {CONDITION_SUCTION_LOST, "leak", false, true, false, false},
    {CONDITION_SUCTION_LOST, "leak or fan-off", true, false, false, false},
    {CONDITION_SUCTION_LOST, "gauge-tube", false, true, false, true},
    {CONDITION_SUCTION_LOST, "water-high", false, false, true, false},
    {CONDITION_SUCTION_LOW, "leak", false, true, false, false},
    {CONDITION_SUCTION_LOW, "fan-off", true, false, false, false},
    {CONDITION_SUCTION_LOW, "gauge-tube or sensor-fault", false, true, false, true},
    {CONDITION_SUCTION_LOW, "leak or gauge-tube", false, true, false, false},
    {CONDITION_SUCTION_LOW, "blocked-discharge", false, false, false, false},
    {CONDITION_FAN_STOPPED, "sensor-fault", true, false, false, true},
    {CONDITION_RADON_HIGH, "sensor-fault", false, false, false, false},
    {CONDITION_WATER_HIGH, "leak", false, false, true, false},
};
enum { HOMES = sizeof homes / sizeof homes[0] };

START_TEST(what_a_homeowner_does_follows_the_cause) {
    static const char *const to_switch[] = {"switch of the fan", "interruptor del ventilador"};
    static const char *const runs[] = {"the fan still runs", "el ventilador siga en marcha"};
    static const char *const stairs[] = {"from the stairs", "desde la escalera"};
    static const char *const sensor[] = {"Most likely the sensor is wrong", "que falle el sensor"};
    const size_t read[] = {WORDING_ENGLISH, spanish()};
    for (size_t l = 0; l < 2; l++) {
        char *text = raised(homes[_i].condition, homes[_i].cause, WORDING_HOMEOWNER, read[l]);
        ck_assert_msg((strstr(text, to_switch[l]) != NULL) == homes[_i].to_switch, "%s", text);
        ck_assert_msg((strstr(text, runs[l]) != NULL) == homes[_i].fan_runs, "%s", text);
        ck_assert_msg((strstr(text, stairs[l]) != NULL) == homes[_i].from_stairs, "%s", text);
        ck_assert_msg((strstr(text, sensor[l]) != NULL) == homes[_i].sensor, "%s", text);
        free(text);
    }
}
END_TEST

/* Grade 6 in English, its equivalent in Spanish, whatever is claimed. */
START_TEST(no_cause_makes_a_message_to_a_homeowner_hard) { /* _i: condition */
    for (int cause = CAUSE_NONE; cause < CAUSE_COUNT; cause++) {
        const char *word = diagnosis_cause_word((enum diagnosis_cause)cause);
        char *text = raised((enum condition)_i, word, WORDING_HOMEOWNER, WORDING_ENGLISH);
        ck_assert_msg(reading_grade_english(text) <= 6.0, "%s", text);
        free(text);
        text = raised((enum condition)_i, word, WORDING_HOMEOWNER, spanish());
        ck_assert_msg(reading_ease_spanish(text) >= 70.0, "%s", text);
        free(text);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("messages by cause");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_loop_test(tcase, what_the_trade_does_follows_the_cause, 0, ROWS);
    tcase_add_loop_test(tcase, what_a_homeowner_does_follows_the_cause, 0, HOMES);
    tcase_add_loop_test(tcase, no_cause_makes_a_message_to_a_homeowner_hard, 0, CONDITION_COUNT);
    return run_test_case(tcase);
}
