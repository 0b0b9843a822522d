/*
 * month_means: means over the last 30 days, for lists of the whole fleet. Each asked for is kept as
 * a sum of hours: the next time only those that came or left since are read from the store; all of
 * them once one in between was written again.
 */
#ifndef DAEMON_PIPELINE_MONTH_MEANS_H
#define DAEMON_PIPELINE_MONTH_MEANS_H

#include "analysis/rollup.h"
#include "monitor/fleet_change.h"
#include "store/series.h"

#define MONTH_MEANS_DAYS 30

struct month_means;

struct month_mean {
    double mean; /* time-weighted; NaN: no reading in the window */
    double coverage;
};

/** For so many points, none known yet. NULL: out of memory. */
struct month_means *month_means_open(size_t point_count);
void month_means_close(struct month_means *means); /* NULL does nothing */

/** An hour of a point was written. */
void month_means_changed(struct month_means *means, size_t point, int64_t hour_ms);

/** What is known of points that new settings left unchanged goes over from `former`. */
void month_means_take_over(struct month_means *means, struct month_means *former,
                           const struct fleet_change *change);

/**
 * The mean over the 30 days that end at `now_ms`; of the hour in which they begin its part counts.
 * `key` is the point's in the store, `running` its hour that is not complete. On failure *mean is
 * NaN and nothing is known of the point.
 */
enum store_status month_means_read(struct month_means *means, struct store *store, size_t point,
                                   int64_t key, const struct rollup_hour *running, int64_t now_ms,
                                   struct month_mean *mean);

#endif
