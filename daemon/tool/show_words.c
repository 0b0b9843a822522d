#include "tool/show_words.h"

#include "tool/text.h"
#include "words/text_buffer.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

enum { MARGIN = sizeof SHOW_INDENT - 1, VALUES_MOST = 8 };

const char *show_words(const struct ctl *ctl, enum page_text text) {
    return page_text(ctl->language, text);
}

const char *show_words_of(const struct ctl *ctl, const char *english) {
    return page_text_of(ctl->language, english);
}

/* Filled up to the margin's width; what is longer keeps a blank behind it. */
static char *label_text(char room[SHOW_LABEL_SIZE], const char *before, const char *text) {
    size_t width = strlen(before) + ctl_text_width(text);
    int blanks = width < MARGIN ? (int)(MARGIN - width) : 1;
    snprintf(room, SHOW_LABEL_SIZE, "%s%.60s%*s", before, text, blanks, "");
    return room;
}

char *show_label(char room[SHOW_LABEL_SIZE], const struct ctl *ctl, enum page_text label) {
    return label_text(room, "  ", label == PAGE_TEXT_COUNT ? "" : show_words(ctl, label));
}

char *show_edge(char room[SHOW_LABEL_SIZE], const struct ctl *ctl, enum page_text label) {
    return label_text(room, "", show_words(ctl, label));
}

static char *fill(const struct ctl *ctl, enum page_text text, va_list values) {
    const char *given[VALUES_MOST], *at = show_words(ctl, text), *open;
    struct text_buffer out = {0};
    size_t count = 0;
    while (count < VALUES_MOST && (given[count] = va_arg(values, const char *)))
        count++;
    for (; (open = strchr(at, '{')); at = open + 3) {
        size_t place = (size_t)(open[1] - 'a');
        text_buffer_add_bytes(&out, at, (size_t)(open - at));
        text_buffer_add(&out, place < count ? given[place] : "");
    }
    text_buffer_add(&out, at);
    return text_buffer_take(&out);
}

char *show_filled(const struct ctl *ctl, enum page_text text, ...) {
    va_list values;
    va_start(values, text);
    char *filled = fill(ctl, text, values);
    va_end(values);
    return filled;
}

void show_say(FILE *to, const struct ctl *ctl, enum page_text label, enum page_text text, ...) {
    char room[SHOW_LABEL_SIZE];
    va_list values;
    va_start(values, text);
    char *filled = fill(ctl, text, values);
    va_end(values);
    ctl_text_say(to, show_label(room, ctl, label), SHOW_INDENT, "%s", filled ? filled : "");
    free(filled);
}
