/*
 * page_alarm_items: alarms as people read them, with what can be done about each.
 */
#ifndef DAEMON_PAGE_ALARM_ITEMS_H
#define DAEMON_PAGE_ALARM_ITEMS_H

#include "page/view.h"

/** An open alarm that leads its group (alarm_group.h) as an article: what is wrong, what to do, how
 * sure; the rest of the group folded below; with forms for whoever is signed in. `only` is the
 * system whose page this is, FLEET_NONE: the page of all alarms. */
void page_alarm_item(struct page_view *view, const struct alarm *alarm, size_t only);
/** The likely causes of what stands at a system, each with how sure it is. */
void page_alarm_causes(struct page_view *view, size_t system);
/** In place of them. */
void page_no_open_alarm(struct page_view *view);

/** A table of alarms, open or past: its head comes with the first row. */
struct page_past_alarms {
    struct page_view *view;
    size_t only; /* as above */
    size_t rows; /* so far */
};
void page_past_alarm(struct page_past_alarms *table, const struct record_alarm *row);
/** Its end, or that there is none. */
void page_past_alarms_end(const struct page_past_alarms *table);

#endif
