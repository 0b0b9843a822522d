/*
 * json_node against another reader of JSON, the library jansson, and against RFC 8259 (from
 * memory): the same documents are taken, with the same values in them, and the same are refused for
 * the same reason. Documents are those of the table, each cut short everywhere, and many that are
 * changed at random.
 */
#include "measure/json_node.h"

#include "measure/utf8.h"
#include "test_support.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DEPTH = 32, CHANGED = 100000, LONGEST = 400 };

static const char *const documents[] = {
    "{\"value\": 0.62, \"time\": \"2026-03-01T12:00:00Z\"}",
    "[{\"bn\":\"a:b\",\"bt\":1.320067464e+09,\"v\":20},{\"u\":\"%RH\",\"t\":-60,\"v\":20.3}]",
    " { \"a\" : [ 1 , -2.5E-3 , true , false , null , \"x\" , { } , [ ] ] }\r\n\t",
    "{\"a\":1,\"b\":2,\"a\":3,\"c\":{\"a\":[4],\"a\":[5,6]},\"b\":{}}",
    "\"\\\"\\\\\\/\\b\\f\\n\\r\\t\\u0041\\u00e9\\u20AC\\uD834\\uDD1E\\u0000z\"",
    "\"\\uD834\"",
    "\"\\uDD1E\\uD834\"",
    "\"\\uD834\\u0041\"",
    "\"\\uD834\\n\"",
    "\"\\u12g4\"",
    "\"\\x\"",
    "{\"a\\u0000b\":1}",
    "\"\xC3\xA4\xE2\x82\xAC\xF0\x9D\x84\x9E\x7F\"",
    "\"\xC3\"",
    "\"a\tb\"",
    "0",
    "-0",
    "-0.0e-5",
    "00",
    "01",
    "-",
    "+1",
    ".5",
    "5.",
    "5.e1",
    "1e",
    "1e+",
    "1E+2",
    "0e999999",
    "1e308",
    "1e309",
    "-1e309",
    "[1e999,",
    "[1,}1e999",
    "1e-400",
    "4.9406564584124654e-324",
    "9007199254740993",
    "123456789012345678901234567890",
    "0.1000000000000000055511151231257827021181583404541015625",
    "179769313486231580793728971405303415079934132710037826936173778980444968292764750946649017977",
    "truex",
    "[true1]",
    "nul",
    "TRUE",
    "NaN",
    "Infinity",
    "{\"a\":1,}",
    "[1,]",
    "[,1]",
    "{,}",
    "{\"a\"}",
    "{\"a\":}",
    "{a:1}",
    "{1:1}",
    "[1 2]",
    "[1}",
    "{\"a\":1]",
    "]",
    "1 2",
    "{} {}",
    "",
    "  ",
    "\xEF\xBB\xBF{}",
    "[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[1]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]",
    "[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[1]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]",
    "[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[\"[[[\"]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]",
};

/* ---- the same values? ---- */

static void compare(const struct json_node *node, json_t *wanted);

static void compare_members(const struct json_node *node, json_t *wanted) {
    const char *name;
    json_t *value;
    for (const struct json_node *member = json_node_first(node); member;
         member = json_node_next(member))
        ck_assert_ptr_nonnull(json_object_get(wanted, json_node_name(member)));
    json_object_foreach(wanted, name, value) {
        ck_assert_ptr_nonnull(json_node_member(node, name));
        compare(json_node_member(node, name), value);
    }
}

static void compare_items(const struct json_node *node, json_t *wanted) {
    const struct json_node *item = json_node_first(node);
    ck_assert_uint_eq(json_node_count(node), json_array_size(wanted));
    for (size_t i = 0; i < json_array_size(wanted); i++, item = json_node_next(item)) {
        ck_assert_ptr_null(json_node_name(item));
        compare(item, json_array_get(wanted, i));
    }
    ck_assert_ptr_null(item);
}

static void compare(const struct json_node *node, json_t *wanted) {
    static const enum json_node_kind kinds[] = {
        [JSON_OBJECT] = JSON_NODE_OBJECT, [JSON_ARRAY] = JSON_NODE_ARRAY,
        [JSON_STRING] = JSON_NODE_TEXT,   [JSON_INTEGER] = JSON_NODE_NUMBER,
        [JSON_REAL] = JSON_NODE_NUMBER,   [JSON_TRUE] = JSON_NODE_BOOLEAN,
        [JSON_FALSE] = JSON_NODE_BOOLEAN, [JSON_NULL] = JSON_NODE_NULL};
    double number = -1;
    size_t length = 0;
    const char *text = json_node_text(node, &length);
    ck_assert_int_eq(json_node_kind(node), kinds[json_typeof(wanted)]);
    ck_assert_int_eq(json_node_number(node, &number), json_is_number(wanted));
    ck_assert(!json_is_number(wanted) || number == json_number_value(wanted));
    ck_assert_int_eq(text != NULL, json_is_string(wanted));
    if (text) {
        ck_assert_uint_eq(length, json_string_length(wanted));
        ck_assert_int_eq(memcmp(text, json_string_value(wanted), length + 1), 0);
    }
    if (json_is_object(wanted))
        compare_members(node, wanted);
    else if (json_is_array(wanted))
        compare_items(node, wanted);
}

/* ---- the same refusals? ---- */

static int brackets_deep(const char *bytes, size_t length) {
    int depth = 0, deepest = 0;
    bool in_text = false;
    for (size_t i = 0; i < length; i++) {
        in_text ^= bytes[i] == '"';
        if (in_text && bytes[i] == '\\')
            i++;
        else if (!in_text && strchr("[{", bytes[i]))
            depth++;
        else if (!in_text && strchr("]}", bytes[i]) && depth > 0)
            depth--;
        deepest = depth > deepest ? depth : deepest;
    }
    return deepest;
}

static enum refusal wanted_refusal(const char *bytes, size_t length, json_t **wanted) {
    json_error_t error;
    *wanted = NULL;
    if (!utf8_valid(bytes, length))
        return REFUSAL_INVALID_UTF8;
    if (memchr(bytes, '\0', length))
        return REFUSAL_MALFORMED;
    if (brackets_deep(bytes, length) > DEPTH)
        return REFUSAL_TOO_DEEP;
    *wanted = json_loadb(bytes, length, JSON_DECODE_ANY | JSON_DECODE_INT_AS_REAL | JSON_ALLOW_NUL,
                         &error);
    if (*wanted)
        return REFUSAL_NONE;
    return json_error_code(&error) == json_error_numeric_overflow ? REFUSAL_NOT_FINITE
                                                                  : REFUSAL_MALFORMED;
}

/* It looks one word ahead, so that it calls what is malformed before a number beyond double not
 * finite. */
static bool is_same(enum refusal refusal, enum refusal wanted) {
    return refusal == wanted || (refusal == REFUSAL_MALFORMED && wanted == REFUSAL_NOT_FINITE);
}

/* In memory of its own, so that a look beyond its end is seen. */
static void read_both(const char *document, size_t length) {
    struct json_node *root = NULL;
    json_t *wanted;
    char *bytes = malloc(length ? length : 1);
    ck_assert_ptr_nonnull(bytes);
    memcpy(bytes, document, length);
    enum refusal refusal = wanted_refusal(bytes, length, &wanted);
    ck_assert_msg(is_same(json_node_parse(bytes, length, DEPTH, &root), refusal), "%.*s",
                  (int)length, bytes);
    free(bytes); /* the document lives on */
    if (wanted)
        compare(root, wanted);
    json_decref(wanted);
    json_node_destroy(root);
}

START_TEST(beyond_double_is_not_finite) {
    static const char *const beyond[] = {"1e309", "-1e309", "[1e999,", "{\"a\":[2E400]}"};
    struct json_node *root = NULL;
    for (size_t i = 0; i < 4; i++)
        ck_assert_int_eq(json_node_parse(beyond[i], strlen(beyond[i]), DEPTH, &root),
                         REFUSAL_NOT_FINITE);
}
END_TEST

START_TEST(documents_and_their_beginnings) {
    for (size_t i = 0; i < sizeof documents / sizeof documents[0]; i++)
        for (size_t length = 0; length <= strlen(documents[i]); length++)
            read_both(documents[i], length);
}
END_TEST

START_TEST(changed_at_random) {
    static const char marks[] = "{}[]:,\"\\u0019eE+-.tfn \t/DdCc\xC3\xA4\x01";
    struct test_random random = {test_seed()};
    size_t taken = 0;
    for (int i = 0; i < CHANGED; i++) {
        char document[LONGEST];
        size_t which = test_random_below(&random, sizeof documents / sizeof documents[0]);
        size_t length = strlen(strcpy(document, documents[which]));
        for (size_t changes = test_random_below(&random, 4); changes > 0 && length > 0; changes--) {
            size_t at = test_random_below(&random, length);
            size_t other = test_random_below(&random, length - at);
            if (changes % 2)
                document[at] = marks[test_random_below(&random, sizeof marks)];
            else
                memmove(document + at, document + at + other, length - at - other);
            length -= changes % 2 ? 0 : other;
        }
        read_both(document, length);
        struct json_node *root = NULL;
        taken += json_node_parse(document, length, DEPTH, &root) == REFUSAL_NONE;
        json_node_destroy(root);
    }
    ck_assert_uint_gt(taken, CHANGED / 20); /* what is taken is tried too */
}
END_TEST

int main(void) {
    TCase *json = tcase_create("json");
    tcase_set_timeout(json, 60);
    tcase_add_test(json, beyond_double_is_not_finite);
    tcase_add_test(json, documents_and_their_beginnings);
    tcase_add_test(json, changed_at_random);
    return run_test_case(json);
}
