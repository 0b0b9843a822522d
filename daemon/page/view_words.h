/*
 * page_view_words: what the sheets say, in the language of their reader. No word of a sheet stands
 * in its code: words are in lib/words/language_CODE.txt, as page.NAME.
 */
#ifndef DAEMON_PAGE_VIEW_WORDS_H
#define DAEMON_PAGE_VIEW_WORDS_H

#include "page/view.h"
#include "words/home_texts.h"
#include "words/page_texts.h"

/** What a text is in the reader's language; borrowed for good. */
const char *page_words(const struct page_view *view, enum page_text text);
/** The same of the homeowner's link. */
const char *home_words(const struct page_view *view, enum home_text text);
/** The same of a text that was made in English (page_text_of). */
const char *page_words_of(const struct page_view *view, const char *english);
/** What people call a quantity: "fan power". */
const char *page_quantity(const struct page_view *view, enum quantity quantity);
/** The same of a condition: "Suction low". */
const char *page_condition(const struct page_view *view, enum condition condition);
/** Writes it. */
void page_write(struct page_view *view, enum page_text text);
/** Writes it as a whole element, without attributes. */
void page_element(struct page_view *view, const char *tag, enum page_text text);
/** Writes it as the cell that heads a column. */
void page_column(struct page_view *view, enum page_text text);
/** The head of a table, one cell for each of the columns, and the start of its body. */
void page_table_head(struct page_view *view, const enum page_text *columns, size_t count);
/** Opens a cell; on a narrow screen `text` stands before what is in it. */
void page_open_cell(struct page_view *view, enum page_text text);
/** A whole cell with a text in it. */
void page_cell(struct page_view *view, enum page_text text, const char *content);
/** A label of the field `id`, and a blank. */
void page_label(struct page_view *view, const char *id, enum page_text text);
/** A paragraph that says there is none. */
void page_none(struct page_view *view, enum page_text text);
/** <p><button>…</button></p>, and the end of the form. */
void page_end_form(struct page_view *view, enum page_text button);
/** <details><summary>…</summary> */
void page_open_details(struct page_view *view, enum page_text summary);

/** "Record of 12 Birch Lane": a text with one name in it. Returns text. */
char *page_name_in(const struct page_view *view, char *text, size_t size, enum page_text words,
                   const char *name);

/** The same with up to three, of which those that it has not are NULL. Returns text. */
char *page_names_in(const struct page_view *view, char *text, size_t size, enum page_text words,
                    const char *a, const char *b, const char *c);

/** What fills a place of a text: {a} by the first of them, {b} by the second. Strings borrowed. */
struct page_slot {
    enum page_slot_kind {
        SLOT_TEXT,
        SLOT_STRONG,
        SLOT_PRIORITY,
        SLOT_COUNT,
        SLOT_PERCENT, /* of the fraction `si` */
        SLOT_VALUE,   /* as page_value */
        SLOT_TIME,
        SLOT_DATE,
        SLOT_STRONG_DATE,
        SLOT_LINK
    } kind;
    const char *text;
    size_t count;
    double si;
    enum dimension dimension;
    int64_t time_ms;
    const struct time_zone *zone;
    const struct html_address *address;
};
struct page_slot slot_text(const char *text);
struct page_slot slot_strong(const char *text);
struct page_slot slot_priority(const char *text);
struct page_slot slot_count(size_t count);
struct page_slot slot_percent(double fraction);
struct page_slot slot_value(double si, enum dimension dimension);
struct page_slot slot_time(int64_t time_ms, const struct time_zone *zone);
struct page_slot slot_date(int64_t time_ms, const struct time_zone *zone);
struct page_slot slot_strong_date(int64_t time_ms, const struct time_zone *zone);
struct page_slot slot_link(const struct html_address *address, const char *text);

/** Writes a text with its places filled. */
#define page_fill(view, text, ...)                                                                 \
    page_fill_slots((view), page_words((view), (text)), (const struct page_slot[]){__VA_ARGS__},   \
                    sizeof((const struct page_slot[]){__VA_ARGS__}) / sizeof(struct page_slot))
/** The same as a whole element; `class_name` NULL: without a class. */
#define page_fill_element(view, tag, class_name, text, ...)                                        \
    (html_open(&(view)->html, (tag), "class", (class_name), NULL),                                 \
     page_fill((view), (text), __VA_ARGS__), html_close(&(view)->html, (tag)))
/** The same of any pattern. */
void page_fill_slots(struct page_view *view, const char *pattern, const struct page_slot *slots,
                     size_t count);

#endif
