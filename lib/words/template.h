/*
 * template: a contact's own JSON body with placeholders (template_names.h), such as
 * {"text": {{text}}}. Outside quotes a placeholder becomes a whole JSON value: a string with its
 * quotes, a number, or null where there is nothing. Inside a JSON string it becomes the escaped
 * characters alone. Either way no value can break out of the body, and the result is JSON
 * (RFC 8259), checked. Pure.
 */
#ifndef WORDS_TEMPLATE_H
#define WORDS_TEMPLATE_H

#include "words/template_names.h"

#include <stdbool.h>
#include <stddef.h>

/** Indexed by enum template_name; borrowed. NULL: null. Lists are newline-joined. */
struct template_values {
    const char *strings[TEMPLATE_NAME_COUNT];
    double value; /* of TEMPLATE_VALUE; NaN: null */
};

/** Finds a placeholder by the name between the braces; false when there is none. */
bool template_name_find(const char *name, size_t length, enum template_name *found);
const char *template_name_text(enum template_name name);

/** The body; the caller frees. NULL with a sentence in `why` when the template is not right. */
char *template_render(const char *template_text, const struct template_values *values, char *why,
                      size_t why_size);

/** Would it render, whatever the values? Else a sentence in `why`. For checking settings. */
bool template_check(const char *template_text, char *why, size_t why_size);

#endif
