#include "store/series_hours.h"

#include "pack/hour_rollup.h"
#include "store/series_arrivals.h"
#include "store/series_packed.h"

#include <math.h>

/* ---- rows ---- */

enum store_status series_hours_put_row(struct store *store, int64_t key,
                                       const struct series_hour *hour) {
    return store_do(store, "INSERT OR REPLACE INTO hours VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                    VALUES(INT(key), INT(hour->hour_ms), INT(hour->count), NUMBER(hour->value_ms),
                           INT(hour->covered_ms), NUMBER(hour->lowest), NUMBER(hour->highest)));
}

enum store_status series_hour_put(struct store *store, int64_t key,
                                  const struct series_hour *hour) {
    return series_arrivals_wait(store, key) ? series_arrivals_put_hour(store, key, hour)
                                            : series_hours_put_row(store, key, hour);
}

enum store_status series_hours_delete_rows(struct store *store, int64_t key, int64_t from_hour_ms,
                                           int64_t to_hour_ms, int *rows) {
    enum store_status status =
        store_do(store, "DELETE FROM hours WHERE point = ?1 AND hour_ms BETWEEN ?2 AND ?3",
                 VALUES(INT(key), INT(from_hour_ms), INT(to_hour_ms)));
    if (status == STORE_OK)
        *rows = sqlite3_changes(store->db);
    return status;
}

/* ---- all hours in order ---- */

static enum store_status next_row(struct series_hours_cursor *cursor) {
    sqlite3_stmt *rows = cursor->rows;
    enum store_status status = store_row(cursor->store, rows);
    if (status == STORE_OK)
        cursor->row =
            (struct series_hour){sqlite3_column_int64(rows, 0),  sqlite3_column_int64(rows, 1),
                                 sqlite3_column_double(rows, 2), sqlite3_column_int64(rows, 3),
                                 store_column_number(rows, 4),   store_column_number(rows, 5)};
    else
        cursor->rows = NULL; /* has been reset */
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

static enum store_status next_day(struct series_hours_cursor *cursor) {
    cursor->is_filled = false;
    enum store_status status = store_row(cursor->store, cursor->days);
    if (status == STORE_OK)
        cursor->day = (struct day_pack_label){cursor->key, sqlite3_column_int64(cursor->days, 0)};
    else
        cursor->days = NULL;
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

static enum store_status open_rows(struct series_hours_cursor *cursor) {
    enum store_status status = store_ask(
        cursor->store,
        "SELECT hour_ms, count, value_ms, covered_ms, lowest, highest FROM hours "
        "WHERE point = ?1 AND hour_ms >= ?2 AND hour_ms < ?3 ORDER BY hour_ms",
        VALUES(INT(cursor->key), INT(cursor->from_ms), INT(cursor->to_ms)), &cursor->rows);
    return status == STORE_OK ? next_row(cursor) : status;
}

enum store_status series_hours_find_days(struct store *store, int64_t key, int64_t from_day,
                                         int64_t to_day, sqlite3_stmt **days) {
    return store_ask(
        store,
        "SELECT h.day, h.hours, p.pack FROM day_hours h LEFT JOIN packs p ON p.point = h.point "
        "AND p.from_ms = h.day * 86400000 WHERE h.point = ?1 AND h.day BETWEEN ?2 AND ?3 ORDER BY "
        "h.day",
        VALUES(INT(key), INT(from_day), INT(to_day)), days);
}

static enum store_status open_days(struct series_hours_cursor *cursor) {
    enum store_status status =
        series_hours_find_days(cursor->store, cursor->key, day_pack_day(cursor->from_ms),
                               day_pack_day(cursor->to_ms - 1), &cursor->days);
    return status == STORE_OK ? next_day(cursor) : status;
}

enum store_status series_hours_open(struct series_hours_cursor *cursor, struct store *store,
                                    int64_t key, int64_t from_ms, int64_t to_ms, bool is_strict) {
    *cursor = (struct series_hours_cursor){
        .store = store, .key = key, .from_ms = from_ms, .to_ms = to_ms, .is_strict = is_strict};
    if (from_ms >= to_ms)
        return STORE_OK;
    enum store_status status = series_arrivals_settle(store, key);
    THEN(status, open_rows(cursor));
    THEN(status, open_days(cursor));
    if (status != STORE_OK)
        series_hours_close(cursor);
    return status;
}

void series_hours_close(struct series_hours_cursor *cursor) {
    sqlite3_reset(cursor->rows);
    sqlite3_reset(cursor->days);
    cursor->rows = cursor->days = NULL;
}

enum store_status series_hours_read_kept(struct store *store, const struct day_pack_label *label,
                                         sqlite3_stmt *row, struct day_hours *kept) {
    const void *bytes = sqlite3_column_blob(row, 1);
    size_t size = (size_t)sqlite3_column_bytes(row, 1);
    if (!bytes && sqlite3_errcode(store->db) == SQLITE_NOMEM)
        return store_failure(store, SQLITE_NOMEM);
    if (!bytes || day_hours_decode(label, bytes, size, kept) != DAY_PACK_OK) {
        series_packed_note_damage(store, label);
        return STORE_DAMAGED;
    }
    return STORE_OK;
}

static enum store_status fill(struct series_hours_cursor *cursor) {
    struct store *store = cursor->store;
    struct day_hours kept;
    const struct series_unpacked *day = NULL;
    enum store_status status = series_hours_read_kept(store, &cursor->day, cursor->days, &kept);
    if (status == STORE_OK && kept.is_computed)
        status = series_unpack(store, UNPACKED_HOURS, &cursor->day, cursor->days, 2, &day);
    if (status != STORE_OK)
        return status;
    day_hours_fill(&kept, &cursor->day, day ? day->readings : NULL, day ? day->count : 0,
                   &cursor->table);
    cursor->is_filled = true;
    cursor->next = 0;
    return STORE_OK;
}

/* The next hour of the day at hand, or NULL. */
static const struct series_hour *kept_hour(struct series_hours_cursor *cursor) {
    for (; cursor->is_filled && cursor->next < DAY_HOURS_COUNT; cursor->next++) {
        const struct series_hour *hour = &cursor->table.hours[cursor->next];
        if (cursor->table.present >> cursor->next & 1 && hour->hour_ms >= cursor->from_ms &&
            hour->hour_ms < cursor->to_ms)
            return hour;
    }
    return NULL;
}

/* Fills days until one has an hour that may be the next; a row before all of them needs none. */
static enum store_status find_kept(struct series_hours_cursor *cursor) {
    while (cursor->days && !kept_hour(cursor)) {
        enum store_status status = STORE_OK;
        if (cursor->is_filled) {
            status = next_day(cursor);
        } else {
            if (cursor->rows && cursor->row.hour_ms < cursor->day.day * DAY_PACK_DAY_MS)
                return STORE_OK;
            status = fill(cursor);
            if (status == STORE_DAMAGED && cursor->store->broken == STORE_OK && !cursor->is_strict)
                status = next_day(cursor);
        }
        if (status != STORE_OK)
            return status;
    }
    return STORE_OK;
}

/* One hour, empty when a row says that there is none. */
static enum store_status merge_next(struct series_hours_cursor *cursor, struct series_hour *hour) {
    enum store_status status = find_kept(cursor);
    if (status != STORE_OK)
        return status;
    const struct series_hour *kept = kept_hour(cursor);
    bool is_row = cursor->rows && (!kept || cursor->row.hour_ms <= kept->hour_ms);
    if (!is_row && !kept)
        return STORE_NOT_FOUND; /* both statements are at their ends */
    *hour = is_row ? cursor->row : *kept;
    cursor->next += kept && kept->hour_ms == hour->hour_ms;
    return is_row ? next_row(cursor) : STORE_OK;
}

enum store_status series_hours_next(struct series_hours_cursor *cursor, struct series_hour *hour) {
    enum store_status status;
    do
        status = merge_next(cursor, hour);
    while (status == STORE_OK && hour_rollup_is_empty(hour));
    if (status != STORE_OK)
        series_hours_close(cursor);
    return status;
}

enum store_status series_hours(struct store *store, int64_t key, int64_t from_ms, int64_t to_ms,
                               struct series_hour *hours, size_t capacity, size_t *count) {
    struct series_hours_cursor cursor;
    size_t got = 0;
    *count = 0;
    enum store_status status = series_hours_open(&cursor, store, key, from_ms, to_ms, false);
    while (status == STORE_OK && got < capacity) {
        status = series_hours_next(&cursor, &hours[got]);
        got += status == STORE_OK;
    }
    if (status != STORE_OK && status != STORE_NOT_FOUND)
        return status;
    series_hours_close(&cursor);
    *count = got;
    return STORE_OK;
}

enum store_status series_hours_of_day(struct store *store, const struct day_pack_label *label,
                                      struct day_hours_table *seen) {
    struct series_hours_cursor cursor;
    struct series_hour hour;
    int64_t start_ms = label->day * DAY_PACK_DAY_MS;
    seen->present = 0;
    enum store_status status =
        series_hours_open(&cursor, store, label->point, start_ms, start_ms + DAY_PACK_DAY_MS, true);
    while (status == STORE_OK && (status = series_hours_next(&cursor, &hour)) == STORE_OK) {
        unsigned i = (unsigned)((hour.hour_ms - start_ms) / HOUR_ROLLUP_HOUR_MS);
        if (!day_hours_can_hold(label, &hour)) {
            series_hours_close(&cursor);
            series_packed_note_damage(store, label); /* never made here */
            return STORE_DAMAGED;
        }
        seen->hours[i] = hour;
        seen->present |= 1U << i;
    }
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}
