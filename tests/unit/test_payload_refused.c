/*
 * payload: every reason for refusing a message, with messages meant to hurt, and the words of the
 * reasons. UTF-8 cases after table 3-7 of the Unicode Standard and RFC 3629 section 4 (from
 * memory).
 */
#include "measure/payload.h"

#include "test_support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ARRIVAL_MS INT64_C(1700000000000) /* 2023-11-14T22:13:20Z */
#define YEAR_MS INT64_C(31556952000)

#define BYTES(literal) literal, sizeof(literal) - 1

static struct payload_binding bound(enum quantity quantity, const char *unit) {
    const struct unit *found = unit_find(unit, strlen(unit));
    ck_assert_ptr_nonnull(found);
    return (struct payload_binding){
        .quantity = quantity, .unit = found, .scale = 1.0, .keep_ms = 10 * YEAR_MS};
}

static void refused(const struct payload_binding *binding, const char *bytes, size_t length,
                    enum refusal refusal) {
    struct payload_reading reading = {.reading = {-1, -1}};
    char *copy =
        malloc(length ? length : 1); /* exactly as long, so that a read beyond it is seen */
    ck_assert_ptr_nonnull(copy);
    memcpy(copy, bytes, length);
    struct payload_result result = payload_decode(binding, copy, length, ARRIVAL_MS, &reading, 1);
    free(copy);
    ck_assert_msg(result.refusal == refusal, "%.60s: %s instead of %s", bytes,
                  refusal_word(result.refusal), refusal_word(refusal));
    ck_assert_uint_eq(result.count, 0);
    ck_assert_uint_eq(result.refused, 1);
    ck_assert_int_eq(reading.reading.time_ms, -1);
    ck_assert_double_eq(reading.reading.value, -1);
}

struct refused_case {
    const char *bytes;
    size_t length;
    enum refusal refusal;
};

/* For a suction point in Pa without pointers. */
static const struct refused_case refused_cases[] = {
    {BYTES(""), REFUSAL_EMPTY},
    {BYTES(" \t\r\n"), REFUSAL_EMPTY},
    /* neither a number nor JSON */
    {BYTES("hello"), REFUSAL_NOT_A_NUMBER},
    {BYTES("-"), REFUSAL_NOT_A_NUMBER},
    {BYTES("--1"), REFUSAL_NOT_A_NUMBER},
    {BYTES("."), REFUSAL_NOT_A_NUMBER},
    {BYTES("e5"), REFUSAL_NOT_A_NUMBER},
    {BYTES("1,5"), REFUSAL_NOT_A_NUMBER},
    {BYTES("1.2.3"), REFUSAL_NOT_A_NUMBER},
    {BYTES("1 2"), REFUSAL_NOT_A_NUMBER},
    {BYTES("154;"), REFUSAL_NOT_A_NUMBER},
    {BYTES("0x1F"), REFUSAL_NOT_A_NUMBER},
    {BYTES("0X1p3"), REFUSAL_NOT_A_NUMBER},
    {BYTES("154\0"), REFUSAL_NOT_A_NUMBER},
    {BYTES("154 Pa\0"), REFUSAL_NOT_A_NUMBER},
    {BYTES("\0"), REFUSAL_NOT_A_NUMBER},
    {BYTES("\xEF\xBB\xBF"
           "154"),
     REFUSAL_NOT_A_NUMBER}, /* byte order mark */
    {BYTES("{"), REFUSAL_MALFORMED},
    {BYTES("{\"value\":154"), REFUSAL_MALFORMED},
    {BYTES("{\"value\":154}}"), REFUSAL_MALFORMED},
    {BYTES("{\"value\":154} 1"), REFUSAL_MALFORMED},
    {BYTES("{value:154}"), REFUSAL_MALFORMED},
    {BYTES("{'value':154}"), REFUSAL_MALFORMED},
    {BYTES("{\"value\":154,}"), REFUSAL_MALFORMED},
    {BYTES("{\"value\":0154}"), REFUSAL_MALFORMED},
    {BYTES("{\"value\":+154}"), REFUSAL_MALFORMED},
    {BYTES("{\"value\":.5}"), REFUSAL_MALFORMED},
    {BYTES("{\"value\":NaN}"), REFUSAL_MALFORMED},
    {BYTES("{\"value\":Infinity}"), REFUSAL_MALFORMED},
    {BYTES("{\"value\":-Infinity}"), REFUSAL_MALFORMED},
    {BYTES("{\"value\":0x1F}"), REFUSAL_MALFORMED},
    {BYTES("{\"value\":154,\"x\":\"\\ud800\"}"), REFUSAL_MALFORMED}, /* half a surrogate pair */
    {BYTES("{\"\\u0000\":1,\"value\":154}"), REFUSAL_MALFORMED},
    {BYTES("{\"value\":154\0}"), REFUSAL_MALFORMED},
    {BYTES("TRUE"), REFUSAL_NOT_A_NUMBER},
    /* not UTF-8: a lone byte, overlong, a surrogate, beyond U+10FFFF, cut short */
    {BYTES("{\"value\":154,\"x\":\"\xFF\"}"), REFUSAL_INVALID_UTF8},
    {BYTES("{\"value\":154,\"x\":\"\xC0\xAF\"}"), REFUSAL_INVALID_UTF8},
    {BYTES("{\"value\":154,\"x\":\"\xE0\x80\xAF\"}"), REFUSAL_INVALID_UTF8},
    {BYTES("{\"value\":154,\"x\":\"\xED\xA0\x80\"}"), REFUSAL_INVALID_UTF8},
    {BYTES("{\"value\":154,\"x\":\"\xF4\x90\x80\x80\"}"), REFUSAL_INVALID_UTF8},
    {BYTES("{\"value\":154,\"x\":\"\xE2\x82\"}"), REFUSAL_INVALID_UTF8},
    {BYTES("\xE2\x82"), REFUSAL_INVALID_UTF8},
    {BYTES("154 \xB0"
           "C"),
     REFUSAL_INVALID_UTF8},
    /* nothing where the value should be */
    {BYTES("{}"), REFUSAL_VALUE_MISSING},
    {BYTES("[]"), REFUSAL_VALUE_MISSING},
    {BYTES("{\"Value\":154}"), REFUSAL_VALUE_MISSING},
    {BYTES("{\"value \":154}"), REFUSAL_VALUE_MISSING},
    {BYTES("[{\"n\":\"a\"}]"), REFUSAL_VALUE_MISSING},
    /* a value, but no number */
    {BYTES("true"), REFUSAL_NOT_A_NUMBER},
    {BYTES("null"), REFUSAL_NOT_A_NUMBER},
    {BYTES("\"\""), REFUSAL_NOT_A_NUMBER},
    {BYTES("\"abc\""), REFUSAL_NOT_A_NUMBER},
    {BYTES("{\"value\":true}"), REFUSAL_NOT_A_NUMBER},
    {BYTES("{\"value\":false}"), REFUSAL_NOT_A_NUMBER},
    {BYTES("{\"value\":null}"), REFUSAL_NOT_A_NUMBER},
    {BYTES("{\"value\":[154]}"), REFUSAL_NOT_A_NUMBER},
    {BYTES("{\"value\":{\"value\":154}}"), REFUSAL_NOT_A_NUMBER},
    {BYTES("{\"value\":\"\"}"), REFUSAL_NOT_A_NUMBER},
    {BYTES("{\"value\":\"154 Pa\"}"), REFUSAL_NOT_A_NUMBER},
    {BYTES("{\"value\":\"154\\u0000\"}"), REFUSAL_NOT_A_NUMBER},
    {BYTES("{\"value\":\"0x1F\"}"), REFUSAL_NOT_A_NUMBER},
    /* not finite */
    {BYTES("1e999"), REFUSAL_NOT_FINITE},
    {BYTES("-1e309"), REFUSAL_NOT_FINITE},
    {BYTES("nan"), REFUSAL_NOT_FINITE},
    {BYTES("NaN"), REFUSAL_NOT_FINITE},
    {BYTES("-Infinity"), REFUSAL_NOT_FINITE},
    {BYTES("+inf"), REFUSAL_NOT_FINITE},
    {BYTES("{\"value\":1e999}"), REFUSAL_NOT_FINITE},
    {BYTES("{\"value\":-1e999}"), REFUSAL_NOT_FINITE},
    {BYTES("{\"value\":\"1e999\"}"), REFUSAL_NOT_FINITE},
    {BYTES("{\"value\":\"NaN\"}"), REFUSAL_NOT_FINITE},
    {BYTES("[{\"n\":\"a\",\"v\":1e999}]"), REFUSAL_NOT_FINITE},
    {BYTES("1.7e308 inH2O"), REFUSAL_NOT_FINITE},
    /* impossible */
    {BYTES("1e300"), REFUSAL_OUT_OF_RANGE},
    {BYTES("65535"), REFUSAL_OUT_OF_RANGE},
    {BYTES("-99999"), REFUSAL_OUT_OF_RANGE},
    {BYTES("{\"value\":123456789012345678901234567890}"), REFUSAL_OUT_OF_RANGE},
    {BYTES("400 inH2O"), REFUSAL_OUT_OF_RANGE},
    /* units */
    {BYTES("154 furlong"), REFUSAL_UNKNOWN_UNIT},
    {BYTES("154 x"), REFUSAL_UNKNOWN_UNIT},
    {BYTES("154 Pa 3"), REFUSAL_UNKNOWN_UNIT},
    {BYTES("154 pCi/L"), REFUSAL_WRONG_UNIT},
    {BYTES("15.4 degC"), REFUSAL_WRONG_UNIT},
    {BYTES("50 %"), REFUSAL_WRONG_UNIT},
    {BYTES("[{\"n\":\"a\",\"u\":\"Cel\",\"v\":15}]"), REFUSAL_WRONG_UNIT},
    {BYTES("[{\"n\":\"a\",\"u\":\"lon\",\"v\":15}]"), REFUSAL_UNKNOWN_UNIT},
    /* times */
    {BYTES("{\"value\":154,\"time\":\"2023-11-14T22:13:20\"}"), REFUSAL_TIME_MALFORMED},
    {BYTES("{\"value\":154,\"time\":\"2023-02-29T00:00:00Z\"}"), REFUSAL_TIME_MALFORMED},
    {BYTES("{\"value\":154,\"time\":\"noon\"}"), REFUSAL_TIME_MALFORMED},
    {BYTES("{\"value\":154,\"time\":\"\"}"), REFUSAL_TIME_MALFORMED},
    {BYTES("{\"value\":154,\"time\":\"2023-11-14T22:13:20Z\\u0000\"}"), REFUSAL_TIME_MALFORMED},
    {BYTES("{\"value\":154,\"time\":null}"), REFUSAL_TIME_MALFORMED},
    {BYTES("{\"value\":154,\"time\":{}}"), REFUSAL_TIME_MALFORMED},
    {BYTES("{\"value\":154,\"time\":0}"), REFUSAL_TIME_MALFORMED},
    {BYTES("{\"value\":154,\"time\":-1700000000}"), REFUSAL_TIME_MALFORMED},
    {BYTES("{\"value\":154,\"time\":1700000000000000}"), REFUSAL_TIME_MALFORMED},    /* us */
    {BYTES("{\"value\":154,\"time\":1700000000000000000}"), REFUSAL_TIME_MALFORMED}, /* ns */
    {BYTES("{\"value\":154,\"time\":9223372036854775807}"), REFUSAL_TIME_MALFORMED},
    {BYTES("{\"value\":154,\"time\":946684799}"), REFUSAL_TIME_MALFORMED}, /* before 2000 */
    {BYTES("{\"value\":154,\"time\":1700000301}"), REFUSAL_TIME_IN_FUTURE},
    {BYTES("{\"value\":154,\"time\":1700000300001}"), REFUSAL_TIME_IN_FUTURE},
    {BYTES("{\"value\":154,\"time\":4291747200}"), REFUSAL_TIME_IN_FUTURE}, /* 2105-12-31 */
    {BYTES("{\"value\":154,\"time\":\"2106-02-07T06:28:16Z\"}"), REFUSAL_TIME_IN_FUTURE},
    {BYTES("{\"value\":154,\"time\":\"9999-12-31T23:59:59Z\"}"), REFUSAL_TIME_IN_FUTURE},
    {BYTES("{\"value\":154,\"time\":\"2013-11-01T00:00:00Z\"}"), REFUSAL_TOO_OLD},
    {BYTES("{\"value\":154,\"time\":\"1970-01-01T00:00:00Z\"}"), REFUSAL_TOO_OLD},
    {BYTES("[{\"n\":\"a\",\"v\":1,\"t\":268435456}]"), REFUSAL_TOO_OLD},
    /* SenML of a kind we don't know */
    {BYTES("[{\"n\":\"a\",\"v\":1,\"x_\":1}]"), REFUSAL_UNKNOWN_SENML},
    {BYTES("[{\"bver\":11,\"n\":\"a\",\"v\":1}]"), REFUSAL_UNKNOWN_SENML},
};

START_TEST(each_refusal_has_its_reason) {
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    for (size_t i = 0; i < sizeof refused_cases / sizeof refused_cases[0]; i++)
        refused(&binding, refused_cases[i].bytes, refused_cases[i].length,
                refused_cases[i].refusal);
}
END_TEST

/* Every reason that a message alone can have is in the table or in a test of its own below. */
START_TEST(each_reason_is_tested) {
    bool seen[REFUSAL_COUNT] = {
        [REFUSAL_NONE] = true,           [REFUSAL_TOO_LARGE] = true, /* size_limit */
        [REFUSAL_TOO_DEEP] = true,                                   /* depth_limit */
        [REFUSAL_TIME_AMBIGUOUS] = true,                             /* test_payload.c */
        [REFUSAL_CONFLICT] = true,                                   /* the store's */
        [REFUSAL_SET_ASIDE] = true /* of in_hand */};
    for (size_t i = 0; i < sizeof refused_cases / sizeof refused_cases[0]; i++)
        seen[refused_cases[i].refusal] = true;
    for (int i = 0; i < REFUSAL_COUNT; i++)
        ck_assert_msg(seen[i], "%s", refusal_word((enum refusal)i));
}
END_TEST

START_TEST(pointers_that_lead_nowhere) {
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    binding.value_pointer = "/pressure/inwc";
    refused(&binding, BYTES("{\"pressure\":154}"), REFUSAL_VALUE_MISSING);
    refused(&binding, BYTES("{\"value\":154}"), REFUSAL_VALUE_MISSING);
    refused(&binding, BYTES("154"), REFUSAL_VALUE_MISSING);
    refused(&binding, BYTES("[{\"n\":\"a\",\"v\":154}]"), REFUSAL_VALUE_MISSING);
    binding.value_pointer = "no-slash";
    refused(&binding, BYTES("{\"no-slash\":154}"), REFUSAL_VALUE_MISSING);
    binding.value_pointer = NULL;
    binding.time_pointer = "/ts";
    refused(&binding, BYTES("{\"value\":154}"), REFUSAL_TIME_MALFORMED);
    refused(&binding, BYTES("{\"value\":154,\"time\":1700000000}"), REFUSAL_TIME_MALFORMED);
    refused(&binding, BYTES("154"), REFUSAL_TIME_MALFORMED);
    refused(&binding, BYTES("\"154\""), REFUSAL_TIME_MALFORMED);
}
END_TEST

START_TEST(declared_time_units_are_not_guessed) {
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    binding.time_unit = PAYLOAD_TIME_SECONDS;
    refused(&binding, BYTES("{\"value\":1,\"time\":1700000000000}"), REFUSAL_TIME_MALFORMED);
    binding.time_unit = PAYLOAD_TIME_MILLISECONDS;
    refused(&binding, BYTES("{\"value\":1,\"time\":1700000000}"), REFUSAL_TOO_OLD);
    refused(&binding, BYTES("{\"value\":1,\"time\":1e300}"), REFUSAL_TIME_MALFORMED);
}
END_TEST

/* Codes that sensors send in place of a value (common practice, no source). */
START_TEST(error_codes_of_sensors) {
    static const struct {
        enum quantity quantity;
        const char *unit, *text;
    } cases[] = {
        {QUANTITY_SUCTION, "Pa", "-999"},
        {QUANTITY_SUCTION, "inH2O", "65535"},
        {QUANTITY_RADON, "Bq/m3", "65535"},
        {QUANTITY_RADON, "pCi/L", "-1"},
        {QUANTITY_INDOOR_TEMPERATURE, "degC", "85.0"},
        {QUANTITY_INDOOR_TEMPERATURE, "degF", "185"},
        {QUANTITY_OUTDOOR_TEMPERATURE, "degC", "-127"},
        {QUANTITY_HUMIDITY, "%", "-999"},
        {QUANTITY_BAROMETRIC_PRESSURE, "hPa", "65535"},
        {QUANTITY_BATTERY, "V", "65535"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct payload_binding binding = bound(cases[i].quantity, cases[i].unit);
        refused(&binding, cases[i].text, strlen(cases[i].text), REFUSAL_OUT_OF_RANGE);
    }
}
END_TEST

START_TEST(size_limit) {
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    char *text = malloc(PAYLOAD_BYTES_MAX + 1);
    ck_assert_ptr_nonnull(text);
    snprintf(text, PAYLOAD_BYTES_MAX + 1, "154%*s", PAYLOAD_BYTES_MAX - 3, "");
    text[PAYLOAD_BYTES_MAX] = ' ';
    struct payload_reading reading;
    struct payload_result result =
        payload_decode(&binding, text, PAYLOAD_BYTES_MAX, ARRIVAL_MS, &reading, 1);
    ck_assert_uint_eq(result.count, 1);
    refused(&binding, text, PAYLOAD_BYTES_MAX + 1, REFUSAL_TOO_LARGE);
    memset(text, ' ', PAYLOAD_BYTES_MAX);
    refused(&binding, text, PAYLOAD_BYTES_MAX, REFUSAL_EMPTY);
    memset(text, '9', PAYLOAD_BYTES_MAX);
    refused(&binding, text, PAYLOAD_BYTES_MAX, REFUSAL_NOT_FINITE);
    free(text);
    ck_assert_int_eq(payload_decode(&binding, NULL, 0, ARRIVAL_MS, &reading, 1).refusal,
                     REFUSAL_EMPTY);
}
END_TEST

static size_t nested(char *text, const char *open, size_t depth, const char *close) {
    size_t used = 0;
    for (size_t i = 0; i < depth; i++)
        used += (size_t)sprintf(text + used, "%s", open);
    used += (size_t)sprintf(text + used, "154");
    for (size_t i = 0; i < depth; i++)
        used += (size_t)sprintf(text + used, "%s", close);
    return used;
}

START_TEST(depth_limit) {
    static char text[PAYLOAD_BYTES_MAX + 1];
    static const char pointer[] =
        "/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a/a";
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    binding.value_pointer = pointer;
    struct payload_reading reading;
    size_t length = nested(text, "{\"a\":", 32, "}");
    ck_assert_uint_eq(sizeof pointer - 1, 2 * 32);
    ck_assert_uint_eq(payload_decode(&binding, text, length, ARRIVAL_MS, &reading, 1).count, 1);
    refused(&binding, text, nested(text, "{\"a\":", 33, "}"), REFUSAL_TOO_DEEP);
    refused(&binding, text, nested(text, "[", 33, "]"), REFUSAL_TOO_DEEP);
    refused(&binding, text, nested(text, "[", 10000, "]"), REFUSAL_TOO_DEEP);
    refused(&binding, text, nested(text, "[", 10000, ""), REFUSAL_TOO_DEEP);
    memset(text, '[', PAYLOAD_BYTES_MAX);
    refused(&binding, text, PAYLOAD_BYTES_MAX, REFUSAL_TOO_DEEP);
    binding.value_pointer = NULL; /* brackets inside a text are no nesting */
    length = (size_t)sprintf(text, "{\"x\":\"\\\"");
    for (int i = 0; i < 50; i++)
        length += (size_t)sprintf(text + length, "[{");
    length += (size_t)sprintf(text + length, "\",\"value\":154}");
    ck_assert_uint_eq(payload_decode(&binding, text, length, ARRIVAL_MS, &reading, 1).count, 1);
    ck_assert_double_eq(reading.reading.value, 154);
}
END_TEST

START_TEST(refusals_have_words) {
    static const char *const words[REFUSAL_COUNT] = {
        "none",         "empty",         "too-large",      "too-deep",       "malformed",
        "invalid-utf8", "value-missing", "not-a-number",   "not-finite",     "out-of-range",
        "unknown-unit", "wrong-unit",    "time-malformed", "time-ambiguous", "time-in-future",
        "too-old",      "unknown-senml", "conflict",       "set aside"};
    for (int i = 0; i < REFUSAL_COUNT; i++)
        ck_assert_str_eq(refusal_word((enum refusal)i), words[i]);
    ck_assert_str_eq(refusal_word(REFUSAL_COUNT), "unknown");
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("payload_refused");
    tcase_add_test(tcase, each_refusal_has_its_reason);
    tcase_add_test(tcase, each_reason_is_tested);
    tcase_add_test(tcase, pointers_that_lead_nowhere);
    tcase_add_test(tcase, declared_time_units_are_not_guessed);
    tcase_add_test(tcase, error_codes_of_sensors);
    tcase_add_test(tcase, size_limit);
    tcase_add_test(tcase, depth_limit);
    tcase_add_test(tcase, refusals_have_words);
    return run_test_case(tcase);
}
