/*
 * payload: every shape of message, and messages damaged at random.
 * Expected values are by hand from the definitions 1 inH2O = 249.08891 Pa and 1 pCi/L = 37 Bq/m3
 * (NIST SP 811 (2008) appendix B.8); times from RFC 3339 section 5.8 and `date -u`.
 */
#include "measure/payload.h"

#include "measure/timestamp.h"
#include "test_support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ARRIVAL_MS INT64_C(1700000000000) /* 2023-11-14T22:13:20Z */
#define YEAR_MS INT64_C(31556952000)
#define INH2O_PA 249.08891

static struct payload_binding bound(enum quantity quantity, const char *unit) {
    const struct unit *found = unit_find(unit, strlen(unit));
    ck_assert_ptr_nonnull(found);
    return (struct payload_binding){
        .quantity = quantity, .unit = found, .scale = 1.0, .keep_ms = 10 * YEAR_MS};
}

static struct payload_result decode(const struct payload_binding *binding, const char *text,
                                    struct payload_reading *reading) {
    return payload_decode(binding, text, strlen(text), ARRIVAL_MS, reading, 1);
}

static struct payload_reading taken(const struct payload_binding *binding, const char *text) {
    struct payload_reading reading = {.has_own_time = false};
    struct payload_result result = decode(binding, text, &reading);
    ck_assert_msg(result.count == 1 && result.refusal == REFUSAL_NONE && result.refused == 0,
                  "%s: %s", text, refusal_word(result.refusal));
    return reading;
}

START_TEST(plain_numbers) {
    static const struct {
        const char *text;
        double pa;
    } cases[] = {{"154", 154},    {"154.5", 154.5}, {" \t\r\n154\n", 154},
                 {"1.54e2", 154}, {"1.54E+2", 154}, {"-12.5", -12.5},
                 {"0", 0},        {"0.000", 0},     {"15400000e-5", 154},
                 {"+154", 154},   {"000154", 154}};
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct payload_reading reading = taken(&binding, cases[i].text);
        ck_assert_double_eq(reading.reading.value, cases[i].pa);
        ck_assert_int_eq(reading.reading.time_ms, ARRIVAL_MS);
        ck_assert(!reading.has_own_time && !reading.unit_converted);
    }
}
END_TEST

START_TEST(zero_has_no_sign) {
    static const char *const texts[] = {
        "-0",       "-0.0",   "-0e5", "{\"value\":-0.0}", "\"-0\"", "[{\"n\":\"a\",\"v\":-0}]",
        "-0 inH2O", "-1e-999"};
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct payload_reading reading = taken(&binding, texts[i]);
        ck_assert_double_eq(reading.reading.value, 0);
        ck_assert_msg(!signbit(reading.reading.value), "%s", texts[i]);
    }
    binding.scale = -1;
    ck_assert(!signbit(taken(&binding, "0").reading.value));
}
END_TEST

START_TEST(a_unit_behind_the_number) {
    struct payload_binding inches = bound(QUANTITY_SUCTION, "inH2O");
    struct payload_reading reading = taken(&inches, "0.62 inH2O");
    ck_assert_double_eq_tol(reading.reading.value, 0.62 * INH2O_PA, 1e-12);
    ck_assert(!reading.unit_converted);
    reading = taken(&inches, " 154.5Pa\n");
    ck_assert_double_eq(reading.reading.value, 154.5);
    ck_assert(reading.unit_converted);
    struct payload_binding radon = bound(QUANTITY_RADON, "Bq/m3");
    ck_assert_double_eq(taken(&radon, "4 pCi/L").reading.value, 148);
    struct payload_binding warm = bound(QUANTITY_INDOOR_TEMPERATURE, "degF");
    ck_assert_double_eq(taken(&warm, "21.5 \xC2\xB0"
                                     "C")
                            .reading.value,
                        21.5);
    ck_assert_double_eq_tol(taken(&warm, "70").reading.value, 190.0 / 9.0, 1e-12);
}
END_TEST

START_TEST(scale_then_offset_in_the_unit_of_the_sensor) {
    struct payload_binding binding = bound(QUANTITY_SUCTION, "inH2O");
    binding.scale = 2;
    binding.offset = 0.5;
    double expected = (0.25 * 2 + 0.5) * INH2O_PA;
    ck_assert_double_eq_tol(taken(&binding, "0.25").reading.value, expected, 1e-12);
    char pascals[96]; /* the same stated in another unit: to the sensor's unit first */
    snprintf(pascals, sizeof pascals, "[{\"n\":\"a\",\"u\":\"Pa\",\"v\":%.17g}]", 0.25 * INH2O_PA);
    struct payload_reading reading = taken(&binding, pascals);
    ck_assert_double_eq_tol(reading.reading.value, expected, 1e-9);
    ck_assert(reading.unit_converted);
    binding = bound(QUANTITY_OUTDOOR_TEMPERATURE, "degF");
    binding.offset = 2; /* 2 degF, not 2 degC */
    ck_assert_double_eq_tol(taken(&binding, "30").reading.value, 0, 1e-12);
}
END_TEST

START_TEST(json_values) {
    static const struct {
        const char *text, *pointer;
        double pa;
    } cases[] = {
        {"{\"value\":154}", NULL, 154},
        {" {\"value\" : 154.0} ", NULL, 154},
        {"{\"value\":\" 154 \"}", NULL, 154},
        {"\"154\"", NULL, 154},
        {"{\"value\":1,\"value\":154}", NULL, 154}, /* the last one counts */
        {"{\"pressure\":{\"inwc\":154}}", "/pressure/inwc", 154},
        {"{\"a/b\":[1,154]}", "/a~1b/1", 154},
        {"[1,[154]]", "/1/0", 154},
        {"154", "", 154},
        {"\"154\"", "", 154},
        {"{\"x\":154,\"n\":123456789012345678901234567890}", "/x", 154}, /* beyond 64 bit */
        {"{\"value\":100000000000000000000e-18}", NULL, 100},
        {"{\"value\":154,\"note\":\"\\u0000\\u20AC \xE2\x82\xAC\"}", NULL, 154},
    };
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        binding.value_pointer = cases[i].pointer;
        struct payload_reading reading = taken(&binding, cases[i].text);
        ck_assert_double_eq(reading.reading.value, cases[i].pa);
        ck_assert_int_eq(reading.reading.time_ms, ARRIVAL_MS);
        ck_assert(!reading.has_own_time);
    }
}
END_TEST

START_TEST(times) {
    static const struct {
        const char *time;
        enum payload_time_unit unit;
        int64_t time_ms;
    } cases[] = {
        {"\"2023-11-14T22:13:20Z\"", PAYLOAD_TIME_AUTOMATIC, 1700000000000},
        {"\"2023-11-14T15:13:20.250-07:00\"", PAYLOAD_TIME_AUTOMATIC, 1700000000250},
        {"\"2023-11-14T22:13:20Z\"", PAYLOAD_TIME_SECONDS, 1700000000000},
        {"1699999999", PAYLOAD_TIME_AUTOMATIC, 1699999999000},
        {"1699999999.125", PAYLOAD_TIME_AUTOMATIC, 1699999999125},
        {"1699999999125", PAYLOAD_TIME_AUTOMATIC, 1699999999125},
        {"1699999999125.4", PAYLOAD_TIME_AUTOMATIC, 1699999999125},
        {"\"1699999999\"", PAYLOAD_TIME_AUTOMATIC, 1699999999000},
        {"1.6e9", PAYLOAD_TIME_SECONDS, 1600000000000},
        {"1.6e12", PAYLOAD_TIME_MILLISECONDS, 1600000000000},
        {"1700000300", PAYLOAD_TIME_AUTOMATIC, 1700000300000}, /* 5 min ahead, no more */
    };
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[128];
        binding.time_unit = cases[i].unit;
        binding.value_pointer = binding.time_pointer = NULL;
        snprintf(text, sizeof text, "{\"value\":154,\"time\":%s}", cases[i].time);
        struct payload_reading reading = taken(&binding, text);
        ck_assert_msg(reading.reading.time_ms == cases[i].time_ms, "%s", text);
        ck_assert(reading.has_own_time);
        binding.value_pointer = "/0";
        binding.time_pointer = "/1/ts";
        snprintf(text, sizeof text, "[154,{\"ts\":%s}]", cases[i].time);
        reading = taken(&binding, text);
        ck_assert_msg(reading.reading.time_ms == cases[i].time_ms, "%s", text);
    }
}
END_TEST

/* Denver sets its clocks back on 2026-11-01 at 08:00 UTC, from 02:00 to 01:00 (time zone database):
   07:00 to 08:00 UTC and 08:00 to 09:00 UTC both show 01:00 to 02:00. */
static const struct {
    const char *time, *arrival, *taken; /* NULL: refused because of `refusal` */
    enum refusal refusal;
    enum payload_time_zone zone;
} local_times[] = {
    {"2026-07-15T01:30:00", "2026-07-15T07:30:04Z", "2026-07-15T07:30:00Z", REFUSAL_NONE, 1},
    {"2026-07-15T01:30:00", "2026-08-15T07:30:04Z", "2026-07-15T07:30:00Z", REFUSAL_NONE, 1},
    {"2026-07-15T07:30:00", "2026-07-15T07:30:04Z", "2026-07-15T07:30:00Z", REFUSAL_NONE, 2},
    {"2026-07-15T07:30:00", "2026-07-15T07:30:04Z", NULL, REFUSAL_TIME_MALFORMED, 0},
    {"2026-07-15T07:30:00", "2026-07-15T07:30:04Z", NULL, REFUSAL_TIME_IN_FUTURE, 1},
    /* An offset that is there counts. */
    {"2026-07-15T01:30:00+02:00", "2026-07-15T07:30:04Z", "2026-07-14T23:30:00Z", REFUSAL_NONE, 1},
    {"noon", "2026-07-15T07:30:04Z", NULL, REFUSAL_TIME_MALFORMED, 1},
    /* The hour that is left out. */
    {"2026-03-08T02:30:00", "2026-03-08T09:30:04Z", NULL, REFUSAL_TIME_MALFORMED, 1},
    /* The hour that comes twice: at once, and later. */
    {"2026-11-01T01:30:00", "2026-11-01T07:30:04Z", "2026-11-01T07:30:00Z", REFUSAL_NONE, 1},
    {"2026-11-01T01:30:00", "2026-11-01T07:29:00Z", "2026-11-01T07:30:00Z", REFUSAL_NONE, 1},
    {"2026-11-01T01:30:00", "2026-11-01T08:20:00Z", "2026-11-01T07:30:00Z", REFUSAL_NONE, 1},
    {"2026-11-01T01:30:00", "2026-11-01T08:29:00Z", "2026-11-01T08:30:00Z", REFUSAL_NONE, 1},
    {"2026-11-01T01:30:00", "2026-11-01T08:30:04Z", "2026-11-01T08:30:00Z", REFUSAL_NONE, 1},
    {"2026-11-01T01:30:00", "2026-11-01T08:59:59Z", "2026-11-01T08:30:00Z", REFUSAL_NONE, 1},
    {"2026-11-01T01:30:00", "2026-11-01T09:00:00Z", NULL, REFUSAL_TIME_AMBIGUOUS, 1},
    {"2026-11-01T02:00:00", "2026-11-01T19:00:00Z", "2026-11-01T09:00:00Z", REFUSAL_NONE, 1},
};

static int64_t instant(const char *text) {
    int64_t ms = 0;
    ck_assert_msg(timestamp_parse(text, strlen(text), &ms), "%s", text);
    return ms;
}

START_TEST(times_without_an_offset_are_those_of_the_zone_named) {
    size_t length = 0;
    char *bytes = test_read_file("/usr/share/zoneinfo/America/Denver", &length), text[128];
    struct time_zone *denver = time_zone_create("America/Denver", bytes, length);
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    binding.time_zone = local_times[_i].zone;
    binding.local = denver;
    struct payload_reading reading;
    snprintf(text, sizeof text, "{\"value\":154,\"time\":\"%s\"}", local_times[_i].time);
    struct payload_result result =
        payload_decode(&binding, text, strlen(text), instant(local_times[_i].arrival), &reading, 1);
    ck_assert_str_eq(refusal_word(result.refusal), refusal_word(local_times[_i].refusal));
    ck_assert_uint_eq(result.count, local_times[_i].taken != NULL);
    if (local_times[_i].taken)
        ck_assert_int_eq(reading.reading.time_ms, instant(local_times[_i].taken));
    time_zone_destroy(denver);
    free(bytes);
}
END_TEST

START_TEST(time_is_looked_for_only_where_it_is_expected) {
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    binding.value_pointer = "/value";
    struct payload_reading reading = taken(&binding, "{\"value\":154,\"time\":\"noon\"}");
    ck_assert(!reading.has_own_time);
    ck_assert_int_eq(reading.reading.time_ms, ARRIVAL_MS);
    binding.value_pointer = NULL;
    binding.time_pointer = "/ts";
    reading = taken(&binding, "{\"value\":154,\"time\":\"noon\",\"ts\":1.6e9}");
    ck_assert_int_eq(reading.reading.time_ms, 1600000000000);
}
END_TEST

START_TEST(any_age_without_a_limit) {
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    binding.keep_ms = 0;
    struct payload_reading reading =
        taken(&binding, "{\"value\":154,\"time\":\"1985-04-12T23:20:50.52Z\"}");
    ck_assert_int_eq(reading.reading.time_ms, 482196050520); /* RFC 3339 section 5.8 */
}
END_TEST

/* As many members, records and empty arrays as 64 KiB can hold. */
START_TEST(crowded_documents) {
    static char text[PAYLOAD_BYTES_MAX + 64];
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    size_t used = 1;
    text[0] = '{';
    for (unsigned i = 0; used < PAYLOAD_BYTES_MAX - 32; i++)
        used += (size_t)sprintf(text + used, "\"%x\":0,", i);
    used += (size_t)sprintf(text + used, "\"value\":154}");
    struct payload_reading reading;
    ck_assert_uint_eq(payload_decode(&binding, text, used, ARRIVAL_MS, &reading, 1).count, 1);
    used = 1;
    text[0] = '[';
    while (used < PAYLOAD_BYTES_MAX - 8)
        used += (size_t)sprintf(text + used, "[],");
    used += (size_t)sprintf(text + used, "[]]");
    struct payload_result result = payload_decode(&binding, text, used, ARRIVAL_MS, &reading, 1);
    ck_assert_uint_eq(result.refused, (used - 1) / 3);
    ck_assert_int_eq(result.refusal, REFUSAL_MALFORMED);
}
END_TEST

START_TEST(records_beyond_the_capacity_are_counted) {
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    const char *text = "[{\"n\":\"a\",\"v\":1},{\"v\":2,\"n\":\"a\"},{\"v\":3,\"n\":\"a\"}]";
    struct payload_reading readings[2];
    struct payload_result result =
        payload_decode(&binding, text, strlen(text), ARRIVAL_MS, readings, 2);
    ck_assert_uint_eq(result.count, 2);
    ck_assert_uint_eq(result.refused, 1);
    ck_assert_int_eq(result.refusal, REFUSAL_TOO_LARGE);
    ck_assert_double_eq(readings[1].reading.value, 2);
    result = payload_decode(&binding, "1", 1, ARRIVAL_MS, NULL, 0);
    ck_assert_uint_eq(result.count, 0);
    ck_assert_int_eq(result.refusal, REFUSAL_TOO_LARGE);
}
END_TEST

START_TEST(records_of_other_points_are_passed_over) {
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    binding.senml_name = "pressure";
    const char *text = "[{\"bn\":\"box/\",\"n\":\"label\",\"vs\":\"x\"},{\"n\":\"pressure\",\"u\":"
                       "\"Pa\",\"v\":5},{\"n\":\"temp\",\"u\":\"Cel\",\"v\":\"?\"}]";
    ck_assert_double_eq(taken(&binding, text).reading.value, 5);
    binding.senml_name = "box/pressure";
    ck_assert_double_eq(taken(&binding, text).reading.value, 5);
    static const char *const others[] = {"a box/pressure", "ressure/", "Pressure"};
    for (size_t i = 0; i < 3; i++) {
        binding.senml_name = others[i];
        struct payload_reading reading;
        struct payload_result result = decode(&binding, text, &reading);
        ck_assert_uint_eq(result.count + result.refused, 0);
        ck_assert_int_eq(result.refusal, REFUSAL_NONE);
    }
}
END_TEST

START_TEST(printed_numbers_come_back_exactly) {
    static const char *const shapes[] = {"%.17g", "{\"value\":%.17g}", "\"%.17g\"",
                                         "[{\"n\":\"a\",\"v\":%.17g}]", "%.17g Pa"};
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    struct test_random random = {test_seed()};
    for (int i = 0; i < 100000; i++) {
        double magnitude = ldexp(1.0, (int)(test_random_next(&random) % 1000) - 990);
        double value = (test_random_unit(&random) - 0.3) * (i % 2 ? 1000.0 : magnitude);
        char text[96];
        /* Each shape is a literal of the table above. */
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wformat-nonliteral"
        snprintf(text, sizeof text, shapes[i % 5], value);
#pragma GCC diagnostic pop
        ck_assert_msg(taken(&binding, text).reading.value == value, "%s", text);
    }
}
END_TEST

/* Whatever the bytes: no crash, and the counts add up. */
START_TEST(damaged_messages) {
    static const char *const texts[] = {
        "154.25 inH2O", "{\"value\":\"1.5e2\",\"time\":\"2023-11-14T22:13:20Z\"}",
        "[{\"bn\":\"a:\",\"bt\":1.7e9,\"bu\":\"Pa\",\"n\":\"b\",\"v\":1},{\"v\":2,\"t\":-1}]"};
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa");
    struct test_random random = {test_seed()};
    for (int i = 0; i < 60000; i++) {
        char text[128];
        size_t length = (size_t)snprintf(text, sizeof text, "%s", texts[i % 3]);
        for (unsigned n = 1 + (unsigned)(test_random_next(&random) % 3); n > 0; n--)
            text[test_random_next(&random) % length] =
                (char)(n % 2 ? test_random_next(&random)
                             : (uint64_t) "{}[]\",:0-_.e"[test_random_next(&random) % 12]);
        length -= test_random_below(&random, length / 4);
        struct payload_reading readings[2];
        struct payload_result result =
            payload_decode(&binding, text, length, ARRIVAL_MS, readings, 2);
        ck_assert_uint_le(result.count, 2);
        ck_assert((result.refused > 0) == (result.refusal != REFUSAL_NONE));
        for (size_t k = 0; k < result.count; k++)
            ck_assert(isfinite(readings[k].reading.value));
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("payload");
    tcase_add_test(tcase, plain_numbers);
    tcase_add_test(tcase, zero_has_no_sign);
    tcase_add_test(tcase, a_unit_behind_the_number);
    tcase_add_test(tcase, scale_then_offset_in_the_unit_of_the_sensor);
    tcase_add_test(tcase, json_values);
    tcase_add_test(tcase, times);
    tcase_add_loop_test(tcase, times_without_an_offset_are_those_of_the_zone_named, 0,
                        sizeof local_times / sizeof local_times[0]);
    tcase_add_test(tcase, time_is_looked_for_only_where_it_is_expected);
    tcase_add_test(tcase, any_age_without_a_limit);
    tcase_add_test(tcase, crowded_documents);
    tcase_add_test(tcase, records_beyond_the_capacity_are_counted);
    tcase_add_test(tcase, records_of_other_points_are_passed_over);
    tcase_add_test(tcase, printed_numbers_come_back_exactly);
    tcase_add_test(tcase, damaged_messages);
    return run_test_case(tcase);
}
