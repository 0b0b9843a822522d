/*
 * page_alarm_items: alarms as people read them, with what can be done about each.
 */
#ifndef DAEMON_PAGE_ALARM_ITEMS_H
#define DAEMON_PAGE_ALARM_ITEMS_H

#include "page/view.h"

#include <jansson.h>

/** Open alarms (an array of alarm objects) as articles, with forms for whoever is signed in. `only`
 * is the system whose page this is, FLEET_NONE: the page of all alarms. */
void page_alarm_items(struct page_view *view, const json_t *alarms, size_t only);
/** Past ones as a table. */
void page_alarm_history(struct page_view *view, const json_t *alarms, size_t only);

#endif
