/*
 * All alarms: the open ones by priority and time, what a cause explains folded below it, with what
 * can be done about them; or the history.
 */
#include "page/alarm_group.h"
#include "page/alarm_items.h"
#include "page/view_words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS_A_PAGE = 100 };

static void write_choice(struct page_view *view, bool all) {
    struct html_address open = page_address(view, "/alarms"), past = open;
    html_address_query(&past, "all", "1");
    html_open(&view->html, "nav", "aria-label", page_words(view, PAGE_WHICH_ALARMS), NULL);
    html_markup(&view->html, "<ul class=\"tally\"><li>");
    html_element(&view->html, "a", page_words(view, PAGE_OPEN_ONES), "href", open.text,
                 "aria-current", all ? NULL : "true", NULL);
    html_markup(&view->html, "</li><li>");
    html_element(&view->html, "a", page_words(view, PAGE_HISTORY), "href", past.text,
                 "aria-current", all ? "true" : NULL, NULL);
    html_markup(&view->html, "</li></ul></nav>");
}

/* Each further page begins behind the last alarm of the one before. */
static void write_pages(struct page_view *view, bool all, int64_t before, int64_t next) {
    struct html_address first = page_address(view, "/alarms"), further;
    if (!before && !next)
        return;
    html_address_query(&first, "all", all ? "1" : NULL);
    further = first;
    html_open(&view->html, "nav", "class", "pages", "aria-label",
              page_words(view, PAGE_PAGES_OF_LIST), NULL);
    html_markup(&view->html, "<p>");
    if (before)
        html_element(&view->html, "a", page_words(view, all ? PAGE_NEWEST : PAGE_MOST_URGENT),
                     "href", first.text, "rel", "first", "data-key", "ArrowLeft", NULL);
    if (next) {
        char number[24];
        snprintf(number, sizeof number, "%lld", (long long)next);
        html_address_query(&further, "before", number);
        html_markup(&view->html, " ");
        html_element(&view->html, "a", page_words(view, all ? PAGE_OLDER : PAGE_LESS_URGENT),
                     "href", further.text, "rel", "next", "data-key", "ArrowRight", NULL);
    }
    html_markup(&view->html, "</p></nav>");
}

static void say_no_list(struct page_view *view) {
    page_element(view, "p", PAGE_NO_LIST);
}

/* ---- the open ones ---- */

struct urgent {
    const struct alarm *rows[ROWS_A_PAGE + 1]; /* one more than a page: whether there is a next */
    size_t count;
};

/* Keeps the most urgent ones. */
static void consider(struct urgent *urgent, const struct alarm *alarm) {
    size_t at = urgent->count;
    while (at > 0 && alarm_group_order(alarm, urgent->rows[at - 1]) < 0)
        at--;
    if (at > ROWS_A_PAGE)
        return;
    size_t behind = urgent->count - at;
    if (urgent->count > ROWS_A_PAGE)
        behind--;
    else
        urgent->count++;
    memmove(urgent->rows + at + 1, urgent->rows + at, behind * sizeof(const struct alarm *));
    urgent->rows[at] = alarm;
}

/* What another alarm explains stands below that one. */
static void find_urgent(const struct alarm_book *book, const struct alarm *behind,
                        struct urgent *urgent) {
    urgent->count = 0;
    for (size_t i = 0; i < alarm_book_count(book); i++) {
        const struct alarm *alarm = alarm_book_at(book, i);
        if (alarm_open(alarm) && alarm_state(alarm) != ALARM_SUPPRESSED_BY_DESIGN &&
            (!behind || alarm_group_order(behind, alarm) < 0))
            consider(urgent, alarm);
    }
}

static void write_open(struct page_view *view, int64_t before) {
    const struct alarm_book *book = pipeline_alarms(view->api->pipeline);
    const struct alarm *behind = before ? alarm_book_find(book, before) : NULL;
    struct urgent urgent;
    page_element(view, "h2", PAGE_OPEN_HEADING);
    if (before && !behind) {
        say_no_list(view);
        write_pages(view, false, before, 0);
        return;
    }
    find_urgent(book, behind, &urgent);
    size_t count = urgent.count > ROWS_A_PAGE ? ROWS_A_PAGE : urgent.count;
    for (size_t i = 0; i < count; i++) {
        if (alarm_group_leader(book, urgent.rows[i]) == urgent.rows[i])
            page_alarm_item(view, urgent.rows[i], FLEET_NONE);
    }
    if (urgent.count == 0)
        page_no_open_alarm(view);
    write_pages(view, false, before, urgent.count > count ? urgent.rows[count - 1]->id : 0);
}

/* ---- the history ---- */

struct history_sheet {
    struct page_past_alarms table;
    size_t rows;
    int64_t last; /* number of the row before */
    bool more;
};

static bool take_alarm(void *context, const struct record_alarm *row, const struct alarm *open) {
    struct history_sheet *sheet = context;
    (void)open;
    sheet->more = sheet->rows == ROWS_A_PAGE;
    if (sheet->more)
        return false;
    sheet->rows++;
    sheet->last = row->id;
    page_past_alarm(&sheet->table, row);
    return true;
}

static void write_history(struct page_view *view, int64_t before) {
    const struct api_alarm_choice choice = {
        .all = true, .system = FLEET_NONE, .since_ms = TIMESTAMP_NONE, .before = before};
    struct history_sheet sheet = {.table = {view, FLEET_NONE, 0}};
    page_element(view, "h2", PAGE_HISTORY_HEADING);
    bool read = api_alarms_each(view->api, &choice, take_alarm, &sheet);
    if (read || sheet.rows)
        page_past_alarms_end(&sheet.table);
    if (!read)
        say_no_list(view);
    write_pages(view, true, before, sheet.more ? sheet.last : 0);
}

void page_alarms(struct page_view *view) {
    const struct page_head head = {
        .title = page_words(view, PAGE_ALARMS), .current = "/alarms", .system = FLEET_NONE};
    int64_t before = strtoll(page_query(view, "before"), NULL, 10);
    bool all = *page_query(view, "all") != '\0';
    page_begin(view, &head);
    page_element(view, "h1", PAGE_ALARMS);
    write_choice(view, all);
    if (all)
        write_history(view, before);
    else
        write_open(view, before);
    page_end(view, 200);
}
