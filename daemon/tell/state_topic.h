/*
 * state_topic: what stands with us and with each system, kept at the broker (retained) for whoever
 * listens there. Opt-in by `broker.state_topic`.
 *
 *   TOPIC          {"state": "online", "since": T}; the will of the connection says "offline"
 *   TOPIC/SYSTEM   {"id", "name", "status", "since", "alarms": [{"id", "condition", "priority",
 *                  "since", "text"}]}, the alarms that stand and are told to people
 *
 * Once a second every system is compared with what was last said of it, so whatever changes it
 * (readings, people, silence, new settings) is said in the same way. A new connection says all
 * anew.
 */
#ifndef DAEMON_TELL_STATE_TOPIC_H
#define DAEMON_TELL_STATE_TOPIC_H

#include "link/intake.h"
#include "monitor/fleet_change.h"
#include "monitor/monitor.h"

/** {0}: nothing was said yet. */
struct state_topic {
    uint64_t *said; /* per system: a digest of what the broker holds; 0: nothing of ours */
    size_t count, next;
    char **gone; /* systems that are in the settings no more, still held by the broker */
    size_t gone_count;
    int64_t online_ms; /* since when this connection is; TIMESTAMP_NONE or 0: not said yet */
    bool greeted;
};

void state_topic_close(struct state_topic *state);
/** A connection begins: all is said anew, since an instant (UTC). */
void state_topic_connected(struct state_topic *state, int64_t now_ms);
/** Other settings, before the former fleet goes. What was said of a system that has gone is taken
    back. */
void state_topic_take_over(struct state_topic *state, const struct fleet_change *change);
/** Says what has changed, as much as the connection takes now. True: more waits to be said. */
bool state_topic_turn(struct state_topic *state, struct intake *intake, const struct fleet *fleet,
                      struct monitor *monitor);

#endif
