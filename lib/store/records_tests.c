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

enum store_status record_radon_test_list(struct store *store, const char *system,
                                         enum record_order order, record_radon_test_row *row,
                                         void *context) {
    sqlite3_stmt *list;
    enum store_status status =
        store_ask(store,
                  STORE_OF_SYSTEM(system,
                                  "SELECT id, system, from_ms, to_ms, recorded_ms, value, "
                                  "uncertainty, kind, place, device, closed_house, by FROM "
                                  "radon_tests",
                                  "to_ms * ?2, id * ?2"),
                  VALUES(TEXT(system), INT(order)), &list);
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        const struct record_radon_test test = read_row(list);
        if (!row(context, &test))
            break;
    }
    return store_listed(list, status);
}
