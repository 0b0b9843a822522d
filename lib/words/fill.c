#include "words/fill.h"

#include "words/text_repair.h"

#include <ctype.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void fill_clean(struct text_buffer *out, const char *text) {
    char *line = text_repair_line(text);
    if (line)
        text_buffer_add(out, line);
    else
        out->failed = true;
    free(line);
}

void fill_capital(struct text_buffer *out, const char *text) {
    char first[2] = {(char)toupper((unsigned char)text[0]), '\0'};
    bool ascii = (unsigned char)text[0] < 0x80;
    text_buffer_add(out, ascii ? first : text);
    if (ascii && text[0])
        text_buffer_add(out, text + 1);
}

static const char *value_of(const struct fill_value *values, size_t count, const char *name,
                            size_t length) {
    for (size_t i = 0; i < count; i++)
        if (strlen(values[i].name) == length && memcmp(values[i].name, name, length) == 0)
            return values[i].value ? values[i].value : "";
    return "";
}

/* Does what stands at `at` begin a sentence or an item? */
static bool begins(const char *text, const char *at) {
    return at == text || (at - text >= 2 && (at[-2] == '-' || at[-2] == '.'));
}

void fill_text(struct text_buffer *out, const char *text, const struct fill_value *values,
               size_t count) {
    const char *begin = text, *open;
    while ((open = strchr(text, '{'))) {
        size_t length = strcspn(open + 1, "}");
        text_buffer_add_bytes(out, text, (size_t)(open - text));
        char *value = text_repair_line(value_of(values, count, open + 1, length));
        if (!value)
            out->failed = true;
        else if (begins(begin, open))
            fill_capital(out, value);
        else
            text_buffer_add(out, value);
        free(value);
        text = open + 1 + length + (open[1 + length] == '}');
    }
    text_buffer_add(out, text);
}

void fill_places(char *text, size_t size, const char *pattern, const char *const *values) {
    const char *at = pattern, *open;
    size_t used = 0;
    for (; (open = strchr(at, '{')) && used < size; at = open + 3) {
        const char *value = values[open[1] - 'a'];
        used += (size_t)snprintf(text + used, size - used, "%.*s%s", (int)(open - at), at,
                                 value ? value : "");
    }
    if (used < size)
        snprintf(text + used, size - used, "%s", at);
}
