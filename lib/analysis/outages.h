/*
 * outages: how long something was out of order within a span, from times that may overlap. Pure.
 */
#ifndef ANALYSIS_OUTAGES_H
#define ANALYSIS_OUTAGES_H

#include <stddef.h>
#include <stdint.h>

struct outage {
    int64_t from_ms, to_ms;
};

/**
 * Clips the outages to [from, to), sorts them, and makes one of those that overlap or touch.
 * Returns how many are left in front; *total_ms: how long they take together.
 */
size_t outages_merge(struct outage *outages, size_t count, int64_t from_ms, int64_t to_ms,
                     int64_t *total_ms);

#endif
