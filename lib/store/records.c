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
    sqlite3_stmt *add;
    enum store_status status = store_statement(
        store, STATEMENT_COMMISSIONING_ADD,
        "INSERT INTO commissioning (system, from_ms, recorded_ms, by, origin, text) "
        "VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        &add);
    if (status != STORE_OK)
        return status;
    store_bind_text(add, 1, record->system);
    sqlite3_bind_int64(add, 2, record->from_ms);
    sqlite3_bind_int64(add, 3, record->recorded_ms);
    store_bind_text(add, 4, record->by);
    store_bind_text(add, 5, record->origin);
    store_bind_text(add, 6, record->text);
    status = store_run(store, add);
    if (status == STORE_OK && id)
        *id = sqlite3_last_insert_rowid(store->db);
    return status;
}

enum store_status record_commissioning_list(struct store *store, const char *system,
                                            bool (*row)(void *context,
                                                        const struct record_commissioning *record),
                                            void *context) {
    sqlite3_stmt *list;
    enum store_status status =
        store_statement(store, STATEMENT_COMMISSIONING_LIST,
                        "SELECT id, system, from_ms, recorded_ms, by, origin, text FROM "
                        "commissioning WHERE ?1 IS NULL OR system = ?1 ORDER BY from_ms, id",
                        &list);
    if (status == STORE_OK)
        store_bind_text(list, 1, system);
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        struct record_commissioning record = {
            sqlite3_column_int64(list, 0), store_column_text(list, 1),
            sqlite3_column_int64(list, 2), sqlite3_column_int64(list, 3),
            store_column_text(list, 4),    store_column_text(list, 5),
            store_column_text(list, 6)};
        if (!row(context, &record)) {
            sqlite3_reset(list);
            break;
        }
    }
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

/* ---- readings by hand ---- */

enum store_status record_by_hand_add(struct store *store, int64_t key,
                                     const struct record_by_hand *record) {
    sqlite3_stmt *add;
    enum store_status status =
        store_statement(store, STATEMENT_BY_HAND_ADD,
                        "INSERT OR IGNORE INTO by_hand (point, time_ms, value, by) "
                        "VALUES (?1, ?2, ?3, ?4)",
                        &add);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(add, 1, key);
    sqlite3_bind_int64(add, 2, record->time_ms);
    sqlite3_bind_double(add, 3, record->value);
    store_bind_text(add, 4, record->by);
    return store_run(store, add);
}

enum store_status record_by_hand_newest(struct store *store, int64_t key, int most,
                                        bool (*row)(void *context,
                                                    const struct record_by_hand *record),
                                        void *context) {
    sqlite3_stmt *list;
    enum store_status status =
        store_statement(store, STATEMENT_BY_HAND_NEWEST,
                        "SELECT time_ms, value, by FROM by_hand WHERE point = ?1 "
                        "ORDER BY time_ms DESC LIMIT ?2",
                        &list);
    if (status == STORE_OK) {
        sqlite3_bind_int64(list, 1, key);
        sqlite3_bind_int(list, 2, most);
    }
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        const struct record_by_hand record = {sqlite3_column_int64(list, 0),
                                              sqlite3_column_double(list, 1),
                                              store_column_text(list, 2)};
        if (!row(context, &record)) {
            sqlite3_reset(list);
            break;
        }
    }
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

/* ---- visits ---- */

enum store_status record_visit_add(struct store *store, const struct record_visit *visit,
                                   int64_t *id) {
    sqlite3_stmt *add;
    enum store_status status =
        store_statement(store, STATEMENT_VISIT_ADD,
                        "INSERT INTO visits (system, on_ms, recorded_ms, by, found, did, text) "
                        "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                        &add);
    if (status != STORE_OK)
        return status;
    store_bind_text(add, 1, visit->system);
    sqlite3_bind_int64(add, 2, visit->on_ms);
    sqlite3_bind_int64(add, 3, visit->recorded_ms);
    store_bind_text(add, 4, visit->by);
    store_bind_text(add, 5, visit->found);
    store_bind_text(add, 6, visit->did);
    store_bind_text(add, 7, visit->text);
    status = store_run(store, add);
    if (status == STORE_OK && id)
        *id = sqlite3_last_insert_rowid(store->db);
    return status;
}

enum store_status record_visit_list(struct store *store, const char *system,
                                    bool (*row)(void *context, const struct record_visit *visit),
                                    void *context) {
    sqlite3_stmt *list;
    enum store_status status =
        store_statement(store, STATEMENT_VISIT_LIST,
                        "SELECT id, system, on_ms, recorded_ms, by, found, did, text FROM visits "
                        "WHERE ?1 IS NULL OR system = ?1 ORDER BY on_ms, id",
                        &list);
    if (status == STORE_OK)
        store_bind_text(list, 1, system);
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        struct record_visit visit = {sqlite3_column_int64(list, 0), store_column_text(list, 1),
                                     sqlite3_column_int64(list, 2), sqlite3_column_int64(list, 3),
                                     store_column_text(list, 4),    store_column_text(list, 5),
                                     store_column_text(list, 6),    store_column_text(list, 7)};
        if (!row(context, &visit)) {
            sqlite3_reset(list);
            break;
        }
    }
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

/* ---- out of service ---- */

enum store_status record_service_put(struct store *store, const struct record_service *service) {
    sqlite3_stmt *put;
    enum store_status status =
        store_statement(store, STATEMENT_SERVICE_PUT,
                        "INSERT OR REPLACE INTO service VALUES (?1, ?2, ?3, ?4, ?5)", &put);
    if (status != STORE_OK)
        return status;
    store_bind_text(put, 1, service->system);
    store_bind_time(put, 2, service->from_ms);
    store_bind_time(put, 3, service->until_ms);
    store_bind_text(put, 4, service->by);
    store_bind_text(put, 5, service->why);
    return store_run(store, put);
}

enum store_status record_service_delete(struct store *store, const char *system) {
    sqlite3_stmt *delete;
    enum store_status status = store_statement(store, STATEMENT_SERVICE_DELETE,
                                               "DELETE FROM service WHERE system = ?1", &delete);
    if (status != STORE_OK)
        return status;
    store_bind_text(delete, 1, system);
    return store_run(store, delete);
}

enum store_status record_service_list(struct store *store,
                                      bool (*row)(void *context,
                                                  const struct record_service *service),
                                      void *context) {
    sqlite3_stmt *list;
    enum store_status status = store_statement(
        store, STATEMENT_SERVICE_LIST,
        "SELECT system, from_ms, until_ms, by, why FROM service ORDER BY system", &list);
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        struct record_service service = {store_column_text(list, 0), store_column_time(list, 1),
                                         store_column_time(list, 2), store_column_text(list, 3),
                                         store_column_text(list, 4)};
        if (!row(context, &service)) {
            sqlite3_reset(list);
            break;
        }
    }
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

/* ---- notes ---- */

enum store_status record_note_put(struct store *store, const char *name, const char *value) {
    sqlite3_stmt *put;
    enum store_status status = store_statement(
        store, STATEMENT_NOTE_PUT, "INSERT OR REPLACE INTO notes VALUES (?1, ?2)", &put);
    if (status != STORE_OK)
        return status;
    store_bind_text(put, 1, name);
    store_bind_text(put, 2, value);
    return store_run(store, put);
}

enum store_status record_note_delete(struct store *store, const char *name) {
    sqlite3_stmt *delete;
    enum store_status status =
        store_statement(store, STATEMENT_NOTE_DELETE, "DELETE FROM notes WHERE name = ?1", &delete);
    if (status != STORE_OK)
        return status;
    store_bind_text(delete, 1, name);
    return store_run(store, delete);
}

enum store_status record_note_get(struct store *store, const char *name, char *value, size_t size) {
    sqlite3_stmt *get;
    enum store_status status =
        store_statement(store, STATEMENT_NOTE_GET, "SELECT value FROM notes WHERE name = ?1", &get);
    if (status != STORE_OK)
        return status;
    store_bind_text(get, 1, name);
    status = store_row(store, get);
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
