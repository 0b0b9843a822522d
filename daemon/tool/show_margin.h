/*
 * show_margin: lines of `show`, each behind a label in the margin.
 */
#ifndef DAEMON_TOOL_SHOW_MARGIN_H
#define DAEMON_TOOL_SHOW_MARGIN_H

#include "tool/words.h"

#include <stdio.h>

/** As wide as the margin; text goes on behind it. */
#define SHOW_INDENT "           "
#define SHOW_LABEL_SIZE 80

/** "  now      ": the label of a line; PAGE_TEXT_COUNT: a blank margin. Returns room. */
char *show_label(char room[SHOW_LABEL_SIZE], const struct ctl *ctl, enum page_text label);
/** "status     ": one that stands at the edge. */
char *show_edge(char room[SHOW_LABEL_SIZE], const struct ctl *ctl, enum page_text label);

/** A text as of ctl_filled, as a paragraph behind its label. */
void show_say(FILE *to, const struct ctl *ctl, enum page_text label, enum page_text text, ...)
    __attribute__((sentinel));

#endif
