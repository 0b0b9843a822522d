#include "store/series_packed.h"

#include "measure/timestamp.h"
#include "store/series_arrivals.h"
#include "store/series_hours.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- one day ---- */

int64_t series_day_start(int64_t time_ms) {
    return time_ms < INT64_MIN + DAY_PACK_DAY_MS ? INT64_MIN
                                                 : day_pack_day(time_ms) * DAY_PACK_DAY_MS;
}

int64_t series_day_end(int64_t time_ms) {
    return (day_pack_day(time_ms) + 1) * DAY_PACK_DAY_MS;
}

void series_packed_note_damage(struct store *store, const struct day_pack_label *label) {
    char when[40];
    struct series_damage *damage = &store->damage;
    timestamp_format(when, sizeof when, label->day * DAY_PACK_DAY_MS);
    when[strcspn(when, "T")] = '\0';
    snprintf(store->error, sizeof store->error, "packed day %s of point %lld is damaged (%s)", when,
             (long long)label->point, store->path);
    damage->met++;
    for (size_t i = 0; i < damage->count; i++)
        if (damage->keys[i] == label->point && damage->days[i] == label->day)
            return;
    if (damage->count < SERIES_DAMAGE_MAX) {
        damage->keys[damage->count] = label->point;
        damage->days[damage->count++] = label->day;
    }
}

uint64_t series_damage_met(const struct store *store) {
    return store->damage.met;
}

bool series_damage_next(struct store *store, int64_t *key, int64_t *day_ms) {
    struct series_damage *damage = &store->damage;
    if (damage->told == damage->count)
        return false;
    *key = damage->keys[damage->told];
    *day_ms = damage->days[damage->told++] * DAY_PACK_DAY_MS;
    return true;
}

/* Is it only a packed day that cannot be read, and everything else can? */
static bool is_gap(const struct store *store, enum store_status status) {
    return status == STORE_DAMAGED && store->broken == STORE_OK;
}

static void drop(struct series_unpacked *day) {
    free(day->bytes);
    free(day->readings);
    free(day->origins);
    *day = (struct series_unpacked){.size = 0};
}

static void free_unpacked(struct store *store) {
    for (size_t i = 0; i < UNPACKED_USE_COUNT; i++) {
        if (store->unpacked[i])
            drop(store->unpacked[i]);
        free(store->unpacked[i]);
        store->unpacked[i] = NULL;
    }
}

static bool is_kept(const struct series_unpacked *day, const struct day_pack_label *label,
                    const void *bytes, size_t size) {
    return bytes && day->size > 0 && day->size == size && day->label.point == label->point &&
           day->label.day == label->day && memcmp(day->bytes, bytes, size) == 0;
}

static enum day_pack_status unpack(struct series_unpacked *day, const struct day_pack_label *label,
                                   const void *bytes, size_t size) {
    size_t count;
    drop(day);
    enum day_pack_status status = bytes ? day_pack_count(bytes, size, &count) : DAY_PACK_DAMAGED;
    if (status != DAY_PACK_OK)
        return status;
    day->bytes = malloc(size);
    day->readings = malloc(count * sizeof *day->readings);
    day->origins = malloc(count);
    status = day->bytes && day->readings && day->origins
                 ? day_pack_decode(label, bytes, size, day->readings, day->origins)
                 : DAY_PACK_OUT_OF_MEMORY;
    if (status != DAY_PACK_OK) {
        drop(day);
        return status;
    }
    memcpy(day->bytes, bytes, size);
    day->label = *label;
    day->size = size;
    day->count = count;
    return DAY_PACK_OK;
}

enum store_status series_unpack(struct store *store, enum store_unpacked_use use,
                                const struct day_pack_label *label, sqlite3_stmt *row, int column,
                                const struct series_unpacked **day) {
    const void *bytes = sqlite3_column_blob(row, column);
    size_t size = (size_t)sqlite3_column_bytes(row, column);
    if (!store->unpacked[use])
        store->unpacked[use] = calloc(1, sizeof *store->unpacked[use]);
    store->free_unpacked = free_unpacked;
    struct series_unpacked *kept = store->unpacked[use];
    *day = kept;
    if (!kept || (!bytes && sqlite3_errcode(store->db) == SQLITE_NOMEM)) {
        store_failure(store, SQLITE_NOMEM);
        return STORE_OUT_OF_MEMORY;
    }
    if (is_kept(kept, label, bytes, size))
        return STORE_OK;
    switch (unpack(kept, label, bytes, size)) {
    case DAY_PACK_OK:
        return STORE_OK;
    case DAY_PACK_OUT_OF_MEMORY:
        store_failure(store, SQLITE_NOMEM);
        return STORE_OUT_OF_MEMORY;
    default:
        series_packed_note_damage(store, label);
        return STORE_DAMAGED;
    }
}

size_t series_unpacked_find(const struct series_unpacked *day, int64_t time_ms) {
    size_t low = 0, high = day->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (day->readings[middle].time_ms < time_ms)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* ---- all readings in order ---- */

static enum store_status next_row(struct series_cursor *cursor) {
    enum store_status status = store_row(cursor->store, cursor->rows);
    if (status == STORE_OK)
        cursor->row = (struct reading){sqlite3_column_int64(cursor->rows, 0),
                                       sqlite3_column_double(cursor->rows, 1)};
    else
        cursor->rows = NULL; /* has been reset */
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

static enum store_status next_pack(struct series_cursor *cursor) {
    cursor->day = NULL;
    enum store_status status = store_row(cursor->store, cursor->packs);
    if (status == STORE_OK)
        cursor->pack_from_ms = sqlite3_column_int64(cursor->packs, 0);
    else
        cursor->packs = NULL;
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

static enum store_status open_rows(struct series_cursor *cursor) {
    enum store_status status = store_ask(
        cursor->store,
        "SELECT time_ms, value FROM readings WHERE point = ?1 AND time_ms >= ?2 "
        "AND time_ms < ?3 ORDER BY time_ms",
        VALUES(INT(cursor->key), INT(cursor->from_ms), INT(cursor->to_ms)), &cursor->rows);
    return status == STORE_OK ? next_row(cursor) : status;
}

/* Packs from the one that has `from_ms` in its part of the day on. */
static enum store_status find_packs(struct store *store, int64_t key, int64_t from_ms,
                                    int64_t to_ms, sqlite3_stmt **packs) {
    return store_ask(store,
                     "SELECT from_ms, pack FROM packs WHERE point = ?1 AND from_ms >= "
                     "coalesce((SELECT max(from_ms) FROM packs WHERE point = ?1 AND from_ms "
                     "BETWEEN ?2 AND ?3), ?3) AND from_ms < ?4 ORDER BY from_ms",
                     VALUES(INT(key), INT(series_day_start(from_ms)), INT(from_ms), INT(to_ms)),
                     packs);
}

static enum store_status open_packs(struct series_cursor *cursor) {
    enum store_status status =
        find_packs(cursor->store, cursor->key, cursor->from_ms, cursor->to_ms, &cursor->packs);
    return status == STORE_OK ? next_pack(cursor) : status;
}

enum store_status series_cursor_open(struct series_cursor *cursor, struct store *store, int64_t key,
                                     int64_t from_ms, int64_t to_ms) {
    *cursor =
        (struct series_cursor){.store = store, .key = key, .from_ms = from_ms, .to_ms = to_ms};
    if (from_ms >= to_ms)
        return STORE_OK;
    enum store_status status = series_arrivals_settle(store, key);
    THEN(status, open_rows(cursor));
    THEN(status, open_packs(cursor));
    if (status != STORE_OK)
        series_cursor_close(cursor);
    return status;
}

void series_cursor_close(struct series_cursor *cursor) {
    sqlite3_reset(cursor->rows);
    sqlite3_reset(cursor->packs);
    cursor->rows = cursor->packs = NULL;
}

/*
 * Unpacks days until one has a reading that may be the next; a row before all of them needs none.
 */
static enum store_status find_packed(struct series_cursor *cursor) {
    while (cursor->packs) {
        if (cursor->day && cursor->next < cursor->end)
            return STORE_OK;
        enum store_status status = STORE_OK;
        if (cursor->day) {
            status = next_pack(cursor);
        } else {
            if (cursor->rows && cursor->row.time_ms < cursor->pack_from_ms)
                return STORE_OK;
            const struct day_pack_label label = {cursor->key, day_pack_day(cursor->pack_from_ms)};
            status = series_unpack(cursor->store, UNPACKED_CURSOR, &label, cursor->packs, 1,
                                   &cursor->day);
            if (status == STORE_OK) {
                cursor->next = series_unpacked_find(cursor->day, cursor->from_ms);
                cursor->end = series_unpacked_find(cursor->day, cursor->to_ms);
            } else if (is_gap(cursor->store, status)) {
                status = next_pack(cursor);
            }
        }
        if (status != STORE_OK)
            return status;
    }
    return STORE_OK;
}

enum store_status series_cursor_next(struct series_cursor *cursor, struct reading *reading) {
    enum store_status status = find_packed(cursor);
    if (status == STORE_OK) {
        const struct reading *packed =
            cursor->packs && cursor->day ? &cursor->day->readings[cursor->next] : NULL;
        bool is_row = cursor->rows && (!packed || cursor->row.time_ms < packed->time_ms);
        if (!is_row && !packed)
            return STORE_NOT_FOUND; /* both statements are at their ends */
        *reading = is_row ? cursor->row : *packed;
        cursor->next += !is_row;
        /* A row of the same instant would be a twin: the packed one came first. */
        if (is_row || (cursor->rows && cursor->row.time_ms == reading->time_ms))
            status = next_row(cursor);
    }
    if (status != STORE_OK)
        series_cursor_close(cursor);
    return status;
}

/* ---- neighbours ---- */

/* Of packs in order away from an instant: its nearest reading behind it, or before. */
static enum store_status find_nearest(struct store *store, int64_t key, sqlite3_stmt *packs,
                                      int64_t time_ms, int64_t bound_ms, bool behind,
                                      struct reading *reading) {
    enum store_status status;
    while ((status = store_row(store, packs)) == STORE_OK) {
        const int64_t from_ms = sqlite3_column_int64(packs, 0);
        const struct day_pack_label label = {key, day_pack_day(from_ms)};
        const struct series_unpacked *day;
        bool beyond = behind ? from_ms > bound_ms : label.day < day_pack_day(bound_ms);
        status = beyond ? STORE_NOT_FOUND
                        : series_unpack(store, UNPACKED_LOOKUP, &label, packs, 1, &day);
        if (is_gap(store, status))
            continue;
        if (status != STORE_OK)
            break;
        size_t at = series_unpacked_find(day, time_ms);
        if (behind ? at < day->count : at > 0) {
            *reading = day->readings[behind ? at : at - 1];
            break;
        }
    }
    sqlite3_reset(packs);
    return status;
}

enum store_status series_packed_before(struct store *store, int64_t key, int64_t time_ms,
                                       int64_t bound_ms, struct reading *reading) {
    sqlite3_stmt *packs;
    if (time_ms == INT64_MIN)
        return STORE_NOT_FOUND;
    enum store_status status = store_ask(
        store,
        "SELECT from_ms, pack FROM packs WHERE point = ?1 AND from_ms < ?2 ORDER BY from_ms DESC",
        VALUES(INT(key), INT(time_ms)), &packs);
    THEN(status, find_nearest(store, key, packs, time_ms, bound_ms, false, reading));
    return status;
}

enum store_status series_packed_after(struct store *store, int64_t key, int64_t time_ms,
                                      int64_t bound_ms, struct reading *reading) {
    sqlite3_stmt *packs;
    enum store_status status = find_packs(store, key, time_ms, INT64_MAX, &packs);
    THEN(status, find_nearest(store, key, packs, time_ms, bound_ms, true, reading));
    return status;
}

enum store_status series_pack_at(struct store *store, int64_t key, int64_t time_ms,
                                 sqlite3_stmt **pack) {
    return store_first(store,
                       "SELECT pack, from_ms FROM packs WHERE point = ?1 AND from_ms BETWEEN ?2 "
                       "AND ?3 ORDER BY from_ms DESC LIMIT 1",
                       VALUES(INT(key), INT(series_day_start(time_ms)), INT(time_ms)), pack);
}

enum store_status series_pack_part_end(struct store *store, int64_t key, int64_t time_ms,
                                       int64_t *end_ms) {
    return store_get_integer(
        store,
        "SELECT coalesce(min(from_ms), ?3) FROM packs WHERE point = ?1 AND from_ms > ?2 AND "
        "from_ms < ?3",
        VALUES(INT(key), INT(time_ms), INT(series_day_end(time_ms))), end_ms);
}

enum store_status series_packed_at(struct store *store, int64_t key, int64_t time_ms,
                                   struct reading *reading) {
    const struct day_pack_label label = {key, day_pack_day(time_ms)};
    const struct series_unpacked *day;
    sqlite3_stmt *pack;
    enum store_status status = series_pack_at(store, key, time_ms, &pack);
    if (status != STORE_OK)
        return status;
    status = series_unpack(store, UNPACKED_LOOKUP, &label, pack, 0, &day);
    sqlite3_reset(pack);
    if (status != STORE_OK)
        return status;
    size_t at = series_unpacked_find(day, time_ms);
    if (at == day->count || day->readings[at].time_ms != time_ms)
        return STORE_NOT_FOUND;
    *reading = day->readings[at];
    return STORE_OK;
}

enum store_status series_packed_check(struct store *store, int64_t key, int64_t from_ms,
                                      int64_t to_ms) {
    struct series_cursor cursor = {
        .store = store, .key = key, .from_ms = from_ms, .to_ms = to_ms > from_ms ? to_ms : from_ms};
    enum store_status status = STORE_OK;
    if (from_ms < to_ms)
        status = open_packs(&cursor);
    while (status == STORE_OK && cursor.packs) {
        const struct day_pack_label label = {key, day_pack_day(cursor.pack_from_ms)};
        status = series_unpack(store, UNPACKED_CURSOR, &label, cursor.packs, 1, &cursor.day);
        THEN(status, next_pack(&cursor));
    }
    series_cursor_close(&cursor);
    return status;
}

/* ---- retention ---- */

/* A damaged pack counts up to the end of its day. */
static enum store_status last_reading(struct store *store, const struct day_pack_label *label,
                                      sqlite3_stmt *pack, int64_t *last_ms) {
    const struct series_unpacked *day = NULL;
    enum store_status status = series_unpack(store, UNPACKED_LOOKUP, label, pack, 1, &day);
    *last_ms = (label->day + 1) * DAY_PACK_DAY_MS - 1;
    if (status == STORE_OK)
        *last_ms = day->readings[day->count - 1].time_ms;
    return status == STORE_DAMAGED ? STORE_OK : status;
}

/* The oldest pack of a point; STORE_NOT_FOUND when its day is not over by then. */
static enum store_status find_oldest(struct store *store, int64_t key, int64_t before_ms,
                                     int64_t *from_ms, int64_t *last_ms, int64_t *count) {
    sqlite3_stmt *oldest;
    *from_ms = INT64_MAX;
    enum store_status status = store_first(
        store, "SELECT from_ms, pack, count FROM packs WHERE point = ?1 ORDER BY from_ms LIMIT 1",
        VALUES(INT(key)), &oldest);
    if (status != STORE_OK)
        return status;
    *from_ms = sqlite3_column_int64(oldest, 0);
    *count = sqlite3_column_int64(oldest, 2);
    const struct day_pack_label label = {key, day_pack_day(*from_ms)};
    status = label.day < day_pack_day(before_ms) ? last_reading(store, &label, oldest, last_ms)
                                                 : STORE_NOT_FOUND;
    sqlite3_reset(oldest);
    return status;
}

enum store_status series_packed_expire(struct store *store, int64_t key, int64_t before_ms,
                                       int64_t *last_ms, int64_t *count, int64_t *until_ms) {
    int64_t from_ms;
    enum store_status status = find_oldest(store, key, before_ms, &from_ms, last_ms, count);
    *until_ms = from_ms == INT64_MAX ? INT64_MAX : series_day_end(from_ms) - 1;
    const struct day_pack_label label = {key, day_pack_day(from_ms)};
    THEN(status, series_hours_keep(store, &label));
    if (status != STORE_OK)
        return status;
    return store_do(store, "DELETE FROM packs WHERE point = ?1 AND from_ms = ?2",
                    VALUES(INT(key), INT(from_ms)));
}
