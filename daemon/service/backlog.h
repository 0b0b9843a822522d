/*
 * backlog: has everything been read that the broker kept for us?
 *
 * A fleet never falls quite silent, so waiting for silence alone would wait forever. While the
 * broker still holds messages it keeps as many under way as it may, so half a second brings at
 * least the smallest window of any broker (20) and far more than the points send by themselves. A
 * sender that floods us brings as much without a backlog, but what it brings is fresh.
 */
#ifndef DAEMON_SERVICE_BACKLOG_H
#define DAEMON_SERVICE_BACKLOG_H

#include "monitor/fleet.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct backlog {
    size_t live_most;       /* so many messages in a window are no backlog */
    size_t messages;        /* of the running window */
    uint64_t behind;        /* readings from the past, when last looked at */
    int64_t window_from_ms; /* monotonic */
    int64_t behind_at_ms;   /* when the last reading from the past came, or we connected */
};

/** Before all else, and when the fleet is another one: how much it sends by itself. */
void backlog_of_fleet(struct backlog *backlog, const struct fleet *fleet);

/** We have just connected, or are not connected (then again at every turn). */
void backlog_begin(struct backlog *backlog, int64_t monotonic_ms);

/**
 * One turn: `messages` came, `behind` readings from the past in all so far, `more` waits to be
 * read. True when the backlog is over.
 */
bool backlog_over(struct backlog *backlog, size_t messages, uint64_t behind, bool more,
                  int64_t monotonic_ms);

#endif
