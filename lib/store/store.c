/*
 * store: the connection, its transaction and its statements. What happens before there is a
 * connection (is the file ours, new, damaged?) is in store_open.c.
 *
 * A failure inside a transaction is remembered: SQLite may have rolled back by itself, and what
 * followed would then be committed alone. So the rest of the transaction is refused and
 * store_commit rolls back. After an input/output error the handle is not trusted for writing again:
 * when fsync has failed, the system may have dropped the pages and would answer "done" next time.
 */
#include "store/store_sqlite.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "measure/timestamp.h"

/* ---- errors ---- */

enum store_status store_status_of(int code) {
    if (code == SQLITE_IOERR_NOMEM)
        return STORE_OUT_OF_MEMORY;
    switch (code & 0xff) {
    case SQLITE_OK:
    case SQLITE_ROW:
    case SQLITE_DONE:
        return STORE_OK;
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
        return STORE_DAMAGED;
    case SQLITE_NOMEM:
        return STORE_OUT_OF_MEMORY;
    default:
        return STORE_FAILING;
    }
}

static const char *text_of(const struct store *store, int code) {
    if (code == SQLITE_IOERR_FSYNC || code == SQLITE_IOERR_DIR_FSYNC)
        return "the disk did not confirm a write (fsync failed)";
    switch (code & 0xff) {
    case SQLITE_FULL:
        return "disk is full";
    case SQLITE_IOERR:
        return "input/output error";
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return "another process holds the database";
    case SQLITE_READONLY:
        return "the file or its file system is read-only";
    case SQLITE_CANTOPEN:
        return "the file or its write-ahead log cannot be opened";
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
        return "the database is damaged";
    case SQLITE_NOMEM:
        return "out of memory";
    default:
        return store->db ? sqlite3_errmsg(store->db) : sqlite3_errstr(code);
    }
}

enum store_status store_failure(struct store *store, int code) {
    enum store_status status = store_status_of(code);
    THEN(status, STORE_FAILING);
    snprintf(store->error, sizeof store->error, "%s (%s)", text_of(store, code), store->path);
    if (store->in_transaction && store->transaction_status == STORE_OK)
        store->transaction_status = status;
    if ((code & 0xff) == SQLITE_IOERR || status == STORE_DAMAGED)
        store->broken = status;
    return status;
}

const char *store_error(const struct store *store) {
    return store->error;
}

/* ---- statements ---- */

/* The place of a text, or a free one for it. */
static size_t place_of(const struct store *store, const char *sql) {
    size_t place = (size_t)((uintptr_t)sql * UINT64_C(0x9E3779B97F4A7C15) >> 32);
    while (store->statements[place % STORE_STATEMENTS_MAX].sql != sql &&
           store->statements[place % STORE_STATEMENTS_MAX].sql)
        place++;
    return place % STORE_STATEMENTS_MAX;
}

static enum store_status prepare(struct store *store, const char *sql, sqlite3_stmt **statement) {
    if (store->transaction_status != STORE_OK)
        return store->transaction_status;
    size_t place = place_of(store, sql);
    sqlite3_stmt **kept = &store->statements[place].statement;
    if (!*kept) {
        int code = sqlite3_prepare_v3(store->db, sql, -1, SQLITE_PREPARE_PERSISTENT, kept, NULL);
        if (code != SQLITE_OK)
            return store_failure(store, code);
        store->statements[place].sql = sql;
    }
    assert(!sqlite3_stmt_busy(*kept)); /* a list inside its own callback */
    *statement = *kept;
    return STORE_OK;
}

static void bind(sqlite3_stmt *statement, int parameter, const struct store_value *value) {
    switch (value->kind) {
    case VALUE_INTEGER:
        sqlite3_bind_int64(statement, parameter, value->integer);
        break;
    case VALUE_NUMBER:
        sqlite3_bind_double(statement, parameter, value->number);
        break;
    case VALUE_TEXT:
        sqlite3_bind_text(statement, parameter, value->bytes, value->size, SQLITE_STATIC);
        break;
    case VALUE_BYTES:
        sqlite3_bind_blob(statement, parameter, value->bytes, value->size, SQLITE_STATIC);
        break;
    default:
        sqlite3_bind_null(statement, parameter);
    }
}

struct store_value store_time(int64_t time_ms) {
    const struct store_value none = {.kind = VALUE_NULL};
    return time_ms == TIMESTAMP_NONE ? none : INT(time_ms);
}

enum store_status store_ask(struct store *store, const char *sql, const struct store_value *values,
                            sqlite3_stmt **statement) {
    *statement = NULL;
    enum store_status status = prepare(store, sql, statement);
    for (int i = 0; status == STORE_OK && values[i].kind != VALUE_END; i++)
        bind(*statement, i + 1, &values[i]);
    return status;
}

enum store_status store_first(struct store *store, const char *sql,
                              const struct store_value *values, sqlite3_stmt **statement) {
    enum store_status status = store_ask(store, sql, values, statement);
    return status == STORE_OK ? store_row(store, *statement) : status;
}

enum store_status store_get_integer(struct store *store, const char *sql,
                                    const struct store_value *values, int64_t *answer) {
    sqlite3_stmt *row;
    enum store_status status = store_first(store, sql, values, &row);
    if (status != STORE_OK)
        return status;
    *answer = sqlite3_column_int64(row, 0);
    sqlite3_reset(row);
    return STORE_OK;
}

enum store_status store_row(struct store *store, sqlite3_stmt *statement) {
    int code = sqlite3_step(statement);
    if (code == SQLITE_ROW)
        return STORE_OK;
    if (code == SQLITE_DONE) {
        sqlite3_reset(statement);
        return STORE_NOT_FOUND;
    }
    enum store_status status = store_failure(store, code);
    sqlite3_reset(statement);
    return status;
}

enum store_status store_do(struct store *store, const char *sql, const struct store_value *values) {
    sqlite3_stmt *statement;
    enum store_status status = store_ask(store, sql, values, &statement);
    while (status == STORE_OK)
        status = store_row(store, statement);
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

enum store_status store_listed(sqlite3_stmt *statement, enum store_status status) {
    sqlite3_reset(statement);
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

const char *store_column_text(sqlite3_stmt *statement, int column) {
    return (const char *)sqlite3_column_text(statement, column);
}

int64_t store_column_time(sqlite3_stmt *statement, int column) {
    return sqlite3_column_type(statement, column) == SQLITE_NULL
               ? TIMESTAMP_NONE
               : sqlite3_column_int64(statement, column);
}

double store_column_number(sqlite3_stmt *statement, int column) {
    return sqlite3_column_type(statement, column) == SQLITE_NULL
               ? (double)NAN
               : sqlite3_column_double(statement, column);
}

/* ---- transactions ---- */

enum store_status store_begin(struct store *store) {
    assert(!store->in_transaction);
    if (store->broken != STORE_OK)
        return store->broken;
    if (!store->writable) /* SQLite would say so only at the first change */
        return store_failure(store, SQLITE_READONLY);
    enum store_status status = store_do(store, "BEGIN IMMEDIATE", NO_VALUES);
    if (status == STORE_OK)
        store->in_transaction = true;
    return status;
}

static enum store_status write_total(struct store *store) {
    if (store->readings == store->readings_committed)
        return STORE_OK;
    return store_do(store, "UPDATE totals SET value = ?1 WHERE name = 'readings'",
                    VALUES(INT(store->readings)));
}

enum store_status store_commit(struct store *store) {
    assert(store->in_transaction);
    enum store_status status = store->transaction_status;
    THEN(status, write_total(store));
    if (status == STORE_OK && sqlite3_get_autocommit(store->db))
        status = store_failure(store, SQLITE_ABORT_ROLLBACK);
    THEN(status, store_do(store, "COMMIT", NO_VALUES));
    if (status != STORE_OK) {
        store_rollback(store);
        return status;
    }
    store->in_transaction = false;
    store->readings_committed = store->readings;
    return STORE_OK;
}

void store_rollback(struct store *store) {
    if (!store->in_transaction)
        return;
    if (!sqlite3_get_autocommit(store->db))
        sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL);
    store->in_transaction = false;
    store->transaction_status = STORE_OK;
    store->readings = store->readings_committed;
    store->arrivals_lost |= store->arrivals != NULL;
}

bool store_in_transaction(const struct store *store) {
    return store->in_transaction;
}

enum store_status store_scope_begin(struct store *store, bool *own) {
    *own = !store->in_transaction;
    return *own ? store_begin(store) : store->transaction_status;
}

enum store_status store_scope_end(struct store *store, bool own, enum store_status status) {
    if (!own)
        return status;
    if (status == STORE_OK)
        return store_commit(store);
    store_rollback(store);
    return status;
}

/* ---- upkeep ---- */

static int64_t bytes_of(const char *path) {
    struct stat info;
    return stat(path, &info) == 0 ? (int64_t)info.st_size : 0;
}

void store_size(const struct store *store, int64_t *file_bytes, int64_t *wal_bytes) {
    char wal[STORE_PATH_MAX + 8];
    snprintf(wal, sizeof wal, "%s-wal", store->path);
    *file_bytes = bytes_of(store->path);
    *wal_bytes = bytes_of(wal);
}

void store_checkpoint(struct store *store) {
    if (store->broken == STORE_OK && !store->in_transaction)
        sqlite3_wal_checkpoint_v2(store->db, NULL, SQLITE_CHECKPOINT_PASSIVE, NULL, NULL);
}

enum store_status store_probe(struct store *store) {
    struct stat by_name;
    if (store->broken != STORE_OK)
        return store->broken;
    if (stat(store->path, &by_name) != 0)
        return store_failure(store, SQLITE_CANTOPEN);
    int64_t total;
    enum store_status status = store_get_integer(
        store, "SELECT value FROM totals WHERE name = 'readings'", NO_VALUES, &total);
    return status == STORE_NOT_FOUND ? store_failure(store, SQLITE_CORRUPT) : status;
}
