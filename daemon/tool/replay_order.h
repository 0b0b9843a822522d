/*
 * replay_order: the readings of a replay and their order in time. 24 bytes a reading, sorted in
 * place, so that a file of a hundred million readings fits into a small machine.
 */
#ifndef DAEMON_TOOL_REPLAY_ORDER_H
#define DAEMON_TOOL_REPLAY_ORDER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct replay_entry {
    int64_t time_ms;
    double value; /* SI; NaN: an impossible value was refused */
    uint32_t point;
    uint32_t line; /* order among equal times; the count begins anew after 2^32 lines */
};

/** Sorts by time, then line. */
void replay_order_sort(struct replay_entry *entries, size_t count);

#endif
