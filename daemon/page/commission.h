/*
 * commission: the form by which somebody on site makes what is measured now the normal of a system:
 * what its sensors read beside what a hand-held instrument shows, test holes at several fan
 * settings, radon before, the back-draft test.
 */
#ifndef DAEMON_PAGE_COMMISSION_H
#define DAEMON_PAGE_COMMISSION_H

#include "page/form.h"
#include "page/view.h"

/** The form, with what the sensors read now. */
void page_commission(struct page_view *view, size_t system);
/** Keeps what was sent, or shows it once more with what is wrong beside its fields. */
void page_commission_take(struct page_view *view, size_t system, const struct page_form *typed);

#endif
