/*
 * json_pointer: one place in a JSON document, "/pressure/inwc" (RFC 6901). Pure; no allocation.
 */
#ifndef MEASURE_JSON_POINTER_H
#define MEASURE_JSON_POINTER_H

#include "measure/json_node.h"

#include <stdbool.h>

/** Well formed: empty, or beginning with "/", and each "~" followed by 0 or 1 (RFC 6901 section 3).
 */
bool json_pointer_valid(const char *pointer);

/**
 * The value a pointer leads to, borrowed from root; root itself for "". NULL when it leads nowhere
 * or is not well formed. "-" and an index with leading zeros never lead anywhere (section 4).
 */
const struct json_node *json_pointer_resolve(const struct json_node *root, const char *pointer);

#endif
