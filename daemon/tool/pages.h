/*
 * ctl_pages: lists that may be long are asked for page by page, so that nobody holds the whole of
 * one, however long it is and however slowly it is read.
 */
#ifndef DAEMON_TOOL_PAGES_H
#define DAEMON_TOOL_PAGES_H

#include "tool/ctl_client.h"

/** What of a list is wanted, as given on the command line; NULL: not given. */
struct ctl_pages {
    const char *limit;  /* --limit: so many rows at most */
    const char *before; /* --before: those behind the row of this id */
};

/** As --limit and --before were given. */
struct ctl_pages ctl_pages_of(const struct ctl_arguments *given);
/** Is the limit a number? Else CTL_WRONG_USE, after an error was printed. */
enum ctl_status ctl_pages_check(const struct ctl *ctl, const struct ctl_pages *pages);

/**
 * Hands out the rows (borrowed) page by page; the first page also when it is empty. `list` is the
 * path of the list with the rest of its query. CTL_FAILED after an error was printed.
 */
typedef void ctl_page_rows(void *context, const json_t *rows);
enum ctl_status ctl_pages_each(struct ctl *ctl, const struct ctl_path *list,
                               const struct ctl_pages *pages, ctl_page_rows *take, void *context);
/** Prints all rows as one JSON array. */
enum ctl_status ctl_pages_print(struct ctl *ctl, const struct ctl_path *list,
                                const struct ctl_pages *pages);

#endif
