/*
 * JSON Pointer against RFC 6901: the table of section 5 (document from memory, results computed
 * with python3-json-pointer 2.3) and the rules of sections 3 and 4 (from memory).
 */
#include "measure/json_pointer.h"

#include "test_support.h"

#include <stdio.h>
#include <string.h>

static const char document[] =
    "{\"foo\":[\"bar\",\"baz\"],\"\":0,\"a/b\":1,\"c%d\":2,\"e^f\":3,\"g|h\":4,\"i\\\\j\":5,"
    "\"k\\\"l\":6,\" \":7,\"m~n\":8}";

static struct json_node *parsed(const char *text) {
    struct json_node *root = NULL;
    ck_assert_int_eq(json_node_parse(text, strlen(text), 32, &root), REFUSAL_NONE);
    return root;
}

START_TEST(numbers_of_rfc_6901_section_5) {
    static const struct {
        const char *pointer;
        double value;
    } cases[] = {{"/", 0},     {"/a~1b", 1}, {"/c%d", 2}, {"/e^f", 3}, {"/g|h", 4},
                 {"/i\\j", 5}, {"/k\"l", 6}, {"/ ", 7},   {"/m~0n", 8}};
    struct json_node *root = parsed(document);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct json_node *node = json_pointer_resolve(root, cases[i].pointer);
        double value = -1;
        ck_assert_msg(node && json_node_number(node, &value), "%s", cases[i].pointer);
        ck_assert_double_eq(value, cases[i].value);
    }
    json_node_destroy(root);
}
END_TEST

START_TEST(other_values_of_rfc_6901_section_5) {
    struct json_node *root = parsed(document);
    ck_assert_ptr_eq(json_pointer_resolve(root, ""), root);
    const struct json_node *foo = json_pointer_resolve(root, "/foo");
    ck_assert_int_eq(json_node_kind(foo), JSON_NODE_ARRAY);
    ck_assert_uint_eq(json_node_count(foo), 2);
    size_t length;
    ck_assert_str_eq(json_node_text(json_pointer_resolve(root, "/foo/0"), &length), "bar");
    ck_assert_uint_eq(length, 3);
    ck_assert_str_eq(json_node_text(json_pointer_resolve(root, "/foo/1"), &length), "baz");
    json_node_destroy(root);
}
END_TEST

START_TEST(tilde_is_unescaped_once) {
    struct json_node *root = parsed("{\"~1\":1,\"/\":2,\"~\":3,\"~01\":4,\"a~/b\":{\"\":5}}");
    static const struct {
        const char *pointer;
        double value;
    } cases[] = {{"/~01", 1}, {"/~1", 2}, {"/~0", 3}, {"/~001", 4}, {"/a~0~1b/", 5}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct json_node *node = json_pointer_resolve(root, cases[i].pointer);
        double value = -1;
        ck_assert_msg(node && json_node_number(node, &value), "%s", cases[i].pointer);
        ck_assert_double_eq(value, cases[i].value);
    }
    json_node_destroy(root);
}
END_TEST

START_TEST(leads_nowhere) {
    static const char *const pointers[] = {
        "/absent",
        "/foo/2",
        "/foo/-",
        "/foo/01",
        "/foo/00",
        "/foo/+1",
        "/foo/-1",
        "/foo/ 1",
        "/foo/",
        "/foo/1e0",
        "/foo/0x1",
        "/foo/0/0",
        "//",
        "/fo",
        "/fooo",
        "/Foo",
        "/m~n",
        "/m~2n",
        "/m~",
        "foo",
        "foo/0",
        "#/foo",
        " ",
        "/a/b",
        "/foo/18446744073709551616",
        "/foo/18446744073709551617",
    };
    struct json_node *root = parsed(document);
    for (size_t i = 0; i < sizeof pointers / sizeof pointers[0]; i++)
        ck_assert_msg(json_pointer_resolve(root, pointers[i]) == NULL, "%s", pointers[i]);
    json_node_destroy(root);
}
END_TEST

START_TEST(into_a_scalar_root) {
    struct json_node *root = parsed("4.5");
    ck_assert_ptr_eq(json_pointer_resolve(root, ""), root);
    ck_assert_ptr_null(json_pointer_resolve(root, "/"));
    ck_assert_ptr_null(json_pointer_resolve(root, "/0"));
    json_node_destroy(root);
}
END_TEST

START_TEST(well_formed_pointers) {
    static const char *const good[] = {"", "/", "/a", "/a/b~0c~1d", "//", "/\xC3\xA4"};
    static const char *const bad[] = {"a", "#", " /a", "/~", "/a~2", "/a~/b", "~0"};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++)
        ck_assert_msg(json_pointer_valid(good[i]), "%s", good[i]);
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        ck_assert_msg(!json_pointer_valid(bad[i]), "%s", bad[i]);
}
END_TEST

/* A name of any printable bytes, escaped as section 3 says, is found again. */
START_TEST(any_name_escaped_is_found) {
    struct test_random random = {test_seed()};
    for (int round = 0; round < 2000; round++) {
        char json[160] = "{\"", pointer[80] = "/";
        size_t used = 2, at = 1;
        for (size_t left = test_random_below(&random, 20); left > 0; left--) {
            char c = "ab~/01 ."[test_random_next(&random) % 8];
            json[used++] = c;
            if (c == '~' || c == '/') {
                pointer[at++] = '~';
                c = c == '~' ? '0' : '1';
            }
            pointer[at++] = c;
        }
        pointer[at] = '\0';
        snprintf(json + used, sizeof json - used, "\":42}");
        struct json_node *root = parsed(json);
        const struct json_node *node = json_pointer_resolve(root, pointer);
        double value = 0;
        ck_assert_msg(node && json_node_number(node, &value), "%s in %s", pointer, json);
        ck_assert_double_eq(value, 42);
        json_node_destroy(root);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("json_pointer");
    tcase_add_test(tcase, numbers_of_rfc_6901_section_5);
    tcase_add_test(tcase, other_values_of_rfc_6901_section_5);
    tcase_add_test(tcase, tilde_is_unescaped_once);
    tcase_add_test(tcase, leads_nowhere);
    tcase_add_test(tcase, into_a_scalar_root);
    tcase_add_test(tcase, well_formed_pointers);
    tcase_add_test(tcase, any_name_escaped_is_found);
    return run_test_case(tcase);
}
