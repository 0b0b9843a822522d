/* series_days: daily values of points. */
#include "store/series.h"
#include "store/store_sqlite.h"

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
