/*
 * rollup: hourly sums of a point as its readings come in, and means over a sliding window.
 *
 * A reading stands for the time since the one before, at most one interval; the span is shared
 * among the hours it covers. Means are sum(value x time) / sum(time), so they never depend on how
 * many readings a sensor sends. Pure.
 */
#ifndef ANALYSIS_ROLLUP_H
#define ANALYSIS_ROLLUP_H

#include "measure/reading.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define ROLLUP_HOUR_MS INT64_C(3600000)
#define ROLLUP_WINDOW_HOURS 25 /* 24 h and the hour that has begun */

struct rollup_hour {
    int64_t hour_ms; /* start of the UTC hour; INT64_MIN: nothing yet */
    int64_t count;
    double value_ms;
    int64_t covered_ms;
    double lowest, highest; /* NaN while count is 0 */
};

/** An hour with nothing in it. */
struct rollup_hour rollup_hour_empty(int64_t hour_ms);
/** Start of the UTC hour of an instant; right for negative instants too. */
int64_t rollup_hour_start(int64_t time_ms);

/**
 * Adds a reading to the running hour. `span_ms` is the time it stands for, ending at its time.
 * Hours that are complete by this are handed to `closed` in order; the running hour stays in *hour.
 */
void rollup_add(struct rollup_hour *hour, const struct reading *reading, int64_t span_ms,
                void (*closed)(void *context, const struct rollup_hour *hour), void *context);

/** The last 24 h of one point, by hours. */
struct rollup_window {
    int64_t newest_hour_ms;
    double value_ms[ROLLUP_WINDOW_HOURS];
    int64_t covered_ms[ROLLUP_WINDOW_HOURS];
};
void rollup_window_clear(struct rollup_window *window);
/** Adds a reading's span. */
void rollup_window_add(struct rollup_window *window, const struct reading *reading,
                       int64_t span_ms);
/** Adds a stored hour (at start-up), in order of time. */
void rollup_window_add_hour(struct rollup_window *window, const struct rollup_hour *hour);
/**
 * Mean over the 24 h that end at `time_ms` (not before the newest reading); of the hour in which
 * the window begins its part counts. False when nothing is covered. *coverage is 0..1.
 */
bool rollup_window_mean(const struct rollup_window *window, int64_t time_ms, double *mean,
                        double *coverage);

#endif
