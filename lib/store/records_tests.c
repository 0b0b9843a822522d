#include "store/records.h"
#include "store/store_sqlite.h"

#include <math.h>

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
