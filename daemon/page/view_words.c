#include "page/view_words.h"

#include "page/view_text.h"
#include "words/fill.h"
#include "words/wording_texts.h"

#include <assert.h>
#include <string.h>

const char *page_words(const struct page_view *view, enum page_text text) {
    return page_text(view->language, text);
}

const char *home_words(const struct page_view *view, enum home_text text) {
    return home_text(view->language, text);
}

const char *page_words_of(const struct page_view *view, const char *english) {
    return page_text_of(view->language, english);
}

const char *page_quantity(const struct page_view *view, enum quantity quantity) {
    return wording_languages[view->language].texts->quantities[quantity];
}

const char *page_condition(const struct page_view *view, enum condition condition) {
    return wording_languages[view->language].texts->conditions[condition].subject;
}

void page_write(struct page_view *view, enum page_text text) {
    html_text(&view->html, page_words(view, text));
}

void page_element(struct page_view *view, const char *tag, enum page_text text) {
    html_element(&view->html, tag, page_words(view, text), NULL);
}

void page_column(struct page_view *view, enum page_text text) {
    html_element(&view->html, "th", page_words(view, text), "scope", "col", NULL);
}

void page_table_head(struct page_view *view, const enum page_text *columns, size_t count) {
    html_markup(&view->html, "<thead><tr>");
    for (size_t i = 0; i < count; i++)
        page_column(view, columns[i]);
    html_markup(&view->html, "</tr></thead><tbody>");
}

void page_open_cell(struct page_view *view, enum page_text text) {
    html_open(&view->html, "td", "data-label", page_words(view, text), NULL);
}

void page_cell(struct page_view *view, enum page_text text, const char *content) {
    html_element(&view->html, "td", content, "data-label", page_words(view, text), NULL);
}

void page_label(struct page_view *view, const char *id, enum page_text text) {
    html_element(&view->html, "label", page_words(view, text), "for", id, NULL);
    html_markup(&view->html, " ");
}

void page_none(struct page_view *view, enum page_text text) {
    html_element(&view->html, "p", page_words(view, text), "class", "none", NULL);
}

void page_end_form(struct page_view *view, enum page_text button) {
    html_markup(&view->html, "<p><button type=\"submit\">");
    page_write(view, button);
    html_markup(&view->html, "</button></p></form>");
}

void page_open_details(struct page_view *view, enum page_text summary) {
    html_markup(&view->html, "<details>");
    page_element(view, "summary", summary);
}

char *page_name_in(const struct page_view *view, char *text, size_t size, enum page_text words,
                   const char *name) {
    return page_names_in(view, text, size, words, name, "", "");
}

char *page_names_in(const struct page_view *view, char *text, size_t size, enum page_text words,
                    const char *a, const char *b, const char *c) {
    const char *const names[] = {a, b, c};
    fill_places(text, size, page_words(view, words), names);
    return text;
}

/* ---- places ---- */

struct page_slot slot_text(const char *text) {
    return (struct page_slot){.kind = SLOT_TEXT, .text = text};
}

struct page_slot slot_strong(const char *text) {
    return (struct page_slot){.kind = SLOT_STRONG, .text = text};
}

struct page_slot slot_priority(const char *text) {
    return (struct page_slot){.kind = SLOT_PRIORITY, .text = text};
}

struct page_slot slot_count(size_t count) {
    return (struct page_slot){.kind = SLOT_COUNT, .count = count};
}

struct page_slot slot_percent(double fraction) {
    return (struct page_slot){.kind = SLOT_PERCENT, .si = fraction};
}

struct page_slot slot_value(double si, enum dimension dimension) {
    return (struct page_slot){.kind = SLOT_VALUE, .si = si, .dimension = dimension};
}

struct page_slot slot_time(int64_t time_ms, const struct time_zone *zone) {
    return (struct page_slot){.kind = SLOT_TIME, .time_ms = time_ms, .zone = zone};
}

struct page_slot slot_date(int64_t time_ms, const struct time_zone *zone) {
    return (struct page_slot){.kind = SLOT_DATE, .time_ms = time_ms, .zone = zone};
}

struct page_slot slot_strong_date(int64_t time_ms, const struct time_zone *zone) {
    return (struct page_slot){.kind = SLOT_STRONG_DATE, .time_ms = time_ms, .zone = zone};
}

struct page_slot slot_link(const struct html_address *address, const char *text) {
    return (struct page_slot){.kind = SLOT_LINK, .address = address, .text = text};
}

static void write_slot(struct page_view *view, const struct page_slot *slot) {
    char text[PAGE_TEXT_SIZE];
    switch (slot->kind) {
    case SLOT_TEXT:
        html_text(&view->html, slot->text);
        break;
    case SLOT_STRONG:
        html_element(&view->html, "strong", slot->text, NULL);
        break;
    case SLOT_PRIORITY:
        html_element(&view->html, "span", slot->text, "class", "priority", NULL);
        break;
    case SLOT_COUNT:
        html_format(&view->html, "%zu", slot->count);
        break;
    case SLOT_PERCENT:
        html_element(&view->html, "span", page_percent_text(view, text, slot->si), "class", "value",
                     NULL);
        break;
    case SLOT_VALUE:
        page_value(view, slot->si, slot->dimension);
        break;
    case SLOT_TIME:
        page_time(view, slot->time_ms, slot->zone);
        break;
    case SLOT_DATE:
        page_date(view, slot->time_ms, slot->zone);
        break;
    case SLOT_STRONG_DATE:
        html_markup(&view->html, "<strong>");
        page_date(view, slot->time_ms, slot->zone);
        html_markup(&view->html, "</strong>");
        break;
    case SLOT_LINK:
        page_link(view, slot->address, slot->text);
        break;
    }
}

void page_fill_slots(struct page_view *view, const char *pattern, const struct page_slot *slots,
                     size_t count) {
    const char *at = pattern, *open;
    while ((open = strchr(at, '{'))) {
        size_t slot = (size_t)(open[1] - 'a');
        assert(slot < count && open[2] == '}');
        html_format(&view->html, "%.*s", (int)(open - at), at);
        write_slot(view, &slots[slot]);
        at = open + 3;
    }
    html_text(&view->html, at);
}
