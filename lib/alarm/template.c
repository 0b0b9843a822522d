#include "alarm/template.h"

#include "alarm/text_buffer.h"
#include "alarm/text_repair.h"

#include <jansson.h>
#include <math.h>
#include <stdarg.h>
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

static char *string_literal(const char *text) {
    char *repaired = text_repair(text);
    json_t *string = repaired ? json_string(repaired) : NULL;
    char *literal = string ? json_dumps(string, JSON_ENCODE_ANY) : NULL;
    json_decref(string);
    free(repaired);
    return literal;
}

static char *number_literal(double number) {
    json_t *real = json_real(number);
    char *literal = real ? json_dumps(real, JSON_ENCODE_ANY | JSON_REAL_PRECISION(12)) : NULL;
    json_decref(real);
    return literal;
}

static char *literal_of(const struct template_values *values, enum template_name name) {
    if (kinds[name] == NUMBER)
        return isfinite(values->value) ? number_literal(values->value) : strdup("null");
    return values->strings[name] ? string_literal(values->strings[name]) : strdup("null");
}

/* The name within the braces at `open`, blanks left out; the place behind them, NULL without. */
static const char *placeholder(const char *open, const char **name, size_t *length) {
    const char *close = strstr(open, "}}");
    if (!close)
        return NULL;
    const char *from = open + 2, *to = close;
    while (from < to && *from == ' ')
        from++;
    while (to > from && to[-1] == ' ')
        to--;
    *name = from;
    *length = (size_t)(to - from);
    return close + 2;
}

static bool say(char *why, size_t size, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
static bool say(char *why, size_t size, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(why, size, format, arguments);
    va_end(arguments);
    return false;
}

static bool fill(struct text_buffer *out, const char *text, const struct template_values *values,
                 char *why, size_t why_size) {
    const char *open;
    while ((open = strstr(text, "{{"))) {
        const char *name = NULL;
        size_t length = 0;
        const char *behind = placeholder(open, &name, &length);
        enum template_name found;
        if (!behind)
            return say(why, why_size, "a placeholder is opened with {{ and not closed with }}");
        if (!template_name_find(name, length, &found))
            return say(why, why_size, "unknown placeholder {{%.*s}}",
                       (int)(length < 40 ? length : 40), name);
        char *literal = literal_of(values, found);
        if (!literal)
            return say(why, why_size, "out of memory");
        text_buffer_add_bytes(out, text, (size_t)(open - text));
        text_buffer_add(out, literal);
        free(literal);
        text = behind;
    }
    text_buffer_add(out, text);
    return true;
}

static bool is_json(const char *body, char *why, size_t why_size) {
    json_error_t error;
    json_t *json = json_loads(body, 0, &error);
    if (!json)
        return say(why, why_size,
                   "not JSON once filled in (line %d: %.80s); a placeholder brings its own quotes",
                   error.line, error.text);
    json_decref(json);
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
    if (!body) {
        say(why, why_size, "out of memory");
        return NULL;
    }
    if (is_json(body, why, why_size))
        return body;
    free(body);
    return NULL;
}

bool template_check(const char *template_text, char *why, size_t why_size) {
    struct template_values values = {.value = 1.5};
    for (int i = 0; i < TEMPLATE_NAME_COUNT; i++)
        values.strings[i] = "a \"b\"";
    char *body = template_render(template_text, &values, why, why_size);
    free(body);
    return body != NULL;
}
