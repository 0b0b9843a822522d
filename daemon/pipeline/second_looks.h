/*
 * second_looks: which points are to have a second look (monitor/second_look.h) and where, and the
 * looks themselves, a few milliseconds a step. What is left is kept in the store with the turn, so
 * a restart goes on with it.
 *
 * A point has a few spans of time that are looked at, each by itself: a late reading of years ago
 * beside one of yesterday is two short looks, not one long one. Hours and daily values are made
 * anew where late readings lie.
 */
#ifndef DAEMON_PIPELINE_SECOND_LOOKS_H
#define DAEMON_PIPELINE_SECOND_LOOKS_H

#include "pipeline/monitor_memory.h"
#include "store/in_hand.h"

struct second_looks;

/** `link` is borrowed and must be open; reads what is left from the store. NULL: out of memory, or
    the store failed (*status). */
struct second_looks *second_looks_open(struct monitor_memory *memory, enum store_status *status);
void second_looks_close(struct second_looks *looks); /* NULL does nothing */

/** A reading of a point came late at `time_ms`. False when out of memory. */
bool second_looks_note_late(struct second_looks *looks, size_t point, int64_t time_ms);
/** What a point is judged by changed from an instant on. False when out of memory. */
bool second_looks_note_change(struct second_looks *looks, size_t point, int64_t from_ms);

/** Looks until the monotonic clock says so, a few hundred readings at least, within the caller's
    transaction. Each look is a task of `hand`: one that was in hand at two deaths is left out. */
enum store_status second_looks_step(struct second_looks *looks, struct in_hand *hand,
                                    int64_t until_monotonic_ms);
/** Writes what is left, within the caller's transaction; cheap when nothing changed. */
enum store_status second_looks_keep(struct second_looks *looks);

/** Points that still wait. */
size_t second_looks_waiting(const struct second_looks *looks);

#endif
