/*
 * hour_rollup: hourly sums from readings in order of time, wherever they come from. One place adds,
 * so that hours computed again later are the same to the last bit. Pure.
 *
 * A reading at t stands for (t - span, t]. Spans never overlap and come in order, so one pass with
 * one open hour is enough: when a reading reaches a later hour, the open one is complete.
 */
#ifndef PACK_HOUR_ROLLUP_H
#define PACK_HOUR_ROLLUP_H

#include "measure/reading.h"

#include <stdbool.h>
#include <stdint.h>

#define HOUR_ROLLUP_HOUR_MS INT64_C(3600000)

struct series_hour {
    int64_t hour_ms; /* start of the UTC hour */
    int64_t count;   /* readings whose time lies in the hour */
    double value_ms; /* sum of value x time it stands for, within the hour */
    int64_t covered_ms;
    double lowest, highest; /* of the readings that count; NaN when count is 0 */
};

/** Start of the UTC hour an instant lies in. */
int64_t hour_rollup_start(int64_t time_ms);

/** Nothing in it: no reading, no time covered. Such an hour is as good as none. */
bool hour_rollup_is_empty(const struct series_hour *hour);

struct hour_rollup {
    int64_t from_hour_ms, to_hour_ms;
    struct series_hour hour; /* open; hour_ms is TIMESTAMP_NONE before the first */
    bool (*take)(void *context, const struct series_hour *hour);
    void *context;
};

/**
 * Begins: `take` gets, in order, each hour with from <= hour <= to (starts of hours) that has
 * readings or is covered. What a reading covers before `from` is left out.
 */
void hour_rollup_begin(struct hour_rollup *rollup, int64_t from_hour_ms, int64_t to_hour_ms,
                       bool (*take)(void *context, const struct series_hour *hour), void *context);
/** What `take` answered: false, then stop. */
bool hour_rollup_add(struct hour_rollup *rollup, const struct reading *reading, int64_t span_ms);
bool hour_rollup_end(struct hour_rollup *rollup);

#endif
