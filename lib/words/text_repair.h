/*
 * text_repair: text from anywhere to valid UTF-8 (RFC 3629). Pure.
 */
#ifndef WORDS_TEXT_REPAIR_H
#define WORDS_TEXT_REPAIR_H

/** A copy in which each byte that is not part of valid UTF-8 is U+FFFD. The caller frees. */
char *text_repair(const char *text);

/** The same on one line: control characters and runs of blanks are one blank, none at the ends. */
char *text_repair_line(const char *text);

#endif
