#include "tool/text.h"

#include "measure/utf8.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { USUAL_COLUMNS = 80, LEAST_COLUMNS = 40, READABLE_COLUMNS = 100 };

static const char replacement[] = "\xEF\xBF\xBD"; /* U+FFFD */

struct character_range {
    uint32_t first, last;
};

/* Unicode 15: categories Mn and Me of the scripts people write names in, and joiners. */
static const struct character_range zero_width[] = {
    {0x0300, 0x036F}, {0x0483, 0x0489}, {0x0591, 0x05BD}, {0x0610, 0x061A},   {0x064B, 0x065F},
    {0x0900, 0x0902}, {0x093C, 0x093C}, {0x0941, 0x0948}, {0x0E31, 0x0E31},   {0x0E34, 0x0E3A},
    {0x0E47, 0x0E4E}, {0x1AB0, 0x1AFF}, {0x1DC0, 0x1DFF}, {0x200B, 0x200D},   {0x20D0, 0x20FF},
    {0x302A, 0x302D}, {0xFE00, 0xFE0F}, {0xFE20, 0xFE2F}, {0xE0100, 0xE01EF},
};

/* EastAsianWidth.txt, W and F, in whole blocks; pictures are shown wide. */
static const struct character_range wide[] = {
    {0x1100, 0x115F},   {0x231A, 0x231B},   {0x2E80, 0x303E},   {0x3041, 0x33FF},
    {0x3400, 0x4DBF},   {0x4E00, 0x9FFF},   {0xA000, 0xA4CF},   {0xA960, 0xA97F},
    {0xAC00, 0xD7A3},   {0xF900, 0xFAFF},   {0xFE30, 0xFE6F},   {0xFF01, 0xFF60},
    {0xFFE0, 0xFFE6},   {0x1F300, 0x1F64F}, {0x1F680, 0x1F6FF}, {0x1F900, 0x1F9FF},
    {0x20000, 0x3FFFD},
};

/* What a terminal obeys or what makes text read other than it is (UAX #9 controls). */
static const struct character_range unsafe[] = {
    {0x00, 0x1F},     {0x7F, 0x9F},     {0x061C, 0x061C}, {0x200E, 0x200F},
    {0x2028, 0x202E}, {0x2066, 0x2069}, {0xFEFF, 0xFEFF},
};

#define IN(ranges, code) in_ranges(ranges, sizeof(ranges) / sizeof(ranges)[0], code)

static bool in_ranges(const struct character_range *ranges, size_t count, uint32_t code) {
    for (size_t i = 0; i < count; i++) {
        if (code >= ranges[i].first && code <= ranges[i].last)
            return true;
    }
    return false;
}

/* Length of the character at `text`, 0 when it is not UTF-8. Sets *code. */
static size_t decode(const char *text, uint32_t *code) {
    const unsigned char *byte = (const unsigned char *)text;
    size_t length = utf8_character(text);
    if (length == 0)
        return 0;
    *code = length == 1 ? byte[0] : byte[0] & (0xFFU >> (length + 1));
    for (size_t i = 1; i < length; i++)
        *code = *code << 6 | (byte[i] & 0x3FU);
    return length;
}

char *ctl_text_clean(const char *text) {
    size_t used = 0;
    char *clean = malloc(3 * strlen(text) + 1);
    if (!clean)
        return NULL;
    while (*text) {
        uint32_t code = 0;
        size_t length = decode(text, &code);
        const char *put = text;
        size_t put_length = length;
        if (*text == '\n' || *text == '\t') {
            put = " ";
        } else if (length == 0 || IN(unsafe, code)) {
            put = replacement;
            put_length = sizeof replacement - 1;
        }
        memcpy(clean + used, put, put_length);
        used += put_length;
        text += length ? length : 1;
    }
    clean[used] = '\0';
    return clean;
}

void ctl_text_put(FILE *to, const char *text) {
    char *clean = ctl_text_clean(text);
    fprintf(to, "%s\n", clean ? clean : "");
    free(clean);
}

static size_t code_width(uint32_t code) {
    return IN(zero_width, code) ? 0 : IN(wide, code) ? 2 : 1;
}

size_t ctl_text_columns(void) {
    struct winsize size = {0};
    const char *told = getenv("COLUMNS");
    unsigned long columns = told ? strtoul(told, NULL, 10) : USUAL_COLUMNS;
    if (isatty(STDOUT_FILENO) && ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0)
        columns = size.ws_col;
    return columns < LEAST_COLUMNS ? LEAST_COLUMNS : columns < 1000 ? columns : 1000;
}

size_t ctl_text_width(const char *text) {
    size_t width = 0;
    while (*text) {
        uint32_t code = 0;
        size_t length = decode(text, &code);
        width += length ? code_width(code) : 1;
        text += length ? length : 1;
    }
    return width;
}

size_t ctl_text_line(const char *text, size_t columns, size_t *next) {
    size_t at = 0, width = 0, good = 0, good_next = 0;
    while (text[at] && text[at] != '\n') {
        uint32_t code = 0;
        size_t length = decode(text + at, &code);
        size_t more = length ? code_width(code) : 1;
        length = length ? length : 1;
        if (text[at] == ' ' && at > 0) {
            good = at;
            good_next = at + 1;
        }
        if (width + more > columns && at > 0)
            break;
        width += more;
        at += length;
    }
    if (!text[at] || text[at] == '\n') {
        *next = at + (text[at] == '\n');
        return at;
    }
    *next = good ? good_next : at;
    return good ? good : at;
}

void ctl_text_print_item(FILE *to, const char *first, const char *indent, const char *text) {
    size_t width = ctl_text_columns();
    if (width > READABLE_COLUMNS)
        width = READABLE_COLUMNS;
    const char *start = first;
    do {
        size_t taken = ctl_text_width(start), next = 0;
        size_t columns = taken + 20 < width ? width - taken : 20;
        size_t length = ctl_text_line(text, columns, &next);
        fprintf(to, "%s%.*s\n", length ? start : "", (int)length, text);
        text += next;
        start = indent;
    } while (*text);
}

void ctl_text_print(FILE *to, const char *indent, const char *text) {
    ctl_text_print_item(to, indent, indent, text);
}

void ctl_text_say(FILE *to, const char *first, const char *indent, const char *format, ...) {
    char *text = NULL;
    va_list arguments;
    va_start(arguments, format);
    if (vasprintf(&text, format, arguments) < 0)
        text = NULL;
    va_end(arguments);
    char *clean = text ? ctl_text_clean(text) : NULL;
    if (clean)
        ctl_text_print_item(to, first, indent, clean);
    free(clean);
    free(text);
}
