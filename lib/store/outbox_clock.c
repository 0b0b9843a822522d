/* Part of outbox: messages that were written, or put off, by a clock that was ahead. */
#include "store/outbox.h"
#include "store/store_sqlite.h"

enum store_status outbox_newest(struct store *store, int64_t *created_ms) {
    sqlite3_stmt *newest;
    enum store_status status =
        store_statement(store, STATEMENT_OUTBOX_NEWEST,
                        "SELECT created_ms FROM outbox ORDER BY row DESC LIMIT 1", &newest);
    if (status == STORE_OK)
        status = store_row(store, newest);
    if (status != STORE_OK)
        return status;
    *created_ms = sqlite3_column_int64(newest, 0);
    sqlite3_reset(newest);
    return STORE_OK;
}

static enum store_status move_back(struct store *store, enum store_statement slot, const char *sql,
                                   int64_t now_ms, int64_t ahead_ms) {
    sqlite3_stmt *move;
    enum store_status status = store_statement(store, slot, sql, &move);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(move, 1, now_ms);
    sqlite3_bind_int64(move, 2, ahead_ms);
    return store_run(store, move);
}

enum store_status outbox_clock_back(struct store *store, int64_t now_ms, int64_t ahead_ms) {
    /* Quiet hours hold back what was never tried, is not of high priority, and for a day at most
       (25 h long). */
    enum store_status status =
        move_back(store, STATEMENT_OUTBOX_MOVE_TRIED,
                  "UPDATE outbox INDEXED BY outbox_waiting SET not_before_ms = not_before_ms - ?2 "
                  "WHERE state = 0 AND created_ms <= ?1 AND not_before_ms > ?1 AND "
                  "(tries > 0 OR priority = 2 OR not_before_ms > ?1 + 90000000)",
                  now_ms, ahead_ms);
    /* The newest rows are those that it wrote. */
    if (status == STORE_OK)
        status = move_back(store, STATEMENT_OUTBOX_MOVE_WRITTEN,
                           "UPDATE outbox SET created_ms = min(created_ms - ?2, ?1), "
                           "not_before_ms = not_before_ms - ?2, done_ms = min(done_ms, ?1) "
                           "WHERE created_ms > ?1 AND row > coalesce((SELECT row FROM outbox WHERE "
                           "created_ms <= ?1 ORDER BY row DESC LIMIT 1), 0)",
                           now_ms, ahead_ms);
    return status;
}
