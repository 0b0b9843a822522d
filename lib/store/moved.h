/*
 * moved: all that a store has of one system, as bytes, and into another store: readings, hours and
 * days, alarms, records of people, tests, what the household sent, and where its delays stand. The
 * bytes are a database in memory of the same schema, with the system's file beside it. Messages are
 * not among them: those that were sent stay where they were sent from.
 *
 * As with forget.h, a table that a later schema adds needs no line here.
 */
#ifndef STORE_MOVED_H
#define STORE_MOVED_H

#include "store/store.h"

#include <stddef.h>

struct moved_counts {
    int64_t readings, alarms, records; /* records: of people, tests and the household */
};

/** `file` is the text of the system's file. STORE_DAMAGED: a packed day of it cannot be read. The
    caller frees *bytes with moved_free. */
enum store_status moved_out(struct store *store, const char *system, const char *file,
                            unsigned char **bytes, size_t *size, struct moved_counts *counts);
void moved_free(unsigned char *bytes);

/** Messages about it that still wait. */
enum store_status moved_waiting(struct store *store, const char *system, int64_t *count);

struct moved;
/** The bytes are copied. NULL with a sentence in `why`: they are not from moved_out of this
 * version. */
struct moved *moved_open(const void *bytes, size_t size, char *why, size_t why_size);
void moved_close(struct moved *moved); /* NULL does nothing */
const char *moved_system(const struct moved *moved);
const char *moved_file(const struct moved *moved);
struct moved_counts moved_count(const struct moved *moved);

/**
 * Within the caller's transaction, into a store that has nothing of the system. Alarms get numbers
 * behind *highest_alarm, which grows. Not STORE_OK: the transaction is to be rolled back.
 */
enum store_status moved_in(struct store *store, struct moved *moved, int64_t *highest_alarm,
                           struct moved_counts *counts);

#endif
