/*
 * text_buffer: text that grows. Memory trouble is remembered and told once, at the end. Pure.
 */
#ifndef WORDS_TEXT_BUFFER_H
#define WORDS_TEXT_BUFFER_H

#include <stdbool.h>
#include <stddef.h>

/** Starts as {0}. */
struct text_buffer {
    char *bytes;
    size_t length, capacity;
    bool failed;
};

void text_buffer_add(struct text_buffer *buffer, const char *text);
void text_buffer_add_bytes(struct text_buffer *buffer, const char *bytes, size_t length);
/** printf-style. */
void text_buffer_format(struct text_buffer *buffer, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/** The text, taken out of the buffer; the caller frees. NULL when memory ran out on the way. */
char *text_buffer_take(struct text_buffer *buffer);
/** Frees what is in it. */
void text_buffer_clear(struct text_buffer *buffer);

#endif
