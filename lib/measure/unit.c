/*
 * One table of spellings, searched after tidying the text up: blanks, "^" and dots behind letters
 * go, signs such as the degree or the superscript three become letters. So "in. w.c." and "in WC"
 * are the row "inWC", and "m³/h" and "m^3/h" are the row "m3/h". Case is ignored except where it
 * tells SI units apart (mW and MW, K, pA and Pa).
 */
#include "measure/unit.h"

#include "measure/decimal.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#define SPELLING_MAX 32

/* NIST SP 811 (2008) appendix B.8; exact by definition unless marked. */
#define INCH_OF_WATER_PA 249.08891 /* conventional: 0.0254 m * 1000 kg/m3 * 9.80665 m/s2 */
#define MILLIMETRE_OF_WATER_PA 9.80665
#define MILLIMETRE_OF_MERCURY_PA 133.322387415 /* 13595.1 kg/m3 * 9.80665 m/s2 * 0.001 m */
#define PSI_PA 6894.757293168                  /* 0.45359237 kg * 9.80665 m/s2 / (0.0254 m)^2 */
#define PICOCURIE_PER_LITRE_BQ_PER_M3 37.0
#define CFM_M3_PER_S 4.719474432e-4 /* 0.3048^3 / 60 */
#define FAHRENHEIT_SCALE (5.0 / 9.0)
#define ZERO_CELSIUS_K 273.15

#define BAROMETRIC_FROM_PA 50000.0 /* no system reaches it, the open air never falls below */

enum letter_case { ANY_CASE, THIS_CASE };

struct unit_row {
    struct unit unit;
    size_t length;
    enum letter_case letter_case;
};

#define ROW(spelling, dimension, scale, offset, letter_case)                                       \
    { {spelling, DIMENSION_##dimension, scale, offset}, sizeof(spelling) - 1, letter_case }

static const struct unit_row table[] = {
    ROW("Pa", PRESSURE, 1.0, 0.0, THIS_CASE),
    ROW("pa", PRESSURE, 1.0, 0.0, THIS_CASE), /* but "pA" is a picoampere */
    ROW("PA", PRESSURE, 1.0, 0.0, THIS_CASE),
    ROW("pascal", PRESSURE, 1.0, 0.0, ANY_CASE),
    ROW("hPa", PRESSURE, 100.0, 0.0, ANY_CASE),
    ROW("kPa", PRESSURE, 1000.0, 0.0, ANY_CASE),
    ROW("mbar", PRESSURE, 100.0, 0.0, THIS_CASE),
    ROW("mBar", PRESSURE, 100.0, 0.0, THIS_CASE),
    ROW("bar", PRESSURE, 1e5, 0.0, ANY_CASE),
    ROW("inH2O", PRESSURE, INCH_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("inWC", PRESSURE, INCH_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("inWG", PRESSURE, INCH_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("iWC", PRESSURE, INCH_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("iWG", PRESSURE, INCH_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("inchH2O", PRESSURE, INCH_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("inchesH2O", PRESSURE, INCH_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("inchWC", PRESSURE, INCH_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("inchesWC", PRESSURE, INCH_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("inchesofwater", PRESSURE, INCH_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("inchofwater", PRESSURE, INCH_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("ftH2O", PRESSURE, 12.0 * INCH_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("[in_i'H2O]", PRESSURE, INCH_OF_WATER_PA, 0.0, ANY_CASE), /* UCUM */
    ROW("mmH2O", PRESSURE, MILLIMETRE_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("mmWC", PRESSURE, MILLIMETRE_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("mmWG", PRESSURE, MILLIMETRE_OF_WATER_PA, 0.0, ANY_CASE),
    ROW("cmH2O", PRESSURE, 98.0665, 0.0, ANY_CASE),
    ROW("cmWC", PRESSURE, 98.0665, 0.0, ANY_CASE),
    ROW("cmWG", PRESSURE, 98.0665, 0.0, ANY_CASE),
    ROW("mmHg", PRESSURE, MILLIMETRE_OF_MERCURY_PA, 0.0, ANY_CASE),
    ROW("inHg", PRESSURE, 25.4 * MILLIMETRE_OF_MERCURY_PA, 0.0, ANY_CASE),
    ROW("psi", PRESSURE, PSI_PA, 0.0, ANY_CASE),

    ROW("Bq/m3", RADON, 1.0, 0.0, ANY_CASE),
    ROW("kBq/m3", RADON, 1000.0, 0.0, ANY_CASE),
    ROW("Bq/L", RADON, 1000.0, 0.0, ANY_CASE),
    ROW("pCi/L", RADON, PICOCURIE_PER_LITRE_BQ_PER_M3, 0.0, ANY_CASE),

    ROW("m3/s", FLOW, 1.0, 0.0, ANY_CASE),
    ROW("m3/min", FLOW, 1.0 / 60.0, 0.0, ANY_CASE),
    ROW("m3/h", FLOW, 1.0 / 3600.0, 0.0, ANY_CASE),
    ROW("m3/hr", FLOW, 1.0 / 3600.0, 0.0, ANY_CASE),
    ROW("L/s", FLOW, 1e-3, 0.0, ANY_CASE),
    ROW("lps", FLOW, 1e-3, 0.0, ANY_CASE),
    ROW("L/min", FLOW, 1e-3 / 60.0, 0.0, ANY_CASE),
    ROW("lpm", FLOW, 1e-3 / 60.0, 0.0, ANY_CASE),
    ROW("cfm", FLOW, CFM_M3_PER_S, 0.0, ANY_CASE),
    ROW("ft3/min", FLOW, CFM_M3_PER_S, 0.0, ANY_CASE),
    ROW("cuft/min", FLOW, CFM_M3_PER_S, 0.0, ANY_CASE),

    ROW("W", POWER, 1.0, 0.0, ANY_CASE),
    ROW("watt", POWER, 1.0, 0.0, ANY_CASE),
    ROW("watts", POWER, 1.0, 0.0, ANY_CASE),
    ROW("kW", POWER, 1000.0, 0.0, ANY_CASE),
    ROW("mW", POWER, 1e-3, 0.0, THIS_CASE),
    ROW("MW", POWER, 1e6, 0.0, THIS_CASE),

    ROW("A", CURRENT, 1.0, 0.0, ANY_CASE),
    ROW("amp", CURRENT, 1.0, 0.0, ANY_CASE),
    ROW("amps", CURRENT, 1.0, 0.0, ANY_CASE),
    ROW("mA", CURRENT, 1e-3, 0.0, THIS_CASE),

    ROW("degC", TEMPERATURE, 1.0, 0.0, ANY_CASE),
    ROW("C", TEMPERATURE, 1.0, 0.0, THIS_CASE),
    ROW("Cel", TEMPERATURE, 1.0, 0.0, ANY_CASE),
    ROW("celsius", TEMPERATURE, 1.0, 0.0, ANY_CASE),
    ROW("degF", TEMPERATURE, FAHRENHEIT_SCALE, -32.0 * FAHRENHEIT_SCALE, ANY_CASE),
    ROW("[degF]", TEMPERATURE, FAHRENHEIT_SCALE, -32.0 * FAHRENHEIT_SCALE, ANY_CASE), /* UCUM */
    ROW("F", TEMPERATURE, FAHRENHEIT_SCALE, -32.0 * FAHRENHEIT_SCALE, THIS_CASE),
    ROW("fahrenheit", TEMPERATURE, FAHRENHEIT_SCALE, -32.0 * FAHRENHEIT_SCALE, ANY_CASE),
    ROW("K", TEMPERATURE, 1.0, -ZERO_CELSIUS_K, THIS_CASE),
    ROW("kelvin", TEMPERATURE, 1.0, -ZERO_CELSIUS_K, ANY_CASE),

    ROW("%", RATIO, 1.0, 0.0, ANY_CASE),
    ROW("%RH", RATIO, 1.0, 0.0, ANY_CASE),
    ROW("%EL", RATIO, 1.0, 0.0, ANY_CASE),  /* RFC 8428: remaining battery energy */
    ROW("/", RATIO, 100.0, 0.0, ANY_CASE),  /* RFC 8428: a ratio, 1 is 100 % */
    ROW("/100", RATIO, 1.0, 0.0, ANY_CASE), /* RFC 8798 */
    ROW("percent", RATIO, 1.0, 0.0, ANY_CASE),

    ROW("V", VOLTAGE, 1.0, 0.0, ANY_CASE),
    ROW("volt", VOLTAGE, 1.0, 0.0, ANY_CASE),
    ROW("volts", VOLTAGE, 1.0, 0.0, ANY_CASE),
    ROW("mV", VOLTAGE, 1e-3, 0.0, THIS_CASE),

    ROW("m", LENGTH, 1.0, 0.0, THIS_CASE),
    ROW("cm", LENGTH, 1e-2, 0.0, ANY_CASE),
    ROW("mm", LENGTH, 1e-3, 0.0, THIS_CASE),
    ROW("in", LENGTH, 0.0254, 0.0, ANY_CASE),
    ROW("inch", LENGTH, 0.0254, 0.0, ANY_CASE),
    ROW("inches", LENGTH, 0.0254, 0.0, ANY_CASE),
    ROW("ft", LENGTH, 0.3048, 0.0, ANY_CASE),
    ROW("feet", LENGTH, 0.3048, 0.0, ANY_CASE),
};
#define TABLE_ROWS (sizeof(table) / sizeof(table[0]))

/* UTF-8 signs that people and devices use, as the letters of the table; "" is a blank. */
static const struct {
    const char *sign, *letters;
} signs[] = {
    {"\xC2\xB0", "deg"},      /* degree sign */
    {"\xC2\xBA", "deg"},      /* ordinal indicator, often taken for it */
    {"\xC2\xB3", "3"},        /* superscript three */
    {"\xC2\xA0", ""},         /* no-break space */
    {"\xE2\x80\xAF", ""},     /* narrow no-break space */
    {"\xE2\x80\x89", ""},     /* thin space */
    {"\xE2\x84\x83", "degC"}, /* one-character degree Celsius */
    {"\xE2\x84\x89", "degF"}, /* one-character degree Fahrenheit */
    {"\xE2\x82\x82", "2"},    /* subscript two */
    {"\xE2\x80\xB3", "in"},   /* double prime: inch */
    {"\"", "in"},
    {" ", ""},
    {"\t", ""},
    {"^", ""},
};
#define SIGNS (sizeof(signs) / sizeof(signs[0]))

static bool is_letter(char c) {
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

static char lower(char c) {
    return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
}

/** Row of `signs` at the start of text, or SIGNS. */
static size_t sign_at(const char *text, size_t length) {
    for (size_t i = 0; i < SIGNS; i++) {
        size_t sign_length = strlen(signs[i].sign);
        if (sign_length <= length && memcmp(text, signs[i].sign, sign_length) == 0)
            return i;
    }
    return SIGNS;
}

/** Length of the tidy spelling, 0 when it is too long to be any. */
static size_t tidy(const char *text, size_t length, char tidied[SPELLING_MAX]) {
    size_t used = 0;
    for (size_t i = 0; i < length;) {
        char plain[2] = {text[i], '\0'};
        const char *letters = plain;
        size_t step = 1;
        if (text[i] == '.' && i > 0 && is_letter(text[i - 1])) {
            letters = "";
        } else if (!is_letter(text[i])) {
            size_t sign = sign_at(text + i, length - i);
            if (sign < SIGNS) {
                letters = signs[sign].letters;
                step = strlen(signs[sign].sign);
            }
        }
        size_t more = letters == plain ? 1 : strlen(letters);
        if (used + more > SPELLING_MAX)
            return 0;
        for (size_t k = 0; k < more; k++)
            tidied[used++] = letters[k];
        i += step;
    }
    return used;
}

static bool row_matches(const struct unit_row *row, const char *spelling, size_t length) {
    if (row->length != length)
        return false;
    if (row->letter_case == THIS_CASE)
        return memcmp(row->unit.spelling, spelling, length) == 0;
    for (size_t i = 0; i < length; i++)
        if (lower(row->unit.spelling[i]) != lower(spelling[i]))
            return false;
    return true;
}

const struct unit *unit_find(const char *spelling, size_t length) {
    char tidied[SPELLING_MAX];
    length = tidy(spelling, length, tidied);
    if (length == 0)
        return NULL;
    for (size_t i = 0; i < TABLE_ROWS; i++)
        if (row_matches(&table[i], tidied, length))
            return &table[i].unit;
    return NULL;
}

double unit_to_si(const struct unit *unit, double value) {
    return value * unit->scale + unit->offset;
}

double unit_from_si(const struct unit *unit, double si) {
    return (si - unit->offset) / unit->scale;
}

double unit_difference_to_si(const struct unit *unit, double difference) {
    return difference * unit->scale;
}

enum unit_status unit_parse_number(const char *text, size_t length, double *value,
                                   const char **end) {
    double number = 0.0;
    size_t used = decimal_read(text, length, &number);
    if (used == 0)
        return UNIT_NOT_A_NUMBER;
    if (end)
        *end = text + used;
    if (!isfinite(number))
        return UNIT_NOT_FINITE;
    *value = number;
    return UNIT_OK;
}

enum unit_status unit_parse(const char *text, enum dimension dimension, double *si) {
    while (*text == ' ' || *text == '\t')
        text++;
    size_t length = strlen(text);
    double value = 0.0;
    const char *rest = NULL;
    enum unit_status status = unit_parse_number(text, length, &value, &rest);
    if (status != UNIT_OK)
        return status;
    const struct unit *unit = unit_find(rest, length - (size_t)(rest - text));
    if (!unit)
        return UNIT_UNKNOWN;
    if (unit->dimension != dimension)
        return UNIT_WRONG_DIMENSION;
    value = unit_to_si(unit, value);
    if (!isfinite(value))
        return UNIT_NOT_FINITE;
    *si = value;
    return UNIT_OK;
}

static const char *const si_words[DIMENSION_COUNT] = {
    [DIMENSION_PRESSURE] = "Pa", [DIMENSION_RADON] = "Bq/m3", [DIMENSION_FLOW] = "m3/s",
    [DIMENSION_POWER] = "W",     [DIMENSION_CURRENT] = "A",   [DIMENSION_TEMPERATURE] = "degC",
    [DIMENSION_RATIO] = "%",     [DIMENSION_VOLTAGE] = "V",   [DIMENSION_LENGTH] = "m",
};

const char *unit_si_word(enum dimension dimension) {
    assert((unsigned)dimension < DIMENSION_COUNT && si_words[dimension]);
    return si_words[dimension];
}

/* Which are in use: common practice, no source. */
const char *unit_list(enum dimension dimension) {
    static const char *const words[DIMENSION_COUNT] = {
        [DIMENSION_PRESSURE] = "Pa, inH2O, mmH2O, hPa, kPa, inHg",
        [DIMENSION_RADON] = "Bq/m3, pCi/L",
        [DIMENSION_FLOW] = "m3/s, m3/h, L/s, cfm",
        [DIMENSION_POWER] = "W, kW",
        [DIMENSION_CURRENT] = "A, mA",
        [DIMENSION_TEMPERATURE] = "degC, degF",
        [DIMENSION_RATIO] = "%",
        [DIMENSION_VOLTAGE] = "V, mV",
        [DIMENSION_LENGTH] = "m, cm, mm, in",
    };
    assert((unsigned)dimension < DIMENSION_COUNT && words[dimension]);
    return words[dimension];
}

static const struct unit *unit_named(const char *spelling) {
    const struct unit *unit = unit_find(spelling, strlen(spelling));
    assert(unit);
    return unit;
}

const struct unit *unit_shown(enum dimension dimension, enum unit_system system) {
    static const char *const us_words[DIMENSION_COUNT] = {
        [DIMENSION_PRESSURE] = "inH2O",   [DIMENSION_RADON] = "pCi/L", [DIMENSION_FLOW] = "cfm",
        [DIMENSION_TEMPERATURE] = "degF", [DIMENSION_LENGTH] = "in",
    };
    assert((unsigned)dimension < DIMENSION_COUNT);
    if (system == UNIT_SYSTEM_US && us_words[dimension])
        return unit_named(us_words[dimension]);
    return unit_named(dimension == DIMENSION_FLOW ? "L/s" : si_words[dimension]);
}

char *unit_format(char *text, size_t size, double si, enum dimension dimension,
                  enum unit_system system) {
    const struct unit *unit = unit_shown(dimension, system);
    if (dimension == DIMENSION_PRESSURE && si >= BAROMETRIC_FROM_PA)
        unit = unit_named(system == UNIT_SYSTEM_US ? "inHg" : "kPa");
    double value = unit_from_si(unit, si);
    if (!isfinite(value)) {
        snprintf(text, size, "unknown");
        return text;
    }
    size_t length = decimal_write_short(text, size, value);
    if (length < size)
        snprintf(text + length, size - length, " %s", unit->spelling);
    return text;
}
