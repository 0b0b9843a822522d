#include "words/text_buffer.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool reserve(struct text_buffer *buffer, size_t more) {
    size_t needed = buffer->length + more + 1;
    if (needed <= buffer->capacity)
        return !buffer->failed;
    size_t capacity = needed < 256 ? 256 : needed + needed / 2;
    char *longer = buffer->failed ? NULL : realloc(buffer->bytes, capacity);
    if (!longer) {
        buffer->failed = true;
        return false;
    }
    buffer->bytes = longer;
    buffer->capacity = capacity;
    return true;
}

void text_buffer_add_bytes(struct text_buffer *buffer, const char *bytes, size_t length) {
    if (!reserve(buffer, length))
        return;
    memcpy(buffer->bytes + buffer->length, bytes, length);
    buffer->length += length;
    buffer->bytes[buffer->length] = '\0';
}

void text_buffer_add(struct text_buffer *buffer, const char *text) {
    text_buffer_add_bytes(buffer, text, strlen(text));
}

void text_buffer_format(struct text_buffer *buffer, const char *format, ...) {
    va_list arguments, again;
    va_start(arguments, format);
    va_copy(again, arguments);
    int length = vsnprintf(NULL, 0, format, arguments);
    if (length >= 0 && reserve(buffer, (size_t)length)) {
        vsnprintf(buffer->bytes + buffer->length, (size_t)length + 1, format, again);
        buffer->length += (size_t)length;
    }
    va_end(again);
    va_end(arguments);
}

char *text_buffer_take(struct text_buffer *buffer) {
    text_buffer_add_bytes(buffer, "", 0); /* an empty text is a text too */
    char *text = buffer->failed ? NULL : buffer->bytes;
    if (buffer->failed)
        free(buffer->bytes);
    *buffer = (struct text_buffer){0};
    return text;
}

void text_buffer_clear(struct text_buffer *buffer) {
    free(buffer->bytes);
    *buffer = (struct text_buffer){0};
}
