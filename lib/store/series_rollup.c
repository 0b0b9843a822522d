/*
 * series_rollup: hours computed anew from the readings of a point, wherever those lie. A reading at
 * t stands for (t - span, t], span being the time since the reading before, at most one interval,
 * and one interval for the first ever.
 */
#include "store/series_rollup.h"

#include "measure/timestamp.h"
#include "pack/hour_rollup.h"
#include "store/series_hours.h"
#include "store/series_packed.h"

/* ---- one pass over readings ---- */

/* Behind the last hour only a reading whose span reaches back into it matters. */
static int64_t readings_end(int64_t interval_ms, int64_t to_hour_ms) {
    int64_t end_ms = to_hour_ms + HOUR_ROLLUP_HOUR_MS;
    return end_ms > INT64_MAX - interval_ms ? INT64_MAX : end_ms + interval_ms;
}

/* Who gets the hours, and what came of it. */
struct taking {
    enum store_status (*take)(void *context, const struct series_hour *hour);
    void *context;
    enum store_status status;
};

static bool take_hour(void *context, const struct series_hour *hour) {
    struct taking *taking = context;
    taking->status = taking->take(taking->context, hour);
    return taking->status == STORE_OK;
}

static enum store_status scan(struct series_cursor *cursor, int64_t interval_ms,
                              int64_t previous_ms, struct hour_rollup *rollup) {
    struct reading reading;
    enum store_status status = STORE_OK;
    bool goes_on = true;
    while (goes_on && (status = series_cursor_next(cursor, &reading)) == STORE_OK) {
        int64_t span = interval_ms;
        if (previous_ms != TIMESTAMP_NONE && reading.time_ms - previous_ms < span)
            span = reading.time_ms - previous_ms;
        previous_ms = reading.time_ms;
        goes_on = hour_rollup_add(rollup, &reading, span);
        if (reading.time_ms - span >= rollup->to_hour_ms + HOUR_ROLLUP_HOUR_MS)
            break;
    }
    series_cursor_close(cursor);
    if (status != STORE_OK && status != STORE_NOT_FOUND)
        return status;
    if (goes_on)
        hour_rollup_end(rollup);
    return STORE_OK;
}

enum store_status series_rollup_run(struct store *store, int64_t key, int64_t interval_ms,
                                    int64_t expired_ms, int64_t from_hour_ms, int64_t to_hour_ms,
                                    enum store_status (*take)(void *context,
                                                              const struct series_hour *hour),
                                    void *context) {
    struct reading before = {expired_ms, 0};
    enum store_status status = series_before(store, key, from_hour_ms, &before);
    if (status != STORE_OK && status != STORE_NOT_FOUND)
        return status;
    struct series_cursor cursor;
    status = series_cursor_open(&cursor, store, key, from_hour_ms,
                                readings_end(interval_ms, to_hour_ms));
    if (status != STORE_OK)
        return status;
    struct taking taking = {take, context, STORE_OK};
    struct hour_rollup rollup;
    hour_rollup_begin(&rollup, from_hour_ms, to_hour_ms, take_hour, &taking);
    status = scan(&cursor, interval_ms, before.time_ms, &rollup);
    return status == STORE_OK ? taking.status : status;
}

/* ---- hours ---- */

struct hour_putting {
    struct store *store;
    int64_t key;
};

static enum store_status put_hour(void *context, const struct series_hour *hour) {
    const struct hour_putting *putting = context;
    return series_hour_put(putting->store, putting->key, hour);
}

static enum store_status rebuild(struct store *store, int64_t key, int64_t interval_ms,
                                 int64_t from_hour_ms, int64_t to_hour_ms) {
    struct series_point info;
    enum store_status status = series_point_info(store, key, &info);
    if (status != STORE_OK)
        return status;
    if (info.expired_ms != TIMESTAMP_NONE && from_hour_ms <= hour_rollup_start(info.expired_ms))
        from_hour_ms = hour_rollup_start(info.expired_ms) + HOUR_ROLLUP_HOUR_MS;
    if (from_hour_ms > to_hour_ms)
        return STORE_OK;
    /* Hours that cannot be computed any more are better kept than lost. */
    struct reading before;
    int rows;
    uint64_t met = series_damage_met(store);
    status = series_before(store, key, from_hour_ms, &before);
    if (status == STORE_OK || status == STORE_NOT_FOUND)
        status =
            series_packed_check(store, key, from_hour_ms, readings_end(interval_ms, to_hour_ms));
    if (status == STORE_DAMAGED || series_damage_met(store) != met)
        return store->broken;
    if (status != STORE_OK)
        return status;
    status = series_hours_delete_rows(store, key, from_hour_ms, to_hour_ms, &rows);
    if (status != STORE_OK)
        return status;
    struct hour_putting putting = {store, key};
    return series_rollup_run(store, key, interval_ms, info.expired_ms, from_hour_ms, to_hour_ms,
                             put_hour, &putting);
}

enum store_status series_hours_rebuild(struct store *store, int64_t key, int64_t interval_ms,
                                       int64_t from_ms, int64_t to_ms) {
    bool own;
    enum store_status status = store_scope_begin(store, &own);
    THEN(status,
         rebuild(store, key, interval_ms, hour_rollup_start(from_ms), hour_rollup_start(to_ms)));
    return store_scope_end(store, own, status);
}
