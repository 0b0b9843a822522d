/*
 * page_view: one page being made: who asks, in which units, the HTML so far, and what every page
 * has around its content. Shared by the files page_*.c.
 */
#ifndef DAEMON_PAGE_VIEW_H
#define DAEMON_PAGE_VIEW_H

#include "api/routes.h"
#include "api/system_facts.h"
#include "page/form.h"
#include "page/html.h"
#include "page/session.h"
#include "words/page_texts.h"

/** What a page is called, and where it stands. */
struct page_head {
    const char *title;   /* of the window: "12 Birch Lane" */
    const char *current; /* the entry of the menu: "/", "/alarms", "/visits", "/enrol", or NULL */
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
    bool paper;                   /* a file of its own: no menu, nothing to load or to follow */
    const char *share;            /* the homeowner's link that is answered (home.h), or NULL */
    size_t language;              /* of the reader (words/wording.h) */
    bool language_chosen;         /* by ?language=, carried along in links */
    char path[512];
    const char *parts[API_PARTS]; /* of the path, NULL where there is none */
};

/** Begins and ends the page; what is written in between is its content. */
void page_begin(struct page_view *view, const struct page_head *head);
void page_end(struct page_view *view, int status);
/** Answers with the HTML so far; a paper (style "record") with ?as=text as plain text. */
void page_answer(struct page_view *view, int status);
/** What page_end writes behind the content, for pages that are answered in parts. */
void page_foot(struct page_view *view);
/** In a title block: the language of the sheet, and links to it in the others. */
void page_language_switch(struct page_view *view);
/** Links to the style sheet and the icon, within the head of a page. */
void page_look(struct page_view *view);
/** A page that says only what is wrong. */
void page_say(struct page_view *view, int status, enum page_text title, enum page_text sentence);
/** The same with a sentence that is made elsewhere. */
void page_say_why(struct page_view *view, int status, enum page_text title, const char *sentence);
/** Sends the browser elsewhere (303), or to the sheet of a system. */
void page_redirect(struct page_view *view, const struct html_address *address);
void page_redirect_to_system(struct page_view *view, size_t system);
bool page_add_header(struct page_view *view, const char *name, const char *value);

/** A query parameter of the request, "" when it is missing. */
const char *page_query(const struct page_view *view, const char *name);
/** Address of ours: a path such as "/alarms", below the base that the settings give. All addresses
    begin here. */
struct html_address page_path(const struct page_view *view, const char *path);
/** The units and the language that were chosen, carried along. */
void page_add_choices(const struct page_view *view, struct html_address *address);
/** page_path with them. */
struct html_address page_address(const struct page_view *view, const char *path);
struct html_address page_system_address(const struct page_view *view, size_t system,
                                        const char *behind);
/** An anchor. */
void page_link(struct page_view *view, const struct html_address *address, const char *text);
/** A paragraph that is one. */
void page_link_line(struct page_view *view, const struct html_address *address, const char *text);

/** Hidden field with the session's token. */
void page_token(struct page_view *view);
/** Begins a form that changes a system: below its address, `action` such as "/visit-done". */
void page_begin_form(struct page_view *view, size_t system, const char *action);
/** The same as page/entry.h lays it out. */
void page_begin_entry(struct page_view *view, size_t system, const char *action);
/** Zone of a system, of the first one for FLEET_NONE; NULL when there is none at all. */
const struct time_zone *page_zone(const struct page_view *view, size_t system);

/** What is computed of a system, good for this page; NULL after saying that memory is out. */
const struct system_facts *page_facts(struct page_view *view, size_t system);

/** All systems in order, shared by whoever looks at the list. */
struct fleet_index *page_index(const struct api *api);

/* the pages */
void page_fleet(struct page_view *view);
void page_system(struct page_view *view, size_t system);
void page_record(struct page_view *view, size_t system);
void page_alarms(struct page_view *view);
void page_visits(struct page_view *view);
void page_fans(struct page_view *view);
void page_fan_sheet(struct page_view *view, size_t system);
void page_letter(struct page_view *view, size_t system);
/** `typed`: what came back, or NULL. */
void page_sign_in(struct page_view *view, const struct page_form *typed, const char *complaint);

#endif
