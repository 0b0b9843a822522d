#include "test_support.h"
#include "words/event.h"
#include "words/text_repair.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *const sentences[] = {"suction 5 Pa of 274 Pa", "said \"off\"\nby phone"};

static struct event_alarm full_alarm(void) {
    return (struct event_alarm){.id = 42,
                                .system = "birch-lane-12",
                                .point = "suction",
                                .condition = "suction-lost",
                                .priority = "high",
                                .state = "unacknowledged",
                                .since_ms = INT64_C(1773303300000), /* 2026-03-12T08:15:00Z */
                                .raised_ms = INT64_C(1773305100000),
                                .returned_ms = TIMESTAMP_NONE,
                                .value = 5.1,
                                .setpoint = 27.4,
                                .unit = "Pa",
                                .explained.cause = "fan-off",
                                .explained.confidence = 0.85,
                                .explained.evidence = {sentences, 2},
                                .explained.check = {sentences, 1},
                                .text = "Suction lost: 12 Birch Lane\n\nThe rest."};
}

static json_t *parsed(char *text) {
    ck_assert_ptr_nonnull(text);
    json_t *json = json_loads(text, JSON_REJECT_DUPLICATES, NULL);
    ck_assert_msg(json != NULL, "%s", text);
    free(text);
    return json;
}

static const char *member(json_t *json, const char *name) {
    return json_string_value(json_object_get(json, name));
}

START_TEST(an_alarm_has_every_member_of_the_contract) {
    static const char *const names[] = {"id",    "system",    "point",    "condition", "priority",
                                        "state", "raised",    "returned", "value",     "setpoint",
                                        "unit",  "diagnosis", "check",    "bring",     "text"};
    struct event_alarm alarm = full_alarm();
    json_t *json = parsed(event_alarm_json(&alarm));
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        ck_assert_msg(json_object_get(json, names[i]) != NULL, "%s", names[i]);
    ck_assert_int_eq(json_integer_value(json_object_get(json, "id")), 42);
    ck_assert_str_eq(member(json, "raised"), "2026-03-12T08:45:00Z");
    ck_assert_str_eq(member(json, "since"), "2026-03-12T08:15:00Z");
    ck_assert(json_is_null(json_object_get(json, "returned")));
    ck_assert_double_eq(json_real_value(json_object_get(json, "value")), 5.1);
    json_t *diagnosis = json_object_get(json, "diagnosis");
    ck_assert_str_eq(member(diagnosis, "cause"), "fan-off");
    ck_assert_uint_eq(json_array_size(json_object_get(diagnosis, "evidence")), 2);
    ck_assert_uint_eq(json_array_size(json_object_get(json, "check")), 1);
    ck_assert_uint_eq(json_array_size(json_object_get(json, "bring")), 0);
    json_decref(json);
}
END_TEST

START_TEST(what_is_not_known_is_null) {
    struct event_alarm alarm = {.id = 1,
                                .system = "",
                                .condition = "broker-lost",
                                .since_ms = TIMESTAMP_NONE,
                                .raised_ms = 0,
                                .returned_ms = TIMESTAMP_NONE,
                                .value = (double)NAN,
                                .setpoint = (double)INFINITY,
                                .unit = "",
                                .explained.confidence = (double)NAN};
    static const char *const nulls[] = {"since", "returned", "value", "setpoint",
                                        "unit",  "point",    "text",  "state"};
    json_t *json = parsed(event_alarm_json(&alarm));
    for (size_t i = 0; i < sizeof nulls / sizeof nulls[0]; i++)
        ck_assert_msg(json_is_null(json_object_get(json, nulls[i])), "%s", nulls[i]);
    json_t *diagnosis = json_object_get(json, "diagnosis");
    ck_assert(json_is_null(json_object_get(diagnosis, "cause")));
    ck_assert(json_is_null(json_object_get(diagnosis, "confidence")));
    ck_assert_uint_eq(json_array_size(json_object_get(diagnosis, "evidence")), 0);
    ck_assert_str_ne(member(diagnosis, "why"), "");
    ck_assert_str_eq(member(json, "raised"), "1970-01-01T00:00:00Z");
    ck_assert_str_eq(member(json, "system"), "");
    json_decref(json);
}
END_TEST

static struct event full_event(const char *data) {
    return (struct event){.id = "0192-a",
                          .source = "/subslab/subslabd",
                          .type = EVENT_TYPE_RAISED,
                          .subject = "birch-lane-12",
                          .time_ms = INT64_C(1773305100123),
                          .data = data,
                          .text = "hello \"you\"\n\xc3\xb1"};
}

/* CloudEvents 1.0 section "Required attributes"; JSON event format section 3. */
START_TEST(an_event_has_the_attributes_that_the_specification_requires) {
    struct event_alarm alarm = full_alarm();
    char *data = event_alarm_json(&alarm);
    struct event event = full_event(data);
    json_t *json = parsed(event_render(&event));
    free(data);
    ck_assert_str_eq(member(json, "specversion"), "1.0");
    ck_assert_str_eq(member(json, "id"), "0192-a");
    ck_assert_str_eq(member(json, "source"), "/subslab/subslabd");
    ck_assert_str_eq(member(json, "type"), "subslab.alarm.raised");
    ck_assert_str_eq(member(json, "subject"), "birch-lane-12");
    ck_assert_str_eq(member(json, "time"), "2026-03-12T08:45:00.123Z");
    ck_assert_str_eq(member(json, "datacontenttype"), "application/json");
    json_t *inner = json_object_get(json, "data");
    ck_assert_str_eq(member(inner, "condition"), "suction-lost");
    ck_assert_str_eq(member(inner, "text"), event.text); /* the contact's, not the alarm's */
    const char *name;
    json_t *value;
    json_object_foreach(json, name, value) { /* attribute names: a-z and 0-9 alone */
        ck_assert_uint_eq(strspn(name, "abcdefghijklmnopqrstuvwxyz0123456789"), strlen(name));
    }
    json_decref(json);
}
END_TEST

START_TEST(an_event_of_the_daemon_has_no_subject) {
    struct event event = full_event(NULL);
    event.subject = "";
    json_t *json = parsed(event_render(&event));
    ck_assert_ptr_null(json_object_get(json, "subject"));
    ck_assert_uint_eq(json_object_size(json_object_get(json, "data")), 1);
    json_decref(json);
}
END_TEST

static const char *const bad_data[] = {"", "[]", "1", "{", "{\"a\":1,\"a\":2}", "null"};

START_TEST(data_that_is_no_object_gives_no_event) {
    struct event event = full_event(bad_data[_i]);
    ck_assert_ptr_null(event_render(&event));
}
END_TEST

START_TEST(a_client_id_becomes_a_uri_reference) { /* RFC 3986 section 2 */
    char *source = event_source("sub slab/\xc3\xb1?#%A-z_.~9");
    ck_assert_str_eq(source, "/subslab/sub%20slab%2F%C3%B1%3F%23%25A-z_.~9");
    free(source);
}
END_TEST

static const struct {
    const char *text, *repaired;
} repairs[] = {
    {"", ""},
    {"plain", "plain"},
    {"\xc3\xb1 \xe2\x82\xac \xf0\x9f\x98\x80", "\xc3\xb1 \xe2\x82\xac \xf0\x9f\x98\x80"},
    {"a\xff\xfe z", "a\xef\xbf\xbd\xef\xbf\xbd z"},
    {"\xc3", "\xef\xbf\xbd"},                                 /* cut short */
    {"\xe2\x82", "\xef\xbf\xbd\xef\xbf\xbd"},                 /* cut short */
    {"\xc0\xaf", "\xef\xbf\xbd\xef\xbf\xbd"},                 /* overlong, RFC 3629 section 10 */
    {"\xed\xa0\x80", "\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd"}, /* surrogate */
    {"\xf4\x90\x80\x80", "\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd"},
};

START_TEST(text_is_made_valid_utf8) {
    char *repaired = text_repair(repairs[_i].text);
    ck_assert_str_eq(repaired, repairs[_i].repaired);
    free(repaired);
}
END_TEST

START_TEST(random_bytes_always_make_a_valid_event) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    char text[64];
    for (size_t i = 0; i + 1 < sizeof text; i++)
        text[i] = (char)(1 + test_random_next(&random) % 255);
    text[sizeof text - 1] = '\0';
    struct event event = full_event(NULL);
    event.text = event.subject = text;
    json_decref(parsed(event_render(&event))); /* the parser refuses what is not UTF-8 */
    struct event_alarm alarm = full_alarm();
    alarm.text = alarm.explained.cause = text;
    json_decref(parsed(event_alarm_json(&alarm)));
}
END_TEST

int main(void) {
    TCase *event = tcase_create("event");
    tcase_add_test(event, an_alarm_has_every_member_of_the_contract);
    tcase_add_test(event, what_is_not_known_is_null);
    tcase_add_test(event, an_event_has_the_attributes_that_the_specification_requires);
    tcase_add_test(event, an_event_of_the_daemon_has_no_subject);
    tcase_add_loop_test(event, data_that_is_no_object_gives_no_event, 0,
                        sizeof bad_data / sizeof bad_data[0]);
    tcase_add_test(event, a_client_id_becomes_a_uri_reference);
    tcase_add_loop_test(event, text_is_made_valid_utf8, 0, sizeof repairs / sizeof repairs[0]);
    tcase_add_loop_test(event, random_bytes_always_make_a_valid_event, 0, 50);
    return run_test_case(event);
}
