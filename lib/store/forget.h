/*
 * forget: all that the store knows of a system that is no longer watched, deleted for good. Deleted
 * bytes are overwritten (secure_delete, see store_open.c), and forget_empty_log takes what they
 * were out of the write-ahead log.
 *
 * A table that a later schema adds needs no line here: what has a column `system` is deleted by it,
 * what has a column `point` and none of the former by the keys of its points.
 */
#ifndef STORE_FORGET_H
#define STORE_FORGET_H

#include "store/store.h"

#include <stddef.h>

/** What to forget (borrowed): its id, and further words by which texts name it. */
struct forget {
    const char *system;
    const char *const *words; /* its name, its address */
    size_t word_count;
};

/** What there was of it. */
struct forgotten {
    int64_t points, readings, alarms, records, messages; /* records: of people, and tests */
};

/** Counts what there is, and deletes nothing. */
enum store_status forget_count(struct store *store, const char *system, struct forgotten *found);

/**
 * A message about several systems that names it and still waits: its event id and contact. It says
 * of the others what must be told, so nothing can be forgotten before it is done. STORE_NOT_FOUND:
 * there is none.
 */
enum store_status forget_waiting(struct store *store, const struct forget *what, char id[40],
                                 char *contact, size_t contact_size);

/** Deletes it all, within the caller's transaction or one of its own. */
enum store_status forget_system(struct store *store, const struct forget *what);

/** After the commit: false while another process reads the log, which then still holds it. */
bool forget_empty_log(struct store *store);

#endif
