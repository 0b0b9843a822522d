#include "words/template.h"

#include "words/text_buffer.h"
#include "words/text_repair.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define NAME_ROW(symbol, name, kind) name,
static const char *const names[] = {TEMPLATE_NAMES(NAME_ROW)};

enum kind { STRING, NUMBER };
#define KIND_ROW(symbol, name, kind) kind,
static const enum kind kinds[] = {TEMPLATE_NAMES(KIND_ROW)};

bool template_name_find(const char *name, size_t length, enum template_name *found) {
    for (int i = 0; i < TEMPLATE_NAME_COUNT; i++)
        if (strlen(names[i]) == length && memcmp(names[i], name, length) == 0) {
            *found = (enum template_name)i;
            return true;
        }
    return false;
}

const char *template_name_text(enum template_name name) {
    return names[name];
}

/* The JSON of a value; NULL when out of memory. */
static char *literal_of(const struct template_values *values, enum template_name name) {
    json_t *json = NULL;
    const char *text = values->strings[name];
    if (kinds[name] == NUMBER) {
        json = isfinite(values->value) ? json_real(values->value) : json_null();
    } else if (text) {
        char *repaired = text_repair(text);
        json = repaired ? json_string(repaired) : NULL;
        free(repaired);
    } else {
        json = json_null();
    }
    char *literal = json ? json_dumps(json, JSON_ENCODE_ANY | JSON_REAL_PRECISION(12)) : NULL;
    json_decref(json);
    return literal;
}

static bool add_value(struct text_buffer *out, enum template_name name, bool in_quotes,
                      const struct template_values *values) {
    char *literal = literal_of(values, name);
    if (!literal)
        return false;
    if (in_quotes && literal[0] == '"')
        text_buffer_add_bytes(out, literal + 1, strlen(literal) - 2);
    else if (!in_quotes || strcmp(literal, "null") != 0) /* within a string: an empty place */
        text_buffer_add(out, literal);
    free(literal);
    return true;
}

/* Follows JSON's quotes through literal text; a backslash hides the byte behind it. */
static bool quotes_after(bool in_quotes, const char *text, size_t length) {
    for (size_t i = 0; i < length; i++) {
        if (in_quotes && text[i] == '\\')
            i++;
        else if (text[i] == '"')
            in_quotes = !in_quotes;
    }
    return in_quotes;
}

/* Fills the placeholder at `open`; the place behind it, NULL with `why` when that fails. */
static const char *fill_one(struct text_buffer *out, const char *open, bool in_quotes,
                            const struct template_values *values, char *why, size_t why_size) {
    const char *from = open + 2, *close = strstr(from, "}}"), *to = close;
    enum template_name name;
    if (!close) {
        snprintf(why, why_size, "a placeholder is opened with {{ and not closed with }}");
        return NULL;
    }
    while (from < to && *from == ' ')
        from++;
    while (to > from && to[-1] == ' ')
        to--;
    if (!template_name_find(from, (size_t)(to - from), &name)) {
        snprintf(why, why_size, "unknown placeholder {{%.*s}}",
                 (int)(to - from < 40 ? to - from : 40), from);
        return NULL;
    }
    if (!add_value(out, name, in_quotes, values)) {
        snprintf(why, why_size, "out of memory");
        return NULL;
    }
    return close + 2;
}

static bool fill(struct text_buffer *out, const char *text, const struct template_values *values,
                 char *why, size_t why_size) {
    bool in_quotes = false;
    const char *open;
    while ((open = strstr(text, "{{"))) {
        size_t length = (size_t)(open - text);
        text_buffer_add_bytes(out, text, length);
        in_quotes = quotes_after(in_quotes, text, length);
        text = fill_one(out, open, in_quotes, values, why, why_size);
        if (!text)
            return false;
    }
    text_buffer_add(out, text);
    return true;
}

char *template_render(const char *template_text, const struct template_values *values, char *why,
                      size_t why_size) {
    struct text_buffer out = {0};
    if (!fill(&out, template_text, values, why, why_size)) {
        text_buffer_clear(&out);
        return NULL;
    }
    char *body = text_buffer_take(&out);
    json_error_t error = {.line = 0};
    json_t *json = body ? json_loads(body, 0, &error) : NULL;
    if (json) {
        json_decref(json);
        return body;
    }
    if (body)
        snprintf(why, why_size, "not JSON once filled in (line %d: %.80s)", error.line, error.text);
    else
        snprintf(why, why_size, "out of memory");
    free(body);
    return NULL;
}

bool template_check(const char *template_text, char *why, size_t why_size) {
    struct template_values full = {.value = 1.5}, empty = {.value = (double)NAN};
    for (int i = 0; i < TEMPLATE_NAME_COUNT; i++)
        full.strings[i] = "a \"b\"\n\\";
    char *with = template_render(template_text, &full, why, why_size);
    char *without = with ? template_render(template_text, &empty, why, why_size) : NULL;
    bool good = with && without;
    free(with);
    free(without);
    return good;
}
