/*
 * ctl_words: what the tool says, in the language of its reader (words/page_texts.h). Help and
 * errors are in English: those who look for their cause find the same words in manual and log.
 */
#ifndef DAEMON_TOOL_WORDS_H
#define DAEMON_TOOL_WORDS_H

#include "tool/ctl.h"
#include "words/evidence.h"
#include "words/page_texts.h"

#include <jansson.h>
#include <stdarg.h>
#include <stddef.h>

/** A text; borrowed for good. */
const char *ctl_words(const struct ctl *ctl, enum page_text text);
/** The same of a text that the daemon made in English (page_text_of). */
const char *ctl_words_of(const struct ctl *ctl, const char *english);

/** A word of the contract and what people are told of it. */
struct ctl_word {
    const char *word;
    enum page_text text;
};
/** What people are told of it; the word itself when it is in no row. */
const char *ctl_word_text(const struct ctl *ctl, const struct ctl_word *table, size_t count,
                          const char *word);

/** A condition, a quantity, a cause with room for its words: in English their words, as in the
 * settings; what people call them elsewhere. */
const char *ctl_condition(const struct ctl *ctl, const char *word);
const char *ctl_quantity(const struct ctl *ctl, const char *word);
const char *ctl_cause(char room[EVIDENCE_CLAIM_BYTES], const struct ctl *ctl, const char *word);

/** A text with {a}, {b} … filled by what follows, ended by NULL. The caller frees. */
char *ctl_filled(const struct ctl *ctl, enum page_text text, ...) __attribute__((sentinel));
char *ctl_filled_list(const struct ctl *ctl, enum page_text text, va_list values);
/** Prints it as one line. */
void ctl_tell(const struct ctl *ctl, enum page_text text, ...) __attribute__((sentinel));
/** Prints it as a paragraph of the terminal's width; lines behind the first begin with `indent`. */
void ctl_tell_all(const struct ctl *ctl, const char *indent, enum page_text text, ...)
    __attribute__((sentinel));
/** Does an answer to a question that ends in [y/N] begin with the letter of yes? */
bool ctl_is_yes(const struct ctl *ctl, const char *answer);
/** How many, as text that lives as long as the block. */
#define CTL_COUNT(number) ctl_count_text((char[24]){""}, (long long)(number))
char *ctl_count_text(char text[24], long long number);

#endif
