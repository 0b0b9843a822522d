/*
 * The only file that knows jansson. A node is a json_t under another name.
 */
#include "measure/json_node.h"

#include "measure/utf8.h"

#include <jansson.h>
#include <string.h>

static json_t *library(const struct json_node *node) {
    return (json_t *)node;
}

static const struct json_node *own(const json_t *json) {
    return (const struct json_node *)json;
}

/* Counts brackets outside texts. Only an upper bound is needed: what is not JSON fails later. */
static bool deeper_than(const char *bytes, size_t length, size_t depth_max) {
    size_t depth = 0;
    bool in_text = false;
    for (size_t i = 0; i < length; i++) {
        char c = bytes[i];
        if (in_text) {
            if (c == '\\')
                i++;
            else if (c == '"')
                in_text = false;
        } else if (c == '"') {
            in_text = true;
        } else if (c == '[' || c == '{') {
            if (++depth > depth_max)
                return true;
        } else if ((c == ']' || c == '}') && depth > 0) {
            depth--;
        }
    }
    return false;
}

static enum refusal refusal_of(const json_error_t *error) {
    switch (json_error_code(error)) {
    case json_error_numeric_overflow:
        return REFUSAL_NOT_FINITE;
    case json_error_stack_overflow:
        return REFUSAL_TOO_DEEP;
    case json_error_invalid_utf8:
        return REFUSAL_INVALID_UTF8;
    default:
        return REFUSAL_MALFORMED;
    }
}

enum refusal json_node_parse(const char *bytes, size_t length, size_t depth_max,
                             struct json_node **root) {
    if (!utf8_valid(bytes, length))
        return REFUSAL_INVALID_UTF8;
    if (length > 0 && memchr(bytes, '\0', length)) /* the library skips one behind a number */
        return REFUSAL_MALFORMED;
    if (deeper_than(bytes, length, depth_max))
        return REFUSAL_TOO_DEEP;
    json_error_t error;
    json_t *json = json_loadb(bytes, length,
                              JSON_DECODE_ANY | JSON_DECODE_INT_AS_REAL | JSON_ALLOW_NUL, &error);
    if (!json)
        return refusal_of(&error);
    *root = (struct json_node *)json;
    return REFUSAL_NONE;
}

void json_node_destroy(struct json_node *root) {
    json_decref(library(root));
}

enum json_node_kind json_node_kind(const struct json_node *node) {
    switch (json_typeof(library(node))) {
    case JSON_OBJECT:
        return JSON_NODE_OBJECT;
    case JSON_ARRAY:
        return JSON_NODE_ARRAY;
    case JSON_INTEGER:
    case JSON_REAL:
        return JSON_NODE_NUMBER;
    case JSON_STRING:
        return JSON_NODE_TEXT;
    case JSON_TRUE:
    case JSON_FALSE:
        return JSON_NODE_BOOLEAN;
    default:
        return JSON_NODE_NULL;
    }
}

bool json_node_number(const struct json_node *node, double *value) {
    if (!json_is_number(library(node)))
        return false;
    *value = json_number_value(library(node));
    return true;
}

const char *json_node_text(const struct json_node *node, size_t *length) {
    const char *text = json_string_value(library(node));
    if (text)
        *length = json_string_length(library(node));
    return text;
}

size_t json_node_count(const struct json_node *node) {
    return json_is_array(library(node)) ? json_array_size(library(node))
                                        : json_object_size(library(node));
}

const struct json_node *json_node_item(const struct json_node *node, size_t index) {
    return own(json_array_get(library(node), index));
}

const struct json_node *json_node_member(const struct json_node *node, const char *name) {
    return own(json_object_get(library(node), name));
}

const struct json_node *json_node_next_member(const struct json_node *node, void **cursor,
                                              const char **name) {
    *cursor =
        *cursor ? json_object_iter_next(library(node), *cursor) : json_object_iter(library(node));
    if (!*cursor)
        return NULL;
    *name = json_object_iter_key(*cursor);
    return own(json_object_iter_value(*cursor));
}
