/*
 * page_html: HTML written so that text from outside can't become markup.
 *
 * There are four ways to write, and each escapes for its place: markup of ours (a string literal,
 * checked by the compiler), text, attribute values, and addresses put together from parts. Markup
 * is never made with printf. Control characters are left out; bytes that are not UTF-8 become
 * U+FFFD (WHATWG HTML, 13.2.3.5 and 13.2.5).
 */
#ifndef DAEMON_PAGE_HTML_H
#define DAEMON_PAGE_HTML_H

#include "words/text_buffer.h"

#include <stdbool.h>
#include <stddef.h>

struct html {
    struct text_buffer text;
};

/** Markup of ours: only a literal compiles. */
#define html_markup(html, literal) html_literal((html), "" literal "")
void html_literal(struct html *html, const char *markup);

/** Text between tags; NULL writes nothing. Safe inside quoted attribute values too. */
void html_text(struct html *html, const char *text);
/** printf-style, then escaped as text. */
void html_format(struct html *html, const char *format, ...) __attribute__((format(printf, 2, 3)));

/**
 * Opens a tag: its name, then pairs of attribute name and value (escaped), then NULL. A NULL value
 * leaves the attribute out, an empty one writes the name alone.
 */
void html_open(struct html *html, const char *tag, ...) __attribute__((sentinel));
/** The same for a tag without an end, and in SVG one that ends itself. */
void html_empty(struct html *html, const char *tag, ...) __attribute__((sentinel));
void html_close(struct html *html, const char *tag);
/** A whole element: tag, text, then pairs and NULL. */
void html_element(struct html *html, const char *tag, const char *text, ...)
    __attribute__((sentinel));

/** A field of a form that is sent along unseen. */
void html_hidden(struct html *html, const char *name, const char *value);

/**
 * A short number for an SVG attribute: "12.5". What is no number or over 1e9 lies far outside of
 * any drawing. Uses one of eight rooms in turn.
 */
const char *html_number(double value);

/** A line and a text of a drawing (SVG), with a class for the style sheet. */
void html_line(struct html *html, double x1, double y1, double x2, double y2,
               const char *class_name);
void html_label(struct html *html, double x, double y, const char *class_name, const char *text);

/** An address put together: path parts and query values percent-encoded (RFC 3986, 2.1). */
struct html_address {
    char text[1024];
    size_t length;
    bool has_query;
};
/** Begins with a literal path of ours such as "/systems/". */
struct html_address html_address(const char *path);
/** One path part; "/" in it is encoded. */
void html_address_part(struct html_address *address, const char *part);
/** A literal path of ours behind it, such as "/record". */
void html_address_path(struct html_address *address, const char *path);
/** A query parameter; a NULL or empty value is left out. */
void html_address_query(struct html_address *address, const char *name, const char *value);

#endif
