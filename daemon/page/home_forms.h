/*
 * home_forms: what a homeowner's link takes. A form that is refused comes back as it was typed,
 * with the reason beside the field. A link is a secret that only its readers know, and a browser
 * says from whose page a form comes; so a page of somebody else can send nothing here.
 */
#ifndef DAEMON_PAGE_HOME_FORMS_H
#define DAEMON_PAGE_HOME_FORMS_H

#include "page/entry.h"
#include "page/home.h"

/* The forms; `typed`: a form that was posted, NULL: shown for the first time. */
void home_u_tube(struct page_view *view, size_t system, const struct page_form *typed);
void home_test(struct page_view *view, size_t system, const struct page_form *typed);
void home_fan(struct page_view *view, size_t system, const struct page_form *typed);

/** Begins and ends a form that is sent to `behind` the link. */
void home_form_begin(struct page_view *view, const struct entry *entry, enum home_text title,
                     const char *behind);
void home_form_end(struct page_view *view, const struct entry *entry);
/** May anything be noted now? Else false, and the entry and the status say why. */
bool home_form_may(struct page_view *view, size_t system, struct entry *entry);
/** Ends a form: commits what was kept and thanks, or says why not. True when it is answered. */
bool home_form_done(struct page_view *view, struct entry *entry);

#endif
