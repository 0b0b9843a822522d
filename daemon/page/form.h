/*
 * page_form: the fields of a posted form, application/x-www-form-urlencoded (WHATWG URL, 5.1).
 */
#ifndef DAEMON_PAGE_FORM_H
#define DAEMON_PAGE_FORM_H

#include "link/web_server.h"
#include "measure/unit.h"

#include <jansson.h>

#include <stdbool.h>
#include <stddef.h>

#define PAGE_FORM_FIELDS_MAX 320
#define PAGE_FORM_BYTES_MAX (64 * 1024)

struct page_form {
    char bytes[PAGE_FORM_BYTES_MAX + 1];
    struct {
        const char *name, *value; /* into bytes */
    } fields[PAGE_FORM_FIELDS_MAX];
    size_t count;
};

/** Was a request sent from a page of ours? */
bool page_form_from_here(const struct web_request *request);
/** Does it say that it is such a form? */
bool page_form_is(const struct web_request *request);

/** Parses a body; false for one that is too large, has too many fields, a bad percent code, a NUL
 * or a value that is not UTF-8 in it. */
bool page_form_parse(const void *body, size_t length, struct page_form *form);
/** A field, "" when it is missing. */
const char *page_form_value(const struct page_form *form, const char *name);

/** Sets a key of what is made of a form; not where nothing was typed. */
void page_form_set(json_t *json, const char *key, const char *typed);
/** The same of a value; a number alone is in the unit that its label names. */
void page_form_set_value(json_t *json, const char *key, const char *typed, const struct unit *unit);

/** The words (change_words.h) whose boxes "changed-WORD" are ticked. */
json_t *page_form_changes(const struct page_form *form);

#endif
