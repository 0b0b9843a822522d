/*
 * Tokens are compared as they are unescaped, one byte at a time, so there is no buffer and no limit
 * on their length, and "~01" can't be unescaped twice.
 */
#include "measure/json_pointer.h"

#include <string.h>

bool json_pointer_valid(const char *pointer) {
    if (*pointer != '\0' && *pointer != '/')
        return false;
    for (; *pointer; pointer++)
        if (*pointer == '~' && pointer[1] != '0' && pointer[1] != '1')
            return false;
    return true;
}

static bool token_is(const char *token, size_t length, const char *name) {
    for (size_t i = 0; i < length; i++, name++) {
        char c = token[i];
        if (c == '~')
            c = token[++i] == '1' ? '/' : '~';
        if (*name != c) /* the end of name differs from every byte of a token */
            return false;
    }
    return *name == '\0';
}

static const struct json_node *object_step(const struct json_node *object, const char *token,
                                           size_t length) {
    void *cursor = NULL;
    const char *name;
    const struct json_node *member;
    while ((member = json_node_next_member(object, &cursor, &name)) != NULL)
        if (token_is(token, length, name))
            return member;
    return NULL;
}

static const struct json_node *array_step(const struct json_node *array, const char *token,
                                          size_t length) {
    if (length == 0 || (length > 1 && token[0] == '0'))
        return NULL;
    size_t index = 0, count = json_node_count(array);
    for (size_t i = 0; i < length; i++) {
        if (token[i] < '0' || token[i] > '9')
            return NULL;
        index = index * 10 + (size_t)(token[i] - '0');
        if (index >= count) /* also keeps a long row of digits from overflowing */
            return NULL;
    }
    return json_node_item(array, index);
}

const struct json_node *json_pointer_resolve(const struct json_node *root, const char *pointer) {
    if (!json_pointer_valid(pointer))
        return NULL;
    const struct json_node *node = root;
    while (node && *pointer == '/') {
        const char *token = ++pointer;
        size_t length = strcspn(token, "/");
        pointer += length;
        enum json_node_kind kind = json_node_kind(node);
        if (kind == JSON_NODE_OBJECT)
            node = object_step(node, token, length);
        else if (kind == JSON_NODE_ARRAY)
            node = array_step(node, token, length);
        else
            node = NULL;
    }
    return node;
}
