#include "analysis/outages.h"

#include <stdlib.h>

static int by_start(const void *left, const void *right) {
    const struct outage *a = left, *b = right;
    return (a->from_ms > b->from_ms) - (a->from_ms < b->from_ms);
}

static size_t clip(struct outage *outages, size_t count, int64_t from_ms, int64_t to_ms) {
    size_t kept = 0;
    for (size_t i = 0; i < count; i++) {
        struct outage one = outages[i];
        one.from_ms = one.from_ms < from_ms ? from_ms : one.from_ms;
        one.to_ms = one.to_ms > to_ms ? to_ms : one.to_ms;
        if (one.from_ms < one.to_ms)
            outages[kept++] = one;
    }
    return kept;
}

size_t outages_merge(struct outage *outages, size_t count, int64_t from_ms, int64_t to_ms,
                     int64_t *total_ms) {
    size_t merged = 0;
    *total_ms = 0;
    count = clip(outages, count, from_ms, to_ms);
    if (count > 1)
        qsort(outages, count, sizeof *outages, by_start);
    for (size_t i = 0; i < count; i++) {
        if (merged == 0 || outages[i].from_ms > outages[merged - 1].to_ms)
            outages[merged++] = outages[i];
        else if (outages[i].to_ms > outages[merged - 1].to_ms)
            outages[merged - 1].to_ms = outages[i].to_ms;
    }
    for (size_t i = 0; i < merged; i++)
        *total_ms += outages[i].to_ms - outages[i].from_ms;
    return merged;
}
