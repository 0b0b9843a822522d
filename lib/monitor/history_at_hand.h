/*
 * history_at_hand: the hours of one system, read once while many of its days are judged. Judging a
 * day looks at the week before it, so each hour would be asked for ten times and more. Pure.
 */
#ifndef MONITOR_HISTORY_AT_HAND_H
#define MONITOR_HISTORY_AT_HAND_H

#include "monitor/history.h"

struct history_at_hand;

/** NULL: out of memory. */
struct history_at_hand *history_at_hand_create(void);
void history_at_hand_destroy(struct history_at_hand *hand); /* NULL does nothing */

/**
 * A history that answers as `behind` does, which must not change while it is asked: for hours of
 * points [first_point, first_point + point_count) that begin up to `newest_ms` from what it has
 * read at once. What was read before is forgotten. Valid until the next call.
 */
struct history history_at_hand_of(struct history_at_hand *hand, const struct history *behind,
                                  size_t first_point, size_t point_count, int64_t newest_ms);

#endif
