/*
 * away: what may have been lost while we or the broker were away.
 *
 * A broker that lost its memory, or whose queue was too short, tells nobody. But a point that spoke
 * until we left and speaks again with a hole over the time between has lost readings; when half of
 * the points that speak again have such a hole, that is no sensor's fault: `readings-gap`.
 */
#ifndef DAEMON_PIPELINE_AWAY_H
#define DAEMON_PIPELINE_AWAY_H

#include "monitor/monitor.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct away {
    bool watching;
    int64_t from_ms, to_ms; /* while the connection was lost */
    bool *spoke;            /* per point: has spoken since */
    size_t points, spoke_count, hole_count;
    int64_t hole_from_ms, hole_to_ms;
};

/** For a fleet of so many points. False when out of memory. */
bool away_open(struct away *away, size_t points);
void away_close(struct away *away);
/** Goes on watching with the points of new settings. Cannot fail. */
void away_take_over(struct away *away, const struct away *former,
                    const struct fleet_change *change);

/** The connection is back after [from, to). */
void away_begin(struct away *away, int64_t from_ms, int64_t to_ms);

/** A reading is about to be judged as the newest of its point. */
void away_reading(struct away *away, const struct monitor *monitor, size_t point, int64_t time_ms);

/**
 * Decides once the points have had time to speak again: true when readings are missing; then
 * hole_from_ms, hole_to_ms and hole_count say which.
 */
bool away_judge(struct away *away, int64_t now_ms);

#endif
