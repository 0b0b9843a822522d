/*
 * home: the homeowner's link. A sheet of its own in the reader's language, put together from what a
 * homeowner should see; nothing that somebody of the trade wrote is on it: no name, note, model, id
 * or name of a point. So what the contractor's sheets gain never shows here.
 */
#ifndef DAEMON_PAGE_HOME_H
#define DAEMON_PAGE_HOME_H

#include "page/page_private.h"
#include "page/view_text.h"
#include "page/view_words.h"

/** Writes a text of the tables in the reader's language, */
void home_write(struct page_view *view, enum home_text text);
/** or with its placeholders filled. */
void home_write_with(struct page_view *view, enum home_text text, const char *a, const char *b,
                     const char *c);
/** The same as an element without attributes. */
void home_element(struct page_view *view, const char *tag, enum home_text text, const char *a);
/** "68 %", and in any language "> 99 %" of what is not all. Returns text. */
char *home_percent(char text[PAGE_TEXT_SIZE], double fraction);
/** A text with its placeholders filled, into `text`; `b` where there is a second. Returns text. */
char *home_fill(const struct page_view *view, char *text, size_t size, enum home_text pattern,
                const char *a, const char *b);
/** Address below the link, with the chosen units and language. */
struct html_address home_address(const struct page_view *view, const char *behind);

/** Begins and ends a sheet. `style`: class of the body, or NULL. */
void home_begin(struct page_view *view, const char *title, const char *style);
void home_end(struct page_view *view, int status);
/** A sheet that says only what is wrong. */
void home_say(struct page_view *view, int status, enum home_text title, enum home_text sentence);

/* home_sheet.c */
void home_sheet(struct page_view *view, size_t system);
/** The same to print: without forms, with what it proves. */
void home_record(struct page_view *view, size_t system);

/* home_radon.c */
/** What the monitors say of radon, and the tests beside them. */
void home_radon(struct page_view *view, size_t system, const struct system_facts *facts);

#endif
