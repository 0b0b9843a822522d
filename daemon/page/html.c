#include "page/html.h"

#include "measure/utf8.h"
#include "words/percent.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

void html_literal(struct html *html, const char *markup) {
    text_buffer_add(&html->text, markup);
}

static const char *entity(char letter) {
    switch (letter) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    default:
        return NULL;
    }
}

void html_text(struct html *html, const char *text) {
    const unsigned char *at = (const unsigned char *)(text ? text : "");
    while (*at) {
        const unsigned char *start = at;
        while (*at >= ' ' && *at < 0x7f && !entity((char)*at))
            at++;
        text_buffer_add_bytes(&html->text, (const char *)start, (size_t)(at - start));
        if (!*at)
            break;
        size_t length = utf8_character((const char *)at);
        if (*at < 0x80) {
            if (entity((char)*at))
                text_buffer_add(&html->text, entity((char)*at));
            else if (*at == '\n' || *at == '\t')
                text_buffer_add_bytes(&html->text, (const char *)at, 1);
        } else if (length == 0) {
            text_buffer_add(&html->text, "\xef\xbf\xbd");
        } else if (!(at[0] == 0xc2 && at[1] < 0xa0)) { /* C1 controls are left out */
            text_buffer_add_bytes(&html->text, (const char *)at, length);
        }
        at += length ? length : 1;
    }
}

void html_format(struct html *html, const char *format, ...) {
    char room[2048];
    va_list arguments;
    va_start(arguments, format);
    int wrote = vsnprintf(room, sizeof room, format, arguments);
    va_end(arguments);
    if (wrote < 0)
        html->text.failed = true;
    else
        html_text(html, room);
}

static void open_tag(struct html *html, const char *tag, va_list pairs) {
    const char *name;
    text_buffer_add(&html->text, "<");
    text_buffer_add(&html->text, tag);
    while ((name = va_arg(pairs, const char *))) {
        const char *value = va_arg(pairs, const char *);
        if (!value)
            continue;
        text_buffer_add(&html->text, " ");
        text_buffer_add(&html->text, name);
        text_buffer_add(&html->text, "=\"");
        html_text(html, value);
        text_buffer_add(&html->text, "\"");
    }
}

void html_open(struct html *html, const char *tag, ...) {
    va_list pairs;
    va_start(pairs, tag);
    open_tag(html, tag, pairs);
    va_end(pairs);
    text_buffer_add(&html->text, ">");
}

void html_empty(struct html *html, const char *tag, ...) {
    va_list pairs;
    va_start(pairs, tag);
    open_tag(html, tag, pairs);
    va_end(pairs);
    text_buffer_add(&html->text, "/>");
}

void html_close(struct html *html, const char *tag) {
    text_buffer_add(&html->text, "</");
    text_buffer_add(&html->text, tag);
    text_buffer_add(&html->text, ">");
}

void html_element(struct html *html, const char *tag, const char *text, ...) {
    va_list pairs;
    va_start(pairs, text);
    open_tag(html, tag, pairs);
    va_end(pairs);
    text_buffer_add(&html->text, ">");
    html_text(html, text);
    html_close(html, tag);
}

void html_hidden(struct html *html, const char *name, const char *value) {
    html_empty(html, "input", "type", "hidden", "name", name, "value", value, NULL);
}

const char *html_number(double value) {
    static _Thread_local char rooms[8][24];
    static _Thread_local size_t turn;
    char *room = rooms[turn++ % 8];
    snprintf(room, sizeof rooms[0], "%.1f", fmin(fmax(value, -1e9), 1e9)); /* NaN: far outside */
    size_t length = strlen(room);
    if (length > 2 && strcmp(room + length - 2, ".0") == 0)
        room[length - 2] = '\0';
    return strcmp(room, "-0") == 0 ? "0" : room;
}

/* ---- drawings ---- */

void html_line(struct html *html, double x1, double y1, double x2, double y2,
               const char *class_name) {
    html_empty(html, "line", "x1", html_number(x1), "y1", html_number(y1), "x2", html_number(x2),
               "y2", html_number(y2), "class", class_name, NULL);
}

void html_label(struct html *html, double x, double y, const char *class_name, const char *text) {
    html_element(html, "text", text, "x", html_number(x), "y", html_number(y), "class", class_name,
                 NULL);
}

/* ---- addresses ---- */

static void add_bytes(struct html_address *address, const char *bytes, size_t length) {
    if (address->length + length >= sizeof address->text)
        return; /* a cut address leads nowhere, but harms nobody */
    memcpy(address->text + address->length, bytes, length);
    address->length += length;
    address->text[address->length] = '\0';
}

static void add_encoded(struct html_address *address, const char *text) {
    for (; *text; text++) {
        struct percent_code code = percent_encode(*text);
        add_bytes(address, code.text, code.length);
    }
}

struct html_address html_address(const char *path) {
    struct html_address address = {.length = 0};
    add_bytes(&address, path, strlen(path));
    return address;
}

void html_address_part(struct html_address *address, const char *part) {
    add_encoded(address, part);
}

void html_address_path(struct html_address *address, const char *path) {
    add_bytes(address, path, strlen(path));
}

void html_address_query(struct html_address *address, const char *name, const char *value) {
    if (!value || !*value)
        return;
    add_bytes(address, address->has_query ? "&" : "?", 1);
    address->has_query = true;
    add_bytes(address, name, strlen(name));
    add_bytes(address, "=", 1);
    add_encoded(address, value);
}
