/*
 * page_private: the body of the page, shared by page.c (who may, which page) and page_changes.c
 * (what posted forms do).
 */
#ifndef DAEMON_PAGE_PAGE_PRIVATE_H
#define DAEMON_PAGE_PAGE_PRIVATE_H

#include "page/cache.h"
#include "page/form.h"
#include "page/session.h"
#include "page/tries.h"
#include "page/view.h"

struct page {
    struct page_sessions sessions;
    struct page_cache cache;
    struct page_allowance allowance;       /* of those who may read all */
    struct page_allowance share_allowance; /* of the links, whose readers nobody knows */
    struct page_tries tries;
};

/** page_changes.c: a posted form. */
void page_post(struct page_view *view);
/** Is there such a form? */
bool page_post_known(const char *path);

#endif
