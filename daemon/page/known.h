/*
 * known: what a form that writes something down knew of a system when it was made. When somebody
 * else has written something of that kind since, whoever sends it is shown that first.
 */
#ifndef DAEMON_PAGE_KNOWN_H
#define DAEMON_PAGE_KNOWN_H

#include "page/entry.h"
#include "page/view.h"

enum known_kind { KNOWN_RECORDS, KNOWN_VISITS, KNOWN_TESTS };

/** The newest of a kind, by its number; id 0: none. */
struct known {
    int64_t id;
    char by[200];
};
struct known known_last(const struct page_view *view, size_t system, enum known_kind kind);

/** The hidden field of a form. */
void known_write(struct page_view *view, size_t system, enum known_kind kind);
/** True when nothing came since the form was made, or it doesn't say; else `meanwhile`, with who
    wrote it, is what is wrong with the form. */
bool known_check(struct entry *entry, size_t system, enum known_kind kind,
                 enum page_text meanwhile);

#endif
