#include "settings/key_table.h"

#include "complaints.h"
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "settings/checked_text.h"

#include <assert.h>
#include <math.h>
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

struct key_at key_child(const struct key_at *at, const char *key) {
    const struct yaml_tree_entry *entry = yaml_tree_find(at->node, key);
    return (struct key_at){.reader = at->reader,
                           .up = at,
                           .name = key,
                           .line = entry ? entry->value.line : at->line,
                           .key_line = entry ? entry->line : at->line,
                           .node = entry ? &entry->value : NULL};
}

struct key_at key_item(const struct key_at *at, size_t n) {
    const struct yaml_tree_entry *entry = &at->node->entries[n];
    return (struct key_at){.reader = at->reader,
                           .up = at,
                           .name = entry->key,
                           .in_brackets = at->node->kind == YAML_TREE_LIST,
                           .index = n,
                           .line = entry->value.line,
                           .key_line = entry->line,
                           .node = &entry->value};
}

struct key_at key_one_of(const struct key_at *at, size_t n) {
    struct key_at one = *at;
    one.node = &at->node->entries[n].value;
    one.line = one.key_line = one.node->line;
    return one;
}

struct key_at key_item_with_id(const struct key_at *at, size_t n) {
    struct key_at item = key_item(at, n);
    const struct key_at id = key_child(&item, "id");
    if (id.node && id.node->kind == YAML_TREE_SCALAR && !checked_text_id(id.node->text))
        item.name = id.node->text;
    return item;
}

const char *key_scalar(const struct key_at *at, const char *allowed) {
    const struct yaml_tree_node *node = at->node;
    if (!key_is(at, YAML_TREE_SCALAR, allowed))
        return NULL;
    if (node->plain &&
        (!*node->text || strcmp(node->text, "~") == 0 || strcasecmp(node->text, "null") == 0)) {
        key_error(at, SAY_NO_VALUE_HERE, allowed);
        return NULL;
    }
    return node->text;
}

bool key_is(const struct key_at *at, enum yaml_tree_kind kind, const char *allowed) {
    static const char *const nouns[] = {"a single value", "a list", "a map"};
    const struct yaml_tree_node *node = at->node;
    if (node->kind == kind)
        return true;
    if (node->kind == YAML_TREE_SCALAR && node->plain && !*node->text)
        key_error(at, SAY_NO_VALUE_HERE, allowed);
    else
        key_error(at, "is %s; allowed: %s", nouns[node->kind], allowed);
    return false;
}

char *key_copy(const struct key_at *at, const char *text) {
    char *copy = arena_copy(&at->reader->memory, text);
    if (!copy)
        key_no_memory(at->reader);
    return copy;
}

void *key_allocate(const struct key_at *at, size_t count, size_t size) {
    void *memory = arena_allocate(&at->reader->memory, count * size);
    if (!memory)
        key_no_memory(at->reader);
    return memory;
}

static bool is_number(const char *text, double *number, const char **behind) {
    if (unit_parse_number(text, strlen(text), number, behind) != UNIT_OK)
        return false;
    *behind += strspn(*behind, " ");
    return true;
}

bool key_number_parse(const char *text, double *number) {
    const char *behind = NULL;
    double value = 0.0;
    if (!is_number(text, &value, &behind) || *behind != '\0')
        return false;
    *number = value;
    return true;
}

bool key_percent_parse(const char *text, double *fraction) {
    const char *behind = NULL;
    double value = 0.0;
    if (!is_number(text, &value, &behind) || *behind != '%' ||
        behind[1 + strspn(behind + 1, " ")] != '\0')
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
static bool read_scalar(const struct key_at *at, const struct key_row *row, const char *text,
                        void *field) {
    const struct key_word *word;
    switch (row->kind) {
    case KEY_TEXT:
        *(char **)field = key_copy(at, text);
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
            *(char **)field = key_copy(at, text);
        return word != NULL;
    case KEY_DAY:
        return read_day(text, field);
    case KEY_MAP:
    case KEY_PART:
        break;
    }
    abort(); /* these have no text */
}

/* A number in YAML has no unit when its writer forgot it: say so instead of only refusing. */
static void refuse_value(const struct key_at *at, const struct key_row *row) {
    struct key_shown shown;
    double number = 0.0;
    bool lacks_unit =
        (row->kind == KEY_VALUE || row->kind == KEY_SPAN || row->kind == KEY_SPAN_S) &&
        key_number_parse(at->node->text, &number);
    key_show(&shown, at->node->text);
    if (lacks_unit)
        key_error(at, SAY_LACKS_UNIT, shown.text, row->allowed);
    else
        key_error(at, SAY_IS_NOT, shown.text, row->what, row->allowed);
}

static const char *allowed_of(const struct key_row *row) {
    return row->allowed ? row->allowed : "a single value";
}

/* False: the row takes a single value. */
static bool read_inside(const struct key_at *at, const struct key_row *row, void *target) {
    if (row->kind == KEY_PART)
        row->read(at, (char *)target + row->offset);
    else if (row->kind == KEY_MAP)
        key_map_read(at, row->rows, row->row_count, target);
    else
        return false;
    return true;
}

static void read_row(const struct key_at *at, const struct key_row *row, void *target) {
    struct key_shown shown;
    if (read_inside(at, row, target))
        return;
    const char *text = key_scalar(at, allowed_of(row));
    const char *problem = text && row->check ? row->check(text) : NULL;
    if (problem && row->secret)
        key_error(at, "%s", problem);
    else if (problem)
        key_error(at, SAY_OF_TEXT, key_show(&shown, text), problem);
    else if (text && !read_scalar(at, row, text, (char *)target + row->offset))
        refuse_value(at, row);
}

static void apply_default(const struct key_at *at, const struct key_row *row, void *target) {
    if (read_inside(at, row, target))
        return;
    bool good = read_scalar(at, row, row->otherwise, (char *)target + row->offset);
    assert(good && "a default must be within its own range");
    (void)good;
}

void key_refuse_unknown(const struct key_at *at, const char *thing, const char *const *words,
                        size_t count) {
    char list[1024];
    struct key_shown shown;
    struct key_at here = *at;
    const char *nearest = key_nearest(at->name, words, count);
    here.name = key_show(&shown, at->name);
    key_join(list, sizeof list, words, count);
    if (nearest)
        key_refuse(&here, "unknown %s; did you mean \"%s\"? Known %ss: %s", thing, nearest, thing,
                   list);
    else
        key_refuse(&here, "unknown %s. Known %ss: %s", thing, thing, list);
}

static void refuse_strangers(const struct key_at *at, const struct key_row *rows, size_t count) {
    const char *known[64];
    assert(count <= sizeof known / sizeof known[0]);
    for (size_t i = 0; i < count; i++)
        known[i] = rows[i].key;
    for (size_t n = 0; n < at->node->count; n++) {
        const struct key_at item = key_item(at, n);
        size_t i = 0;
        while (i < count && strcmp(known[i], item.name) != 0)
            i++;
        if (i == count)
            key_refuse_unknown(&item, "key", known, count);
    }
}

void key_map_read(const struct key_at *at, const struct key_row *rows, size_t count, void *target) {
    if (at->node && !key_is(at, YAML_TREE_MAP, "a map of keys and values"))
        return;
    if (at->node)
        refuse_strangers(at, rows, count);
    for (size_t i = 0; i < count; i++) {
        const struct key_row *row = &rows[i];
        const struct key_at here = key_child(at, row->key);
        if (here.node && row->line_offset)
            *(int *)((char *)target + row->line_offset) = here.key_line;
        if (here.node)
            read_row(&here, row, target);
        else if (row->required && at->node)
            key_error(&here, SAY_MISSING, allowed_of(row));
        else if (row->otherwise)
            apply_default(&here, row, target);
    }
}

void key_text_list(const struct key_at *at, const char *(*check)(const char *text),
                   const char *allowed, char ***list, size_t *count) {
    if (!key_is(at, YAML_TREE_LIST, allowed))
        return;
    if (at->node->count == 0) {
        key_error(at, "is empty; allowed: %s", allowed);
        return;
    }
    *list = key_allocate(at, at->node->count, sizeof **list);
    for (size_t i = 0; *list && i < at->node->count; i++) {
        const struct key_at here = key_item(at, i);
        struct key_shown shown;
        const char *text = key_scalar(&here, allowed);
        const char *problem = text ? check(text) : NULL;
        if (problem)
            key_error(&here, SAY_OF_TEXT, key_show(&shown, text), problem);
        else if (text && ((*list)[*count] = key_copy(at, text)))
            ++*count;
    }
}

void *key_list_room(const struct key_at *at, const char *things, size_t most, size_t size) {
    char allowed[64];
    snprintf(allowed, sizeof allowed, "a list of %s", things);
    if (!key_is(at, YAML_TREE_LIST, allowed))
        return NULL;
    if (at->node->count >= 1 && at->node->count <= most)
        return key_allocate(at, at->node->count, size);
    key_error(at, "has %zu %s; allowed: 1 to %zu", at->node->count, things, most);
    return NULL;
}
