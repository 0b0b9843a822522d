/*
 * series_pack: closed days become packs. Rows of a day, and the pack it may have already, go into a
 * new pack, which is unpacked and compared before the rows go. All of it is one transaction. Rows
 * that came late lie beside the pack of their day until they are merged here. The day's hours go
 * the same way once it has no rows of readings any more (series_hours.h).
 *
 * A day that cannot be packed (its pack is damaged, or it has too many readings) keeps its rows and
 * is passed over.
 */
#include "store/series_hours.h"
#include "store/series_packed.h"
#include "store/value_form.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define POINTS_A_CALL 500 /* looked at; most have nothing to pack */

/* Readings of one day on their way into a pack. */
struct packing {
    struct store *store;
    struct day_pack_label label;
    struct reading *readings;
    unsigned char *origins;
    size_t count, capacity;
    unsigned char *bytes;
    size_t size;
};

static void free_packing(const struct packing *packing) {
    free(packing->readings);
    free(packing->origins);
    free(packing->bytes);
}

static bool make_room(struct packing *packing, size_t more) {
    size_t capacity = packing->count + more;
    struct reading *readings = realloc(packing->readings, capacity * sizeof *readings);
    if (readings)
        packing->readings = readings;
    unsigned char *origins = realloc(packing->origins, capacity);
    if (origins)
        packing->origins = origins;
    if (!readings || !origins)
        return false;
    packing->capacity = capacity;
    return true;
}

/* ---- the rows ---- */

static enum store_status read_rows(struct packing *packing, int most) {
    sqlite3_stmt *rows;
    enum store_status status =
        store_statement(packing->store, STATEMENT_READING_DAY,
                        "SELECT time_ms, value, origin FROM readings WHERE point = ?1 AND time_ms "
                        "BETWEEN ?2 AND ?3 ORDER BY time_ms LIMIT ?4",
                        &rows);
    if (status != STORE_OK)
        return status;
    int64_t start_ms = packing->label.day * DAY_PACK_DAY_MS;
    sqlite3_bind_int64(rows, 1, packing->label.point);
    sqlite3_bind_int64(rows, 2, start_ms);
    sqlite3_bind_int64(rows, 3, start_ms + DAY_PACK_DAY_MS - 1);
    sqlite3_bind_int(rows, 4, most);
    while ((status = store_row(packing->store, rows)) == STORE_OK) {
        if (packing->count == packing->capacity && !make_room(packing, packing->count + 200)) {
            sqlite3_reset(rows);
            return store_failure(packing->store, SQLITE_NOMEM);
        }
        packing->readings[packing->count] =
            (struct reading){sqlite3_column_int64(rows, 0), sqlite3_column_double(rows, 1)};
        packing->origins[packing->count++] = (unsigned char)sqlite3_column_int(rows, 2);
    }
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

static enum store_status delete_rows(const struct packing *packing, int64_t first_ms,
                                     int64_t last_ms, size_t count) {
    struct store *store = packing->store;
    sqlite3_stmt *delete;
    enum store_status status = store_statement(
        store, STATEMENT_READING_DELETE_SPAN,
        "DELETE FROM readings WHERE point = ?1 AND time_ms BETWEEN ?2 AND ?3", &delete);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(delete, 1, packing->label.point);
    sqlite3_bind_int64(delete, 2, first_ms);
    sqlite3_bind_int64(delete, 3, last_ms);
    status = store_run(store, delete);
    if (status == STORE_OK && (size_t)sqlite3_changes(store->db) != count)
        return store_failure(store, SQLITE_CORRUPT);
    return status;
}

/* ---- merging with the pack there is ---- */

/* From the back, into room behind the rows: both are in order. A row that is a twin is left out. */
static void merge_day(struct packing *packing, const struct series_unpacked *day) {
    size_t rows = packing->count, packed = day->count, to = packing->count + day->count;
    while (packed > 0) {
        const struct reading *old = &day->readings[packed - 1];
        bool is_row = rows > 0 && packing->readings[rows - 1].time_ms >= old->time_ms;
        if (is_row && packing->readings[rows - 1].time_ms == old->time_ms) {
            rows--;
            continue;
        }
        to--;
        packing->readings[to] = is_row ? packing->readings[rows - 1] : *old;
        packing->origins[to] = is_row ? packing->origins[rows - 1] : day->origins[packed - 1];
        if (is_row)
            rows--;
        else
            packed--;
    }
    /* What is left of the rows stands at the front; twins left a gap between. */
    size_t behind = packing->count + day->count - to;
    memmove(packing->readings + rows, packing->readings + to, behind * sizeof *packing->readings);
    memmove(packing->origins + rows, packing->origins + to, behind);
    packing->count = rows + behind;
}

static enum store_status merge_pack(struct packing *packing) {
    struct store *store = packing->store;
    sqlite3_stmt *pack;
    const struct series_unpacked *day = NULL;
    enum store_status status = series_pack_find(store, &packing->label, &pack);
    if (status != STORE_OK)
        return status == STORE_NOT_FOUND ? STORE_OK : status;
    status = series_unpack(store, UNPACKED_LOOKUP, &packing->label, pack, 0, &day);
    sqlite3_reset(pack);
    if (status != STORE_OK)
        return status;
    size_t rows = packing->count;
    if (packing->capacity < rows + day->count && !make_room(packing, day->count))
        return store_failure(store, SQLITE_NOMEM);
    merge_day(packing, day);
    store->readings -= (int64_t)(rows + day->count - packing->count);
    return STORE_OK;
}

/* ---- the pack ---- */

/* Is what comes out what went in, to the last bit? The rows are about to go. */
static bool comes_back(const struct packing *packing) {
    size_t count = packing->count;
    struct reading *readings = malloc(count * sizeof *readings);
    unsigned char *origins = malloc(count);
    bool same = readings && origins &&
                day_pack_decode(&packing->label, packing->bytes, packing->size, readings,
                                origins) == DAY_PACK_OK &&
                memcmp(origins, packing->origins, count) == 0;
    for (size_t i = 0; same && i < count; i++)
        same = readings[i].time_ms == packing->readings[i].time_ms &&
               value_form_correction(readings[i].value, packing->readings[i].value) == 0;
    free(readings);
    free(origins);
    return same;
}

static enum store_status put_pack(const struct packing *packing) {
    sqlite3_stmt *put;
    enum store_status status =
        store_statement(packing->store, STATEMENT_PACK_PUT,
                        "INSERT OR REPLACE INTO day_packs VALUES (?1, ?2, ?3, ?4)", &put);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(put, 1, packing->label.point);
    sqlite3_bind_int64(put, 2, packing->label.day);
    sqlite3_bind_int64(put, 3, (int64_t)packing->count);
    sqlite3_bind_blob64(put, 4, packing->bytes, packing->size, SQLITE_STATIC);
    status = store_run(packing->store, put);
    sqlite3_clear_bindings(put); /* the bytes are about to be freed */
    return status;
}

/* Kept in the store, so that a reading of a later day need not be looked for among the packs. */
static enum store_status note_day(struct store *store, int64_t day) {
    sqlite3_stmt *note;
    if (day <= store->packed_to_day)
        return STORE_OK;
    enum store_status status = store_statement(
        store, STATEMENT_PACK_NEWEST_DAY,
        "UPDATE totals SET value = ?1 WHERE name = 'packed to day' AND value < ?1", &note);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(note, 1, day);
    status = store_run(store, note);
    if (status == STORE_OK)
        store->packed_to_day = day;
    return status;
}

static enum store_status write_pack(struct packing *packing) {
    packing->bytes = malloc(day_pack_bound(packing->count));
    if (!packing->bytes ||
        day_pack_encode(&packing->label, packing->readings, packing->origins, packing->count,
                        packing->bytes, &packing->size) == DAY_PACK_OUT_OF_MEMORY)
        return store_failure(packing->store, SQLITE_NOMEM);
    if (!comes_back(packing))
        return STORE_NOT_FOUND;
    enum store_status status = note_day(packing->store, packing->label.day);
    return status == STORE_OK ? put_pack(packing) : status;
}

/* Can it be packed at all? A value or origin that never came from here would trip the encoder. */
static bool is_packable(const struct packing *packing) {
    if (packing->count == 0 || packing->count > DAY_PACK_READINGS_MAX)
        return false;
    for (size_t i = 0; i < packing->count; i++)
        if (!isfinite(packing->readings[i].value) || packing->origins[i] > DAY_PACK_ORIGIN_MAX)
            return false;
    return true;
}

/* Packs at most `most` rows of readings: *rows is how many; STORE_NOT_FOUND: they cannot be. */
static enum store_status pack_readings(struct store *store, const struct day_pack_label *label,
                                       int most, int *rows) {
    struct packing packing = {.store = store, .label = *label};
    int64_t kept = store->readings;
    *rows = 0;
    enum store_status status = read_rows(&packing, most);
    size_t count = packing.count;
    if (status == STORE_OK && count > 0) {
        int64_t first_ms = packing.readings[0].time_ms;
        int64_t last_ms = packing.readings[count - 1].time_ms;
        status = merge_pack(&packing);
        if (status == STORE_OK)
            status = is_packable(&packing) ? write_pack(&packing) : STORE_NOT_FOUND;
        if (status == STORE_OK)
            status = delete_rows(&packing, first_ms, last_ms, count);
        if (status == STORE_OK)
            *rows = (int)count;
        else if (status == STORE_NOT_FOUND || status == STORE_DAMAGED)
            store->readings = kept;
    }
    free_packing(&packing);
    return status;
}

/*
 * Packs a day: *rows is how many rows went, 0 when it is to be passed over. Its hours as readers
 * see them are looked at before its readings move.
 */
static enum store_status pack_day(struct store *store, const struct day_pack_label *label, int most,
                                  int *rows) {
    struct day_hours_table seen;
    int readings = 0, hours = 0;
    *rows = 0;
    enum store_status status = series_hours_of_day(store, label, &seen);
    if (status == STORE_OK)
        status = pack_readings(store, label, most, &readings);
    if (status == STORE_OK)
        status = series_hours_pack(store, label, &seen, readings < most, &hours);
    if (status == STORE_NOT_FOUND || status == STORE_DAMAGED)
        status = store->broken;
    *rows = readings + hours;
    return status;
}

/* ---- which days ---- */

static enum store_status oldest_in(struct store *store, enum store_statement slot, const char *sql,
                                   int64_t key, int64_t before_ms, int64_t *oldest_ms) {
    sqlite3_stmt *oldest;
    enum store_status status = store_statement(store, slot, sql, &oldest);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(oldest, 1, key);
    sqlite3_bind_int64(oldest, 2, store->pack_from_ms);
    sqlite3_bind_int64(oldest, 3, before_ms);
    status = store_row(store, oldest);
    if (status != STORE_OK)
        return status == STORE_NOT_FOUND ? STORE_OK : status;
    int64_t time_ms = sqlite3_column_int64(oldest, 0);
    sqlite3_reset(oldest);
    *oldest_ms = time_ms < *oldest_ms ? time_ms : *oldest_ms;
    return STORE_OK;
}

/* The oldest row of a point, be it a reading or an hour. */
static enum store_status oldest_row(struct store *store, int64_t key, int64_t before_ms,
                                    int64_t *time_ms) {
    *time_ms = INT64_MAX;
    enum store_status status =
        oldest_in(store, STATEMENT_READING_OLDEST,
                  "SELECT time_ms FROM readings WHERE point = ?1 AND time_ms >= ?2 AND "
                  "time_ms < ?3 ORDER BY time_ms LIMIT 1",
                  key, before_ms, time_ms);
    if (status == STORE_OK)
        status = oldest_in(store, STATEMENT_HOUR_OLDEST,
                           "SELECT hour_ms FROM hours WHERE point = ?1 AND hour_ms >= ?2 AND "
                           "hour_ms < ?3 ORDER BY hour_ms LIMIT 1",
                           key, before_ms, time_ms);
    return status == STORE_OK && *time_ms == INT64_MAX ? STORE_NOT_FOUND : status;
}

/* Days of one point from `from_ms` on; STORE_NOT_FOUND when no more are left of it. */
static enum store_status pack_point(struct store *store, int64_t key, int64_t before_ms, int most,
                                    int *packed) {
    while (*packed < most) {
        int64_t time_ms;
        int rows;
        enum store_status status = oldest_row(store, key, before_ms, &time_ms);
        if (status != STORE_OK)
            return status;
        const struct day_pack_label label = {key, day_pack_day(time_ms)};
        status = pack_day(store, &label, most - *packed, &rows);
        if (status != STORE_OK)
            return status;
        if (rows == 0)
            store->pack_from_ms = (label.day + 1) * DAY_PACK_DAY_MS;
        *packed += rows;
    }
    return STORE_OK;
}

static enum store_status pack(struct store *store, int64_t before_ms, int most, int *packed) {
    before_ms = day_pack_day(before_ms) * DAY_PACK_DAY_MS;
    for (int points = 0; points < POINTS_A_CALL && *packed < most; points++) {
        int64_t key = store->pack_key; /* the last one that is done */
        enum store_status status = series_next_point(store, &key);
        if (status == STORE_NOT_FOUND) {
            store->pack_key = 0; /* from the first one again, at the next call */
            return STORE_OK;
        }
        if (status == STORE_OK)
            status = pack_point(store, key, before_ms, most, packed);
        if (status == STORE_NOT_FOUND) {
            store->pack_key = key;
            store->pack_from_ms = INT64_MIN;
        } else if (status != STORE_OK) {
            return status;
        }
    }
    return STORE_OK;
}

enum store_status series_pack(struct store *store, int64_t before_ms, int most_rows, int *packed) {
    bool own;
    int done = 0;
    *packed = 0;
    enum store_status status = store_scope_begin(store, &own);
    if (status != STORE_OK)
        return status;
    status = store_scope_end(store, own, pack(store, before_ms, most_rows, &done));
    if (status == STORE_OK)
        *packed = done;
    return status;
}
