/*
 * template: a contact's own JSON body with placeholders, such as {"text": {{text}}}. A placeholder
 * becomes a whole JSON value: a string with its quotes, a number, or null where there is nothing.
 * So it stands where a value stands, never inside quotes, and no value can break out of the body.
 * The result is JSON (RFC 8259), checked. Pure.
 */
#ifndef ALARM_TEMPLATE_H
#define ALARM_TEMPLATE_H

#include "alarm/template_names.h"

#include <stdbool.h>
#include <stddef.h>

/** Indexed by enum template_name. A string may be NULL: null. Borrowed. */
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
