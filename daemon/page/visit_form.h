/*
 * visit_form: the form by which somebody signed in writes down a visit: what was found, done and
 * measured, and the fan that was put in.
 */
#ifndef DAEMON_PAGE_VISIT_FORM_H
#define DAEMON_PAGE_VISIT_FORM_H

#include "page/form.h"
#include "page/view.h"

/** The form, folded, on the sheet of a system. */
void page_visit_form(struct page_view *view, size_t system);
/** Keeps what was sent, or shows it once more with what is wrong beside its fields. */
void page_visit_take(struct page_view *view, size_t system, const struct page_form *typed);

#endif
