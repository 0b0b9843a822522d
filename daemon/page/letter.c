/*
 * The year's letter to an owner, to print or to send.
 */
#include "api/letter.h"

#include "page/view.h"
#include "page/view_words.h"
#include "words/wording.h"

#include <stdlib.h>

static const char *text_of(const json_t *object, const char *key) {
    const char *text = json_string_value(json_object_get(object, key));
    return text ? text : "";
}

static void write_section(struct page_view *view, const json_t *section) {
    const json_t *paragraphs = json_object_get(section, "paragraphs");
    html_markup(&view->html, "<section>");
    html_element(&view->html, "h2", text_of(section, "heading"), NULL);
    for (size_t i = 0; i < json_array_size(paragraphs); i++)
        html_element(&view->html, "p", json_string_value(json_array_get(paragraphs, i)), NULL);
    html_markup(&view->html, "</section>");
}

static void write_letter(struct page_view *view, size_t system, const json_t *letter) {
    const struct page_head head = {
        .title = text_of(letter, "title"), .style = "record", .system = system};
    const json_t *sections = json_object_get(letter, "sections");
    page_begin(view, &head);
    html_open(&view->html, "div", "lang", text_of(letter, "language"), NULL);
    html_element(&view->html, "h1", text_of(letter, "title"), NULL);
    html_markup(&view->html, "<p class=\"lead\">");
    html_text(&view->html, text_of(letter, "name"));
    if (*text_of(letter, "address"))
        html_format(&view->html, ", %s", text_of(letter, "address"));
    html_markup(&view->html, "</p>");
    for (size_t i = 0; i < json_array_size(sections); i++)
        write_section(view, json_array_get(sections, i));
    html_markup(&view->html, "</div>");
    page_end(view, 200);
}

/* The year that is asked for; else that of the last whole month: in January the year before. */
static int year_of(const struct page_view *view, size_t system) {
    int year = atoi(page_query(view, "year")), month = 0, day = 0;
    if (year >= 1970 && year <= 9999)
        return year;
    timestamp_civil_from_days(time_zone_local_day(page_zone(view, system), view->api->now_ms) - 31,
                              &year, &month, &day);
    return year;
}

void page_letter(struct page_view *view, size_t system) {
    struct letter_request request = {
        .system = system,
        .language = letter_language(view->api->fleet, system),
        .units = view->units,
        .year = year_of(view, system),
    };
    if (*page_query(view, "language"))
        wording_language_find(page_query(view, "language"), &request.language);
    json_t *letter = letter_make(view->api, &request);
    if (letter)
        write_letter(view, system, letter);
    else
        page_say(view, 404, PAGE_NO_LETTER_TITLE, PAGE_NO_LETTER);
    json_decref(letter);
}
