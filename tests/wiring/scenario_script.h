/*
 * scenario_script: the lines of a scenario. One line is one command of words separated by blanks;
 * "double" and 'single' quotes make one word of several; "#" begins a comment; lines indented below
 * a line that ends in ":" are its block, handed over as they stand without their common
 * indentation.
 *
 * A time is RFC 3339, or +SPAN since the last `mark`: "+6 h", "+1 d 30 min".
 */
#ifndef SCENARIO_SCRIPT_H
#define SCENARIO_SCRIPT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { SCRIPT_WORDS = 64 };

struct script {
    const char *file;
    char *text; /* owned, cut into lines */
    char *rest; /* where the next line begins; NULL: none */
    int line;   /* of the command at hand, from 1 */
    int next_line;
    int64_t mark_ms;
    char *words[SCRIPT_WORDS];
    size_t count, at; /* at: the next word not yet read */
    char *block;      /* owned; NULL: none */
};

/** Takes over nothing; `text` is copied. */
void script_open(struct script *script, const char *file, const char *text);
void script_close(struct script *script);

/** The next command into words; false at the end. */
bool script_next(struct script *script);

/** Fails the test with FILE:LINE and what is wrong. */
__attribute__((format(printf, 2, 3), noreturn)) void script_fail(const struct script *script,
                                                                 const char *format, ...);

/** The next word, or fails saying that `what` is missing. */
const char *script_word(struct script *script, const char *what);
/** Takes the next word if it is this one. */
bool script_accept(struct script *script, const char *word);
/** Is there another word? */
bool script_more(const struct script *script);
double script_number(struct script *script, const char *what);
int64_t script_span(struct script *script, const char *what);
int64_t script_time(struct script *script, const char *what);
/** The remaining words joined by blanks; owned by the caller. */
char *script_rest(struct script *script);

#endif
