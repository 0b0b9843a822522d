/*
 * test_form: the fields of a radon test's result, for whoever writes one down, in the language of
 * the view.
 */
#ifndef DAEMON_PAGE_TEST_FORM_H
#define DAEMON_PAGE_TEST_FORM_H

#include "page/entry.h"
#include "page/view.h"
#include "store/records.h"

/** The fields, as typed. */
void test_form_write(const struct page_view *view, struct entry *entry, size_t system);
/** What was typed into `test`, whose texts are the entry's; false: the entry says what is wrong. */
bool test_form_read(const struct page_view *view, struct entry *entry, size_t system,
                    struct record_radon_test *test);

#endif
