/*
 * page_view: one page being made: who asks, in which units, the HTML so far, and what every page
 * has around its content. Shared by the files page_*.c.
 */
#ifndef DAEMON_PAGE_VIEW_H
#define DAEMON_PAGE_VIEW_H

#include "api/routes.h"
#include "page/html.h"
#include "page/session.h"

/** What a page is called, and where it stands. */
struct page_head {
    const char *title;   /* of the window: "12 Birch Lane" */
    const char *current; /* the entry of the menu: "/", "/alarms", "/visits", or NULL */
    const char *style;   /* class of the body, or NULL */
    size_t system;       /* for the title block; FLEET_NONE: the fleet */
};

struct page_view {
    struct api *api;
    const struct web_request *request;
    struct web_answer *answer;
    struct page *page;
    struct html html;
    struct page_head head; /* borrowed strings, until page_end */
    enum unit_system units;
    bool units_chosen;            /* by ?units=, carried along in links */
    struct page_session *session; /* NULL: signed out */
    const char *share;            /* the link by which one system is shown, or NULL */
    char path[512];
    const char *parts[API_PARTS]; /* of the path, NULL where there is none */
};

/** Begins and ends the page; what is written in between is its content. */
void page_begin(struct page_view *view, const struct page_head *head);
void page_end(struct page_view *view, int status);
/** What page_end writes behind the content, for pages that are answered in parts. */
void page_foot(struct page_view *view);
/** A page that says only what is wrong. */
void page_say(struct page_view *view, int status, const char *title, const char *sentence);
/** Sends the browser elsewhere (303). */
void page_redirect(struct page_view *view, const struct html_address *address);
bool page_add_header(struct page_view *view, const char *name, const char *value);

/** A query parameter of the request, "" when it is missing. */
const char *page_query(const struct page_view *view, const char *name);
/** Address of a page of ours with the chosen units. */
struct html_address page_address(const struct page_view *view, const char *path);
struct html_address page_system_address(const struct page_view *view, size_t system,
                                        const char *behind);
/** An anchor. */
void page_link(struct page_view *view, const struct html_address *address, const char *text);

/** Hidden field with the session's token. */
void page_token(struct page_view *view);
/** Begins a form that changes a system: below its address, `action` such as "/visit-done". */
void page_begin_form(struct page_view *view, size_t system, const char *action);
/** Zone of a system, of the first one for FLEET_NONE; NULL when there is none at all. */
const struct time_zone *page_zone(const struct page_view *view, size_t system);

/** What is known of a system (the object of `show --json`), a new reference. */
json_t *page_show(struct page_view *view, size_t system);

/* the pages */
void page_fleet(struct page_view *view);
void page_system(struct page_view *view, size_t system);
void page_record(struct page_view *view, size_t system);
void page_alarms(struct page_view *view);
void page_visits(struct page_view *view);
void page_sign_in(struct page_view *view, const char *complaint);

#endif
