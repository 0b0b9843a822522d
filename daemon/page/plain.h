/*
 * page_plain: a sheet as plain text. It is made of what its HTML says, so the two cannot differ:
 * a line a paragraph, item, pair of a list or row of a table, headings at the edge, the rest
 * indented. Left out is what no paper shows (class "no-print"), drawings, menu and title block.
 */
#ifndef DAEMON_PAGE_PLAIN_H
#define DAEMON_PAGE_PLAIN_H

/** Of a whole page as html.h and view.h write it; lines are as long as they come. The caller frees;
    NULL when out of memory. */
char *page_plain(const char *html);

#endif
