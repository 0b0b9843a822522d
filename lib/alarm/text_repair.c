#include "alarm/text_repair.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* Length of the valid sequence at `bytes`, 0 when there is none. RFC 3629: no overlong form, no
   surrogate, nothing above U+10FFFF. A null byte ends every sequence, so it reads no further. */
static size_t sequence_length(const unsigned char *bytes) {
    static const uint32_t least[] = {0, 0, 0x80, 0x800, 0x10000};
    size_t length = bytes[0] < 0x80             ? 1
                    : (bytes[0] & 0xE0) == 0xC0 ? 2
                    : (bytes[0] & 0xF0) == 0xE0 ? 3
                    : (bytes[0] & 0xF8) == 0xF0 ? 4
                                                : 0;
    if (length <= 1)
        return length;
    uint32_t code = bytes[0] & (0x7Fu >> length);
    for (size_t i = 1; i < length; i++) {
        if ((bytes[i] & 0xC0) != 0x80)
            return 0;
        code = code << 6 | (bytes[i] & 0x3F);
    }
    if (code < least[length] || code > 0x10FFFF || (code >= 0xD800 && code < 0xE000))
        return 0;
    return length;
}

char *text_repair(const char *text) {
    char *repaired = malloc(3 * strlen(text) + 1), *end = repaired;
    if (!repaired)
        return NULL;
    while (*text) {
        size_t length = sequence_length((const unsigned char *)text);
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
