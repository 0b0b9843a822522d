/*
 * All alarms: the open ones with what can be done about them, or the history.
 */
#include "page/alarm_items.h"
#include "page/view_text.h"

#include <stdio.h>
#include <stdlib.h>

enum { ROWS_A_PAGE = 100 };

static void write_choice(struct page_view *view, bool all) {
    struct html_address open = page_address(view, "/alarms"), past = open;
    html_address_query(&past, "all", "1");
    html_markup(&view->html, "<nav aria-label=\"Which alarms\"><ul class=\"tally\"><li>");
    html_element(&view->html, "a", "open", "href", open.text, "aria-current", all ? NULL : "true",
                 NULL);
    html_markup(&view->html, "</li><li>");
    html_element(&view->html, "a", "history", "href", past.text, "aria-current",
                 all ? "true" : NULL, NULL);
    html_markup(&view->html, "</li></ul></nav>");
}

/* The newest are one page, and each further page begins behind the last alarm of the one before. */
static void write_pages(struct page_view *view, const struct api_alarm_choice *choice,
                        const json_t *next) {
    struct html_address newest = page_address(view, "/alarms"), older;
    if (!choice->before && !next)
        return;
    html_address_query(&newest, "all", choice->all ? "1" : NULL);
    older = newest;
    html_markup(&view->html, "<nav class=\"pages\" aria-label=\"Pages of the list\"><p>");
    if (choice->before)
        html_element(&view->html, "a", "← newest", "href", newest.text, "rel", "first", "data-key",
                     "ArrowLeft", NULL);
    if (next) {
        char number[24];
        snprintf(number, sizeof number, "%.0f", page_json_number(next, "id"));
        html_address_query(&older, "before", number);
        html_markup(&view->html, " ");
        html_element(&view->html, "a", "older →", "href", older.text, "rel", "next", "data-key",
                     "ArrowRight", NULL);
    }
    html_markup(&view->html, "</p></nav>");
}

static void write_alarms(struct page_view *view, struct api_alarm_choice *choice) {
    choice->limit = ROWS_A_PAGE + 1; /* is there one more? */
    json_t *alarms = api_alarms(view->api, choice), *next = NULL;
    if (json_array_size(alarms) > ROWS_A_PAGE) {
        json_array_remove(alarms, ROWS_A_PAGE);
        next = json_array_get(alarms, ROWS_A_PAGE - 1);
    }
    html_element(&view->html, "h2", choice->all ? "History, newest first" : "Open, newest first",
                 NULL);
    if (!alarms)
        html_markup(&view->html, "<p>There is no such list now: the store can't be read, or the "
                                 "address names an alarm that is not known.</p>");
    else if (choice->all)
        page_alarm_history(view, alarms, FLEET_NONE);
    else
        page_alarm_items(view, alarms, FLEET_NONE);
    write_pages(view, choice, next);
    json_decref(alarms);
}

void page_alarms(struct page_view *view) {
    const struct page_head head = {.title = "Alarms", .current = "/alarms", .system = FLEET_NONE};
    struct api_alarm_choice choice = {.all = *page_query(view, "all") != '\0',
                                      .system = FLEET_NONE,
                                      .since_ms = TIMESTAMP_NONE,
                                      .before = strtoll(page_query(view, "before"), NULL, 10)};
    page_begin(view, &head);
    html_markup(&view->html, "<h1>Alarms</h1>");
    write_choice(view, choice.all);
    write_alarms(view, &choice);
    page_end(view, 200);
}
