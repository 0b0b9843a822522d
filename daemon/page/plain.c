#include "page/plain.h"

#include "words/text_buffer.h"

#include <stdbool.h>
#include <stddef.h>
#include <string.h>

struct plain {
    struct text_buffer text;
    const char *due;  /* what stands before the next word, or NULL */
    const char *cell; /* what stands before the next cell of a row */
    size_t left_out;  /* depth of elements within one that is left out, and it */
};

/* A tag of ours: its name, and all of it up to its end. */
struct tag {
    const char *name, *end; /* `end` at ">" */
    size_t length;
    bool closes, alone; /* alone: without an end tag */
};

static bool is_one_of(const struct tag *tag, const char *const *names) {
    for (size_t i = 0; names[i]; i++)
        if (strlen(names[i]) == tag->length && strncmp(tag->name, names[i], tag->length) == 0)
            return true;
    return false;
}

#define IS(tag, ...) is_one_of((tag), (const char *const[]){__VA_ARGS__, NULL})

/* `at` stands at "<"; in our attributes there is no ">" (html_text). False at a broken end. */
static bool read_tag(const char *at, struct tag *tag) {
    const char *end = strchr(at, '>');
    if (!end)
        return false;
    *tag = (struct tag){.closes = at[1] == '/', .end = end};
    tag->name = at + 1 + tag->closes;
    tag->length = strcspn(tag->name, " />");
    tag->alone = end[-1] == '/' || IS(tag, "meta", "link", "input", "br", "hr", "!DOCTYPE");
    return true;
}

static bool has_text(const struct tag *tag, const char *text) {
    return memmem(tag->name, (size_t)(tag->end - tag->name), text, strlen(text)) != NULL;
}

static bool is_left_out(const struct tag *tag) {
    return IS(tag, "head", "header", "footer", "nav", "svg", "script", "style", "form", "thead") ||
           has_text(tag, "class=\"no-print\"") || has_text(tag, "class=\"skip\"");
}

/* ---- words ---- */

static void begin(struct plain *plain, const char *due) {
    plain->due = plain->text.length ? due : due + strspn(due, "\n");
}

/* One character of HTML text, of which `*length` bytes are read. */
static const char *character(const char *at, size_t *length, char room[2]) {
    static const char *const entities[][2] = {
        {"&amp;", "&"}, {"&lt;", "<"}, {"&gt;", ">"}, {"&quot;", "\""}, {"&#39;", "'"}};
    for (size_t i = 0; *at == '&' && i < sizeof entities / sizeof entities[0]; i++) {
        *length = strlen(entities[i][0]);
        if (strncmp(at, entities[i][0], *length) == 0)
            return entities[i][1];
    }
    *length = 1;
    room[0] = *at;
    room[1] = '\0';
    return room;
}

/* Blanks and line breaks of the markup are one blank, and none at the start of a line. */
static void write_words(struct plain *plain, const char *at, const char *end) {
    char room[2];
    size_t length;
    for (; at < end; at += length) {
        const char *text = character(at, &length, room);
        if (*text == ' ' || *text == '\n' || *text == '\t') {
            plain->due = plain->due ? plain->due : " ";
            continue;
        }
        text_buffer_add(&plain->text, plain->due ? plain->due : "");
        text_buffer_add(&plain->text, text);
        plain->due = NULL;
    }
}

/* ---- tags ---- */

static const char between_paragraphs[] = "\n\n  ";

/* "Priority: medium": in a row each cell has the name of its column before it. */
static void begin_cell(struct plain *plain, const struct tag *tag) {
    static const char label[] = "data-label=\"";
    const char *name = memmem(tag->name, (size_t)(tag->end - tag->name), label, sizeof label - 1);
    begin(plain, plain->cell);
    plain->cell = "; ";
    if (!name)
        return;
    name += sizeof label - 1;
    write_words(plain, name, strchr(name, '"'));
    plain->due = ": ";
}

static void open_tag(struct plain *plain, const struct tag *tag) {
    if (IS(tag, "h1"))
        begin(plain, "\n");
    else if (IS(tag, "h2"))
        begin(plain, "\n\n");
    else if (IS(tag, "h3"))
        begin(plain, "\n\n  ");
    else if (IS(tag, "li", "dt"))
        begin(plain, "\n  - ");
    else if (IS(tag, "p", "div", "br", "section") && plain->due != between_paragraphs)
        begin(plain, "\n  ");
    else if (IS(tag, "dd"))
        begin(plain, ": ");
    else if (IS(tag, "tr"))
        plain->cell = "\n  - ";
    else if (IS(tag, "td", "th"))
        begin_cell(plain, tag);
}

static void close_tag(struct plain *plain, const struct tag *tag) {
    if (IS(tag, "p"))
        begin(plain, between_paragraphs);
    else if (IS(tag, "h1", "h2", "h3", "div", "ul", "dl", "table", "section"))
        begin(plain, "\n  ");
}

/* Text between tags and the tag behind it. Returns where to go on, NULL at the end. */
static const char *step(struct plain *plain, const char *at) {
    const char *next = strchr(at, '<');
    struct tag tag;
    if (!plain->left_out)
        write_words(plain, at, next ? next : at + strlen(at));
    if (!next || !read_tag(next, &tag))
        return NULL;
    if (tag.closes)
        plain->left_out -= plain->left_out > 0;
    else if (!tag.alone && (plain->left_out || is_left_out(&tag)))
        plain->left_out++;
    else if (!plain->left_out)
        open_tag(plain, &tag);
    if (tag.closes && !plain->left_out)
        close_tag(plain, &tag);
    return tag.end + 1;
}

char *page_plain(const char *html) {
    struct plain plain = {.cell = ""};
    for (const char *at = html; at;)
        at = step(&plain, at);
    text_buffer_add(&plain.text, "\n");
    return text_buffer_take(&plain.text);
}
