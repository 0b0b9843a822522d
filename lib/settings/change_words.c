#include "settings/change_words.h"

#include <stddef.h>
#include <string.h>

static const char *const words[] = {"fan", "ground", "piping", "gauge", "monitor", "nothing"};

const char *change_word(unsigned n) {
    return n < sizeof words / sizeof words[0] ? words[n] : NULL;
}

bool change_find(const char *word, unsigned *bit) {
    for (unsigned n = 0; change_word(n); n++) {
        if (strcmp(word, change_word(n)) == 0) {
            *bit = 1U << n;
            return true;
        }
    }
    return false;
}

bool change_possible(unsigned changes) {
    return !(changes & CHANGE_NOTHING) || changes == CHANGE_NOTHING;
}
