/*
 * json_node: a parsed JSON document (RFC 8259) to read from. Hides the JSON library.
 *
 * Numbers are double whatever their spelling, so an integer beyond 64 bit is a number too. Of
 * members with the same name the last one counts. Nesting and size are bounded before the library
 * sees the text, so its recursion and its memory (about 100 times the text at worst) are too.
 */
#ifndef MEASURE_JSON_NODE_H
#define MEASURE_JSON_NODE_H

#include "measure/refusal.h"

#include <stdbool.h>
#include <stddef.h>

struct json_node; /* any value of a document; borrowed from its root */

enum json_node_kind {
    JSON_NODE_OBJECT,
    JSON_NODE_ARRAY,
    JSON_NODE_NUMBER,
    JSON_NODE_TEXT,
    JSON_NODE_BOOLEAN,
    JSON_NODE_NULL
};

/**
 * Parses one document of at most `length` bytes; any value may be the root. Not more than
 * `depth_max` objects and arrays may be inside each other. Sets *root (the caller destroys it) only
 * on REFUSAL_NONE; else REFUSAL_INVALID_UTF8, REFUSAL_TOO_DEEP, REFUSAL_NOT_FINITE (a number beyond
 * double anywhere in it) or REFUSAL_MALFORMED.
 */
enum refusal json_node_parse(const char *bytes, size_t length, size_t depth_max,
                             struct json_node **root);

/** Frees a root and everything borrowed from it. NULL does nothing. */
void json_node_destroy(struct json_node *root);

enum json_node_kind json_node_kind(const struct json_node *node);

/** The value of a number; false (result untouched) for any other kind. */
bool json_node_number(const struct json_node *node, double *value);

/** The bytes of a text, which may hold null bytes; NULL for any other kind. */
const char *json_node_text(const struct json_node *node, size_t *length);

/** Items of an array or members of an object; 0 for any other kind. */
size_t json_node_count(const struct json_node *node);

/** An item of an array, or NULL. */
const struct json_node *json_node_item(const struct json_node *node, size_t index);

/** A member of an object by its name, or NULL. */
const struct json_node *json_node_member(const struct json_node *node, const char *name);

/**
 * Steps through an object's members: start with *cursor NULL. Sets *name (null-terminated, without
 * null bytes inside) and returns the member, or NULL after the last one.
 */
const struct json_node *json_node_next_member(const struct json_node *node, void **cursor,
                                              const char **name);

#endif
