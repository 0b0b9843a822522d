/*
 * json_node: a parsed JSON document (RFC 8259) to read from.
 *
 * Numbers are double whatever their spelling, so an integer beyond 64 bit is a number too. Nesting
 * is bounded, so recursion is; memory is at most some 60 times the text.
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

/** The first item or member, and the one that follows; NULL: there is none. */
const struct json_node *json_node_first(const struct json_node *node);
const struct json_node *json_node_next(const struct json_node *node);

/** The name of a member, without null bytes inside; NULL for what is none. */
const char *json_node_name(const struct json_node *member);

/** A member of an object by its name, or NULL. Of members with the same name the last one counts.
 */
const struct json_node *json_node_member(const struct json_node *node, const char *name);

#endif
