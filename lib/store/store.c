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
    if (status == STORE_OK)
        status = STORE_FAILING;
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

enum store_status store_statement(struct store *store, enum store_statement slot, const char *sql,
                                  sqlite3_stmt **statement) {
    if (store->transaction_status != STORE_OK)
        return store->transaction_status;
    if (!store->statements[slot]) {
        int code = sqlite3_prepare_v3(store->db, sql, -1, SQLITE_PREPARE_PERSISTENT,
                                      &store->statements[slot], NULL);
        if (code != SQLITE_OK)
            return store_failure(store, code);
    }
    assert(!sqlite3_stmt_busy(store->statements[slot])); /* a list inside its own callback */
    *statement = store->statements[slot];
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

enum store_status store_run(struct store *store, sqlite3_stmt *statement) {
    enum store_status status;
    while ((status = store_row(store, statement)) == STORE_OK)
        ;
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

void store_bind_text(sqlite3_stmt *statement, int column, const char *text) {
    sqlite3_bind_text(statement, column, text, -1, SQLITE_STATIC); /* no text binds NULL */
}

void store_bind_time(sqlite3_stmt *statement, int column, int64_t time_ms) {
    if (time_ms == TIMESTAMP_NONE)
        sqlite3_bind_null(statement, column);
    else
        sqlite3_bind_int64(statement, column, time_ms);
}

void store_bind_number(sqlite3_stmt *statement, int column, double number) {
    sqlite3_bind_double(statement, column, number); /* SQLite stores NaN as NULL */
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
    sqlite3_stmt *begin;
    enum store_status status = store_statement(store, STATEMENT_BEGIN, "BEGIN IMMEDIATE", &begin);
    if (status == STORE_OK)
        status = store_run(store, begin);
    if (status == STORE_OK)
        store->in_transaction = true;
    return status;
}

static enum store_status write_total(struct store *store) {
    if (store->readings == store->readings_committed)
        return STORE_OK;
    sqlite3_stmt *set;
    enum store_status status = store_statement(
        store, STATEMENT_TOTAL_SET, "UPDATE totals SET value = ?1 WHERE name = 'readings'", &set);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(set, 1, store->readings);
    return store_run(store, set);
}

enum store_status store_commit(struct store *store) {
    assert(store->in_transaction);
    sqlite3_stmt *commit = NULL;
    enum store_status status = store->transaction_status;
    if (status == STORE_OK)
        status = write_total(store);
    if (status == STORE_OK && sqlite3_get_autocommit(store->db))
        status = store_failure(store, SQLITE_ABORT_ROLLBACK);
    if (status == STORE_OK)
        status = store_statement(store, STATEMENT_COMMIT, "COMMIT", &commit);
    if (status == STORE_OK)
        status = store_run(store, commit);
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
    sqlite3_stmt *probe;
    enum store_status status = store_statement(
        store, STATEMENT_PROBE, "SELECT value FROM totals WHERE name = 'readings'", &probe);
    if (status == STORE_OK)
        status = store_row(store, probe);
    if (status == STORE_OK)
        sqlite3_reset(probe);
    return status == STORE_NOT_FOUND ? store_failure(store, SQLITE_CORRUPT) : status;
}
