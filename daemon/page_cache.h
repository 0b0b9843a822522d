/*
 * page_cache: the costly part of a system's sheet (averages, trends, fan and ground), kept for some
 * seconds while nothing of the system changes, and an allowance of work, so that no number of
 * readers of the page can hold up the readings of the sensors, which share its one loop.
 */
#ifndef DAEMON_PAGE_CACHE_H
#define DAEMON_PAGE_CACHE_H

#include "api.h"

#include <jansson.h>

#define PAGE_CACHE_ROWS 32

struct page_cache {
    struct {
        size_t system;
        uint64_t fingerprint; /* of what the monitor knows of the system */
        int64_t made_ms;
        json_t *show; /* NULL: free */
    } rows[PAGE_CACHE_ROWS];
    size_t next;
    double allowance_ms; /* of work; grows at half the speed of time, up to a second */
    int64_t reckoned_ms; /* monotonic; 0: never */
};

/**
 * The object of `show --json`, a new reference; NULL when the allowance is used up: say 503 and
 * when to come again.
 */
json_t *page_cache_show(struct page_cache *cache, struct api *api, size_t system);
void page_cache_clear(struct page_cache *cache);

#endif
