#include "settings/key_table.h"

#include "complaints.h"
#include "measure/duration.h"
#include "measure/timestamp.h"

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

const char *key_show(struct key_shown *shown, const char *text) {
    size_t length = strlen(text);
    if (length <= KEY_SHOWN_BYTES) {
        memcpy(shown->text, text, length + 1);
        return shown->text;
    }
    length = KEY_SHOWN_BYTES;
    while (length > 0 && ((unsigned char)text[length] & 0xC0) == 0x80)
        length--;
    memcpy(shown->text, text, length);
    memcpy(shown->text + length, "...", 4);
    return shown->text;
}

const char *key_scalar(struct key_reader *reader, const struct key_path *path,
                       const struct yaml_tree_node *node, const char *allowed) {
    if (!key_is(reader, path, node, YAML_TREE_SCALAR, allowed))
        return NULL;
    if (node->plain &&
        (!*node->text || strcmp(node->text, "~") == 0 || strcasecmp(node->text, "null") == 0)) {
        key_error(reader, path, node->line, SAY_NO_VALUE_HERE, allowed);
        return NULL;
    }
    return node->text;
}

bool key_is(struct key_reader *reader, const struct key_path *path,
            const struct yaml_tree_node *node, enum yaml_tree_kind kind, const char *allowed) {
    static const char *const nouns[] = {"a single value", "a list", "a map"};
    if (node->kind == kind)
        return true;
    if (node->kind == YAML_TREE_SCALAR && node->plain && !*node->text)
        key_error(reader, path, node->line, SAY_NO_VALUE_HERE, allowed);
    else
        key_error(reader, path, node->line, "is %s; allowed: %s", nouns[node->kind], allowed);
    return false;
}

char *key_copy(struct key_reader *reader, const char *text) {
    char *copy = strdup(text);
    if (!copy)
        key_error(reader, NULL, 0, SAY_OUT_OF_MEMORY);
    return copy;
}

void *key_allocate(struct key_reader *reader, size_t count, size_t size) {
    void *memory = calloc(count ? count : 1, size);
    if (!memory)
        key_error(reader, NULL, 0, SAY_OUT_OF_MEMORY);
    return memory;
}

bool key_number_parse(const char *text, double *number) {
    const char *end = NULL;
    double value = 0.0;
    if (unit_parse_number(text, strlen(text), &value, &end) != UNIT_OK)
        return false;
    if (end[strspn(end, " ")] != '\0')
        return false;
    *number = value;
    return true;
}

bool key_percent_parse(const char *text, double *fraction) {
    const char *end = NULL;
    double value = 0.0;
    if (unit_parse_number(text, strlen(text), &value, &end) != UNIT_OK)
        return false;
    end += strspn(end, " ");
    if (*end != '%' || end[1 + strspn(end + 1, " ")] != '\0')
        return false;
    *fraction = value / 100.0;
    return true;
}

bool key_switch_parse(const char *text, bool *on) {
    static const char *const words[] = {"no", "yes", "false", "true", "off", "on"};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strcasecmp(text, words[i]) == 0) {
            *on = i % 2 == 1;
            return true;
        }
    return false;
}

static bool in_range(const struct key_row *row, double number) {
    return number >= row->lowest && number <= row->highest;
}

static bool read_whole(const struct key_row *row, const char *text, void *field) {
    double number = 0.0;
    if (!key_number_parse(text, &number) || number != floor(number) || !in_range(row, number))
        return false;
    if (row->kind == KEY_INTEGER)
        *(int *)field = (int)number;
    else
        *(uint32_t *)field = (uint32_t)number;
    return true;
}

static bool read_span(const struct key_row *row, const char *text, void *field) {
    int64_t span_ms = 0;
    bool none = row->lowest <= 0.0 && strcasecmp(text, "none") == 0;
    if (!none && !duration_parse(text, &span_ms))
        return false;
    if (row->kind == KEY_SPAN) {
        if (!in_range(row, (double)span_ms))
            return false;
        *(int64_t *)field = span_ms;
        return true;
    }
    int64_t span_s = span_ms / DURATION_SECOND_MS;
    if (span_ms % DURATION_SECOND_MS || !in_range(row, (double)span_s))
        return false;
    *(int *)field = (int)span_s;
    return true;
}

static bool read_day(const char *text, int64_t *field) {
    int year = 0, month = 0, day = 0;
    if (!timestamp_parse_date(text, strlen(text), &year, &month, &day))
        return false;
    *field = timestamp_days_from_civil(year, month, day);
    return true;
}

static bool read_real(const struct key_row *row, const char *text, double *field) {
    double number = 0.0;
    bool good = row->kind == KEY_VALUE ? unit_parse(text, row->dimension, &number) == UNIT_OK
                : row->kind == KEY_FRACTION
                    ? key_percent_parse(text, &number) || key_number_parse(text, &number)
                    : key_number_parse(text, &number);
    if (!good || !in_range(row, number))
        return false;
    *field = number;
    return true;
}

static const struct key_word *find_word(const struct key_row *row, const char *text) {
    for (const struct key_word *word = row->words; word->word; word++)
        if (strcmp(word->word, text) == 0)
            return word;
    return NULL;
}

/* True when the text was stored; memory that is short has its own error. */
static bool read_scalar(struct key_reader *reader, const struct key_row *row, const char *text,
                        void *field) {
    const struct key_word *word;
    switch (row->kind) {
    case KEY_TEXT:
        *(char **)field = key_copy(reader, text);
        return true;
    case KEY_INTEGER:
    case KEY_UINT32:
        return read_whole(row, text, field);
    case KEY_SWITCH:
        return key_switch_parse(text, field);
    case KEY_SPAN:
    case KEY_SPAN_S:
        return read_span(row, text, field);
    case KEY_VALUE:
    case KEY_NUMBER:
    case KEY_FRACTION:
        return read_real(row, text, field);
    case KEY_WORD:
        word = find_word(row, text);
        if (word)
            *(int *)field = word->value;
        return word != NULL;
    case KEY_WORD_TEXT:
        word = find_word(row, text);
        if (word)
            *(char **)field = key_copy(reader, text);
        return word != NULL;
    case KEY_DAY:
        return read_day(text, field);
    case KEY_PART:
        break;
    }
    abort(); /* a part has its own read function */
}

/* A number in YAML has no unit when its writer forgot it: say so instead of only refusing. */
static void refuse_value(struct key_reader *reader, const struct key_path *path,
                         const struct key_row *row, const struct yaml_tree_node *node) {
    struct key_shown shown;
    double number = 0.0;
    bool lacks_unit =
        (row->kind == KEY_VALUE || row->kind == KEY_SPAN || row->kind == KEY_SPAN_S) &&
        key_number_parse(node->text, &number);
    key_show(&shown, node->text);
    if (lacks_unit)
        key_error(reader, path, node->line, SAY_LACKS_UNIT, shown.text, row->allowed);
    else
        key_error(reader, path, node->line, SAY_IS_NOT, shown.text, row->what, row->allowed);
}

static void read_row(struct key_reader *reader, const struct key_path *path,
                     const struct key_row *row, const struct yaml_tree_node *node, void *target) {
    struct key_shown shown;
    if (row->kind == KEY_PART) {
        row->read(reader, path, node, target);
        return;
    }
    const char *text =
        key_scalar(reader, path, node, row->allowed ? row->allowed : "a single value");
    if (!text)
        return;
    if (row->check) {
        const char *problem = row->check(text);
        if (problem) {
            if (row->secret)
                key_error(reader, path, node->line, "%s", problem);
            else
                key_error(reader, path, node->line, SAY_OF_TEXT, key_show(&shown, text), problem);
            return;
        }
    }
    if (!read_scalar(reader, row, text, (char *)target + row->offset))
        refuse_value(reader, path, row, node);
}

static void apply_default(struct key_reader *reader, const struct key_path *path,
                          const struct key_row *row, void *target) {
    if (row->kind == KEY_PART) {
        row->read(reader, path, NULL, target);
        return;
    }
    bool good = read_scalar(reader, row, row->otherwise, (char *)target + row->offset);
    assert(good && "a default must be within its own range");
    (void)good;
}

static void refuse_unknown(struct key_reader *reader, const struct key_path *path,
                           const struct yaml_tree_entry *entry, const struct key_row *rows,
                           size_t count) {
    const char *known[64];
    char list[1024] = "";
    size_t used = 0;
    assert(count <= sizeof known / sizeof known[0]);
    for (size_t i = 0; i < count; i++) {
        known[i] = rows[i].key;
        int length = snprintf(list + used, sizeof list - used, "%s%s", i ? ", " : "", rows[i].key);
        assert(length > 0 && used + (size_t)length < sizeof list);
        used += (size_t)length;
    }
    struct key_shown shown;
    const char *nearest = key_nearest(entry->key, known, count);
    struct key_path here = {.up = path, .name = key_show(&shown, entry->key)};
    if (nearest)
        key_error(reader, &here, entry->line, "unknown key; did you mean \"%s\"? Known keys: %s",
                  nearest, list);
    else
        key_error(reader, &here, entry->line, "unknown key. Known keys: %s", list);
}

static bool is_known(const char *key, const struct key_row *rows, size_t count) {
    for (size_t i = 0; i < count; i++)
        if (strcmp(rows[i].key, key) == 0)
            return true;
    return false;
}

void key_map_read(struct key_reader *reader, const struct key_path *path,
                  const struct yaml_tree_node *node, const struct key_row *rows, size_t count,
                  void *target) {
    if (node && !key_is(reader, path, node, YAML_TREE_MAP, "a map of keys and values"))
        return;
    for (size_t i = 0; node && i < node->count; i++)
        if (!is_known(node->entries[i].key, rows, count))
            refuse_unknown(reader, path, &node->entries[i], rows, count);
    for (size_t i = 0; i < count; i++) {
        const struct yaml_tree_entry *entry = yaml_tree_find(node, rows[i].key);
        struct key_path here = {.up = path, .name = rows[i].key};
        if (entry && rows[i].line_offset)
            *(int *)((char *)target + rows[i].line_offset) = entry->line;
        if (entry)
            read_row(reader, &here, &rows[i], &entry->value, target);
        else if (rows[i].required && node)
            key_error(reader, &here, node->line, SAY_MISSING,
                      rows[i].allowed ? rows[i].allowed : "a single value");
        else if (rows[i].otherwise)
            apply_default(reader, &here, &rows[i], target);
    }
}

void key_text_list(struct key_reader *reader, const struct key_path *path,
                   const struct yaml_tree_node *node, const char *(*check)(const char *text),
                   const char *allowed, char ***list, size_t *count) {
    if (!key_is(reader, path, node, YAML_TREE_LIST, allowed))
        return;
    if (node->count == 0) {
        key_error(reader, path, node->line, "is empty; allowed: %s", allowed);
        return;
    }
    *list = key_allocate(reader, node->count, sizeof **list);
    if (!*list)
        return;
    for (size_t i = 0; i < node->count; i++) {
        struct key_path here = {.up = path, .in_brackets = true, .index = i};
        struct key_shown shown;
        const struct yaml_tree_node *item = &node->entries[i].value;
        const char *text = key_scalar(reader, &here, item, allowed);
        const char *problem = text ? check(text) : NULL;
        if (problem)
            key_error(reader, &here, item->line, SAY_OF_TEXT, key_show(&shown, text), problem);
        else if (text && ((*list)[*count] = key_copy(reader, text)))
            ++*count;
    }
}
