/*
 * page_private: the body of the page, shared by page.c (who may, which page), changes.c (what
 * posted forms do) and home.c (the homeowner's link).
 */
#ifndef DAEMON_PAGE_PAGE_PRIVATE_H
#define DAEMON_PAGE_PAGE_PRIVATE_H

#include "page/cache.h"
#include "page/fleet_index.h"
#include "page/form.h"
#include "page/session.h"
#include "page/tries.h"
#include "page/view.h"

struct page {
    struct page_sessions sessions;
    struct page_cache cache;
    struct fleet_index index;
    struct page_allowance allowance;       /* of those who may read all */
    struct page_allowance share_allowance; /* of the links, whose readers nobody knows */
    struct page_tries tries;
};

struct entry;

/** home.c: is this path one of a homeowner's link? Then page_home answers it, whatever it is. */
bool page_home_path(const struct page_view *view);
/** home.c; `whole`: the path could be cut into its parts. */
void page_home(struct page_view *view, bool whole);

/** changes.c: calls a change of the API as if its JSON (taken over) had been posted by who is
   signed in. False when it was refused; the caller frees the answer's body. */
bool page_change(struct page_view *view, void (*handle)(struct api_call *call), json_t *body,
                 struct web_answer *answer);
/** The same with what was typed in these fields, the first of which must not be empty. The status:
    200 when it is done, else why not stands beside its field, or above all. */
int page_change_typed(struct entry *entry, void (*handle)(struct api_call *call),
                      const char *const *names, size_t count, size_t needed);
/** page.c: the system that the path names; FLEET_NONE after saying that there is none such. */
size_t page_named_system(struct page_view *view);

/** page.c: does the path have these parts and no more? "*": any one part, NULL: none. */
bool page_path_is(const struct page_view *view, const char *first, const char *second,
                  const char *third);

/** changes.c: a posted form. */
void page_post(struct page_view *view);
/** Is there such a form? */
bool page_post_known(const struct page_view *view);

#endif
