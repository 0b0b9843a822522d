/*
 * change_words: what work on a system changed, as a commissioning record and a visit say it in
 * `changed`: a set of words, kept as bits. A table; pure.
 */
#ifndef SETTINGS_CHANGE_WORDS_H
#define SETTINGS_CHANGE_WORDS_H

#include <stdbool.h>

enum change {
    CHANGE_UNSAID = 0, /* the record says nothing of it */
    CHANGE_FAN = 1,
    CHANGE_GROUND = 2,
    CHANGE_PIPING = 4,
    CHANGE_GAUGE = 8,
    CHANGE_MONITOR = 16,
    CHANGE_NOTHING = 32 /* alone: measured anew, and all is as it was */
};
#define CHANGE_REPAIR                                                                              \
    (CHANGE_FAN | CHANGE_GROUND | CHANGE_PIPING) /* radon is another one after                     \
                                                  */

/** The bit of a word; false when there is none. */
bool change_find(const char *word, unsigned *bit);
/** The n-th word, from 0; NULL behind the last. Its bit is 1 << n. */
const char *change_word(unsigned n);
/** May these stand together? Not `nothing` beside others. */
bool change_possible(unsigned changes);

#endif
