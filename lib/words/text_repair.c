#include "words/text_repair.h"

#include "measure/utf8.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

char *text_repair(const char *text) {
    char *repaired = malloc(3 * strlen(text) + 1), *end = repaired;
    if (!repaired)
        return NULL;
    while (*text) {
        size_t length = utf8_character(text);
        if (length > 0) {
            memcpy(end, text, length);
            end += length;
            text += length;
        } else {
            memcpy(end, "\xEF\xBF\xBD", 3);
            end += 3;
            text++;
        }
    }
    *end = '\0';
    return repaired;
}

char *text_repair_line(const char *text) {
    char *copy = text_repair(text);
    if (!copy)
        return NULL;
    char *to = copy;
    for (const char *from = copy; *from; from++) {
        bool blank = (unsigned char)*from <= 0x20 || *from == 0x7f;
        if (!blank)
            *to++ = *from;
        else if (to > copy && to[-1] != ' ')
            *to++ = ' ';
    }
    while (to > copy && to[-1] == ' ')
        to--;
    *to = '\0';
    return copy;
}
