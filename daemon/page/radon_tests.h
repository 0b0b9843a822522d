/*
 * page_radon_tests: results of radon tests on the sheets of a system, and the form for a new one.
 */
#ifndef DAEMON_PAGE_RADON_TESTS_H
#define DAEMON_PAGE_RADON_TESTS_H

#include "page/form.h"
#include "page/view.h"

/** The newest `most` of `radon_tests`, each beside what the monitors read in its days. */
void page_radon_tests(struct page_view *view, size_t system, size_t most);
/** For somebody signed in. */
void page_radon_test_form(struct page_view *view, size_t system);

/** That form, posted: written down, or shown again with what is wrong beside each field. */
void page_radon_test_take(struct page_view *view, size_t system, const struct page_form *typed);

/** The form that takes back a wrong one of the system's; nothing where there is none. */
void page_take_back_form(struct page_view *view, size_t system);
/** What was typed in it. */
void page_take_back_take(struct page_view *view, size_t system, const struct page_form *typed);

#endif
