/*
 * series_rollup: hourly rollups computed from readings, for rebuilding and for checking them.
 * Private to lib/store.
 */
#ifndef STORE_SERIES_ROLLUP_H
#define STORE_SERIES_ROLLUP_H

#include "store/series.h"

/**
 * Hands out, in order, each hour with from <= hour <= to (starts of hours) that has readings or is
 * covered. A `take` that does not return STORE_OK ends the run with its answer. Readings that
 * retention deleted are known by the newest of them, `expired_ms` (TIMESTAMP_NONE: none).
 */
enum store_status series_rollup_run(struct store *store, int64_t key, int64_t interval_ms,
                                    int64_t expired_ms, int64_t from_hour_ms, int64_t to_hour_ms,
                                    enum store_status (*take)(void *context,
                                                              const struct series_hour *hour),
                                    void *context);

struct series_point {
    int64_t interval_ms, interval_from_ms, expired_ms; /* TIMESTAMP_NONE: none */
};
enum store_status series_point_info(struct store *store, int64_t key, struct series_point *info);

#endif
