/*
 * page_sections: the larger parts of a system's sheet.
 */
#ifndef DAEMON_PAGE_SECTIONS_H
#define DAEMON_PAGE_SECTIONS_H

#include "page/view.h"

/** What is wrong, what to do, how sure, and when to go there. */
void page_wrong(struct page_view *view, size_t system);
/** Each point now, over 7 days and at commissioning; trends folded below. */
void page_points(struct page_view *view, size_t system, const struct system_facts *facts);
/** Charts of several points on one axis of time. */
void page_charts(struct page_view *view, size_t system);
/** The system as a section through the house: riser, fan, U-tube, slab and test holes, each with
    what is measured there now and what was measured at commissioning. A figure with inline SVG; the
    table of points says the same in words. */
void page_drawing(struct page_view *view, size_t system);
/** What the household sent by its link; nothing when nothing was sent. */
void page_household(struct page_view *view, size_t system);

#endif
