#include "measure/decimal.h"
#include "measure/unit.h"
#include "test_support.h"

#include <float.h>
#include <locale.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *text;
    enum unit_status status;
    double value;
    size_t used;
} numbers[] = {
    {"274.31", UNIT_OK, 274.31, 6},
    {"-0.62 inH2O", UNIT_OK, -0.62, 5},
    {"+5", UNIT_OK, 5.0, 2},
    {".5", UNIT_OK, 0.5, 2},
    {"5.", UNIT_OK, 5.0, 2},
    {"5.W", UNIT_OK, 5.0, 2},
    {"1.5.2", UNIT_OK, 1.5, 3},
    {"-.5e1", UNIT_OK, -5.0, 5},
    {"1e3", UNIT_OK, 1000.0, 3},
    {"1E+3", UNIT_OK, 1000.0, 4},
    {"1e", UNIT_OK, 1.0, 1},
    {"1e+", UNIT_OK, 1.0, 1},
    {"1e-", UNIT_OK, 1.0, 1},
    {"0x1F", UNIT_OK, 0.0, 1},
    {"1,5", UNIT_OK, 1.0, 1},
    {"1e-999", UNIT_OK, 0.0, 6},
    {"0e999999999999999999999", UNIT_OK, 0.0, 23},
    {"1e999", UNIT_NOT_FINITE, 0.0, 5},
    {"-1e999", UNIT_NOT_FINITE, 0.0, 6},
    {"1e99999999999999999999", UNIT_NOT_FINITE, 0.0, 22},
    {"1e-99999999999999999999", UNIT_OK, 0.0, 23},
    {"1.7976931348623157e308", UNIT_OK, DBL_MAX, 22},
    {"1.7976931348623158e308", UNIT_OK, DBL_MAX, 22},
    {"1.7976931348623159e308", UNIT_NOT_FINITE, 0.0, 22},
    {"4.9406564584124654e-324", UNIT_OK, 0x1p-1074, 23},
    {"2.4703282292062327e-324", UNIT_OK, 0.0, 23},
    {"2.4703282292062328e-324", UNIT_OK, 0x1p-1074, 23},
    {"2.2250738585072014e-308", UNIT_OK, DBL_MIN, 23},
    {"2.2250738585072011e-308", UNIT_OK, 0x0.fffffffffffffp-1022, 23},
    {"9007199254740993", UNIT_OK, 9007199254740992.0, 16}, /* a tie goes to even */
    {"9007199254740993.0000000000000000000000000001", UNIT_OK, 9007199254740994.0, 45},
    {"nan", UNIT_NOT_A_NUMBER, 0.0, 0},
    {"inf", UNIT_NOT_A_NUMBER, 0.0, 0},
    {"-inf", UNIT_NOT_A_NUMBER, 0.0, 0},
    {"Infinity", UNIT_NOT_A_NUMBER, 0.0, 0},
    {"", UNIT_NOT_A_NUMBER, 0.0, 0},
    {".", UNIT_NOT_A_NUMBER, 0.0, 0},
    {"-", UNIT_NOT_A_NUMBER, 0.0, 0},
    {"+.", UNIT_NOT_A_NUMBER, 0.0, 0},
    {"--5", UNIT_NOT_A_NUMBER, 0.0, 0},
    {"e5", UNIT_NOT_A_NUMBER, 0.0, 0},
    {" 5", UNIT_NOT_A_NUMBER, 0.0, 0},
};

START_TEST(each_form_of_a_number_has_a_defined_result) {
    const char *text = numbers[_i].text, *end = NULL;
    double value = -77.0;
    ck_assert_int_eq(unit_parse_number(text, strlen(text), &value, &end), numbers[_i].status);
    ck_assert_double_eq(value, numbers[_i].status == UNIT_OK ? numbers[_i].value : -77.0);
    if (numbers[_i].status == UNIT_NOT_A_NUMBER)
        ck_assert_ptr_null(end);
    else
        ck_assert_uint_eq((size_t)(end - text), numbers[_i].used);
}
END_TEST

START_TEST(a_negative_zero_becomes_zero) {
    double value = -1.0;
    ck_assert_int_eq(unit_parse_number("-0", 2, &value, NULL), UNIT_OK);
    ck_assert(!signbit(value));
    ck_assert_int_eq(unit_parse_number("-1e-400", 7, &value, NULL), UNIT_OK);
    ck_assert(value == 0.0 && !signbit(value));
}
END_TEST

START_TEST(the_length_bounds_what_is_read) {
    double value = 0.0;
    const char *text = "12345", *end = NULL;
    ck_assert_int_eq(unit_parse_number(text, 2, &value, &end), UNIT_OK);
    ck_assert_double_eq(value, 12.0);
    ck_assert_ptr_eq(end, text + 2);
    ck_assert_int_eq(unit_parse_number("1e5", 2, &value, &end), UNIT_OK);
    ck_assert_double_eq(value, 1.0);
    ck_assert_int_eq(unit_parse_number(text, 0, &value, &end), UNIT_NOT_A_NUMBER);
}
END_TEST

START_TEST(hundreds_of_digits_round_correctly) {
    static char text[70000];
    double value = 0.0;
    memset(text, '9', 400);
    text[400] = '\0';
    ck_assert_int_eq(unit_parse_number(text, 400, &value, NULL), UNIT_NOT_FINITE);
    strcpy(text + 400, "e-399");
    ck_assert_int_eq(unit_parse_number(text, 405, &value, NULL), UNIT_OK);
    ck_assert_double_eq(value, 10.0);

    /* 0.000…01e60000 with 60000 places is 1 */
    text[0] = '0';
    text[1] = '.';
    memset(text + 2, '0', 59999);
    strcpy(text + 60001, "1e60000");
    ck_assert_int_eq(unit_parse_number(text, strlen(text), &value, NULL), UNIT_OK);
    ck_assert_double_eq(value, 1.0);

    /* A tie, 2^53 + 1, and a 1 in the 60000th place, which alone decides */
    int length = sprintf(text, "9007199254740993.");
    memset(text + length, '0', 60000);
    text[length + 59999] = '1';
    ck_assert_int_eq(unit_parse_number(text, (size_t)length + 59999, &value, NULL), UNIT_OK);
    ck_assert_double_eq(value, 9007199254740992.0);
    ck_assert_int_eq(unit_parse_number(text, (size_t)length + 60000, &value, NULL), UNIT_OK);
    ck_assert_double_eq(value, 9007199254740994.0);
}
END_TEST

/* The C library's strtod rounds correctly (glibc manual, "Parsing of Floats"). */
static void compare_with_strtod(const char *text) {
    double value = 0.0;
    size_t length = strlen(text);
    ck_assert_uint_eq(decimal_read(text, length, &value), length);
    double expected = strtod(text, NULL);
    ck_assert_msg(value == expected, "%s: %a, strtod %a", text, value, expected);
}

START_TEST(random_numbers_agree_with_strtod_to_the_last_bit) {
    struct test_random random = {test_seed()};
    char text[1400];
    for (int i = 0; i < 40000; i++) {
        uint64_t bits = test_random_next(&random);
        double any;
        memcpy(&any, &bits, sizeof(any));
        if (!isfinite(any))
            continue;
        snprintf(text, sizeof(text), "%.*e", (int)(test_random_next(&random) % 30), any);
        compare_with_strtod(text);
        snprintf(text, sizeof(text), "%.17g", (test_random_unit(&random) - 0.5) * 1000.0);
        compare_with_strtod(text);
        snprintf(text, sizeof(text), "%.*f", (int)(test_random_next(&random) % 12),
                 test_random_unit(&random) * 1e6);
        compare_with_strtod(text);
        snprintf(text, sizeof(text), "%llue%d", (unsigned long long)bits,
                 (int)(test_random_next(&random) % 700) - 360);
        compare_with_strtod(text);
        if (i % 50 == 0) { /* half-way between two doubles, all digits; and just above */
            /* halved first: a long double may reach no further than a double */
            long double half = (long double)any / 2 + (long double)nextafter(any, 0.0) / 2;
            int length = snprintf(text, sizeof(text), "%.1100Le", half);
            ck_assert_int_lt(length, (int)sizeof(text));
            compare_with_strtod(text);
        }
    }
}
END_TEST

START_TEST(numbers_beside_powers_of_two_agree_with_strtod) {
    static const long double steps[] = {-1.2L, -0.8L, -0.6L, -0.5L, -0.3L, -0.2L, 0.4L, 0.6L};
    char text[1400];
    for (int power = -1060; power < 1020; power += 3) {
        for (size_t i = 0; i < sizeof(steps) / sizeof(steps[0]); i++) {
            long double near = ldexpl(1.0L + ldexpl(steps[i], -52), power);
            snprintf(text, sizeof(text), "%.60Le", near);
            compare_with_strtod(text);
        }
    }
}
END_TEST

static const struct {
    const char *spelling, *same_as;
} spellings[] = {
    {"Pa", "Pa"},
    {"pa", "Pa"},
    {"hPa", "hPa"},
    {"mbar", "hPa"},
    {"kpa", "kPa"},
    {"KPA", "kPa"},
    {"inWC", "inH2O"},
    {"in. w.c.", "inH2O"},
    {"in w.c.", "inH2O"},
    {"in wc", "inH2O"},
    {"in. wg", "inH2O"},
    {"iwc", "inH2O"},
    {"IWC", "inH2O"},
    {"in. H2O", "inH2O"},
    {"in H\xE2\x82\x82O", "inH2O"},
    {"\" w.c.", "inH2O"},
    {"\"WC", "inH2O"},
    {"inches of water", "inH2O"},
    {"INH2O", "inH2O"},
    {"inh2o", "inH2O"},
    {"  inH2O ", "inH2O"},
    {"mm w.c.", "mmH2O"},
    {"mmH2O", "mmH2O"},
    {"cm H2O", "cmH2O"},
    {"mmHg", "mmHg"},
    {"in Hg", "inHg"},
    {"p.s.i.", "psi"},
    {"bar", "bar"},
    {"pCi/L", "pCi/L"},
    {"pci/l", "pCi/L"},
    {"pCi/l", "pCi/L"},
    {"Bq/m3", "Bq/m3"},
    {"Bq/m\xC2\xB3", "Bq/m3"},
    {"Bq/m^3", "Bq/m3"},
    {"bq/m3", "Bq/m3"},
    {"kBq/m\xC2\xB3", "kBq/m3"},
    {"CFM", "cfm"},
    {"c.f.m.", "cfm"},
    {"ft3/min", "cfm"},
    {"ft\xC2\xB3/min", "cfm"},
    {"m\xC2\xB3/h", "m3/h"},
    {"m3/h", "m3/h"},
    {"l/s", "L/s"},
    {"L/min", "L/min"},
    {"w", "W"},
    {"watts", "W"},
    {"kw", "kW"},
    {"amps", "A"},
    {"\xC2\xB0"
     "C",
     "degC"},
    {"deg C", "degC"},
    {"Cel", "degC"},
    {"C", "degC"},
    {"\xE2\x84\x83", "degC"},
    {"\xC2\xB0 F", "degF"},
    {"DegF", "degF"},
    {"F", "degF"},
    {"kelvin", "K"},
    {"%RH", "%"},
    {"% rh", "%"},
    {"%EL", "%"},
    {"/100", "%"},
    {"\"", "in"},
    {"inches", "in"},
    {"in.", "in"},
    {"FT", "ft"},
    {"\xC2\xA0Pa", "Pa"},
};

START_TEST(spellings_of_people_and_devices_are_understood) {
    const char *spelling = spellings[_i].spelling, *same_as = spellings[_i].same_as;
    const struct unit *unit = unit_find(spelling, strlen(spelling));
    const struct unit *same = unit_find(same_as, strlen(same_as));
    ck_assert_msg(unit != NULL, "%s is not known", spelling);
    ck_assert_str_eq(same->spelling, same_as);
    ck_assert_int_eq(unit->dimension, same->dimension);
    ck_assert_double_eq(unit->scale, same->scale);
    ck_assert_double_eq(unit->offset, same->offset);
}
END_TEST

START_TEST(case_is_kept_where_si_needs_it) {
    static const char *const unknown[] = {"pA", "mPa", "MPa", "Mbar", "MBAR", "mw",  "MV", "MA",
                                          "M",  "MM",  "k",   "c",    "f",    "Mw",  "mv", "ma",
                                          "",   " ",   ".",   "x",    "Pa2",  "in/", "deg"};
    for (size_t i = 0; i < sizeof(unknown) / sizeof(unknown[0]); i++) {
        const struct unit *unit = unit_find(unknown[i], strlen(unknown[i]));
        ck_assert_msg(unit == NULL, "%s is taken for %s", unknown[i], unit ? unit->spelling : "");
    }
    ck_assert_double_eq(unit_find("mW", 2)->scale, 1e-3);
    ck_assert_double_eq(unit_find("MW", 2)->scale, 1e6);
    ck_assert_ptr_null(unit_find("Pa of air and of very many other things", 39));
}
END_TEST

static const struct {
    const char *text;
    enum dimension dimension;
    enum unit_status status;
    double si;
} values[] = {
    {"0.6 inH2O", DIMENSION_PRESSURE, UNIT_OK, 149.453346},
    {"  0.6 in. w.c. ", DIMENSION_PRESSURE, UNIT_OK, 149.453346},
    {"4pCi/L", DIMENSION_RADON, UNIT_OK, 148.0},
    {"3.042 in", DIMENSION_LENGTH, UNIT_OK, 0.0772668},
    {"70 %", DIMENSION_RATIO, UNIT_OK, 70.0},
    {"0.7 /", DIMENSION_RATIO, UNIT_OK, 70.0},
    {"-40 degF", DIMENSION_TEMPERATURE, UNIT_OK, -40.0},
    {"5.W", DIMENSION_POWER, UNIT_OK, 5.0},
    {"4", DIMENSION_RADON, UNIT_UNKNOWN, 0.0},
    {"4 ", DIMENSION_RADON, UNIT_UNKNOWN, 0.0},
    {"4 pCi", DIMENSION_RADON, UNIT_UNKNOWN, 0.0},
    {"4 pCi/L or so", DIMENSION_RADON, UNIT_UNKNOWN, 0.0},
    {"1,5 Pa", DIMENSION_PRESSURE, UNIT_UNKNOWN, 0.0},
    {"4 Pa", DIMENSION_RADON, UNIT_WRONG_DIMENSION, 0.0},
    {"Pa", DIMENSION_PRESSURE, UNIT_NOT_A_NUMBER, 0.0},
    {"", DIMENSION_PRESSURE, UNIT_NOT_A_NUMBER, 0.0},
    {"nan Pa", DIMENSION_PRESSURE, UNIT_NOT_A_NUMBER, 0.0},
    {"1e308 kPa", DIMENSION_PRESSURE, UNIT_NOT_FINITE, 0.0},
    {"1e999 Pa", DIMENSION_PRESSURE, UNIT_NOT_FINITE, 0.0},
};

START_TEST(values_with_units_are_read) {
    double si = -77.0;
    ck_assert_int_eq(unit_parse(values[_i].text, values[_i].dimension, &si), values[_i].status);
    if (values[_i].status == UNIT_OK)
        ck_assert_double_eq_tol(si, values[_i].si, 1e-12 * fabs(values[_i].si));
    else
        ck_assert_double_eq(si, -77.0);
}
END_TEST

static const struct {
    double si;
    enum dimension dimension;
    enum unit_system system;
    const char *text;
} shown[] = {
    {154.0, DIMENSION_PRESSURE, UNIT_SYSTEM_US, "0.618 inH2O"},
    {154.0, DIMENSION_PRESSURE, UNIT_SYSTEM_SI, "154 Pa"},
    {6.0, DIMENSION_PRESSURE, UNIT_SYSTEM_US, "0.024 inH2O"},
    {249.08891, DIMENSION_PRESSURE, UNIT_SYSTEM_US, "1 inH2O"},
    {0.62 * 249.08891, DIMENSION_PRESSURE, UNIT_SYSTEM_US, "0.62 inH2O"},
    {-0.0001, DIMENSION_PRESSURE, UNIT_SYSTEM_SI, "0 Pa"},
    {-1.5, DIMENSION_PRESSURE, UNIT_SYSTEM_SI, "-1.5 Pa"},
    {101325.0, DIMENSION_PRESSURE, UNIT_SYSTEM_SI, "101 kPa"},
    {101325.0, DIMENSION_PRESSURE, UNIT_SYSTEM_US, "29.9 inHg"},
    {48.1, DIMENSION_RADON, UNIT_SYSTEM_US, "1.3 pCi/L"},
    {148.0, DIMENSION_RADON, UNIT_SYSTEM_US, "4 pCi/L"},
    {148.0, DIMENSION_RADON, UNIT_SYSTEM_SI, "148 Bq/m3"},
    {1234.5, DIMENSION_RADON, UNIT_SYSTEM_SI, "1230 Bq/m3"},
    {999.4, DIMENSION_RADON, UNIT_SYSTEM_SI, "999 Bq/m3"},
    {999.6, DIMENSION_RADON, UNIT_SYSTEM_SI, "1000 Bq/m3"},
    {99.96, DIMENSION_RADON, UNIT_SYSTEM_SI, "100 Bq/m3"},
    {9.996, DIMENSION_RADON, UNIT_SYSTEM_SI, "10 Bq/m3"},
    {0.01935, DIMENSION_FLOW, UNIT_SYSTEM_US, "41 cfm"},
    {0.01936, DIMENSION_FLOW, UNIT_SYSTEM_SI, "19.4 L/s"},
    {20.0, DIMENSION_TEMPERATURE, UNIT_SYSTEM_US, "68 degF"},
    {45.25, DIMENSION_RATIO, UNIT_SYSTEM_US, "45.2 %"},
    {NAN, DIMENSION_RADON, UNIT_SYSTEM_US, "unknown"},
    {INFINITY, DIMENSION_RADON, UNIT_SYSTEM_US, "unknown"},
};

START_TEST(values_are_written_as_a_person_writes_them) {
    char text[64];
    ck_assert_str_eq(
        unit_format(text, sizeof(text), shown[_i].si, shown[_i].dimension, shown[_i].system),
        shown[_i].text);
}
END_TEST

START_TEST(writing_stays_within_its_room) {
    char text[12];
    for (size_t size = 1; size <= 8; size++) {
        memset(text, '#', sizeof(text));
        unit_format(text, size, 154.2, DIMENSION_PRESSURE, UNIT_SYSTEM_SI);
        ck_assert_uint_lt(strlen(text), size);
        ck_assert_int_eq(text[size], '#');
    }
    unit_format(text, sizeof(text), DBL_MAX, DIMENSION_RADON, UNIT_SYSTEM_SI);
    ck_assert_ptr_eq(strstr(text, "inf"), NULL); /* rounded to three digits it would be */
    unit_format(text, sizeof(text), 1e300, DIMENSION_RADON, UNIT_SYSTEM_SI);
    ck_assert_uint_eq(strlen(text), sizeof(text) - 1);
}
END_TEST

START_TEST(what_is_shown_can_be_read_again) {
    struct test_random random = {test_seed()};
    char text[64];
    for (int i = 0; i < 20000; i++) {
        enum dimension dimension = (enum dimension)(i % DIMENSION_COUNT);
        enum unit_system system = i % 2 ? UNIT_SYSTEM_SI : UNIT_SYSTEM_US;
        double si = exp(test_random_unit(&random) * 16.0 - 4.0), again = 0.0;
        unit_format(text, sizeof(text), si, dimension, system);
        ck_assert_int_eq(unit_parse(text, dimension, &again), UNIT_OK);
        const struct unit *unit = unit_shown(dimension, system);
        double step = unit_difference_to_si(unit, 0.0005001);
        double least = fabs(unit->offset) + fabs(si); /* a temperature is rounded in degF */
        ck_assert_msg(fabs(again - si) <= step + 0.00501 * least, "%g is shown as %s", si, text);
    }
}
END_TEST

START_TEST(conversions_and_their_inverses_agree) {
    static const char *const units[] = {"degF", "K", "inH2O", "pCi/L", "cfm",
                                        "mW",   "/", "mV",    "ft"};
    for (size_t i = 0; i < sizeof(units) / sizeof(units[0]); i++) {
        const struct unit *unit = unit_find(units[i], strlen(units[i]));
        for (double value = -300.0; value < 300.0; value += 17.3)
            ck_assert_double_eq_tol(unit_from_si(unit, unit_to_si(unit, value)), value, 1e-9);
        ck_assert_double_eq_tol(unit_difference_to_si(unit, 2.5),
                                unit_to_si(unit, 12.5) - unit_to_si(unit, 10.0), 1e-9);
    }
}
END_TEST

/** Makes and sets a locale with a decimal comma; false when the machine has no means for it. */
static bool set_decimal_comma(void) {
    char folder[] = "/tmp/subslab-locale-XXXXXX", command[256];
    if (setlocale(LC_ALL, "de_DE.UTF-8"))
        return true;
    ck_assert_ptr_nonnull(mkdtemp(folder));
    snprintf(command, sizeof(command), "localedef -i de_DE -f UTF-8 %s/de_DE.UTF-8 2>/dev/null",
             folder);
    bool made = system(command) == 0 && setenv("LOCPATH", folder, 1) == 0 &&
                setlocale(LC_ALL, "de_DE.UTF-8") != NULL;
    snprintf(command, sizeof(command), "rm -r %s", folder);
    ck_assert_int_eq(system(command), 0);
    return made;
}

START_TEST(a_locale_with_a_decimal_comma_changes_nothing) {
    char text[64];
    if (set_decimal_comma()) {
        snprintf(text, sizeof(text), "%.1f", 0.5);
        ck_assert_str_eq(text, "0,5"); /* it is in force */
    } else {
        printf("no locale with a decimal comma: only the C locale is tried\n");
    }
    double si = 0.0;
    ck_assert_int_eq(unit_parse("0.6 inH2O", DIMENSION_PRESSURE, &si), UNIT_OK);
    ck_assert_double_eq_tol(si, 149.453346, 1e-9);
    ck_assert_int_eq(unit_parse("0.6000000000000000000001e0 inH2O", DIMENSION_PRESSURE, &si),
                     UNIT_OK);
    ck_assert_double_eq_tol(si, 149.453346, 1e-9);
    ck_assert_int_eq(unit_parse("0,6 inH2O", DIMENSION_PRESSURE, &si), UNIT_UNKNOWN);
    ck_assert_str_eq(unit_format(text, sizeof(text), si, DIMENSION_PRESSURE, UNIT_SYSTEM_US),
                     "0.6 inH2O");
    ck_assert_str_eq(unit_format(text, sizeof(text), 12345.0, DIMENSION_RADON, UNIT_SYSTEM_SI),
                     "12300 Bq/m3");
}
END_TEST

START_TEST(each_dimension_has_its_words) {
    static const char *const words[] = {"Pa", "Bq/m3", "m3/s", "W", "A", "degC", "%", "V", "m"};
    for (int i = 0; i < DIMENSION_COUNT; i++) {
        enum dimension dimension = (enum dimension)i;
        ck_assert_str_eq(unit_si_word(dimension), words[i]);
        const struct unit *unit = unit_find(words[i], strlen(words[i]));
        ck_assert_int_eq(unit->dimension, dimension);
        ck_assert_double_eq(unit->scale, 1.0);
        ck_assert_double_eq(unit->offset, 0.0);
        ck_assert_int_eq(unit_shown(dimension, UNIT_SYSTEM_US)->dimension, dimension);
        ck_assert_int_eq(unit_shown(dimension, UNIT_SYSTEM_SI)->dimension, dimension);
        for (const char *at = unit_list(dimension); *at; at += strspn(at, ", ")) {
            size_t length = strcspn(at, ",");
            const struct unit *one = unit_find(at, length);
            ck_assert_msg(one && one->dimension == dimension, "%.*s", (int)length, at);
            at += length;
        }
    }
}
END_TEST

#define ROWS(table) (int)(sizeof(table) / sizeof((table)[0]))

int main(void) {
    TCase *unit = tcase_create("unit");
    tcase_add_loop_test(unit, each_form_of_a_number_has_a_defined_result, 0, ROWS(numbers));
    tcase_add_test(unit, a_negative_zero_becomes_zero);
    tcase_add_test(unit, the_length_bounds_what_is_read);
    tcase_add_test(unit, hundreds_of_digits_round_correctly);
    tcase_add_test(unit, random_numbers_agree_with_strtod_to_the_last_bit);
    tcase_add_test(unit, numbers_beside_powers_of_two_agree_with_strtod);
    tcase_add_loop_test(unit, spellings_of_people_and_devices_are_understood, 0, ROWS(spellings));
    tcase_add_test(unit, case_is_kept_where_si_needs_it);
    tcase_add_loop_test(unit, values_with_units_are_read, 0, ROWS(values));
    tcase_add_loop_test(unit, values_are_written_as_a_person_writes_them, 0, ROWS(shown));
    tcase_add_test(unit, writing_stays_within_its_room);
    tcase_add_test(unit, what_is_shown_can_be_read_again);
    tcase_add_test(unit, conversions_and_their_inverses_agree);
    tcase_add_test(unit, a_locale_with_a_decimal_comma_changes_nothing);
    tcase_add_test(unit, each_dimension_has_its_words);
    return run_test_case(unit);
}
