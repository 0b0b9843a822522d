/*
 * series_load: history comes in whole days. A day that is over goes into its pack at once, as
 * series_pack.c would pack it later: the rows that the point has of the first of them go in with
 * it. A day that has a pack already, and the last one, which may go on, lie as rows until upkeep
 * comes.
 */
#include "measure/timestamp.h"
#include "store/series_arrivals.h"
#include "store/series_hours.h"
#include "store/series_packed.h"
#include "store/series_rows.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum { PACK_READINGS_MOST = 16384 }; /* a day with more goes in parts, as upkeep packs it */

struct load {
    struct store *store;
    int64_t key, interval_ms;
    struct series_rows rows; /* what the store has of the first day, then what is to be added */
    size_t stored;
    int64_t previous_ms; /* time of the reading before them; TIMESTAMP_NONE: none */
};

/* ---- what the first day has ---- */

static enum store_status has_pack(const struct load *load, int64_t day_ms, bool *has) {
    int64_t one;
    enum store_status status = store_get_integer(
        load->store,
        "SELECT 1 FROM packs WHERE point = ?1 AND from_ms >= ?2 AND from_ms < ?3 LIMIT 1",
        VALUES(INT(load->key), INT(day_ms), INT(day_ms + DAY_PACK_DAY_MS)), &one);
    *has = status == STORE_OK;
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

/* *as_rows: the first day is not to be packed. */
static enum store_status begin(struct load *load, int64_t first_ms, bool *as_rows) {
    int64_t day_ms = series_day_start(first_ms);
    struct reading before = {TIMESTAMP_NONE, 0};
    enum store_status status = has_pack(load, day_ms, as_rows);
    if (status == STORE_OK && !*as_rows)
        status = series_rows_read(load->store, load->key, day_ms, first_ms, INT64_MAX, &load->rows);
    if (status == STORE_OK && !series_rows_are_packable(&load->rows)) {
        *as_rows = true;
        load->rows.count = 0;
    }
    load->stored = load->rows.count;
    if (status == STORE_OK && !*as_rows)
        status = series_before(load->store, load->key, day_ms, &before);
    load->previous_ms = before.time_ms;
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

/* The rows of the day lie in its pack now. */
static enum store_status delete_stored(const struct load *load) {
    const struct reading *readings = load->rows.readings;
    return load->stored == 0 ? STORE_OK
                             : series_rows_delete(load->store, load->key, readings[0].time_ms,
                                                  readings[load->stored - 1].time_ms, load->stored);
}

/* ---- whole days ---- */

/* Behind the last reading of the day that the i-th is of. */
static size_t day_end(const struct load *load, size_t i) {
    int64_t end_ms = series_day_end(load->rows.readings[i].time_ms);
    while (i < load->rows.count && load->rows.readings[i].time_ms < end_ms)
        i++;
    return i;
}

static bool can_pack(const struct load *load, size_t first, size_t end, int64_t before_ms) {
    return end < load->rows.count && end - first <= PACK_READINGS_MOST &&
           series_day_end(load->rows.readings[first].time_ms) <= before_ms;
}

static enum store_status pack_day(const struct load *load, size_t first, size_t end) {
    const struct reading *readings = load->rows.readings + first;
    const struct day_pack_label label = {load->key, day_pack_day(readings[0].time_ms)};
    const struct series_piece piece = {series_day_start(readings[0].time_ms), readings,
                                       load->rows.origins + first, end - first};
    int64_t before_ms = first ? load->rows.readings[first - 1].time_ms : load->previous_ms;
    const struct day_hours plan =
        series_hours_plan(&label, load->interval_ms, before_ms, readings[0].time_ms,
                          readings[end - first - 1].time_ms, &load->rows.readings[end]);
    enum store_status status = series_pack_write(load->store, &label, &piece);
    return status == STORE_OK ? series_hours_put_plan(load->store, &label, &plan) : status;
}

/* From the first on; *next: the first reading that is left. */
static enum store_status pack_days(const struct load *load, int64_t before_ms, size_t *next) {
    size_t first = *next, end;
    enum store_status status = STORE_OK;
    for (; first < load->rows.count; first = end) {
        end = day_end(load, first);
        if (!can_pack(load, first, end, before_ms))
            break;
        status = pack_day(load, first, end);
        if (status != STORE_OK)
            break;
    }
    *next = first;
    return status == STORE_NOT_FOUND ? STORE_OK : status; /* not packed: it lies as rows */
}

/* ---- rows ---- */

static enum store_status put_rows(const struct load *load, size_t from, size_t to) {
    enum store_status status = STORE_OK;
    for (size_t i = from < load->stored ? load->stored : from; i < to && status == STORE_OK; i++)
        status = series_rows_insert(load->store, load->key, &load->rows.readings[i],
                                    load->rows.origins[i]);
    return status;
}

/* ---- all together ---- */

static bool append(struct series_rows *rows, const struct reading *readings, size_t count,
                   enum series_origin origin) {
    if (!series_rows_reserve(rows, rows->count + count))
        return false;
    memcpy(rows->readings + rows->count, readings, count * sizeof *readings);
    memset(rows->origins + rows->count, (int)origin, count);
    rows->count += count;
    for (size_t i = 0; i < rows->count; i++)
        assert(isfinite(rows->readings[i].value) &&
               (i == 0 || rows->readings[i].time_ms > rows->readings[i - 1].time_ms));
    return true;
}

/* A day without readings has no pack, but the first reading behind it may cover its last hours. */
static enum store_status put_hours_of_gaps(const struct load *load, size_t first, size_t end) {
    enum store_status status = STORE_OK;
    for (size_t i = day_end(load, first); i < end && status == STORE_OK; i = day_end(load, i)) {
        int64_t from_ms = series_day_end(load->rows.readings[i - 1].time_ms);
        int64_t to_ms = series_day_start(load->rows.readings[i].time_ms);
        int64_t covered_ms = load->rows.readings[i].time_ms - load->interval_ms;
        from_ms = covered_ms > from_ms ? covered_ms : from_ms;
        if (from_ms < to_ms)
            status =
                series_hours_rebuild(load->store, load->key, load->interval_ms, from_ms, to_ms - 1);
    }
    return status;
}

static enum store_status pack_and_put(struct load *load, size_t first, int64_t before_ms,
                                      struct series_span *rolled) {
    int rows;
    size_t next = first;
    enum store_status status = pack_days(load, before_ms, &next);
    if (status == STORE_OK && next > first) {
        rolled->from_ms = series_day_start(load->rows.readings[first].time_ms);
        rolled->to_ms = series_day_end(load->rows.readings[next - 1].time_ms);
        status = delete_stored(load);
        THEN(status, series_hours_delete_rows(load->store, load->key, rolled->from_ms,
                                              rolled->to_ms - 1, &rows));
        THEN(status, put_hours_of_gaps(load, first, next));
    }
    return status == STORE_OK ? put_rows(load, next, load->rows.count) : status;
}

static enum store_status load_all(struct load *load, const struct reading *readings, size_t count,
                                  enum series_origin origin, int64_t before_ms,
                                  struct series_span *rolled) {
    struct series_point info;
    bool rows = true;
    enum store_status status = series_point_info(load->store, load->key, &info);
    bool packs = status == STORE_OK &&
                 series_hours_can_compute(&info, day_pack_day(readings[0].time_ms)) &&
                 series_day_end(readings[0].time_ms) <= before_ms;
    load->interval_ms = info.interval_ms;
    if (packs)
        status = begin(load, readings[0].time_ms, &rows);
    if (status == STORE_OK && !append(&load->rows, readings, count, origin))
        status = store_failure(load->store, SQLITE_NOMEM);
    if (status != STORE_OK)
        return status;
    size_t first = !packs ? load->rows.count : rows ? day_end(load, 0) : 0;
    status = put_rows(load, 0, first);
    return status == STORE_OK ? pack_and_put(load, first, before_ms, rolled) : status;
}

enum store_status series_load(struct store *store, int64_t key, const struct reading *readings,
                              size_t count, enum series_origin origin, int64_t before_ms,
                              struct series_span *rolled) {
    struct load load = {.store = store, .key = key};
    bool own;
    *rolled = (struct series_span){0, 0};
    if (count == 0)
        return STORE_OK;
    enum store_status status = store_scope_begin(store, &own);
    THEN(status, series_arrivals_settle_all(store));
    THEN(status, load_all(&load, readings, count, origin, before_ms, rolled));
    if (status == STORE_OK) {
        store->readings += (int64_t)count;
        series_note_oldest(store, readings[0].time_ms);
    }
    series_rows_free(&load.rows);
    return store_scope_end(store, own, status);
}
