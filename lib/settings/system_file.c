/*
 * A text is written plainly where that can mean nothing else, to this reader and to others of YAML
 * 1.1 and 1.2; else in double quotes, with all escaped that a plain line of UTF-8 does not hold.
 */
#include "settings/system_file.h"

#include "measure/timestamp.h"
#include "words/text_buffer.h"

#include <stdbool.h>
#include <string.h>
#include <strings.h>

#define LETTERS "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
#define DIGITS "0123456789"

/* ---- one text ---- */

/* Characters beyond ASCII that break lines or are not to be seen: C1, line and paragraph separator,
   byte order mark, noncharacters. Sets *code; returns the bytes it takes, 0 for any other. */
static size_t hidden_character(const char *text, unsigned *code) {
    const unsigned char *at = (const unsigned char *)text;
    if (at[0] == 0xC2 && at[1] >= 0x80 && at[1] <= 0xA0) {
        *code = at[1];
        return 2;
    }
    static const unsigned codes[] = {0x2028, 0x2029, 0xFEFF, 0xFFFE, 0xFFFF};
    for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++) {
        const unsigned char bytes[] = {(unsigned char)(0xE0 | codes[i] >> 12),
                                       (unsigned char)(0x80 | (codes[i] >> 6 & 0x3F)),
                                       (unsigned char)(0x80 | (codes[i] & 0x3F))};
        if (strncmp(text, (const char *)bytes, 3) == 0) {
            *code = codes[i];
            return 3;
        }
    }
    return 0;
}

/* Words and numbers that other readers of YAML take for something else than text. */
static bool is_other_than_text(const char *text) {
    static const char *const words[] = {"y",  "n",   "yes",  "no",   "true", "false",
                                        "on", "off", "null", ".nan", ".inf"};
    const char *number = text + (*text == '+');
    int year, month, day;
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strcasecmp(words[i], text) == 0)
            return true;
    if (timestamp_parse_date(text, strlen(text), &year, &month, &day))
        return false; /* it stands where a date is asked for */
    return strspn(number, DIGITS) > 0 &&
           number[strspn(number, DIGITS "_.:+-eExXabcdefABCDEF")] == '\0';
}

/* Where a text stands: on a line of its own, or between the brackets of a list or map. */
enum text_place { ON_A_LINE, IN_BRACKETS };

static bool may_be_plain(const char *text, enum text_place place) {
    static const char *const inside[] = {[ON_A_LINE] =
                                             LETTERS DIGITS " ./_-+()%'\"&@=;^<>$~!?|*:,[]{}",
                                         [IN_BRACKETS] = LETTERS DIGITS " ./_-+()%'&@=;^<>$~!|*:"};
    size_t length = strlen(text);
    unsigned code;
    if (!length || (!strchr(LETTERS DIGITS "/+", text[0]) && (unsigned char)text[0] < 0x80) ||
        text[length - 1] == ' ' || text[length - 1] == ':' || strstr(text, ": ") ||
        is_other_than_text(text))
        return false;
    for (const char *at = text; *at; at++)
        if ((unsigned char)*at < 0x80 ? !strchr(inside[place], *at)
                                      : hidden_character(at, &code) > 0)
            return false;
    return true;
}

static void add_quoted(struct text_buffer *buffer, const char *text) {
    text_buffer_add(buffer, "\"");
    for (const char *at = text; *at;) {
        unsigned code = (unsigned char)*at;
        size_t hidden = hidden_character(at, &code);
        if (*at == '"' || *at == '\\')
            text_buffer_format(buffer, "\\%c", *at);
        else if (*at == '\n')
            text_buffer_add(buffer, "\\n");
        else if (*at == '\t')
            text_buffer_add(buffer, "\\t");
        else if (code < 0x20 || code == 0x7F || (hidden && code < 0x100))
            text_buffer_format(buffer, "\\x%02X", code);
        else if (hidden)
            text_buffer_format(buffer, "\\u%04X", code);
        else
            text_buffer_add_bytes(buffer, at, 1);
        at += hidden ? hidden : 1;
    }
    text_buffer_add(buffer, "\"");
}

static void add_text(struct text_buffer *buffer, const char *text, enum text_place place) {
    if (may_be_plain(text, place))
        text_buffer_add(buffer, text);
    else
        add_quoted(buffer, text);
}

/* ---- keys ---- */

struct key_text {
    const char *key, *text;
};
#define COUNT(list) (sizeof(list) / sizeof((list)[0]))

static bool is_given(const char *text) {
    return text && *text;
}

/* A key a line; `before` stands before the first, which may be an item of a list. */
static void add_lines(struct text_buffer *buffer, const char *before, const char *indent,
                      const struct key_text *keys, size_t count) {
    for (size_t i = 0; i < count; i++) {
        if (!is_given(keys[i].text))
            continue;
        text_buffer_format(buffer, "%s%s: ", before, keys[i].key);
        add_text(buffer, keys[i].text, ON_A_LINE);
        text_buffer_add(buffer, "\n");
        before = indent;
    }
}

/* "pipe: {inside_diameter: 3.068 in}"; `between` stands before it. False when nothing is given. */
static bool add_map(struct text_buffer *buffer, const char *between, const char *name,
                    const struct key_text *keys, size_t count) {
    bool begun = false;
    for (size_t i = 0; i < count; i++) {
        if (!is_given(keys[i].text))
            continue;
        if (begun)
            text_buffer_add(buffer, ", ");
        else
            text_buffer_format(buffer, "%s%s: {", between, name);
        begun = true;
        text_buffer_format(buffer, "%s: ", keys[i].key);
        add_text(buffer, keys[i].text, IN_BRACKETS);
    }
    if (begun)
        text_buffer_add(buffer, "}");
    return begun;
}

static void add_contacts(struct text_buffer *buffer, const char *contacts) {
    static const char between[] = " ,;";
    bool begun = false;
    if (!is_given(contacts))
        return;
    for (const char *at = contacts + strspn(contacts, between); *at; at += strspn(at, between)) {
        char id[128];
        size_t length = strcspn(at, between);
        size_t kept = length < sizeof id - 1 ? length : sizeof id - 1; /* too long for any id */
        memcpy(id, at, kept);
        id[kept] = '\0';
        text_buffer_add(buffer, begun ? ", " : "contacts: [");
        add_text(buffer, id, IN_BRACKETS);
        begun = true;
        at += length;
    }
    if (begun)
        text_buffer_add(buffer, "]\n");
}

/* ---- parts of the file ---- */

static bool add_pipe(struct text_buffer *buffer, const char *between,
                     const struct system_file_branch *branch) {
    const struct key_text keys[] = {{"inside_diameter", branch->inside_diameter}};
    return add_map(buffer, between, "pipe", keys, COUNT(keys));
}

static bool add_fan(struct text_buffer *buffer, const char *between,
                    const struct system_file_branch *branch) {
    const struct key_text keys[] = {{"model", branch->model},
                                    {"power", branch->power},
                                    {"serial", branch->serial},
                                    {"installed", branch->installed},
                                    {"control", branch->control}};
    return add_map(buffer, between, "fan", keys, COUNT(keys));
}

static void add_branch_keys(struct text_buffer *buffer, const char *indent,
                            const struct system_file_branch *branch) {
    const struct key_text discharge[] = {{"discharge", branch->discharge}};
    if (add_pipe(buffer, indent, branch))
        text_buffer_add(buffer, "\n");
    if (add_fan(buffer, indent, branch))
        text_buffer_add(buffer, "\n");
    add_lines(buffer, indent, indent, discharge, 1);
}

/* The first line of an item of a list. */
static void add_id(struct text_buffer *buffer, const char *id) {
    text_buffer_add(buffer, "  - id: ");
    add_text(buffer, id ? id : "", ON_A_LINE);
    text_buffer_add(buffer, "\n");
}

static void add_branches(struct text_buffer *buffer, const struct system_file *file) {
    if (file->branch_count == 1 && !is_given(file->branches[0].id)) {
        add_branch_keys(buffer, "", &file->branches[0]);
        return;
    }
    if (file->branch_count)
        text_buffer_add(buffer, "branches:\n");
    for (size_t i = 0; i < file->branch_count; i++) {
        add_id(buffer, file->branches[i].id);
        add_branch_keys(buffer, "    ", &file->branches[i]);
    }
}

static void add_point(struct text_buffer *buffer, const struct system_file_point *point) {
    const struct key_text keys[] = {{"name", point->name},
                                    {"quantity", point->quantity},
                                    {"branch", point->branch},
                                    {"place", point->place},
                                    {"by", point->by},
                                    {"topic", point->topic},
                                    {"unit", point->unit},
                                    {"every", point->every},
                                    {"value", point->value},
                                    {"time", point->time},
                                    {"senml_name", point->senml_name}};
    add_id(buffer, point->id);
    add_lines(buffer, "    ", "    ", keys, COUNT(keys));
}

static void add_comment(struct text_buffer *buffer, const char *comment) {
    if (!is_given(comment))
        return;
    text_buffer_add(buffer, "# ");
    for (const char *at = comment; *at; at++)
        text_buffer_format(buffer, "%c", *at >= ' ' && *at <= '~' ? *at : '?');
    text_buffer_add(buffer, "\n");
}

char *system_file_write(const struct system_file *file) {
    struct text_buffer buffer = {0};
    const struct key_text house[] = {{"id", file->id},
                                     {"name", file->name},
                                     {"address", file->address},
                                     {"time_zone", file->time_zone},
                                     {"foundation", file->foundation},
                                     {"region", file->region},
                                     {"elevation", file->elevation},
                                     {"stack_height", file->stack_height}};
    add_comment(&buffer, file->comment);
    add_lines(&buffer, "", "", house, COUNT(house));
    add_branches(&buffer, file);
    add_contacts(&buffer, file->contacts);
    if (file->point_count)
        text_buffer_add(&buffer, "points:\n");
    for (size_t i = 0; i < file->point_count; i++)
        add_point(&buffer, &file->points[i]);
    return text_buffer_take(&buffer);
}
