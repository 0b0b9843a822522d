/*
 * series_pack: closed days become packs. Rows of a day, and the pack it may have already, go into a
 * new pack, which is unpacked and compared before the rows go. All of it is one transaction. Rows
 * that came late lie beside the pack of their day until they are merged here. The day's hours go
 * the same way once it has no rows of readings any more (series_hours.h).
 *
 * A pack holds a whole day, or a part of one that has more readings than a step may take: so a step
 * is short whatever a point has sent, and no reading is packed again because of the ones after it.
 *
 * A day that cannot be packed (its pack is damaged) keeps its rows and is passed over.
 */
#include "pack/value_form.h"
#include "store/series_hours.h"
#include "store/series_packed.h"
#include "store/series_rows.h"

#include <stdlib.h>
#include <string.h>

enum { POINTS_A_CALL = 500 }; /* looked at; most have nothing to pack */

/* Readings of one day, or of a part of it, on their way into packs. */
struct packing {
    struct store *store;
    struct day_pack_label label;
    size_t most;     /* a pack gets of them */
    int64_t from_ms; /* where the first pack of them begins */
    struct series_rows rows;
};

/* ---- the rows ---- */

/* The first row of readings that a day has; INT64_MAX: none. */
static enum store_status first_row(struct store *store, const struct day_pack_label *label,
                                   int64_t *time_ms) {
    int64_t start_ms = label->day * DAY_PACK_DAY_MS;
    *time_ms = INT64_MAX;
    enum store_status status = store_get_integer(
        store,
        "SELECT time_ms FROM readings WHERE point = ?1 AND time_ms >= ?2 AND "
        "time_ms < ?3 ORDER BY time_ms LIMIT 1",
        VALUES(INT(label->point), INT(start_ms), INT(start_ms + DAY_PACK_DAY_MS)), time_ms);
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

/* ---- merging with the pack there is ---- */

/* From the back, into room behind the rows: both are in order. A row that is a twin is left out. */
static void merge_day(struct series_rows *all, const struct series_unpacked *day) {
    size_t rows = all->count, packed = day->count, to = all->count + day->count;
    while (packed > 0) {
        const struct reading *old = &day->readings[packed - 1];
        bool is_row = rows > 0 && all->readings[rows - 1].time_ms >= old->time_ms;
        if (is_row && all->readings[rows - 1].time_ms == old->time_ms) {
            rows--;
            continue;
        }
        to--;
        all->readings[to] = is_row ? all->readings[rows - 1] : *old;
        all->origins[to] = is_row ? all->origins[rows - 1] : day->origins[packed - 1];
        if (is_row)
            rows--;
        else
            packed--;
    }
    /* What is left of the rows stands at the front; twins left a gap between. */
    size_t behind = all->count + day->count - to;
    memmove(all->readings + rows, all->readings + to, behind * sizeof *all->readings);
    memmove(all->origins + rows, all->origins + to, behind);
    all->count = rows + behind;
}

/* Rows behind a pack that would not hold them all begin one of their own. */
static bool goes_behind(const struct packing *packing, const struct series_unpacked *day) {
    return packing->rows.count + day->count > packing->most &&
           packing->rows.readings[0].time_ms > day->readings[day->count - 1].time_ms;
}

/* With the pack that has the first row in its part of the day. */
static enum store_status merge_pack(struct packing *packing) {
    struct store *store = packing->store;
    struct series_rows *rows = &packing->rows;
    sqlite3_stmt *pack;
    const struct series_unpacked *day = NULL;
    int64_t first_ms = rows->readings[0].time_ms;
    packing->from_ms = series_day_start(first_ms);
    enum store_status status = series_pack_at(store, packing->label.point, first_ms, &pack);
    if (status != STORE_OK)
        return status == STORE_NOT_FOUND ? STORE_OK : status;
    packing->from_ms = sqlite3_column_int64(pack, 1);
    status = series_unpack(store, UNPACKED_LOOKUP, &packing->label, pack, 0, &day);
    sqlite3_reset(pack);
    if (status != STORE_OK)
        return status;
    if (goes_behind(packing, day)) {
        packing->from_ms = first_ms;
        return STORE_OK;
    }
    size_t both = rows->count + day->count;
    if (rows->capacity < both && !series_rows_reserve(rows, both))
        return store_failure(store, SQLITE_NOMEM);
    merge_day(rows, day);
    store->readings -= (int64_t)(both - rows->count);
    return STORE_OK;
}

/* ---- the pack ---- */

/* Is what comes out what went in, to the last bit? The rows are about to go. STORE_NOT_FOUND: no.
 */
static enum store_status compare_back(struct store *store, const struct day_pack_label *label,
                                      const struct series_piece *piece, const unsigned char *bytes,
                                      size_t size) {
    struct reading *readings = malloc(piece->count * sizeof *readings);
    unsigned char *origins = malloc(piece->count);
    if (!readings || !origins) {
        free(readings);
        free(origins);
        return store_failure(store, SQLITE_NOMEM);
    }
    bool same = day_pack_decode(label, bytes, size, readings, origins) == DAY_PACK_OK &&
                memcmp(origins, piece->origins, piece->count) == 0;
    for (size_t i = 0; same && i < piece->count; i++)
        same = readings[i].time_ms == piece->readings[i].time_ms &&
               value_form_correction(readings[i].value, piece->readings[i].value) == 0;
    free(readings);
    free(origins);
    return same ? STORE_OK : STORE_NOT_FOUND;
}

static enum store_status put_pack(struct store *store, int64_t key,
                                  const struct series_piece *piece, const unsigned char *bytes,
                                  size_t size) {
    return store_do(
        store, "INSERT OR REPLACE INTO packs VALUES (?1, ?2, ?3, ?4)",
        VALUES(INT(key), INT(piece->from_ms), INT((int64_t)piece->count), BYTES(bytes, size)));
}

/* Kept in the store, so that a reading of a later day need not be looked for among the packs. */
enum store_status series_pack_note_day(struct store *store, int64_t day) {
    if (day <= store->packed_to_day)
        return STORE_OK;
    enum store_status status =
        store_do(store, "UPDATE totals SET value = ?1 WHERE name = 'packed to day' AND value < ?1",
                 VALUES(INT(day)));
    if (status == STORE_OK)
        store->packed_to_day = day;
    return status;
}

static enum store_status write_piece(struct store *store, const struct day_pack_label *label,
                                     const struct series_piece *piece) {
    size_t size;
    unsigned char *bytes = malloc(day_pack_bound(piece->count));
    if (!bytes || day_pack_encode(label, piece->readings, piece->origins, piece->count, bytes,
                                  &size) == DAY_PACK_OUT_OF_MEMORY) {
        free(bytes);
        return store_failure(store, SQLITE_NOMEM);
    }
    enum store_status status = compare_back(store, label, piece, bytes, size);
    THEN(status, put_pack(store, label->point, piece, bytes, size));
    free(bytes);
    return status;
}

enum store_status series_pack_write(struct store *store, const struct day_pack_label *label,
                                    const struct series_piece *piece) {
    enum store_status status = series_pack_note_day(store, label->day);
    return status == STORE_OK ? write_piece(store, label, piece) : status;
}

static enum store_status write_packs(const struct packing *packing) {
    const struct series_rows *rows = &packing->rows;
    enum store_status status = STORE_OK;
    for (size_t i = 0; i < rows->count && status == STORE_OK; i += packing->most) {
        size_t left = rows->count - i;
        const struct series_piece piece = {
            .from_ms = i == 0 ? packing->from_ms : rows->readings[i].time_ms,
            .readings = rows->readings + i,
            .origins = rows->origins + i,
            .count = left < packing->most ? left : packing->most,
        };
        status = series_pack_write(packing->store, &packing->label, &piece);
    }
    return status;
}

static enum store_status pack_rows(struct packing *packing) {
    const struct series_rows *rows = &packing->rows;
    int64_t first_ms = rows->readings[0].time_ms, last_ms = rows->readings[rows->count - 1].time_ms;
    size_t count = rows->count;
    enum store_status status = merge_pack(packing);
    THEN(status, series_rows_are_packable(rows) ? write_packs(packing) : STORE_NOT_FOUND);
    THEN(status,
         series_rows_delete(packing->store, packing->label.point, first_ms, last_ms, count));
    return status;
}

/* Packs at most `most` of the day's rows, from `from_ms`, the first, on up to its next pack: *rows
   is how many; STORE_NOT_FOUND: they cannot be. */
static enum store_status pack_readings(struct store *store, const struct day_pack_label *label,
                                       int64_t from_ms, int most, int *rows) {
    struct packing packing = {.store = store, .label = *label, .most = (size_t)most};
    int64_t kept = store->readings, to_ms;
    *rows = 0;
    enum store_status status = series_pack_part_end(store, label->point, from_ms, &to_ms);
    THEN(status, series_rows_read(store, label->point, from_ms, to_ms, most, &packing.rows));
    size_t count = packing.rows.count;
    THEN(status, pack_rows(&packing));
    if (status == STORE_OK)
        *rows = (int)count;
    else if (status == STORE_NOT_FOUND || status == STORE_DAMAGED)
        store->readings = kept;
    series_rows_free(&packing.rows);
    return status;
}

/*
 * Packs a day, or the next part of it: *rows is how many rows went, 0 when it is to be passed over.
 * Its hours as readers see them are looked at before its readings move.
 */
static enum store_status pack_day(struct store *store, const struct day_pack_label *label, int most,
                                  int *rows) {
    struct day_hours_table seen;
    int readings = 0, hours = 0;
    int64_t first_ms;
    *rows = 0;
    enum store_status status = series_hours_of_day(store, label, &seen);
    THEN(status, first_row(store, label, &first_ms));
    if (status == STORE_OK && first_ms != INT64_MAX) {
        status = pack_readings(store, label, first_ms, most, &readings);
        THEN(status, first_row(store, label, &first_ms));
    }
    THEN(status, series_hours_pack(store, label, &seen, first_ms == INT64_MAX, &hours));
    if (status == STORE_NOT_FOUND || status == STORE_DAMAGED)
        status = store->broken;
    *rows = readings + hours;
    return status;
}

/* ---- which days ---- */

static enum store_status oldest_in(struct store *store, const char *sql, int64_t key,
                                   int64_t before_ms, int64_t *oldest_ms) {
    int64_t time_ms;
    enum store_status status = store_get_integer(
        store, sql, VALUES(INT(key), INT(store->pack_from_ms), INT(before_ms)), &time_ms);
    if (status != STORE_OK)
        return status == STORE_NOT_FOUND ? STORE_OK : status;
    *oldest_ms = time_ms < *oldest_ms ? time_ms : *oldest_ms;
    return STORE_OK;
}

/* The oldest row of a point, be it a reading or an hour. */
static enum store_status oldest_row(struct store *store, int64_t key, int64_t before_ms,
                                    int64_t *time_ms) {
    *time_ms = INT64_MAX;
    enum store_status status =
        oldest_in(store,
                  "SELECT time_ms FROM readings WHERE point = ?1 AND time_ms >= ?2 AND "
                  "time_ms < ?3 ORDER BY time_ms LIMIT 1",
                  key, before_ms, time_ms);
    THEN(status, oldest_in(store,
                           "SELECT hour_ms FROM hours WHERE point = ?1 AND hour_ms >= ?2 AND "
                           "hour_ms < ?3 ORDER BY hour_ms LIMIT 1",
                           key, before_ms, time_ms));
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
        status = pack_day(store, &label, most, &rows);
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
        THEN(status, pack_point(store, key, before_ms, most, packed));
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
    if (store->arrivals || store->arrivals_lost) /* first they go into their places */
        return STORE_OK;
    enum store_status status = store_scope_begin(store, &own);
    THEN(status, pack(store, before_ms, most_rows, &done));
    status = store_scope_end(store, own, status);
    if (status == STORE_OK)
        *packed = done;
    return status;
}
