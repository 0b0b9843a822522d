#include "store/records.h"
#include "store/store_sqlite.h"

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
