/*
 * busy_points: which points send far more than their `every` says.
 *
 * Each reading of a sensor counts in the hour in which it says it was taken, stored or not, so that
 * a backlog of weeks is no flood. Nothing is refused for it: a person is told, who can put the
 * sensor's interval or `every` right. 16 bytes a point, gone with the process.
 */
#ifndef DAEMON_PIPELINE_BUSY_POINTS_H
#define DAEMON_PIPELINE_BUSY_POINTS_H

#include "monitor/fleet_change.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct busy_count {
    int32_t said_hour;    /* the newest hour that it spoke of, since 1970 */
    int32_t heard_hour;   /* in which it was last heard, by our clock */
    uint32_t count, last; /* readings of said_hour, and of the hour before it */
};

struct busy_points {
    struct busy_count *counts;
    size_t points;
};

/** For a fleet of so many points. False when out of memory. */
bool busy_points_open(struct busy_points *busy, size_t points);
void busy_points_close(struct busy_points *busy);
/** Goes on counting with the points of new settings. Cannot fail. */
void busy_points_take_over(struct busy_points *busy, const struct busy_points *former,
                           const struct fleet_change *change);
/** Begins anew: the clock on the wall was moved. */
void busy_points_forget(struct busy_points *busy);

/** A reading taken at `time_ms` came. */
void busy_points_count(struct busy_points *busy, size_t point, int64_t time_ms, int64_t now_ms);

struct busy_point {
    size_t point;
    uint32_t readings; /* of the fuller one of the last two hours that it spoke of */
    double expected;   /* in an hour, by its `every` */
};

/** Did a point, heard in this hour or the one before, send more than ten times what is expected,
    and 300 readings at least? */
bool busy_points_find(const struct busy_points *busy, const struct fleet *fleet, size_t point,
                      int64_t now_ms, struct busy_point *found);
/** Those with most readings, first the most, at most `most` of them. Returns how many. */
size_t busy_points_worst(const struct busy_points *busy, const struct fleet *fleet, int64_t now_ms,
                         struct busy_point *worst, size_t most);
/** What to tell a person of it, in a sentence. Returns `text`. */
char *busy_points_text(char *text, size_t size, const struct fleet *fleet,
                       const struct busy_point *busy);

#endif
