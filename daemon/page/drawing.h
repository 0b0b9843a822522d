/*
 * page_drawing: the system as a section through the house: riser, fan, U-tube, slab and test holes,
 * each with what is measured there now and what was measured at commissioning.
 */
#ifndef DAEMON_PAGE_DRAWING_H
#define DAEMON_PAGE_DRAWING_H

#include "page/view.h"

/** A figure with inline SVG; the table of points says the same in words. */
void page_drawing(struct page_view *view, size_t system);

#endif
