/*
 * The first part of a system's sheet: what is wrong, what to do, how sure, and when to go there.
 */
#include "api/planned_visit.h"
#include "page/alarm_group.h"
#include "page/alarm_items.h"
#include "page/sections.h"
#include "page/view_words.h"

enum { ALARMS_MOST = 64 };

/* The open alarms of a system that are shown for themselves, most urgent first: those that lead
   their group, and those that an alarm of the whole fleet explains. */
static size_t choose(const struct alarm_book *book, size_t system,
                     const struct alarm *chosen[ALARMS_MOST]) {
    size_t count = 0;
    for (const struct alarm *alarm = alarm_book_of_system(book, system); alarm;
         alarm = alarm->next_of_system) {
        const struct alarm *leader = alarm_open(alarm) ? alarm_group_leader(book, alarm) : NULL;
        if (!leader || (leader != alarm && leader->system == system) || count == ALARMS_MOST)
            continue;
        size_t at = count++;
        for (; at > 0 && alarm_group_order(alarm, chosen[at - 1]) < 0; at--)
            chosen[at] = chosen[at - 1];
        chosen[at] = alarm;
    }
    return count;
}

static void write_visit(struct page_view *view, size_t system) {
    bool failed = false;
    struct planned_visit *plan = planned_visit_make(
        view->api, system, (struct wording_reader){view->language, view->units}, &failed);
    if (!plan)
        return;
    const struct visit *visit = planned_visit_of(plan);
    html_markup(&view->html, "<p class=\"plan\">");
    page_fill(view, visit->due_ms < view->api->now_ms ? PAGE_PLAN_VISIT_OVERDUE : PAGE_PLAN_VISIT,
              slot_strong_date(visit->due_ms, visit->zone),
              slot_date(visit->latest_ms, visit->zone));
    if (view->session) {
        struct html_address form = page_system_address(view, system, "#visit-done");
        html_markup(&view->html, " ");
        page_link(view, &form, page_words(view, PAGE_WRITE_WHEN_DONE));
        html_markup(&view->html, ".");
    }
    html_markup(&view->html, "</p>");
    planned_visit_free(plan);
}

void page_wrong(struct page_view *view, size_t system) {
    const struct alarm_book *book = pipeline_alarms(view->api->pipeline);
    const struct alarm *chosen[ALARMS_MOST];
    size_t count = choose(book, system, chosen);
    html_markup(&view->html, "<section id=\"wrong\">");
    page_element(view, "h2", PAGE_WHAT_IS_WRONG);
    for (size_t i = 0; i < count; i++)
        page_alarm_item(view, chosen[i], system);
    if (count == 0)
        page_no_open_alarm(view);
    write_visit(view, system);
    html_markup(&view->html, "</section>");
}
