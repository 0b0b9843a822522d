/*
 * replay_rows: the rows of what would have been told, found by the number of their alarm.
 */
#ifndef DAEMON_TOOL_REPLAY_ROWS_H
#define DAEMON_TOOL_REPLAY_ROWS_H

#include "alarm/alarm.h"
#include "tool/replay.h"

struct replay_rows {
    struct replay_row *rows;
    size_t count, capacity;
    size_t *by_alarm; /* row + 1 by number of the alarm */
    size_t by_alarm_size;
};

/** A raise is told. False when out of memory. */
bool replay_rows_told(struct replay_rows *list, const struct alarm *alarm);
/** What has become of an alarm; one that was never told is none of ours. */
bool replay_rows_update(struct replay_rows *list, const struct alarm *alarm);
/** Leaves out what would not have been told of a place that comes and goes (alarm/chatter.h, the
    slow pace). `end_ms`: when the clock stopped. Updates are over then. */
void replay_rows_leave_out_repeats(struct replay_rows *list, int64_t end_ms);
/** Sorts by time of the raise, then system, point and condition. Updates are over then. */
void replay_rows_sort(struct replay_rows *list);
void replay_rows_clear(struct replay_rows *list);

#endif
