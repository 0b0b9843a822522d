/*
 * page_facts: parts that the sheet of a system and its printed record share: averages in words,
 * fan and ground, commissioning, visits. All from the object that `show --json` gives.
 */
#ifndef DAEMON_PAGE_FACTS_H
#define DAEMON_PAGE_FACTS_H

#include "page/view.h"

#include <jansson.h>

/** Averages of a point as a table, each with coverage and uncertainty in words. */
void page_averages(struct page_view *view, const json_t *point, enum dimension dimension);
/** One sentence on one average: "1.3 pCi/L, 95 % sure between …". */
void page_average_sentence(struct page_view *view, const json_t *average, enum dimension dimension);
/** The average of a window of a point, NULL when there is none. */
const json_t *page_average_of(const json_t *point, const char *window);
/** A point of the show object by quantity, NULL when there is none. */
const json_t *page_point_of(const json_t *show, const char *quantity);

/** A trend in words; nothing is claimed that is not sure. */
void page_trend_sentence(struct page_view *view, const json_t *trend, enum dimension dimension);
/** Fan and ground, apart. */
void page_fan_and_ground(struct page_view *view, const json_t *show);
/** Commissioning records, newest first; at most `most`. */
void page_commissioning(struct page_view *view, size_t system, const json_t *show, size_t most);
/** Visits that were done, newest first; at most `most`. */
void page_past_visits(struct page_view *view, size_t system, const json_t *show, size_t most);

#endif
