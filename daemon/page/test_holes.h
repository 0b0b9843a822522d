/*
 * test_holes: what a commissioning record says of the test holes and the back-draft test.
 */
#ifndef DAEMON_PAGE_TEST_HOLES_H
#define DAEMON_PAGE_TEST_HOLES_H

#include "page/view.h"

/** A sentence on the back-draft test, also when there was none. */
void page_back_draft(struct page_view *view, const json_t *record);
/** The holes by fan setting, and how far the field reaches; nothing without them. */
void page_test_holes(struct page_view *view, const json_t *record);

#endif
