/*
 * All alarms: the open ones with what can be done about them, or the history.
 */
#include "page_alarm_items.h"
#include "page_text.h"

enum { OPEN_MOST = 200, PAST_MOST = 200 };

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

static void write_open(struct page_view *view) {
    json_t *alarms = api_alarms_open(view->api, NULL);
    size_t count = json_array_size(alarms);
    while (json_array_size(alarms) > OPEN_MOST)
        json_array_remove(alarms, json_array_size(alarms) - 1);
    if (count > OPEN_MOST) {
        html_markup(&view->html, "<p class=\"notice\">");
        html_format(&view->html, "%zu alarms are open; here are the newest %d.", count, OPEN_MOST);
        html_markup(&view->html, "</p>");
    }
    html_markup(&view->html, "<h2>Open</h2>");
    page_alarm_items(view, alarms, FLEET_NONE);
    json_decref(alarms);
}

void page_alarms(struct page_view *view) {
    const struct page_head head = {.title = "Alarms", .current = "/alarms", .system = FLEET_NONE};
    bool all = *page_query(view, "all");
    page_begin(view, &head);
    html_markup(&view->html, "<h1>Alarms</h1>");
    write_choice(view, all);
    if (!all) {
        write_open(view);
    } else {
        json_t *alarms = api_alarms_history(view->api, NULL, PAST_MOST);
        html_markup(&view->html, "<h2>History, newest first</h2>");
        if (alarms)
            page_alarm_history(view, alarms, FLEET_NONE);
        else
            html_markup(&view->html, "<p>The store can't be read now.</p>");
        json_decref(alarms);
    }
    page_end(view, 200);
}
