/* series_days: daily values of points. */
#include "store/series.h"
#include "store/store_sqlite.h"

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
