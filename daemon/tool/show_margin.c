#include "tool/show_margin.h"

#include "tool/text.h"

#include <stdlib.h>
#include <string.h>

enum { MARGIN = sizeof SHOW_INDENT - 1 };

/* Filled up to the margin's width; what is longer keeps a blank behind it. */
static char *label_text(char room[SHOW_LABEL_SIZE], const char *before, const char *text) {
    size_t width = strlen(before) + ctl_text_width(text);
    int blanks = width < MARGIN ? (int)(MARGIN - width) : 1;
    snprintf(room, SHOW_LABEL_SIZE, "%s%.60s%*s", before, text, blanks, "");
    return room;
}

char *show_label(char room[SHOW_LABEL_SIZE], const struct ctl *ctl, enum page_text label) {
    return label_text(room, "  ", label == PAGE_TEXT_COUNT ? "" : ctl_words(ctl, label));
}

char *show_edge(char room[SHOW_LABEL_SIZE], const struct ctl *ctl, enum page_text label) {
    return label_text(room, "", ctl_words(ctl, label));
}

void show_say(FILE *to, const struct ctl *ctl, enum page_text label, enum page_text text, ...) {
    char room[SHOW_LABEL_SIZE];
    va_list values;
    va_start(values, text);
    char *filled = ctl_filled_list(ctl, text, values);
    va_end(values);
    ctl_text_say(to, show_label(room, ctl, label), SHOW_INDENT, "%s", filled ? filled : "");
    free(filled);
}
