/*
 * ctl_text: text from outside on a terminal: nothing that a terminal would obey, and its width in
 * columns. UTF-8 throughout; widths by Unicode (East Asian Width, combining marks), not by locale.
 */
#ifndef DAEMON_TOOL_TEXT_H
#define DAEMON_TOOL_TEXT_H

#include <stddef.h>
#include <stdio.h>

/** Columns of the terminal: of standard output, else the variable COLUMNS, else 80. At least 40. */
size_t ctl_text_columns(void);

/**
 * A copy that is safe to print: tabs and line breaks become blanks; control characters, marks that
 * turn the direction of writing, and bytes that are no UTF-8 become U+FFFD. The caller frees; NULL
 * when out of memory.
 */
char *ctl_text_clean(const char *text);

/** Prints it as one line, however long. */
void ctl_text_put(FILE *to, const char *text);

/** Columns that clean text takes. */
size_t ctl_text_width(const char *text);

/**
 * How many bytes of clean text fit in `columns` as one line, broken at a blank where
 * there is one. At least one character. Sets *next to where the following line begins.
 */
size_t ctl_text_line(const char *text, size_t columns, size_t *next);

/** Prints text in the terminal's columns, at most 100 for those who read; `indent` stands before
 * every line. Line breaks in it are kept. */
void ctl_text_print(FILE *to, const char *indent, const char *text);
/** The same with another start of the first line, as wide as it likes. */
void ctl_text_print_item(FILE *to, const char *first, const char *indent, const char *text);
/** A paragraph as of printf, made safe to print. */
void ctl_text_say(FILE *to, const char *first, const char *indent, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

#endif
