#include "test_support.h"
#include "words/template.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct template_values some_values(void) {
    struct template_values values = {.value = 5.25};
    values.strings[TEMPLATE_TEXT] = "Say \"fan\",\n\\ and \x01 \xc3\xb1";
    values.strings[TEMPLATE_SYSTEM] = "birch-lane-12";
    values.strings[TEMPLATE_CHECK] = "switch\nbreaker";
    return values;
}

static const struct {
    const char *template_text, *body;
} good[] = {
    {"{\"text\": {{text}}}", "{\"text\": \"Say \\\"fan\\\",\\n\\\\ and \\u0001 \xc3\xb1\"}"},
    {"{\"a\": {{ system }}, \"b\": [{{value}}, {{address}}]}",
     "{\"a\": \"birch-lane-12\", \"b\": [5.25, null]}"},
    {"{\"a\": \"at {{system}}: {{value}}{{address}}\"}", "{\"a\": \"at birch-lane-12: 5.25\"}"},
    {"{\"a\": \"{{text}}\"}", "{\"a\": \"Say \\\"fan\\\",\\n\\\\ and \\u0001 \xc3\xb1\"}"},
    {"{\"a\": \"\\\"{{system}}\\\\\", \"b\": {{system}}}",
     "{\"a\": \"\\\"birch-lane-12\\\\\", \"b\": \"birch-lane-12\"}"},
    {"[{{check}}]", "[\"switch\\nbreaker\"]"},
    {"{\"a\":{\"b\":{{value}}}}", "{\"a\":{\"b\":5.25}}"},
    {"{}", "{}"},
};

START_TEST(values_come_in_as_json) {
    struct template_values values = some_values();
    char why[200] = "";
    char *body = template_render(good[_i].template_text, &values, why, sizeof why);
    ck_assert_msg(body != NULL, "%s", why);
    ck_assert_str_eq(body, good[_i].body);
    free(body);
    ck_assert(template_check(good[_i].template_text, why, sizeof why));
}
END_TEST

static const struct {
    const char *template_text, *why;
} bad[] = {
    {"{\"a\": {{nobody}}}", "unknown placeholder {{nobody}}"},
    {"{\"a\": {{}}}", "unknown placeholder {{}}"},
    {"{\"a\": {{text}", "a placeholder is opened with {{ and not closed with }}"},
    {"{\"a\": {{text}}", "not JSON once filled in"},
    {"{\"a\": {{text}} 1}", "not JSON once filled in"},
    {"", "not JSON once filled in"},
    {"{{text}}", "not JSON once filled in"}, /* a body is an object or an array */
    {"{\"a\": {{aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa}}}",
     "unknown placeholder {{aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa}}"},
};

START_TEST(a_wrong_template_is_refused_with_a_reason) {
    struct template_values values = some_values();
    char why[200] = "";
    ck_assert_ptr_null(template_render(bad[_i].template_text, &values, why, sizeof why));
    ck_assert_msg(strncmp(why, bad[_i].why, strlen(bad[_i].why)) == 0, "%s", why);
    why[0] = '\0';
    ck_assert(!template_check(bad[_i].template_text, why, sizeof why));
    ck_assert_msg(strncmp(why, bad[_i].why, strlen(bad[_i].why)) == 0, "%s", why);
}
END_TEST

START_TEST(a_template_must_also_hold_when_nothing_is_known) {
    char why[200] = "";
    ck_assert(!template_check("{ {{system}}: 1}", why, sizeof why)); /* null as a name */
    ck_assert(template_check("{ \"x{{system}}\": 1}", why, sizeof why));
}
END_TEST

START_TEST(every_name_is_known_and_found) {
    static const char *const names[] = {"text",      "id",    "type",      "system",   "name",
                                        "address",   "point", "condition", "priority", "state",
                                        "value",     "unit",  "since",     "raised",   "returned",
                                        "diagnosis", "check", "bring",     "contact"};
    ck_assert_int_eq(TEMPLATE_NAME_COUNT, (int)(sizeof names / sizeof names[0]));
    for (int i = 0; i < TEMPLATE_NAME_COUNT; i++) {
        enum template_name found;
        ck_assert(template_name_find(names[i], strlen(names[i]), &found));
        ck_assert_str_eq(template_name_text(found), names[i]);
    }
    enum template_name untouched = TEMPLATE_UNIT;
    ck_assert(!template_name_find("tex", 3, &untouched));
    ck_assert(!template_name_find("texts", 5, &untouched));
    ck_assert_int_eq(untouched, TEMPLATE_UNIT);
}
END_TEST

/* No value, whatever its bytes, can change the shape of the body. */
START_TEST(no_value_breaks_out) {
    struct test_random random = {test_seed() + (uint64_t)_i};
    static const char tricky[] = "\"\\{}[],:\n\r\t\x01{{text}}\xff\xc3\xb1/u0022";
    char text[80], why[200] = "";
    for (size_t i = 0; i + 1 < sizeof text; i++)
        text[i] = tricky[test_random_next(&random) % (sizeof tricky - 1)];
    text[sizeof text - 1] = '\0';
    struct template_values values = {.value = (double)NAN};
    for (int i = 0; i < TEMPLATE_NAME_COUNT; i++)
        values.strings[i] = text;
    char *body = template_render("{\"a\": {{text}}, \"b\": \"x{{name}}y\", \"c\": {{value}}}",
                                 &values, why, sizeof why);
    ck_assert_msg(body != NULL, "%s", why);
    json_t *json = json_loads(body, JSON_REJECT_DUPLICATES, NULL);
    ck_assert_uint_eq(json_object_size(json), 3);
    const char *inside = json_string_value(json_object_get(json, "b"));
    const char *alone = json_string_value(json_object_get(json, "a"));
    ck_assert_uint_eq(strlen(inside), strlen(alone) + 2);
    ck_assert_mem_eq(inside + 1, alone, strlen(alone));
    ck_assert(json_is_null(json_object_get(json, "c")));
    json_decref(json);
    free(body);
}
END_TEST

int main(void) {
    TCase *template = tcase_create("template");
    tcase_add_loop_test(template, values_come_in_as_json, 0, sizeof good / sizeof good[0]);
    tcase_add_loop_test(template, a_wrong_template_is_refused_with_a_reason, 0,
                        sizeof bad / sizeof bad[0]);
    tcase_add_test(template, a_template_must_also_hold_when_nothing_is_known);
    tcase_add_test(template, every_name_is_known_and_found);
    tcase_add_loop_test(template, no_value_breaks_out, 0, 50);
    return run_test_case(template);
}
