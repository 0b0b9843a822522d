#include "page/cache.h"

#include "host/clock.h"
#include "measure/duration.h"
#include "measure/hash.h"

#include <stdlib.h>
#include <string.h>

static const int64_t good_for_ms = 15 * DURATION_SECOND_MS;
static const double most_of_ms = 800.0;

static void mix(uint64_t *hash, uint64_t value) {
    *hash = hash_bytes(*hash, &value, sizeof value);
}

static uint64_t fingerprint_of(const struct api *api, size_t system) {
    struct monitor *monitor = pipeline_monitor(api->pipeline);
    const struct fleet_system *owner = &api->fleet->systems[system];
    uint64_t hash = HASH_START;
    mix(&hash, api->reloads);
    mix(&hash, api->changes); /* records, visits, tests and what follows from them */
    mix(&hash, pipeline_store(api->pipeline) != NULL);
    mix(&hash, (uint64_t)monitor_out_of_service_until(monitor, system));
    for (size_t i = 0; i < owner->point_count; i++)
        mix(&hash, (uint64_t)monitor_point(monitor, owner->first_point + i)->newest_ms);
    for (const struct alarm *alarm = alarm_book_of_system(monitor_alarms(monitor), system); alarm;
         alarm = alarm->next_of_system) {
        mix(&hash, (uint64_t)alarm->id);
        mix(&hash, (uint64_t)alarm_state(alarm));
        mix(&hash, (uint64_t)(uintptr_t)alarm->details);
    }
    return hash;
}

const struct system_facts *page_cache_facts(struct page_cache *cache, struct api *api,
                                            size_t system) {
    int64_t now_ms = clock_monotonic_ms();
    uint64_t fingerprint = fingerprint_of(api, system);
    for (size_t i = 0; i < PAGE_CACHE_ROWS; i++) {
        if (cache->rows[i].facts && cache->rows[i].system == system &&
            cache->rows[i].fingerprint == fingerprint &&
            now_ms - cache->rows[i].made_ms < good_for_ms)
            return cache->rows[i].facts;
    }
    size_t place = cache->next++ % PAGE_CACHE_ROWS;
    free(cache->rows[place].facts);
    cache->rows[place].facts = system_facts_make(api, system);
    cache->rows[place].system = system;
    /* Explaining an alarm may itself have changed what was looked at. */
    cache->rows[place].fingerprint = fingerprint_of(api, system);
    cache->rows[place].made_ms = now_ms;
    return cache->rows[place].facts;
}

void page_cache_clear(struct page_cache *cache) {
    for (size_t i = 0; i < PAGE_CACHE_ROWS; i++)
        free(cache->rows[i].facts);
    memset(cache, 0, sizeof *cache);
}

/* ---- the allowance ---- */

bool page_allowance_any(struct page_allowance *allowance, int64_t monotonic_ms) {
    double since_ms = (double)(monotonic_ms - allowance->reckoned_ms);
    allowance->left_ms += allowance->share * since_ms;
    if (allowance->reckoned_ms == 0 || allowance->left_ms > allowance->share * most_of_ms)
        allowance->left_ms = allowance->share * most_of_ms;
    allowance->reckoned_ms = monotonic_ms;
    return allowance->left_ms > 0.0;
}

void page_allowance_take(struct page_allowance *allowance, int64_t took_ms) {
    allowance->left_ms -= (double)took_ms;
}
