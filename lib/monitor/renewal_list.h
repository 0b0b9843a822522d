/*
 * renewal_list: the instants of work at a system and what each changed. Data only; renewals.h asks
 * it.
 */
#ifndef MONITOR_RENEWAL_LIST_H
#define MONITOR_RENEWAL_LIST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct renewal {
    int64_t from_ms;
    unsigned changed; /* enum change; CHANGE_UNSAID: a record that does not say */
};

struct renewal_list {
    struct renewal *items; /* in order of time, one an instant */
    size_t count;
};

/** Adds one; of two at the same instant both count. False when out of memory. */
bool renewal_list_add(struct renewal_list *list, int64_t from_ms, unsigned changed);
/** What was changed at an instant; CHANGE_UNSAID where there is none. */
unsigned renewal_list_changed(const struct renewal_list *list, int64_t from_ms);
/** Frees what it owns. */
void renewal_list_clear(struct renewal_list *list);

#endif
