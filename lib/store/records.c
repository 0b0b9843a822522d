/*
 * records: commissioning, visits, service states, notes, radon tests and what households sent.
 * Alarms and trackers are in records_alarms.c, the bounded tables of refused and unclaimed topics
 * in records_refused.c.
 */
#include "store/records.h"

#include "store/store_sqlite.h"

#include <math.h>
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

/* ---- radon tests ---- */

enum store_status record_radon_test_add(struct store *store, const struct record_radon_test *test,
                                        int64_t *id) {
    double closed = test->closed_house == RECORD_UNKNOWN ? NAN : test->closed_house == RECORD_YES;
    enum store_status status = store_do(
        store,
        "INSERT INTO radon_tests (system, from_ms, to_ms, recorded_ms, value, "
        "uncertainty, kind, place, device, closed_house, by) "
        "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
        VALUES(TEXT(test->system), INT(test->from_ms), INT(test->to_ms), INT(test->recorded_ms),
               NUMBER(test->value_bq_m3), NUMBER(test->uncertainty_relative), TEXT(test->kind),
               TEXT(test->place), TEXT(test->device), NUMBER(closed), TEXT(test->by)));
    if (status == STORE_OK && id)
        *id = sqlite3_last_insert_rowid(store->db);
    return status;
}

/* One value can be written in several units, which differ in the last bits. */
enum store_status record_radon_test_find(struct store *store, const struct record_radon_test *test,
                                         int64_t *id) {
    return store_get_integer(
        store,
        "SELECT id FROM radon_tests WHERE system = ?1 AND to_ms = ?2 AND from_ms = ?3 AND "
        "abs(value - ?4) <= 1e-9 * abs(?4) AND place = ?5 COLLATE NOCASE AND "
        "device = ?6 COLLATE NOCASE ORDER BY id LIMIT 1",
        VALUES(TEXT(test->system), INT(test->to_ms), INT(test->from_ms), NUMBER(test->value_bq_m3),
               TEXT(test->place), TEXT(test->device)),
        id);
}

enum store_status record_radon_test_delete(struct store *store, int64_t id) {
    enum store_status status =
        store_do(store,
                 "DELETE FROM home_reports WHERE kind = 'radon-test' AND (system, time_ms, value) "
                 "IN (SELECT system, to_ms, value FROM radon_tests WHERE id = ?1)",
                 VALUES(INT(id)));
    THEN(status, store_do(store, "DELETE FROM radon_tests WHERE id = ?1", VALUES(INT(id))));
    return status;
}

#define TESTS                                                                                      \
    "SELECT id, system, from_ms, to_ms, recorded_ms, value, uncertainty, kind, place, device, "    \
    "closed_house, by FROM radon_tests"

static struct record_radon_test read_row(sqlite3_stmt *row) {
    return (struct record_radon_test){
        .id = sqlite3_column_int64(row, 0),
        .system = store_column_text(row, 1),
        .from_ms = sqlite3_column_int64(row, 2),
        .to_ms = sqlite3_column_int64(row, 3),
        .recorded_ms = sqlite3_column_int64(row, 4),
        .value_bq_m3 = sqlite3_column_double(row, 5),
        .uncertainty_relative = sqlite3_column_double(row, 6),
        .kind = store_column_text(row, 7),
        .place = store_column_text(row, 8),
        .device = store_column_text(row, 9),
        .closed_house = sqlite3_column_type(row, 10) == SQLITE_NULL ? RECORD_UNKNOWN
                        : sqlite3_column_int(row, 10)               ? RECORD_YES
                                                                    : RECORD_NO,
        .by = store_column_text(row, 11),
    };
}

enum store_status record_radon_test_get(struct store *store, int64_t id, record_radon_test_row *row,
                                        void *context) {
    sqlite3_stmt *found;
    enum store_status status = store_first(store, TESTS " WHERE id = ?1", VALUES(INT(id)), &found);
    if (status != STORE_OK)
        return status;
    const struct record_radon_test test = read_row(found);
    row(context, &test);
    sqlite3_reset(found);
    return STORE_OK;
}

enum store_status record_radon_test_list(struct store *store, const char *system,
                                         enum record_order order, record_radon_test_row *row,
                                         void *context) {
    sqlite3_stmt *list;
    enum store_status status =
        store_ask(store, STORE_OF_SYSTEM(system, TESTS, "to_ms * ?2, id * ?2"),
                  VALUES(TEXT(system), INT(order)), &list);
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        const struct record_radon_test test = read_row(list);
        if (!row(context, &test))
            break;
    }
    return store_listed(list, status);
}

/* ---- what a household sent ---- */

enum store_status record_home_report_add(struct store *store,
                                         const struct record_home_report *report) {
    return store_do(
        store,
        "INSERT INTO home_reports (system, sent_ms, time_ms, kind, branch, value, note) "
        "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        VALUES(TEXT(report->system), INT(report->sent_ms), INT(report->time_ms), TEXT(report->kind),
               TEXT(report->branch), NUMBER(report->value), TEXT(report->note)));
}

enum store_status record_home_report_newest(struct store *store, const char *system, int most,
                                            record_home_report_row *row, void *context) {
    sqlite3_stmt *list;
    enum store_status status =
        store_ask(store,
                  "SELECT sent_ms, time_ms, kind, branch, value, note FROM home_reports "
                  "WHERE system = ?1 ORDER BY sent_ms DESC, id DESC LIMIT ?2",
                  VALUES(TEXT(system), INT(most)), &list);
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        const struct record_home_report report = {.system = system,
                                                  .sent_ms = sqlite3_column_int64(list, 0),
                                                  .time_ms = sqlite3_column_int64(list, 1),
                                                  .kind = store_column_text(list, 2),
                                                  .branch = store_column_text(list, 3),
                                                  .value = store_column_number(list, 4),
                                                  .note = store_column_text(list, 5)};
        if (!row(context, &report))
            break;
    }
    return store_listed(list, status);
}

enum store_status record_home_report_count(struct store *store, const char *system,
                                           int64_t since_ms, int64_t *count) {
    return store_get_integer(
        store, "SELECT count(*) FROM home_reports WHERE system = ?1 AND sent_ms >= ?2",
        VALUES(TEXT(system), INT(since_ms)), count);
}
