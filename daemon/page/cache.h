/*
 * page_cache: the costly part of a system's sheet (averages, trends, fan and ground), kept for some
 * seconds while nothing of the system changes; and allowances of work for sheets, so that no number
 * of readers can hold up the readings of the sensors, which share the one loop.
 */
#ifndef DAEMON_PAGE_CACHE_H
#define DAEMON_PAGE_CACHE_H

#include "api/system_facts.h"

#define PAGE_CACHE_ROWS 32

struct page_cache {
    struct {
        size_t system;
        uint64_t fingerprint; /* of what the monitor knows of the system */
        int64_t made_ms;
        struct system_facts *facts; /* NULL: free */
    } rows[PAGE_CACHE_ROWS];
    size_t next;
};

/** Good until it is next asked; NULL when out of memory. */
const struct system_facts *page_cache_facts(struct page_cache *cache, struct api *api,
                                            size_t system);
void page_cache_clear(struct page_cache *cache);

/** Milliseconds that may still be worked. They grow with time, up to what 800 ms
 * bring. Starts as {.share = …}. */
struct page_allowance {
    double share; /* of the time, 0 to 1 */
    double left_ms;
    int64_t reckoned_ms; /* monotonic; 0: never */
};
/** False: no more for now; say so and when to come again. */
bool page_allowance_any(struct page_allowance *allowance, int64_t monotonic_ms);
void page_allowance_take(struct page_allowance *allowance, int64_t took_ms);

#endif
