/*
 * show_words: sentences of `show` in the language of its reader (words/page_texts.h), each behind a
 * label in the margin.
 */
#ifndef DAEMON_TOOL_SHOW_WORDS_H
#define DAEMON_TOOL_SHOW_WORDS_H

#include "tool/ctl.h"
#include "words/page_texts.h"

#include <stdio.h>

/** As wide as the margin; text goes on behind it. */
#define SHOW_INDENT "           "
#define SHOW_LABEL_SIZE 80

/** A text; borrowed for good. */
const char *show_words(const struct ctl *ctl, enum page_text text);
/** The same of a text that the daemon made in English (page_text_of). */
const char *show_words_of(const struct ctl *ctl, const char *english);

/** "  now      ": the label of a line; PAGE_TEXT_COUNT: a blank margin. Returns room. */
char *show_label(char room[SHOW_LABEL_SIZE], const struct ctl *ctl, enum page_text label);
/** "status     ": one that stands at the edge. */
char *show_edge(char room[SHOW_LABEL_SIZE], const struct ctl *ctl, enum page_text label);

/** A text with {a}, {b} … filled by what follows, ended by NULL. The caller frees. */
char *show_filled(const struct ctl *ctl, enum page_text text, ...) __attribute__((sentinel));
/** The same as a paragraph behind its label. */
void show_say(FILE *to, const struct ctl *ctl, enum page_text label, enum page_text text, ...)
    __attribute__((sentinel));

#endif
