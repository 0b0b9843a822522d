/*
 * A file and its errors: the path of a key, the nearest known word, the order of lines.
 */
#include "settings/key_table.h"

#include "complaints.h"
#include "measure/array.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PATH_BYTES 400
#define WORD_BYTES 64 /* longer words are near to nothing */

struct key_error_line {
    int line;
    size_t order; /* qsort keeps no order of its own */
    char *text;
};

static size_t print_path(const struct key_at *at, char *text, size_t size) {
    size_t used = at->up ? print_path(at->up, text, size) : 0;
    int length = 0;
    if (at->in_brackets && at->name)
        length = snprintf(text + used, size - used, "[%s]", at->name);
    else if (at->in_brackets)
        length = snprintf(text + used, size - used, "[%zu]", at->index + 1);
    else if (at->name)
        length = snprintf(text + used, size - used, "%s%s", used ? "." : "", at->name);
    used += length > 0 ? (size_t)length : 0;
    return used < size ? used : size - 1;
}

static void add(const struct key_at *at, int line, const char *format, va_list arguments) {
    struct key_reader *reader = at->reader;
    if (reader->error_count++ >= KEY_ERRORS_MAX)
        return;
    char where[PATH_BYTES] = "", *what = NULL, *text = NULL;
    size_t length = print_path(at, where, sizeof where);
    if (vasprintf(&what, format, arguments) < 0)
        return;
    if (asprintf(&text, "%s:%d: %s%s%s", reader->file, line, where, length ? ": " : "", what) >=
        0) {
        const struct key_error_line one = {line, reader->line_count, text};
        if (!array_add(&reader->lines, &reader->line_count, &one, sizeof one))
            free(text);
    }
    free(what);
}

void key_error(const struct key_at *at, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    add(at, at->line, format, arguments);
    va_end(arguments);
}

void key_refuse(const struct key_at *at, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    add(at, at->key_line, format, arguments);
    va_end(arguments);
}

void key_no_memory(struct key_reader *reader) {
    const struct key_at nowhere = {.reader = reader};
    key_error(&nowhere, SAY_OUT_OF_MEMORY);
}

static int compare_lines(const void *a, const void *b) {
    const struct key_error_line *x = a, *y = b;
    if (x->line != y->line)
        return x->line < y->line ? -1 : 1;
    return (x->order > y->order) - (x->order < y->order);
}

/* True when there were none. */
static bool hand_over(struct key_reader *reader) {
    bool good = reader->error_count == 0;
    if (reader->line_count > 1)
        qsort(reader->lines, reader->line_count, sizeof *reader->lines, compare_lines);
    for (size_t i = 0; i < reader->line_count; i++) {
        settings_errors_add(reader->errors, "%s", reader->lines[i].text);
        free(reader->lines[i].text);
    }
    if (reader->error_count > KEY_ERRORS_MAX)
        settings_errors_add(reader->errors, "%s: %zu more errors are not listed", reader->file,
                            reader->error_count - KEY_ERRORS_MAX);
    free(reader->lines);
    return good;
}

void *key_read_file(struct key_reader *reader, const char *text, size_t length, size_t size,
                    key_read_function *read) {
    struct yaml_tree_node *root = yaml_tree_parse(reader->file, text, length, reader->errors);
    if (!root)
        return NULL;
    const struct key_at all = {
        .reader = reader, .line = root->line, .key_line = root->line, .node = root};
    void *target = key_allocate(&all, 1, size);
    if (target)
        read(&all, target);
    yaml_tree_free(root);
    if (!hand_over(reader) || !target) {
        arena_free(reader->memory);
        return NULL;
    }
    *(struct arena *)target = reader->memory;
    return target;
}

/* Wagner and Fischer (1974), with one row. */
size_t key_distance(const char *wrong, const char *word) {
    size_t row[WORD_BYTES + 1], length = strlen(word);
    if (length > WORD_BYTES)
        return length;
    for (size_t j = 0; j <= length; j++)
        row[j] = j;
    for (size_t i = 1; wrong[i - 1]; i++) {
        size_t diagonal = row[0];
        row[0] = i;
        for (size_t j = 1; j <= length; j++) {
            size_t change = diagonal + (wrong[i - 1] != word[j - 1]);
            diagonal = row[j];
            size_t other = (row[j] < row[j - 1] ? row[j] : row[j - 1]) + 1;
            row[j] = change < other ? change : other;
        }
    }
    return row[length];
}

const char *key_nearest(const char *wrong, const char *const *words, size_t count) {
    const char *nearest = NULL;
    size_t least = strlen(wrong) / 3 + 2; /* further away it is another word, not a slip */
    if (strlen(wrong) > WORD_BYTES)
        return NULL;
    for (size_t i = 0; i < count; i++) {
        if (strlen(words[i]) > WORD_BYTES)
            continue;
        size_t far = key_distance(wrong, words[i]);
        /* A short word all of whose letters would change is no hint. */
        if (far < least && far < strlen(words[i])) {
            least = far;
            nearest = words[i];
        }
    }
    /* "ca" for "ca_file": half a name is a better guess than none. */
    for (size_t i = 0; i < count && !nearest && strlen(wrong) >= 2; i++)
        if (strstr(words[i], wrong))
            nearest = words[i];
    return nearest;
}

char *key_join(char *text, size_t size, const char *const *words, size_t count) {
    size_t used = 0;
    text[0] = '\0';
    for (size_t i = 0; i < count && used < size; i++)
        used += (size_t)snprintf(text + used, size - used, "%s%s", i ? ", " : "", words[i]);
    return text;
}

struct key_hint key_hint(const char *wrong, const char *const *words, size_t count) {
    struct key_hint hint = {""};
    const char *nearest = key_nearest(wrong, words, count);
    if (nearest)
        snprintf(hint.text, sizeof hint.text, "did you mean \"%s\"? ", nearest);
    return hint;
}
