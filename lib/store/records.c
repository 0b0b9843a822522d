/*
 * records: commissioning, visits, service states and notes. Alarms and trackers are in
 * records_alarms.c, the bounded tables of refused and unclaimed topics in records_refused.c.
 */
#include "store/records.h"

#include "store/store_sqlite.h"

#include <string.h>

/* ---- commissioning ---- */

enum store_status record_commissioning_add(struct store *store,
                                           const struct record_commissioning *record, int64_t *id) {
    enum store_status status =
        store_do(store,
                 "INSERT INTO commissioning (system, from_ms, recorded_ms, by, origin, text) "
                 "VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                 VALUES(TEXT(record->system), INT(record->from_ms), INT(record->recorded_ms),
                        TEXT(record->by), TEXT(record->origin), TEXT(record->text)));
    if (status == STORE_OK && id)
        *id = sqlite3_last_insert_rowid(store->db);
    return status;
}

enum store_status record_commissioning_list(struct store *store, const char *system,
                                            enum record_order order, record_commissioning_row *row,
                                            void *context) {
    sqlite3_stmt *list;
    enum store_status status =
        store_ask(store,
                  STORE_OF_SYSTEM(system,
                                  "SELECT id, system, from_ms, recorded_ms, by, origin, text FROM "
                                  "commissioning",
                                  "from_ms * ?2, id * ?2"),
                  VALUES(TEXT(system), INT(order)), &list);
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        struct record_commissioning record = {
            sqlite3_column_int64(list, 0), store_column_text(list, 1),
            sqlite3_column_int64(list, 2), sqlite3_column_int64(list, 3),
            store_column_text(list, 4),    store_column_text(list, 5),
            store_column_text(list, 6)};
        if (!row(context, &record))
            break;
    }
    return store_listed(list, status);
}

/* ---- readings by hand ---- */

enum store_status record_by_hand_add(struct store *store, int64_t key,
                                     const struct record_by_hand *record) {
    return store_do(
        store,
        "INSERT OR IGNORE INTO by_hand (point, time_ms, value, by) "
        "VALUES (?1, ?2, ?3, ?4)",
        VALUES(INT(key), INT(record->time_ms), NUMBER(record->value), TEXT(record->by)));
}

enum store_status record_by_hand_newest(struct store *store, int64_t key, int most,
                                        record_by_hand_row *row, void *context) {
    sqlite3_stmt *list;
    enum store_status status = store_ask(store,
                                         "SELECT time_ms, value, by FROM by_hand WHERE point = ?1 "
                                         "ORDER BY time_ms DESC LIMIT ?2",
                                         VALUES(INT(key), INT(most)), &list);
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        const struct record_by_hand record = {sqlite3_column_int64(list, 0),
                                              sqlite3_column_double(list, 1),
                                              store_column_text(list, 2)};
        if (!row(context, &record))
            break;
    }
    return store_listed(list, status);
}

/* ---- visits ---- */

enum store_status record_visit_add(struct store *store, const struct record_visit *visit,
                                   int64_t *id) {
    enum store_status status =
        store_do(store,
                 "INSERT INTO visits (system, on_ms, recorded_ms, by, found, did, text) "
                 "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                 VALUES(TEXT(visit->system), INT(visit->on_ms), INT(visit->recorded_ms),
                        TEXT(visit->by), TEXT(visit->found), TEXT(visit->did), TEXT(visit->text)));
    if (status == STORE_OK && id)
        *id = sqlite3_last_insert_rowid(store->db);
    return status;
}

enum store_status record_visit_list(struct store *store, const char *system,
                                    enum record_order order, record_visit_row *row, void *context) {
    sqlite3_stmt *list;
    enum store_status status = store_ask(
        store,
        STORE_OF_SYSTEM(system,
                        "SELECT id, system, on_ms, recorded_ms, by, found, did, text FROM "
                        "visits",
                        "on_ms * ?2, id * ?2"),
        VALUES(TEXT(system), INT(order)), &list);
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        struct record_visit visit = {sqlite3_column_int64(list, 0), store_column_text(list, 1),
                                     sqlite3_column_int64(list, 2), sqlite3_column_int64(list, 3),
                                     store_column_text(list, 4),    store_column_text(list, 5),
                                     store_column_text(list, 6),    store_column_text(list, 7)};
        if (!row(context, &visit))
            break;
    }
    return store_listed(list, status);
}

/* ---- out of service ---- */

enum store_status record_service_put(struct store *store, const struct record_service *service) {
    return store_do(store, "INSERT OR REPLACE INTO service VALUES (?1, ?2, ?3, ?4, ?5)",
                    VALUES(TEXT(service->system), TIME(service->from_ms), TIME(service->until_ms),
                           TEXT(service->by), TEXT(service->why)));
}

enum store_status record_service_delete(struct store *store, const char *system) {
    return store_do(store, "DELETE FROM service WHERE system = ?1", VALUES(TEXT(system)));
}

enum store_status record_service_list(struct store *store, record_service_row *row, void *context) {
    sqlite3_stmt *list;
    enum store_status status =
        store_ask(store, "SELECT system, from_ms, until_ms, by, why FROM service ORDER BY system",
                  NO_VALUES, &list);
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        struct record_service service = {store_column_text(list, 0), store_column_time(list, 1),
                                         store_column_time(list, 2), store_column_text(list, 3),
                                         store_column_text(list, 4)};
        if (!row(context, &service))
            break;
    }
    return store_listed(list, status);
}

/* ---- notes ---- */

enum store_status record_note_put(struct store *store, const char *name, const char *value) {
    return store_do(store, "INSERT OR REPLACE INTO notes VALUES (?1, ?2)",
                    VALUES(TEXT(name), TEXT(value)));
}

enum store_status record_note_delete(struct store *store, const char *name) {
    return store_do(store, "DELETE FROM notes WHERE name = ?1", VALUES(TEXT(name)));
}

enum store_status record_note_get(struct store *store, const char *name, char *value, size_t size) {
    sqlite3_stmt *get;
    enum store_status status =
        store_first(store, "SELECT value FROM notes WHERE name = ?1", VALUES(TEXT(name)), &get);
    if (status != STORE_OK)
        return status;
    const char *text = store_column_text(get, 0);
    size_t length = text ? strnlen(text, size - 1) : 0;
    if (text)
        memcpy(value, text, length);
    value[length] = '\0';
    sqlite3_reset(get);
    return STORE_OK;
}
