/*
 * SenML against the examples and rules of RFC 8428 (read in the text of the RFC): sections 5.1.1 to
 * 5.1.7 as they are printed, 4.1 to 4.6 for the rules. Times such as 2011-10-31T13:24:24Z are those
 * that the RFC writes beside its examples.
 */
#include "measure/payload.h"
#include "measure/senml.h"

#include "test_support.h"

#include <stdio.h>
#include <string.h>

#define ARRIVAL_MS INT64_C(1700000000000)
#define RECORDS_MAX 32

static const char multiple_measurements[] = /* section 5.1.3 */
    "[{\"bn\":\"urn:dev:ow:10e2073a01080063\",\"bt\":1.320067464e+09,\"bu\":\"%RH\",\"v\":20},"
    "{\"u\":\"lon\",\"v\":24.30621},{\"u\":\"lat\",\"v\":60.07965},{\"t\":60,\"v\":20.3},"
    "{\"u\":\"lon\",\"t\":60,\"v\":24.30622},{\"u\":\"lat\",\"t\":60,\"v\":60.07965},"
    "{\"t\":120,\"v\":20.7},{\"u\":\"lon\",\"t\":120,\"v\":24.30623},"
    "{\"u\":\"lat\",\"t\":120,\"v\":60.07966},{\"u\":\"%EL\",\"t\":150,\"v\":98},"
    "{\"t\":180,\"v\":21.2},{\"u\":\"lon\",\"t\":180,\"v\":24.30628},"
    "{\"u\":\"lat\",\"t\":180,\"v\":60.07967}]";

static const char resolved_data[] = /* section 5.1.4 */
    "[{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"%RH\",\"t\":1.320067464e+09,\"v\":20},"
    "{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"lon\",\"t\":1.320067464e+09,\"v\":24.30621},"
    "{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"lat\",\"t\":1.320067464e+09,\"v\":60.07965},"
    "{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"%RH\",\"t\":1.320067524e+09,\"v\":20.3},"
    "{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"lon\",\"t\":1.320067524e+09,\"v\":24.30622},"
    "{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"lat\",\"t\":1.320067524e+09,\"v\":60.07965},"
    "{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"%RH\",\"t\":1.320067584e+09,\"v\":20.7},"
    "{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"lon\",\"t\":1.320067584e+09,\"v\":24.30623},"
    "{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"lat\",\"t\":1.320067584e+09,\"v\":60.07966},"
    "{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"%EL\",\"t\":1.320067614e+09,\"v\":98},"
    "{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"%RH\",\"t\":1.320067644e+09,\"v\":21.2},"
    "{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"lon\",\"t\":1.320067644e+09,\"v\":24.30628},"
    "{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"lat\",\"t\":1.320067644e+09,\"v\":60.07967}]";

static const char seconds_of_current[] = /* section 5.1.2 */
    "[{\"bn\":\"urn:dev:ow:10e2073a0108006:\",\"bt\":1.276020076001e+09,\"bu\":\"A\",\"bver\":5,"
    "\"n\":\"voltage\",\"u\":\"V\",\"v\":120.1},{\"n\":\"current\",\"t\":-5,\"v\":1.2},"
    "{\"n\":\"current\",\"t\":-4,\"v\":1.3},{\"n\":\"current\",\"t\":-3,\"v\":1.4},"
    "{\"n\":\"current\",\"t\":-2,\"v\":1.5},{\"n\":\"current\",\"t\":-1,\"v\":1.6},"
    "{\"n\":\"current\",\"v\":1.7}]";

/* One pack, opened, with the document it borrows from. */
struct opened {
    struct json_node *root;
    struct senml_pack pack;
};

static struct opened open_pack(const char *text) {
    struct opened opened;
    ck_assert_int_eq(json_node_parse(text, strlen(text), 32, &opened.root), REFUSAL_NONE);
    ck_assert_int_eq(senml_open(&opened.pack, opened.root), REFUSAL_NONE);
    return opened;
}

static void assert_name(const struct senml_record *record, const char *name) {
    char whole[128];
    size_t base = record->base_name.length;
    ck_assert_uint_lt(base + record->name.length, sizeof whole);
    if (base)
        memcpy(whole, record->base_name.bytes, base);
    if (record->name.length)
        memcpy(whole + base, record->name.bytes, record->name.length);
    whole[base + record->name.length] = '\0';
    ck_assert_str_eq(whole, name);
}

static void assert_unit(const struct senml_record *record, const char *unit) {
    ck_assert_uint_eq(record->unit.length, strlen(unit));
    ck_assert_mem_eq(record->unit.bytes, unit, strlen(unit));
}

static struct payload_binding bound(enum quantity quantity, const char *unit, const char *name) {
    return (struct payload_binding){.quantity = quantity,
                                    .unit = unit_find(unit, strlen(unit)),
                                    .senml_name = name,
                                    .scale = 1.0};
}

static struct payload_result decode(const struct payload_binding *binding, const char *text,
                                    struct payload_reading *readings) {
    return payload_decode(binding, text, strlen(text), ARRIVAL_MS, readings, RECORDS_MAX);
}

START_TEST(section_5_1_1_single_data_point) {
    struct payload_binding binding = bound(QUANTITY_INDOOR_TEMPERATURE, "degC", NULL);
    struct payload_reading readings[RECORDS_MAX];
    struct payload_result result = decode(
        &binding, "[{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"Cel\",\"v\":23.1}]", readings);
    ck_assert_uint_eq(result.count, 1);
    ck_assert_int_eq(result.refusal, REFUSAL_NONE);
    ck_assert_double_eq(readings[0].reading.value, 23.1);
    ck_assert_int_eq(readings[0].reading.time_ms, ARRIVAL_MS);
    ck_assert(!readings[0].has_own_time);
    ck_assert(!readings[0].unit_converted);
}
END_TEST

START_TEST(section_5_1_2_base_name) {
    const char *text = "[{\"bn\":\"urn:dev:ow:10e2073a01080063:\",\"n\":\"voltage\",\"u\":\"V\","
                       "\"v\":120.1},{\"n\":\"current\",\"u\":\"A\",\"v\":1.2}]";
    struct opened opened = open_pack(text);
    struct senml_record record;
    ck_assert(senml_next(&opened.pack, &record));
    assert_name(&record, "urn:dev:ow:10e2073a01080063:voltage");
    assert_unit(&record, "V");
    ck_assert_double_eq(record.value, 120.1);
    ck_assert(senml_next(&opened.pack, &record));
    assert_name(&record, "urn:dev:ow:10e2073a01080063:current");
    assert_unit(&record, "A");
    ck_assert_double_eq(record.value, 1.2);
    ck_assert(!senml_next(&opened.pack, &record));
    json_node_destroy(opened.root);
}
END_TEST

START_TEST(section_5_1_2_base_time_and_unit) {
    static const char *const units[] = {"V", "A", "A", "A", "A", "A", "A"};
    static const double values[] = {120.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7};
    static const int64_t times_ms[] = {1276020076001, 1276020071001, 1276020072001, 1276020073001,
                                       1276020074001, 1276020075001, 1276020076001};
    struct opened opened = open_pack(seconds_of_current);
    struct senml_record record;
    for (size_t i = 0; i < 7; i++) {
        ck_assert(senml_next(&opened.pack, &record));
        ck_assert_int_eq(record.refusal, REFUSAL_NONE);
        int64_t time_ms;
        bool relative;
        ck_assert(senml_time(&record, ARRIVAL_MS, &time_ms, &relative));
        ck_assert_int_eq(time_ms, times_ms[i]);
        ck_assert(!relative);
        ck_assert_double_eq(record.value, values[i]);
        assert_unit(&record, units[i]);
    }
    ck_assert(!senml_next(&opened.pack, &record));
    json_node_destroy(opened.root);
}
END_TEST

START_TEST(section_5_1_2_by_name) {
    struct payload_binding binding = bound(QUANTITY_FAN_CURRENT, "A", ":current");
    struct payload_reading readings[RECORDS_MAX];
    struct payload_result result = decode(&binding, seconds_of_current, readings);
    ck_assert_uint_eq(result.count, 6);
    ck_assert_uint_eq(result.refused, 0);
    ck_assert_int_eq(result.refusal, REFUSAL_NONE);
    ck_assert_int_eq(readings[0].reading.time_ms, 1276020071001);
    ck_assert_double_eq(readings[5].reading.value, 1.7);
    ck_assert(readings[5].has_own_time);
}
END_TEST

START_TEST(section_5_1_3_resolves_to_section_5_1_4) {
    struct opened pack = open_pack(multiple_measurements), resolved = open_pack(resolved_data);
    struct senml_record record, expected;
    size_t count = 0;
    while (senml_next(&resolved.pack, &expected)) {
        ck_assert(senml_next(&pack.pack, &record));
        ck_assert_int_eq(record.refusal, REFUSAL_NONE);
        ck_assert_int_eq(expected.refusal, REFUSAL_NONE);
        assert_name(&record, "urn:dev:ow:10e2073a01080063");
        assert_name(&expected, "urn:dev:ow:10e2073a01080063");
        ck_assert_uint_eq(record.unit.length, expected.unit.length);
        ck_assert_mem_eq(record.unit.bytes, expected.unit.bytes, expected.unit.length);
        ck_assert_double_eq(record.value, expected.value);
        ck_assert_double_eq(record.time_s, expected.time_s);
        count++;
    }
    ck_assert_uint_eq(count, 13);
    ck_assert(!senml_next(&pack.pack, &record));
    json_node_destroy(pack.root);
    json_node_destroy(resolved.root);
}
END_TEST

START_TEST(section_5_1_3_humidity_alone_is_taken) {
    static const double values[] = {20, 20.3, 20.7, 21.2};
    static const int64_t times_ms[] = {1320067464000, 1320067524000, 1320067584000, 1320067644000};
    struct payload_binding binding = bound(QUANTITY_HUMIDITY, "%", NULL);
    struct payload_reading readings[RECORDS_MAX];
    struct payload_result result = decode(&binding, multiple_measurements, readings);
    ck_assert_uint_eq(result.count, 4);
    ck_assert_uint_eq(result.refused, 9); /* 4 longitudes, 4 latitudes, 1 battery */
    ck_assert_int_eq(result.refusal, REFUSAL_UNKNOWN_UNIT);
    for (size_t i = 0; i < 4; i++) {
        ck_assert_double_eq(readings[i].reading.value, values[i]);
        ck_assert_int_eq(readings[i].reading.time_ms, times_ms[i]);
    }
    binding = bound(QUANTITY_BATTERY, "%", NULL);
    result = decode(&binding, multiple_measurements, readings);
    ck_assert_uint_eq(result.count, 1);
    ck_assert_double_eq(readings[0].reading.value, 98);
    ck_assert_int_eq(readings[0].reading.time_ms, 1320067614000);
    ck_assert_int_eq(result.refusal, REFUSAL_WRONG_UNIT);
}
END_TEST

START_TEST(section_5_1_5_multiple_data_types) {
    struct payload_binding binding = bound(QUANTITY_INDOOR_TEMPERATURE, "degC", NULL);
    struct payload_reading readings[RECORDS_MAX];
    struct payload_result result =
        decode(&binding,
               "[{\"bn\":\"urn:dev:ow:10e2073a01080063:\",\"n\":\"temp\",\"u\":\"Cel\",\"v\":23.1},"
               "{\"n\":\"label\",\"vs\":\"Machine Room\"},{\"n\":\"open\",\"vb\":false},"
               "{\"n\":\"nfv-reader\",\"vd\":\"aGkgCg\"}]",
               readings);
    ck_assert_uint_eq(result.count, 1);
    ck_assert_uint_eq(result.refused, 3);
    ck_assert_int_eq(result.refusal, REFUSAL_NOT_A_NUMBER);
}
END_TEST

START_TEST(section_5_1_6_base_name_changes_base_time_stays) {
    const char *text =
        "[{\"bn\":\"2001:db8::2/\",\"bt\":1.320078429e+09,\"n\":\"temperature\",\"u\":\"Cel\","
        "\"v\":25.2},{\"n\":\"humidity\",\"u\":\"%RH\",\"v\":30},{\"bn\":\"2001:db8::1/\","
        "\"n\":\"temperature\",\"u\":\"Cel\",\"v\":12.3},{\"n\":\"humidity\",\"u\":\"%RH\","
        "\"v\":67}]";
    struct payload_binding binding = bound(QUANTITY_HUMIDITY, "%", "2001:db8::1/humidity");
    struct payload_reading readings[RECORDS_MAX];
    struct payload_result result = decode(&binding, text, readings);
    ck_assert_uint_eq(result.count, 1);
    ck_assert_uint_eq(result.refused, 0);
    ck_assert_double_eq(readings[0].reading.value, 67);
    ck_assert_int_eq(readings[0].reading.time_ms, 1320078429000); /* 2011-10-31T16:27:09Z */
}
END_TEST

START_TEST(section_5_1_7_record_of_base_fields_alone) {
    struct payload_binding binding = bound(QUANTITY_INDOOR_TEMPERATURE, "degC", "63:temp");
    struct payload_reading readings[RECORDS_MAX];
    const char *text = "[{\"bn\":\"urn:dev:ow:10e2073a01080063:\"},{\"n\":\"temp\",\"u\":\"Cel\","
                       "\"v\":23.1},{\"n\":\"heat\",\"u\":\"/\",\"v\":1},"
                       "{\"n\":\"fan\",\"u\":\"/\",\"v\":0}]";
    struct payload_result result = decode(&binding, text, readings);
    ck_assert_uint_eq(result.count, 1);
    ck_assert_uint_eq(result.refused, 0);
    ck_assert_double_eq(readings[0].reading.value, 23.1);
    binding.senml_name = NULL;
    result = decode(&binding, text, readings);
    ck_assert_uint_eq(result.count, 1);
    ck_assert_uint_eq(result.refused, 2); /* ratios; the record of base fields is no measurement */
    ck_assert_int_eq(result.refusal, REFUSAL_WRONG_UNIT);
}
END_TEST

START_TEST(section_4_5_3_time_below_2_to_28_is_relative) {
    static const struct {
        const char *text;
        int64_t time_ms;
        bool relative;
    } cases[] = {
        {"[{\"n\":\"a\",\"v\":1}]", ARRIVAL_MS, true},
        {"[{\"n\":\"a\",\"v\":1,\"t\":0}]", ARRIVAL_MS, true},
        {"[{\"n\":\"a\",\"v\":1,\"t\":-60.25}]", ARRIVAL_MS - 60250, true},
        {"[{\"n\":\"a\",\"v\":1,\"bt\":-60,\"t\":30}]", ARRIVAL_MS - 30000, true},
        {"[{\"n\":\"a\",\"v\":1,\"t\":268435455}]", ARRIVAL_MS + 268435455000, true},
        {"[{\"n\":\"a\",\"v\":1,\"t\":268435456}]", 268435456000, false}, /* 1978-07-04T21:24:16Z */
        {"[{\"n\":\"a\",\"v\":1,\"bt\":268435455,\"t\":1}]", 268435456000, false},
        {"[{\"n\":\"a\",\"v\":1,\"bt\":268435456,\"t\":-1}]", ARRIVAL_MS + 268435455000, true},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct opened opened = open_pack(cases[i].text);
        struct senml_record record;
        ck_assert(senml_next(&opened.pack, &record));
        int64_t time_ms;
        bool relative;
        ck_assert(senml_time(&record, ARRIVAL_MS, &time_ms, &relative));
        ck_assert_msg(time_ms == cases[i].time_ms, "%s", cases[i].text);
        ck_assert_msg(relative == cases[i].relative, "%s", cases[i].text);
        json_node_destroy(opened.root);
    }
}
END_TEST

/* Section 4.5.4: base value and value are added; a base holds until the next of its label. */
START_TEST(section_4_5_4_base_value_is_added) {
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa", NULL);
    struct payload_reading readings[RECORDS_MAX];
    struct payload_result result =
        decode(&binding,
               "[{\"bn\":\"p\",\"bu\":\"Pa\",\"bv\":100,\"v\":20.5},{\"v\":-1},{\"v\":0},"
               "{\"bv\":0,\"v\":7},{\"bu\":\"hPa\",\"v\":1.5},{\"u\":\"Pa\",\"v\":3}]",
               readings);
    static const double values[] = {120.5, 99, 100, 7, 150, 3};
    ck_assert_uint_eq(result.count, 6);
    ck_assert_uint_eq(result.refused, 0);
    for (size_t i = 0; i < 6; i++) {
        ck_assert_double_eq(readings[i].reading.value, values[i]);
        ck_assert(readings[i].unit_converted == (i == 4));
    }
}
END_TEST

/* Refusals by the rules of sections 4.1 to 4.5; the good record beside each is kept. */
START_TEST(rules_that_refuse_a_record) {
    static const struct {
        const char *record;
        enum refusal refusal;
    } cases[] = {
        {"{\"n\":\"a\",\"v\":1,\"hurry_\":1}", REFUSAL_UNKNOWN_SENML},
        {"{\"n\":\"a\",\"v\":1,\"_\":null}", REFUSAL_UNKNOWN_SENML},
        {"{\"n\":\"a\",\"u\":\"Pa\"}", REFUSAL_VALUE_MISSING},
        {"{\"n\":\"a\",\"t\":-1}", REFUSAL_VALUE_MISSING},
        {"{\"n\":\"a\",\"s\":10}", REFUSAL_NOT_A_NUMBER},
        {"{\"n\":\"a\",\"vs\":\"12\"}", REFUSAL_NOT_A_NUMBER},
        {"{\"n\":\"a\",\"vb\":true}", REFUSAL_NOT_A_NUMBER},
        {"{\"n\":\"a\",\"vd\":\"aGk\"}", REFUSAL_NOT_A_NUMBER},
        {"{\"n\":\"a\",\"v\":\"12\"}", REFUSAL_NOT_A_NUMBER},
        {"{\"n\":\"a\",\"v\":null}", REFUSAL_NOT_A_NUMBER},
        {"{\"n\":\"a\",\"v\":1,\"vs\":\"1\"}", REFUSAL_MALFORMED},
        {"{\"n\":\"_a\",\"v\":1}", REFUSAL_MALFORMED},
        {"{\"n\":\"a b\",\"v\":1}", REFUSAL_MALFORMED},
        {"{\"n\":\"a\\u0000b\",\"v\":1}", REFUSAL_MALFORMED},
        {"{\"n\":\"caf\xC3\xA9\",\"v\":1}", REFUSAL_MALFORMED},
        {"{\"n\":5,\"v\":1}", REFUSAL_MALFORMED},
        {"{}", REFUSAL_MALFORMED},
        {"[]", REFUSAL_MALFORMED},
        {"17", REFUSAL_MALFORMED},
        {"{\"n\":\"a\",\"v\":1,\"u\":\"furlong\"}", REFUSAL_UNKNOWN_UNIT},
        {"{\"n\":\"a\",\"v\":1,\"u\":\"\"}", REFUSAL_UNKNOWN_UNIT},
        {"{\"n\":\"a\",\"v\":1,\"u\":7}", REFUSAL_UNKNOWN_UNIT},
        {"{\"n\":\"a\",\"v\":1,\"u\":\"Pa\\u0000\"}", REFUSAL_UNKNOWN_UNIT},
        {"{\"n\":\"a\",\"v\":1,\"u\":\"Cel\"}", REFUSAL_WRONG_UNIT},
        {"{\"n\":\"a\",\"v\":1,\"t\":\"2023-11-14T22:13:20Z\"}", REFUSAL_TIME_MALFORMED},
        {"{\"n\":\"a\",\"v\":1,\"t\":1e300}", REFUSAL_TIME_MALFORMED},
        {"{\"n\":\"a\",\"v\":1,\"t\":-1e300}", REFUSAL_TIME_MALFORMED},
        {"{\"n\":\"a\",\"v\":1,\"t\":301}", REFUSAL_TIME_IN_FUTURE},
        {"{\"n\":\"a\",\"v\":1e9}", REFUSAL_OUT_OF_RANGE},
    };
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa", NULL);
    struct payload_reading readings[RECORDS_MAX];
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[256];
        snprintf(text, sizeof text, "[{\"n\":\"a\",\"v\":150},%s,{\"n\":\"b\",\"v\":151}]",
                 cases[i].record);
        struct payload_result result = decode(&binding, text, readings);
        ck_assert_msg(result.refusal == cases[i].refusal, "%s: %s", text,
                      refusal_word(result.refusal));
        ck_assert_uint_eq(result.refused, 1);
        ck_assert_uint_eq(result.count, 2);
        ck_assert_double_eq(readings[0].reading.value, 150);
        ck_assert_double_eq(readings[1].reading.value, 151);
    }
}
END_TEST

/* A base field that can't be used spoils the records that rely on it, and no others. */
START_TEST(base_fields_that_cannot_be_used) {
    static const struct {
        const char *text;
        enum refusal refusal;
        size_t count;
    } cases[] = {
        {"[{\"n\":\"a\",\"v\":1},{\"bq_\":1,\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"v\":1}]",
         REFUSAL_UNKNOWN_SENML, 1},
        {"[{\"bt\":\"now\",\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"v\":1},"
         "{\"bt\":0,\"n\":\"a\",\"v\":1}]",
         REFUSAL_TIME_MALFORMED, 1},
        {"[{\"bv\":null,\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"v\":1},{\"bv\":1,\"n\":\"a\",\"v\":1}]",
         REFUSAL_NOT_A_NUMBER, 1},
        {"[{\"bu\":1,\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"u\":\"Pa\",\"v\":1}"
         "]",
         REFUSAL_UNKNOWN_UNIT, 1},
        {"[{\"bn\":1,\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"v\":1},{\"bn\":\"\",\"n\":\"a\",\"v\":1}]",
         REFUSAL_MALFORMED, 1},
        {"[{\"bv\":1e308,\"n\":\"a\",\"v\":1e308},{\"n\":\"a\",\"v\":1.7e308},"
         "{\"bv\":0,\"n\":\"a\",\"v\":1}]",
         REFUSAL_NOT_FINITE, 1},
    };
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa", NULL);
    struct payload_reading readings[RECORDS_MAX];
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct payload_result result = decode(&binding, cases[i].text, readings);
        ck_assert_msg(result.refusal == cases[i].refusal, "%s: %s", cases[i].text,
                      refusal_word(result.refusal));
        ck_assert_uint_eq(result.count, cases[i].count);
        ck_assert_uint_eq(result.refused, 3 - cases[i].count);
    }
}
END_TEST

/* Section 4.4: one version for the whole pack, no larger than the one we understand. */
START_TEST(versions) {
    static const struct {
        const char *text;
        bool good;
    } cases[] = {
        {"[{\"bver\":10,\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"v\":1}]", true},
        {"[{\"bver\":5,\"n\":\"a\",\"v\":1},{\"bver\":5,\"n\":\"a\",\"v\":1}]", true},
        {"[{\"n\":\"a\",\"v\":1},{\"bver\":10,\"n\":\"a\",\"v\":1}]", true},
        {"[{\"bver\":26,\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"v\":1}]", true},
        {"[{\"n\":\"a\",\"v\":1},{\"bver\":5,\"n\":\"a\",\"v\":1}]", false},
        {"[{\"bver\":5,\"n\":\"a\",\"v\":1},{\"bver\":10,\"n\":\"a\",\"v\":1}]", false},
        {"[{\"bver\":11,\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"v\":1}]", false},
        {"[{\"bver\":0,\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"v\":1}]", false},
        {"[{\"bver\":9.5,\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"v\":1}]", false},
        {"[{\"bver\":\"10\",\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"v\":1}]", false},
    };
    struct payload_binding binding = bound(QUANTITY_SUCTION, "Pa", NULL);
    struct payload_reading readings[RECORDS_MAX];
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct payload_result result = decode(&binding, cases[i].text, readings);
        ck_assert_msg(result.count == (cases[i].good ? 2 : 0), "%s", cases[i].text);
        ck_assert_uint_eq(result.refused, cases[i].good ? 0 : 2);
        ck_assert_int_eq(result.refusal, cases[i].good ? REFUSAL_NONE : REFUSAL_UNKNOWN_SENML);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("senml");
    tcase_add_test(tcase, section_5_1_1_single_data_point);
    tcase_add_test(tcase, section_5_1_2_base_name);
    tcase_add_test(tcase, section_5_1_2_base_time_and_unit);
    tcase_add_test(tcase, section_5_1_2_by_name);
    tcase_add_test(tcase, section_5_1_3_resolves_to_section_5_1_4);
    tcase_add_test(tcase, section_5_1_3_humidity_alone_is_taken);
    tcase_add_test(tcase, section_5_1_5_multiple_data_types);
    tcase_add_test(tcase, section_5_1_6_base_name_changes_base_time_stays);
    tcase_add_test(tcase, section_5_1_7_record_of_base_fields_alone);
    tcase_add_test(tcase, section_4_5_3_time_below_2_to_28_is_relative);
    tcase_add_test(tcase, section_4_5_4_base_value_is_added);
    tcase_add_test(tcase, rules_that_refuse_a_record);
    tcase_add_test(tcase, base_fields_that_cannot_be_used);
    tcase_add_test(tcase, versions);
    return run_test_case(tcase);
}
