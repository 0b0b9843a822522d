/*
 * fill: texts of the tables with their placeholders, words in braces, filled in. Pure.
 */
#ifndef WORDS_FILL_H
#define WORDS_FILL_H

#include "words/text_buffer.h"

struct fill_value {
    const char *name, *value; /* borrowed; value NULL: "" */
};

/**
 * Adds `text` with each {name} replaced by its value, made valid UTF-8 on one line; one that begins
 * a sentence or an item gets a capital. A name that is not among the values becomes nothing.
 */
void fill_text(struct text_buffer *out, const char *text, const struct fill_value *values,
               size_t count);

/**
 * Writes `pattern` into `text`, whole or cut, with {a}, {b} … replaced by the values in their
 * order, as they are. There is one for each place; NULL is "".
 */
void fill_places(char *text, size_t size, const char *pattern, const char *const *values);

/** Adds a text from outside, made valid UTF-8 on one line. */
void fill_clean(struct text_buffer *out, const char *text);
/** Adds a text with its first letter a capital, where that is ASCII. */
void fill_capital(struct text_buffer *out, const char *text);

#endif
