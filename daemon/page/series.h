/*
 * page_series: what a chart shows of a point: a few hundred samples, however long the time. Up to
 * two days they are readings, then hours or parts of days, from half a year on daily values.
 */
#ifndef DAEMON_PAGE_SERIES_H
#define DAEMON_PAGE_SERIES_H

#include "api/context.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PAGE_SAMPLES_MAX 800

struct page_sample {
    int64_t from_ms, to_ms; /* the time it stands for */
    double value;           /* a reading, or the time-weighted mean */
    double lowest, highest; /* NaN: not known */
};

struct page_series {
    struct page_sample samples[PAGE_SAMPLES_MAX];
    size_t count;
    int64_t gap_ms;  /* samples further apart than this have a gap between them */
    bool is_reading; /* else means */
    bool cut;        /* more readings than there is room for: only the newest are here */
};

/** Reads [from, to); false when the store fails. */
bool page_series_read(const struct api *api, size_t point, int64_t from_ms, int64_t to_ms,
                      struct page_series *series);

/** Daily values of the last `days` days up to now, at most `capacity`, for a small line. */
size_t page_series_days(const struct api *api, size_t point, int days, struct page_sample *samples,
                        size_t capacity);

#endif
