/*
 * series_rollup: hours and days of points. A reading at t stands for (t - span, t], span being the
 * time since the reading before, at most one interval, and one interval for the first ever. Spans
 * never overlap and come in order, so one pass over the readings with one open hour is enough:
 * when a reading reaches a later hour, the open one is complete.
 */
#include "store/series_rollup.h"

#include "measure/timestamp.h"
#include "store/series_packed.h"
#include "store/store_sqlite.h"

#include <math.h>

int64_t series_hour_of(int64_t time_ms) {
    int64_t hour = time_ms / SERIES_HOUR_MS;
    if (time_ms % SERIES_HOUR_MS < 0)
        hour--;
    return hour * SERIES_HOUR_MS;
}

/* ---- one pass over readings ---- */

struct rollup {
    int64_t from_hour_ms, to_hour_ms;
    struct series_hour hour; /* open; hour_ms is TIMESTAMP_NONE before the first */
    enum store_status (*take)(void *context, const struct series_hour *hour);
    void *context;
};

static enum store_status close_hour(struct rollup *rollup) {
    const struct series_hour *hour = &rollup->hour;
    if (hour->hour_ms == TIMESTAMP_NONE || (hour->count == 0 && hour->covered_ms == 0) ||
        hour->hour_ms < rollup->from_hour_ms || hour->hour_ms > rollup->to_hour_ms)
        return STORE_OK;
    return rollup->take(rollup->context, hour);
}

static enum store_status open_hour(struct rollup *rollup, int64_t hour_ms) {
    if (rollup->hour.hour_ms == hour_ms)
        return STORE_OK;
    enum store_status status = close_hour(rollup);
    rollup->hour = (struct series_hour){hour_ms, 0, 0.0, 0, (double)NAN, (double)NAN};
    return status;
}

static void count_reading(struct series_hour *hour, double value) {
    hour->lowest = hour->count && hour->lowest < value ? hour->lowest : value;
    hour->highest = hour->count && hour->highest > value ? hour->highest : value;
    hour->count++;
}

static enum store_status add_reading(struct rollup *rollup, const struct reading *reading,
                                     int64_t span_ms) {
    int64_t at = reading->time_ms - span_ms;
    if (at < rollup->from_hour_ms) /* what lies before is another run's */
        at = rollup->from_hour_ms;
    enum store_status status = STORE_OK;
    while (status == STORE_OK && at < reading->time_ms) {
        int64_t hour_ms = series_hour_of(at), end = hour_ms + SERIES_HOUR_MS;
        int64_t part = (reading->time_ms < end ? reading->time_ms : end) - at;
        status = open_hour(rollup, hour_ms);
        rollup->hour.value_ms += reading->value * (double)part;
        rollup->hour.covered_ms += part;
        at += part;
    }
    if (status == STORE_OK)
        status = open_hour(rollup, series_hour_of(reading->time_ms));
    if (status == STORE_OK)
        count_reading(&rollup->hour, reading->value);
    return status;
}

/* Behind the last hour only a reading whose span reaches back into it matters. */
static int64_t readings_end(int64_t interval_ms, int64_t to_hour_ms) {
    int64_t end_ms = to_hour_ms + SERIES_HOUR_MS;
    return end_ms > INT64_MAX - interval_ms ? INT64_MAX : end_ms + interval_ms;
}

static enum store_status scan(struct series_cursor *cursor, int64_t interval_ms,
                              int64_t previous_ms, struct rollup *rollup) {
    struct reading reading;
    enum store_status status;
    while ((status = series_cursor_next(cursor, &reading)) == STORE_OK) {
        int64_t span = interval_ms;
        if (previous_ms != TIMESTAMP_NONE && reading.time_ms - previous_ms < span)
            span = reading.time_ms - previous_ms;
        previous_ms = reading.time_ms;
        status = add_reading(rollup, &reading, span);
        if (status != STORE_OK || reading.time_ms - span >= rollup->to_hour_ms + SERIES_HOUR_MS)
            break;
    }
    if (status == STORE_NOT_FOUND)
        status = STORE_OK;
    series_cursor_close(cursor);
    return status == STORE_OK ? close_hour(rollup) : status;
}

enum store_status series_rollup_run(struct store *store, int64_t key, int64_t interval_ms,
                                    int64_t expired_ms, int64_t from_hour_ms, int64_t to_hour_ms,
                                    enum store_status (*take)(void *context,
                                                              const struct series_hour *hour),
                                    void *context) {
    struct reading before;
    enum store_status status = series_before(store, key, from_hour_ms, &before);
    if (status != STORE_OK && status != STORE_NOT_FOUND)
        return status;
    int64_t previous_ms = status == STORE_OK ? before.time_ms : expired_ms;
    struct series_cursor cursor;
    status = series_cursor_open(&cursor, store, key, from_hour_ms,
                                readings_end(interval_ms, to_hour_ms));
    if (status != STORE_OK)
        return status;
    struct rollup rollup = {from_hour_ms, to_hour_ms, {.hour_ms = TIMESTAMP_NONE}, take, context};
    return scan(&cursor, interval_ms, previous_ms, &rollup);
}

/* ---- hours ---- */

enum store_status series_hour_put(struct store *store, int64_t key,
                                  const struct series_hour *hour) {
    sqlite3_stmt *put;
    enum store_status status =
        store_statement(store, STATEMENT_HOUR_PUT,
                        "INSERT OR REPLACE INTO hours VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)", &put);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(put, 1, key);
    sqlite3_bind_int64(put, 2, hour->hour_ms);
    sqlite3_bind_int64(put, 3, hour->count);
    sqlite3_bind_double(put, 4, hour->value_ms);
    sqlite3_bind_int64(put, 5, hour->covered_ms);
    store_bind_number(put, 6, hour->lowest);
    store_bind_number(put, 7, hour->highest);
    return store_run(store, put);
}

enum store_status series_hours(struct store *store, int64_t key, int64_t from_ms, int64_t to_ms,
                               struct series_hour *hours, size_t capacity, size_t *count) {
    *count = 0;
    sqlite3_stmt *range;
    enum store_status status = store_statement(
        store, STATEMENT_HOUR_RANGE,
        "SELECT hour_ms, count, value_ms, covered_ms, lowest, highest FROM hours "
        "WHERE point = ?1 AND hour_ms >= ?2 AND hour_ms < ?3 ORDER BY hour_ms LIMIT ?4",
        &range);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(range, 1, key);
    sqlite3_bind_int64(range, 2, from_ms);
    sqlite3_bind_int64(range, 3, to_ms);
    sqlite3_bind_int64(range, 4, (int64_t)capacity);
    size_t got = 0;
    while ((status = store_row(store, range)) == STORE_OK)
        hours[got++] =
            (struct series_hour){sqlite3_column_int64(range, 0),  sqlite3_column_int64(range, 1),
                                 sqlite3_column_double(range, 2), sqlite3_column_int64(range, 3),
                                 store_column_number(range, 4),   store_column_number(range, 5)};
    if (status != STORE_NOT_FOUND)
        return status;
    *count = got;
    return STORE_OK;
}

struct putting {
    struct store *store;
    int64_t key;
};

static enum store_status put_hour(void *context, const struct series_hour *hour) {
    const struct putting *putting = context;
    return series_hour_put(putting->store, putting->key, hour);
}

static enum store_status rebuild(struct store *store, int64_t key, int64_t interval_ms,
                                 int64_t from_hour_ms, int64_t to_hour_ms) {
    struct series_point info;
    enum store_status status = series_point_info(store, key, &info);
    if (status != STORE_OK)
        return status;
    if (info.expired_ms != TIMESTAMP_NONE && from_hour_ms <= series_hour_of(info.expired_ms))
        from_hour_ms = series_hour_of(info.expired_ms) + SERIES_HOUR_MS;
    if (from_hour_ms > to_hour_ms)
        return STORE_OK;
    /* Hours that cannot be computed any more are better kept than lost. */
    struct reading before;
    status = series_before(store, key, from_hour_ms, &before);
    if (status == STORE_OK || status == STORE_NOT_FOUND)
        status =
            series_packed_check(store, key, from_hour_ms, readings_end(interval_ms, to_hour_ms));
    if (status != STORE_OK)
        return status == STORE_DAMAGED ? store->broken : status;
    sqlite3_stmt *delete;
    status = store_statement(store, STATEMENT_HOUR_DELETE,
                             "DELETE FROM hours WHERE point = ?1 AND hour_ms BETWEEN ?2 AND ?3",
                             &delete);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(delete, 1, key);
    sqlite3_bind_int64(delete, 2, from_hour_ms);
    sqlite3_bind_int64(delete, 3, to_hour_ms);
    status = store_run(store, delete);
    if (status != STORE_OK)
        return status;
    struct putting putting = {store, key};
    return series_rollup_run(store, key, interval_ms, info.expired_ms, from_hour_ms, to_hour_ms,
                             put_hour, &putting);
}

enum store_status series_hours_rebuild(struct store *store, int64_t key, int64_t interval_ms,
                                       int64_t from_ms, int64_t to_ms) {
    bool own;
    enum store_status status = store_scope_begin(store, &own);
    if (status != STORE_OK)
        return status;
    status = rebuild(store, key, interval_ms, series_hour_of(from_ms), series_hour_of(to_ms));
    return store_scope_end(store, own, status);
}

/* ---- days ---- */

enum store_status series_day_put(struct store *store, int64_t key, const struct series_day *day) {
    sqlite3_stmt *put;
    enum store_status status = store_statement(
        store, STATEMENT_DAY_PUT,
        "INSERT OR REPLACE INTO days VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)", &put);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(put, 1, key);
    sqlite3_bind_int64(put, 2, day->local_day);
    sqlite3_bind_int64(put, 3, day->start_ms);
    sqlite3_bind_int64(put, 4, day->end_ms);
    sqlite3_bind_int64(put, 5, day->count);
    store_bind_number(put, 6, day->median);
    store_bind_number(put, 7, day->mean);
    sqlite3_bind_int64(put, 8, day->covered_ms);
    return store_run(store, put);
}

enum store_status series_days(struct store *store, int64_t key, int64_t from_day, int64_t to_day,
                              struct series_day *days, size_t capacity, size_t *count) {
    *count = 0;
    sqlite3_stmt *range;
    enum store_status status = store_statement(
        store, STATEMENT_DAY_RANGE,
        "SELECT local_day, start_ms, end_ms, count, median, mean, covered_ms FROM days "
        "WHERE point = ?1 AND local_day >= ?2 AND local_day < ?3 ORDER BY local_day LIMIT ?4",
        &range);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(range, 1, key);
    sqlite3_bind_int64(range, 2, from_day);
    sqlite3_bind_int64(range, 3, to_day);
    sqlite3_bind_int64(range, 4, (int64_t)capacity);
    size_t got = 0;
    while ((status = store_row(store, range)) == STORE_OK)
        days[got++] =
            (struct series_day){sqlite3_column_int64(range, 0), sqlite3_column_int64(range, 1),
                                sqlite3_column_int64(range, 2), sqlite3_column_int64(range, 3),
                                store_column_number(range, 4),  store_column_number(range, 5),
                                sqlite3_column_int64(range, 6)};
    if (status != STORE_NOT_FOUND)
        return status;
    *count = got;
    return STORE_OK;
}

enum store_status series_newest_day(struct store *store, int64_t key, int64_t *local_day) {
    sqlite3_stmt *newest;
    enum store_status status = store_statement(
        store, STATEMENT_DAY_NEWEST,
        "SELECT local_day FROM days WHERE point = ?1 ORDER BY local_day DESC LIMIT 1", &newest);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(newest, 1, key);
    status = store_row(store, newest);
    if (status != STORE_OK)
        return status;
    *local_day = sqlite3_column_int64(newest, 0);
    sqlite3_reset(newest);
    return STORE_OK;
}

enum store_status series_days_forget(struct store *store, int64_t key, int64_t from_day,
                                     int64_t to_day) {
    sqlite3_stmt *forget;
    enum store_status status = store_statement(
        store, STATEMENT_DAY_FORGET,
        "DELETE FROM days WHERE point = ?1 AND local_day BETWEEN ?2 AND ?3", &forget);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(forget, 1, key);
    sqlite3_bind_int64(forget, 2, from_day);
    sqlite3_bind_int64(forget, 3, to_day);
    return store_run(store, forget);
}
