/*
 * page: what people look at. HTML made here, no script needed, from the same parts as the API.
 *
 * Reading is open to whoever sits at this machine: a page that listens on loopback and has no names
 * of its own (page.hosts), asked for under a loopback name, not through a proxy. Anybody else signs
 * in, or holds the link of one system (home.h). Changing always needs a signed-in session with
 * its same-site token and an Origin that is ours; GET changes nothing.
 */
#ifndef DAEMON_PAGE_PAGE_H
#define DAEMON_PAGE_PAGE_H

#include "api/context.h"

struct page;

/** Made on first use, kept in api->page. NULL does nothing. */
void page_close(struct page *page);

/**
 * Answers a request of the page's port when it is the page's to answer; false: the API's. Also
 * false-safe for the API: asks for a sign-in before anything is read from beyond this machine.
 */
bool page_handle(struct api *api, const struct web_request *request, struct web_answer *answer);

/**
 * May this POST to the API over the page's port change something? A signed-in session, its token in
 * the header X-Same-Site-Token, our Origin, and JSON.
 */
bool page_may_change(struct api *api, const struct web_request *request);

#endif
