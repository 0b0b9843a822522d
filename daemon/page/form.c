#include "page/form.h"

#include "measure/utf8.h"
#include "settings/change_words.h"
#include "settings/key_table.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

static int digit(char letter) {
    if (letter >= '0' && letter <= '9')
        return letter - '0';
    if (letter >= 'a' && letter <= 'f')
        return letter - 'a' + 10;
    if (letter >= 'A' && letter <= 'F')
        return letter - 'A' + 10;
    return -1;
}

/* Decodes in place, blanks at both ends left out. */
static bool decode(char *text) {
    char *to = text, *begin = text;
    for (const char *at = text; *at; at++) {
        if (*at == '%') {
            int high = digit(at[1]), low = high < 0 ? -1 : digit(at[2]);
            if (low < 0 || (high == 0 && low == 0))
                return false;
            *to++ = (char)(high * 16 + low);
            at += 2;
        } else {
            *to++ = *at == '+' ? ' ' : *at;
        }
    }
    *to = '\0';
    while (*begin == ' ')
        begin++;
    while (to > begin && to[-1] == ' ')
        *--to = '\0';
    memmove(text, begin, strlen(begin) + 1);
    return true;
}

bool page_form_parse(const void *body, size_t length, struct page_form *form) {
    form->count = 0;
    if (length > PAGE_FORM_BYTES_MAX || memchr(body, '\0', length))
        return false;
    memcpy(form->bytes, body, length);
    form->bytes[length] = '\0';
    char *rest = form->bytes, *field;
    while ((field = strsep(&rest, "&"))) {
        char *value = strchr(field, '=');
        if (!*field)
            continue;
        if (form->count == PAGE_FORM_FIELDS_MAX)
            return false;
        if (value)
            *value++ = '\0';
        else
            value = field + strlen(field);
        if (!decode(field) || (*value && !decode(value)) || !utf8_valid(value, strlen(value)))
            return false;
        form->fields[form->count].name = field;
        form->fields[form->count++].value = value;
    }
    return true;
}

const char *page_form_value(const struct page_form *form, const char *name) {
    for (size_t i = 0; i < form->count; i++) {
        if (strcmp(form->fields[i].name, name) == 0)
            return form->fields[i].value;
    }
    return "";
}

/* Scheme and host of the Origin must be those asked for (RFC 6454, section 7). */
bool page_form_from_here(const struct web_request *request) {
    const char *origin = web_header(request, "Origin"), *host = web_header(request, "Host");
    if (!origin || !host)
        return false;
    if (strncmp(origin, "http://", 7) == 0)
        origin += 7;
    else if (strncmp(origin, "https://", 8) == 0)
        origin += 8;
    else
        return false;
    return strcasecmp(origin, host) == 0;
}

bool page_form_is(const struct web_request *request) {
    const char *type = request->content_type;
    return type && strncmp(type, "application/x-www-form-urlencoded", 33) == 0;
}

void page_form_set(json_t *json, const char *key, const char *typed) {
    if (*typed)
        json_object_set_new(json, key, json_string(typed));
}

void page_form_set_value(json_t *json, const char *key, const char *typed,
                         const struct unit *unit) {
    char with_unit[120];
    double number;
    snprintf(with_unit, sizeof with_unit, "%.60s %s", typed, unit->spelling);
    page_form_set(json, key, key_number_parse(typed, &number) ? with_unit : typed);
}

json_t *page_form_changes(const struct page_form *form) {
    json_t *list = json_array();
    char name[80];
    for (unsigned n = 0; change_word(n); n++) {
        snprintf(name, sizeof name, "changed-%s", change_word(n));
        if (*page_form_value(form, name))
            json_array_append_new(list, json_string(change_word(n)));
    }
    return list;
}
