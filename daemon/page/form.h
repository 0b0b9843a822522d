/*
 * page_form: the fields of a posted form, application/x-www-form-urlencoded (WHATWG URL, 5.1).
 */
#ifndef DAEMON_PAGE_FORM_H
#define DAEMON_PAGE_FORM_H

#include <stdbool.h>
#include <stddef.h>

#define PAGE_FORM_FIELDS_MAX 64
#define PAGE_FORM_BYTES_MAX (16 * 1024)

struct page_form {
    char bytes[PAGE_FORM_BYTES_MAX + 1];
    struct {
        const char *name, *value; /* into bytes */
    } fields[PAGE_FORM_FIELDS_MAX];
    size_t count;
};

/** Parses a body; false for one that is too large, has too many fields, a bad percent code or a NUL
 * in it. */
bool page_form_parse(const void *body, size_t length, struct page_form *form);
/** A field, "" when it is missing. */
const char *page_form_value(const struct page_form *form, const char *name);

#endif
