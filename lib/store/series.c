/*
 * series: points, their readings and daily values. Rollups are in series_rollup.c, packed days in
 * series_pack.c and series_packed.c.
 *
 * A reading goes in with INSERT OR IGNORE: the key (point, time) is looked up by the insert anyway,
 * so a twin costs nothing until there is one. A twin in a packed day is looked for first, but only
 * among days that have been packed: a reading of today costs nothing either.
 */
#include "store/series.h"

#include "measure/timestamp.h"
#include "store/series_arrivals.h"
#include "store/series_packed.h"
#include "store/series_rollup.h"
#include "store/store_sqlite.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- points ---- */

enum store_status series_find(struct store *store, const char *system, const char *point,
                              int64_t *key) {
    return store_get_integer(store, "SELECT key FROM points WHERE system = ?1 AND point = ?2",
                             VALUES(TEXT(system), TEXT(point)), key);
}

enum store_status series_key(struct store *store, const char *system, const char *point,
                             int64_t *key) {
    enum store_status status = series_find(store, system, point, key);
    if (status != STORE_NOT_FOUND)
        return status;
    status = store_do(store, "INSERT INTO points (system, point) VALUES (?1, ?2)",
                      VALUES(TEXT(system), TEXT(point)));
    if (status == STORE_OK)
        *key = sqlite3_last_insert_rowid(store->db);
    return status;
}

enum store_status series_point_info(struct store *store, int64_t key, struct series_point *info) {
    sqlite3_stmt *find;
    enum store_status status = store_first(
        store, "SELECT interval_ms, interval_from_ms, expired_ms FROM points WHERE key = ?1",
        VALUES(INT(key)), &find);
    if (status != STORE_OK)
        return status;
    info->interval_ms = sqlite3_column_int64(find, 0);
    info->interval_from_ms = store_column_time(find, 1);
    info->expired_ms = store_column_time(find, 2);
    sqlite3_reset(find);
    return STORE_OK;
}

enum store_status series_interval(struct store *store, int64_t key, int64_t *interval_ms) {
    struct series_point info;
    enum store_status status = series_point_info(store, key, &info);
    if (status == STORE_OK)
        *interval_ms = info.interval_ms;
    return status;
}

enum store_status series_set_interval(struct store *store, int64_t key, int64_t interval_ms) {
    struct series_point info = {0};
    enum store_status status = series_arrivals_settle(store, key);
    THEN(status, series_point_info(store, key, &info));
    if (status != STORE_OK || info.interval_ms == interval_ms)
        return status;
    /* Rollups up to here were made with the old interval. */
    struct reading newest = {TIMESTAMP_NONE, 0};
    status = series_newest(store, key, &newest);
    if (status != STORE_OK && status != STORE_NOT_FOUND)
        return status;
    return store_do(store,
                    "UPDATE points SET interval_ms = ?2, interval_from_ms = ?3 WHERE key = ?1",
                    VALUES(INT(key), INT(interval_ms), TIME(newest.time_ms)));
}

/* ---- adding ---- */

static enum store_status compare_twin(struct store *store, int64_t key,
                                      const struct reading *reading, enum series_append *result) {
    sqlite3_stmt *twin;
    enum store_status status =
        store_first(store, "SELECT value FROM readings WHERE point = ?1 AND time_ms = ?2",
                    VALUES(INT(key), INT(reading->time_ms)), &twin);
    if (status == STORE_NOT_FOUND) /* refused as a twin, yet there is none */
        return store_failure(store, SQLITE_CORRUPT);
    if (status != STORE_OK)
        return status;
    double kept = sqlite3_column_double(twin, 0);
    sqlite3_reset(twin);
    *result = kept == reading->value ? SERIES_SAME : SERIES_CONFLICT;
    return STORE_OK;
}

/* STORE_NOT_FOUND: no twin. A pack that cannot be read has none: the reading is kept beside it. */
static enum store_status compare_packed(struct store *store, int64_t key,
                                        const struct reading *reading, enum series_append *result) {
    struct reading kept;
    if (day_pack_day(reading->time_ms) > store->packed_to_day)
        return STORE_NOT_FOUND;
    enum store_status status = series_packed_at(store, key, reading->time_ms, &kept);
    if (status == STORE_DAMAGED && store->broken == STORE_OK)
        return STORE_NOT_FOUND;
    if (status == STORE_OK)
        *result = kept.value == reading->value ? SERIES_SAME : SERIES_CONFLICT;
    return status;
}

void series_note_oldest(struct store *store, int64_t oldest_ms) {
    if (oldest_ms < store->expiry.oldest_ms)
        store->expiry.oldest_ms = oldest_ms;
}

static enum store_status append(struct store *store, int64_t key, const struct reading *reading,
                                enum series_origin origin, enum series_append *result) {
    enum store_status packed = compare_packed(store, key, reading, result);
    if (packed != STORE_NOT_FOUND)
        return packed;
    enum store_status status = series_arrivals_settle(store, key);
    THEN(status,
         store_do(
             store,
             "INSERT OR IGNORE INTO readings (point, time_ms, value, origin) VALUES (?1, ?2, ?3, "
             "?4)",
             VALUES(INT(key), INT(reading->time_ms), NUMBER(reading->value), INT((int)origin))));
    if (status != STORE_OK)
        return status;
    if (sqlite3_changes(store->db) == 0)
        return compare_twin(store, key, reading, result);
    store->readings++;
    series_note_oldest(store, reading->time_ms);
    *result = SERIES_NEW;
    return STORE_OK;
}

/* Without room for more, each that comes puts a point into its place. */
static enum store_status gather(struct store *store, int64_t key, const struct reading *reading,
                                enum series_origin origin, enum series_append *result) {
    bool more;
    enum store_status status = STORE_OK;
    if (!series_arrivals_gather(store)) {
        status = series_place(store, 1, false, &more);
        return status == STORE_OK ? append(store, key, reading, origin, result) : status;
    }
    status = series_arrivals_add(store, key, reading, origin);
    if (status == STORE_OK)
        store->readings++;
    return status;
}

enum store_status series_append(struct store *store, int64_t key, const struct reading *reading,
                                enum series_origin origin, bool certainly_new,
                                enum series_append *result) {
    assert(isfinite(reading->value));
    bool own;
    enum series_append answer = SERIES_NEW;
    enum store_status status = store_scope_begin(store, &own);
    THEN(status, certainly_new && store->gathers ? gather(store, key, reading, origin, &answer)
                                                 : append(store, key, reading, origin, &answer));
    status = store_scope_end(store, own, status);
    if (status == STORE_OK)
        *result = answer;
    return status;
}

/* ---- reading ---- */

static enum store_status one_row(struct store *store, const char *sql, int64_t key, int64_t time_ms,
                                 struct reading *reading) {
    sqlite3_stmt *find;
    enum store_status status = store_first(store, sql, VALUES(INT(key), INT(time_ms)), &find);
    if (status != STORE_OK)
        return status;
    reading->time_ms = sqlite3_column_int64(find, 0);
    reading->value = sqlite3_column_double(find, 1);
    sqlite3_reset(find);
    return STORE_OK;
}

/* The better of a row and a packed reading, each with what came of looking for it. */
static enum store_status nearer(enum store_status row_found, const struct reading *row,
                                enum store_status packed_found, const struct reading *packed,
                                bool later, struct reading *reading) {
    if (packed_found != STORE_OK && packed_found != STORE_NOT_FOUND)
        return packed_found;
    if (row_found == STORE_OK &&
        (packed_found == STORE_NOT_FOUND || (row->time_ms > packed->time_ms) == later))
        *reading = *row;
    else if (packed_found == STORE_OK)
        *reading = *packed;
    else
        return STORE_NOT_FOUND;
    return STORE_OK;
}

enum store_status series_newest(struct store *store, int64_t key, struct reading *reading) {
    return series_before(store, key, INT64_MAX, reading);
}

enum store_status series_before(struct store *store, int64_t key, int64_t time_ms,
                                struct reading *reading) {
    struct reading row = {INT64_MIN, 0}, packed;
    enum store_status found = series_arrivals_settle(store, key);
    THEN(found, one_row(store,
                        "SELECT time_ms, value FROM readings WHERE point = ?1 AND "
                        "time_ms < ?2 ORDER BY time_ms DESC LIMIT 1",
                        key, time_ms, &row));
    if (found != STORE_OK && found != STORE_NOT_FOUND)
        return found;
    return nearer(found, &row, series_packed_before(store, key, time_ms, row.time_ms, &packed),
                  &packed, true, reading);
}

static const char after_sql[] = "SELECT time_ms, value FROM readings WHERE point = ?1 AND "
                                "time_ms >= ?2 ORDER BY time_ms LIMIT 1";

enum store_status series_after(struct store *store, int64_t key, int64_t time_ms,
                               struct reading *reading) {
    struct reading row = {INT64_MAX, 0}, packed;
    enum store_status found = series_arrivals_settle(store, key);
    THEN(found, one_row(store, after_sql, key, time_ms, &row));
    if (found != STORE_OK && found != STORE_NOT_FOUND)
        return found;
    return nearer(found, &row, series_packed_after(store, key, time_ms, row.time_ms, &packed),
                  &packed, false, reading);
}

enum store_status series_read(struct store *store, int64_t key, int64_t from_ms, int64_t to_ms,
                              struct reading *readings, size_t capacity, size_t *count) {
    struct series_cursor cursor;
    size_t got = 0;
    *count = 0;
    enum store_status status = series_cursor_open(&cursor, store, key, from_ms, to_ms);
    while (status == STORE_OK && got < capacity) {
        status = series_cursor_next(&cursor, &readings[got]);
        got += status == STORE_OK;
    }
    if (status != STORE_OK && status != STORE_NOT_FOUND)
        return status;
    series_cursor_close(&cursor);
    *count = got;
    return STORE_OK;
}

enum store_status series_count(struct store *store, int64_t *readings) {
    if (store->broken != STORE_OK)
        return store->broken;
    if (store->writable) { /* the only writer knows */
        *readings = store->readings;
        return STORE_OK;
    }
    return store_get_integer(store, "SELECT value FROM totals WHERE name = 'readings'", NO_VALUES,
                             readings);
}

/* ---- retention ---- */

enum store_status series_next_point(struct store *store, int64_t *key) {
    return store_get_integer(store, "SELECT key FROM points WHERE key > ?1 ORDER BY key LIMIT 1",
                             VALUES(INT(*key)), key);
}

/* Oldest row of a point, INT64_MAX: none. */
static enum store_status find_oldest(struct store *store, int64_t key, int64_t *oldest_ms) {
    struct reading oldest = {INT64_MAX, 0};
    enum store_status status = one_row(store, after_sql, key, INT64_MIN, &oldest);
    *oldest_ms = oldest.time_ms;
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

/* Newest of the `most` oldest readings of a point that are too old; *found is how many. */
static enum store_status find_old(struct store *store, int64_t key, int64_t before_ms, int most,
                                  int64_t *last_ms, int *found) {
    sqlite3_stmt *old;
    enum store_status status =
        store_first(store,
                    "SELECT max(time_ms), count(*) FROM (SELECT time_ms FROM readings "
                    "WHERE point = ?1 AND time_ms < ?2 ORDER BY time_ms LIMIT ?3)",
                    VALUES(INT(key), INT(before_ms), INT(most)), &old);
    if (status != STORE_OK)
        return status;
    *last_ms = sqlite3_column_int64(old, 0);
    *found = sqlite3_column_int(old, 1);
    sqlite3_reset(old);
    return STORE_OK;
}

static enum store_status mark_expired(struct store *store, int64_t key, int64_t last_ms,
                                      int64_t count) {
    store->readings -= count;
    return store_do(
        store, "UPDATE points SET expired_ms = max(?2, coalesce(expired_ms, ?2)) WHERE key = ?1",
        VALUES(INT(key), INT(last_ms)));
}

static enum store_status delete_old(struct store *store, int64_t key, int64_t last_ms) {
    enum store_status status =
        store_do(store, "DELETE FROM readings WHERE point = ?1 AND time_ms <= ?2",
                 VALUES(INT(key), INT(last_ms)));
    return status == STORE_OK ? mark_expired(store, key, last_ms, sqlite3_changes(store->db))
                              : status;
}

/* Packs of a point; *deleted grows. *left_ms: when the oldest that is left can go. */
static enum store_status expire_packs(struct store *store, int64_t key, int64_t before_ms, int most,
                                      int *deleted, int64_t *left_ms) {
    enum store_status status = STORE_OK;
    int64_t last_ms = 0, count = 0;
    while (status == STORE_OK && *deleted < most) {
        status = series_packed_expire(store, key, before_ms, &last_ms, &count, left_ms);
        THEN(status, mark_expired(store, key, last_ms, count));
        if (status == STORE_OK)
            *deleted += (int)count;
    }
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

static enum store_status expire_rows(struct store *store, int64_t key, int64_t before_ms, int most,
                                     int *deleted, int64_t *left_ms) {
    int64_t last_ms = 0;
    int found = 0;
    enum store_status status = find_oldest(store, key, left_ms);
    if (status != STORE_OK || *left_ms >= before_ms || *deleted >= most)
        return status;
    status = find_old(store, key, before_ms, most - *deleted, &last_ms, &found);
    THEN(status, delete_old(store, key, last_ms));
    *deleted += found;
    return status == STORE_OK ? find_oldest(store, key, left_ms) : status;
}

enum store_status series_keep_longer(struct store *store, const struct series_longer *points,
                                     size_t count) {
    struct series_longer *copy = calloc(count + 1, sizeof *copy);
    if (!copy)
        return STORE_OUT_OF_MEMORY;
    if (count)
        memcpy(copy, points, count * sizeof *copy);
    free(store->expiry.longer);
    store->expiry.longer = copy;
    store->expiry.longer_count = count;
    store->expiry.oldest_ms = INT64_MIN; /* of others than were kept until now */
    return STORE_OK;
}

static int compare_keys(const void *key, const void *longer) {
    int64_t one = *(const int64_t *)key, other = ((const struct series_longer *)longer)->key;
    return (one > other) - (one < other);
}

static int64_t longer_of(const struct store *store, int64_t key) {
    const struct series_longer *longer =
        store->expiry.longer_count ? bsearch(&key, store->expiry.longer, store->expiry.longer_count,
                                             sizeof *longer, compare_keys)
                                   : NULL;
    return longer ? longer->longer_ms : 0;
}

/* When the oldest that is left can go, by the age of the others. */
static void note_left(struct store *store, int64_t left_ms, int64_t longer_ms) {
    if (left_ms < INT64_MAX)
        series_note_oldest(store, left_ms + longer_ms);
}

static enum store_status expire_point(struct store *store, int64_t key, int64_t before_ms, int most,
                                      int *deleted) {
    int64_t pack_ms = INT64_MAX, row_ms = INT64_MAX, longer_ms = longer_of(store, key);
    enum store_status status =
        expire_packs(store, key, before_ms - longer_ms, most, deleted, &pack_ms);
    THEN(status, expire_rows(store, key, before_ms - longer_ms, most, deleted, &row_ms));
    note_left(store, pack_ms, longer_ms);
    note_left(store, row_ms, longer_ms);
    return status;
}

/* Goes on with the round over all points, or begins one. */
static enum store_status expire(struct store *store, int64_t before_ms, int most, int *deleted) {
    enum { POINTS_A_CALL = 500 };
    if (store->expiry.key == 0)
        store->expiry.oldest_ms = INT64_MAX;
    for (int points = 0; points < POINTS_A_CALL && *deleted < most; points++) {
        int64_t key = store->expiry.key;
        enum store_status status = series_next_point(store, &key);
        if (status == STORE_NOT_FOUND) {
            store->expiry.key = 0;
            return STORE_OK;
        }
        THEN(status, expire_point(store, key, before_ms, most, deleted));
        if (status != STORE_OK)
            return status;
        if (*deleted < most) /* else it may have more */
            store->expiry.key = key;
    }
    return STORE_OK;
}

enum store_status series_expire(struct store *store, int64_t before_ms, int most, int *deleted) {
    bool own;
    int gone = 0;
    *deleted = 0;
    if (store->expiry.key == 0 && before_ms <= store->expiry.oldest_ms)
        return store->broken;                    /* no round is under way, and none has a reason */
    if (store->arrivals || store->arrivals_lost) /* first they go into their places */
        return STORE_OK;
    enum store_status status = store_scope_begin(store, &own);
    THEN(status, expire(store, before_ms, most, &gone));
    status = store_scope_end(store, own, status);
    if (status == STORE_OK)
        *deleted = gone;
    return status;
}

/* ---- daily values ---- */

enum store_status series_day_put(struct store *store, int64_t key, const struct series_day *day) {
    return store_do(store, "INSERT OR REPLACE INTO days VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                    VALUES(INT(key), INT(day->local_day), INT(day->start_ms), INT(day->end_ms),
                           INT(day->count), NUMBER(day->median), NUMBER(day->mean),
                           INT(day->covered_ms)));
}

enum store_status series_days(struct store *store, int64_t key, int64_t from_day, int64_t to_day,
                              struct series_day *days, size_t capacity, size_t *count) {
    *count = 0;
    sqlite3_stmt *range;
    enum store_status status = store_ask(
        store,
        "SELECT local_day, start_ms, end_ms, count, median, mean, covered_ms FROM days "
        "WHERE point = ?1 AND local_day >= ?2 AND local_day < ?3 ORDER BY local_day LIMIT ?4",
        VALUES(INT(key), INT(from_day), INT(to_day), INT((int64_t)capacity)), &range);
    if (status != STORE_OK)
        return status;
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
    return store_get_integer(
        store, "SELECT local_day FROM days WHERE point = ?1 ORDER BY local_day DESC LIMIT 1",
        VALUES(INT(key)), local_day);
}

enum store_status series_days_forget(struct store *store, int64_t key, int64_t from_day,
                                     int64_t to_day) {
    return store_do(store, "DELETE FROM days WHERE point = ?1 AND local_day BETWEEN ?2 AND ?3",
                    VALUES(INT(key), INT(from_day), INT(to_day)));
}
