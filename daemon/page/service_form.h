/*
 * page_service_form: taking a system out of service, and back.
 */
#ifndef DAEMON_PAGE_SERVICE_FORM_H
#define DAEMON_PAGE_SERVICE_FORM_H

#include "page/form.h"
#include "page/view.h"

/** The form that a system's sheet has now. */
void page_service_form(struct page_view *view, size_t system);
/** Is it out of service? */
bool page_out_of_service(const struct page_view *view, size_t system);
/** What was typed in one of the two. */
void page_service_take(struct page_view *view, size_t system, const struct page_form *typed);

#endif
