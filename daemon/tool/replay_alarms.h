/*
 * replay_alarms: what would have been told, found by the number of their alarm.
 */
#ifndef DAEMON_TOOL_REPLAY_ALARMS_H
#define DAEMON_TOOL_REPLAY_ALARMS_H

#include "alarm/alarm.h"
#include "tool/replay.h"

struct replay_alarms {
    struct replay_alarm *alarms;
    size_t count, capacity;
    size_t *by_alarm; /* row + 1 by number of the alarm */
    size_t by_alarm_size;
};

/** A raise is told. False when out of memory. */
bool replay_alarms_told(struct replay_alarms *list, const struct alarm *alarm);
/** What has become of an alarm; one that was never told is none of ours. */
bool replay_alarms_update(struct replay_alarms *list, const struct alarm *alarm);
/** Leaves out what would not have been told of a place that comes and goes (alarm/chatter.h, the
    slow pace). `end_ms`: when the clock stopped. Updates are over then. */
void replay_alarms_leave_out_repeats(struct replay_alarms *list, int64_t end_ms);
/** Sorts by time of the raise, then system, point and condition. Updates are over then. */
void replay_alarms_sort(struct replay_alarms *list);
void replay_alarms_clear(struct replay_alarms *list);

#endif
