/*
 * page_choice: fields of a form that choose what a list shows, by the query and without a script.
 */
#ifndef DAEMON_PAGE_CHOICE_H
#define DAEMON_PAGE_CHOICE_H

#include "page/view.h"

void page_option(struct page_view *view, const char *value, const char *text, bool chosen);
/** A select of the regions, where there are several; of their first 200. */
void page_region_choice(struct page_view *view);
/** A select of the contacts, where there are several. */
void page_contact_choice(struct page_view *view);
/** The chosen units, carried along. */
void page_keep_choices(struct page_view *view);

/** Is the system in this region? "": in any. */
bool page_is_in_region(const struct api *api, size_t system, const char *region);

#endif
