/*
 * household: what the household of a system sent by its link, for the contractor.
 */
#ifndef DAEMON_PAGE_HOUSEHOLD_H
#define DAEMON_PAGE_HOUSEHOLD_H

#include "page/view.h"

/** A section; nothing when nothing was sent. */
void page_household(struct page_view *view, size_t system);

#endif
