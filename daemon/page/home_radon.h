/*
 * home_radon: radon on a homeowner's link: what the monitors say, and the tests beside them.
 */
#ifndef DAEMON_PAGE_HOME_RADON_H
#define DAEMON_PAGE_HOME_RADON_H

#include "page/home.h"

void home_radon(struct page_view *view, size_t system, const struct system_facts *facts);

#endif
