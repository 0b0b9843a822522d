#include "measure/utf8.h"

/* One row of table 3-7: a range of lead bytes, the range of the second byte, how many follow. */
static const struct {
    unsigned char lead_low, lead_high, second_low, second_high, following;
} sequences[] = {
    {0xC2, 0xDF, 0x80, 0xBF, 1}, {0xE0, 0xE0, 0xA0, 0xBF, 2}, {0xE1, 0xEC, 0x80, 0xBF, 2},
    {0xED, 0xED, 0x80, 0x9F, 2}, {0xEE, 0xEF, 0x80, 0xBF, 2}, {0xF0, 0xF0, 0x90, 0xBF, 3},
    {0xF1, 0xF3, 0x80, 0xBF, 3}, {0xF4, 0xF4, 0x80, 0x8F, 3},
};

/* Length of the well-formed sequence of more than one byte at text, or 0. Looks no further than the
   first byte that is wrong. */
static size_t sequence_length(const unsigned char *text, size_t left) {
    for (size_t row = 0; row < sizeof sequences / sizeof sequences[0]; row++) {
        if (text[0] < sequences[row].lead_low || text[0] > sequences[row].lead_high)
            continue;
        size_t following = sequences[row].following;
        if (left <= following || text[1] < sequences[row].second_low ||
            text[1] > sequences[row].second_high)
            return 0;
        for (size_t i = 2; i <= following; i++)
            if ((text[i] & 0xC0) != 0x80)
                return 0;
        return following + 1;
    }
    return 0;
}

bool utf8_valid(const void *bytes, size_t length) {
    const unsigned char *text = bytes;
    for (size_t i = 0; i < length;) {
        size_t step = text[i] < 0x80 ? 1 : sequence_length(text + i, length - i);
        if (step == 0)
            return false;
        i += step;
    }
    return true;
}

size_t utf8_character(const char *text) {
    if ((unsigned char)*text < 0x80)
        return *text != '\0';
    return sequence_length((const unsigned char *)text, 4); /* a null byte is wrong in all places */
}
