#include "store/series_rows.h"

#include "pack/day_pack.h"

#include <math.h>
#include <stdlib.h>

bool series_rows_reserve(struct series_rows *rows, size_t capacity) {
    struct reading *readings = realloc(rows->readings, capacity * sizeof *readings);
    if (readings)
        rows->readings = readings;
    unsigned char *origins = realloc(rows->origins, capacity);
    if (origins)
        rows->origins = origins;
    if (readings && origins)
        rows->capacity = capacity;
    return readings && origins;
}

void series_rows_free(const struct series_rows *rows) {
    free(rows->readings);
    free(rows->origins);
}

enum store_status series_rows_read(struct store *store, int64_t key, int64_t from_ms, int64_t to_ms,
                                   int64_t most, struct series_rows *rows) {
    sqlite3_stmt *found;
    enum store_status status =
        store_ask(store,
                  "SELECT time_ms, value, origin FROM readings WHERE point = ?1 AND "
                  "time_ms >= ?2 AND time_ms < ?3 ORDER BY time_ms LIMIT ?4",
                  VALUES(INT(key), INT(from_ms), INT(to_ms), INT(most)), &found);
    while (status == STORE_OK && (status = store_row(store, found)) == STORE_OK) {
        if (rows->count == rows->capacity && !series_rows_reserve(rows, 2 * rows->count + 256)) {
            sqlite3_reset(found);
            return store_failure(store, SQLITE_NOMEM);
        }
        rows->readings[rows->count] =
            (struct reading){sqlite3_column_int64(found, 0), sqlite3_column_double(found, 1)};
        rows->origins[rows->count++] = (unsigned char)sqlite3_column_int(found, 2);
    }
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

bool series_rows_are_packable(const struct series_rows *rows) {
    for (size_t i = 0; i < rows->count; i++)
        if (!isfinite(rows->readings[i].value) || rows->origins[i] > DAY_PACK_ORIGIN_MAX)
            return false;
    return true;
}

enum store_status series_rows_insert(struct store *store, int64_t key,
                                     const struct reading *reading, int origin) {
    return store_do(store,
                    "INSERT INTO readings (point, time_ms, value, origin) VALUES (?1, ?2, ?3, ?4)",
                    VALUES(INT(key), INT(reading->time_ms), NUMBER(reading->value), INT(origin)));
}

enum store_status series_rows_delete(struct store *store, int64_t key, int64_t first_ms,
                                     int64_t last_ms, size_t count) {
    enum store_status status =
        store_do(store, "DELETE FROM readings WHERE point = ?1 AND time_ms BETWEEN ?2 AND ?3",
                 VALUES(INT(key), INT(first_ms), INT(last_ms)));
    if (status == STORE_OK && (size_t)sqlite3_changes(store->db) != count)
        return store_failure(store, SQLITE_CORRUPT);
    return status;
}
