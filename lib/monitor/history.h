/*
 * history: how pure code asks for a point's past: hourly sums, daily values, and what commissioning
 * told beside the baselines. Two answer: the store (daemon/pipeline/stored_history) and the memory
 * of a replay (history_memory). Times are event times; nothing later than what is asked for is
 * looked at, so that a day is judged by what was known at its end.
 */
#ifndef MONITOR_HISTORY_H
#define MONITOR_HISTORY_H

#include "analysis/average.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/** What a list function returns when it failed (store, memory). */
#define HISTORY_FAILED SIZE_MAX

/** A local day of a point with at least one reading. */
struct history_day {
    int64_t local_day; /* days since 1970-01-01 on the calendar of the system's time zone */
    int64_t start_ms, end_ms;
    int64_t count;
    double median; /* of the readings of the day */
    double mean;   /* time-weighted; NaN when nothing is covered */
    int64_t covered_ms;
};

struct history {
    void *context;
    /**
     * UTC hours that overlap [from, to) and are covered, in order, whole (not clipped); at most
     * `capacity`, the earliest ones. Returns how many, or HISTORY_FAILED.
     */
    size_t (*hours)(void *context, size_t point, int64_t from_ms, int64_t to_ms,
                    struct average_bucket *hours, size_t capacity);
    /**
     * Local days from <= day < to with readings, in order, at most `capacity`; the caller asks only
     * for days that are over. Returns how many, or HISTORY_FAILED.
     */
    size_t (*days)(void *context, size_t point, int64_t from_day, int64_t to_day,
                   struct history_day *days, size_t capacity);
    /** Exponent of the ground law of the commissioning record in force; NaN: not given. */
    double (*ground_exponent)(void *context, size_t system, int64_t time_ms);
};

/** The same by name. */
size_t history_hours(const struct history *history, size_t point, int64_t from_ms, int64_t to_ms,
                     struct average_bucket *hours, size_t capacity);
size_t history_days(const struct history *history, size_t point, int64_t from_day, int64_t to_day,
                    struct history_day *days, size_t capacity);

/** All days in one block that the caller frees; *count 0 and NULL when there are none. False:
 * failed. */
bool history_all_days(const struct history *history, size_t point, int64_t from_day, int64_t to_day,
                      struct history_day **days, size_t *count);

/**
 * Median of the hourly means of the whole hours that begin in [from, to) and are covered at least
 * to half; the running hour may be one of them. *count tells of how many; NaN when there is none.
 * At most 60 days.
 */
double history_median(const struct history *history, size_t point, int64_t from_ms, int64_t to_ms,
                      size_t *count);
/** Lowest of the same hourly means; NaN when there is none. */
double history_lowest(const struct history *history, size_t point, int64_t from_ms, int64_t to_ms);

#endif
