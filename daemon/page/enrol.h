/*
 * enrol: a new system out of topics that nobody claims, by somebody who is signed in: first which
 * topics are of the house (GET /enrol), then what each is and what is to be known of the house
 * (POST /enrol-house), then it is checked and written (POST /enrol), and when it is watched its
 * commissioning follows (GET /enrolled/ID).
 */
#ifndef DAEMON_PAGE_ENROL_H
#define DAEMON_PAGE_ENROL_H

#include "page/form.h"
#include "page/view.h"

/** The topics that nobody claims. */
void page_enrol_topics(struct page_view *view);
/** Those that were ticked, as a form for the house. */
void page_enrol_house(struct page_view *view, const struct page_form *form);
/** Checks and writes; the form once more, with what is wrong beside its fields, where it is. */
void page_enrol(struct page_view *view, const struct page_form *form);
/** Waits until the system is watched, then leads to its commissioning. */
void page_enrolled(struct page_view *view);
/** How many topics wait to be claimed, as a line with a link; nothing where there are none. */
void page_enrol_notice(struct page_view *view);

#endif
