#include "store/forget.h"

#include "store/outbox.h"
#include "store/series_arrivals.h"
#include "store/store_sqlite.h"

#include <stdio.h>
#include <string.h>

#define KEYS "(SELECT key FROM points WHERE system = ?1)"
#define READINGS                                                                                   \
    "(SELECT count(*) FROM readings WHERE point IN " KEYS                                          \
    ") + (SELECT coalesce(sum(count), 0) FROM packs WHERE point IN " KEYS ")"
/* A message belongs to it when it is about nothing else. */
#define ITS_OWN "(system = ?1 OR alarm > 0 AND alarm IN (SELECT id FROM alarms WHERE system = ?1))"

/* ---- what there is ---- */

enum store_status forget_count(struct store *store, const char *system, struct forgotten *found) {
    sqlite3_stmt *row;
    enum store_status status = series_arrivals_settle_all(store);
    THEN(status, store_first(store,
                             "SELECT (SELECT count(*) FROM points WHERE system = ?1), " READINGS
                             ", (SELECT count(*) FROM alarms WHERE system = ?1), "
                             "(SELECT count(*) FROM commissioning WHERE system = ?1) + "
                             "(SELECT count(*) FROM visits WHERE system = ?1) + "
                             "(SELECT count(*) FROM radon_tests WHERE system = ?1), "
                             "(SELECT count(*) FROM outbox WHERE " ITS_OWN ")",
                             VALUES(TEXT(system)), &row));
    if (status != STORE_OK)
        return status;
    *found = (struct forgotten){sqlite3_column_int64(row, 0), sqlite3_column_int64(row, 1),
                                sqlite3_column_int64(row, 2), sqlite3_column_int64(row, 3),
                                sqlite3_column_int64(row, 4)};
    sqlite3_reset(row);
    return STORE_OK;
}

/* ---- messages about several ---- */

/* In JSON the id stands between quotes; texts name it otherwise. */
static bool word_at(const struct forget *what, size_t i, char *quoted, size_t size,
                    const char **word) {
    if (i > what->word_count)
        return false;
    snprintf(quoted, size, "\"%s\"", what->system);
    *word = i == 0 ? quoted : what->words[i - 1];
    return true;
}

enum store_status forget_waiting(struct store *store, const struct forget *what, char id[40],
                                 char *contact, size_t contact_size) {
    char quoted[300];
    const char *word;
    for (size_t i = 0; word_at(what, i, quoted, sizeof quoted, &word); i++) {
        sqlite3_stmt *row;
        enum store_status status =
            store_first(store,
                        "SELECT id, contact FROM outbox WHERE state = 0 AND NOT " ITS_OWN
                        " AND system = '' AND ?2 <> '' AND instr(body, ?2) > 0 LIMIT 1",
                        VALUES(TEXT(what->system), TEXT(word)), &row);
        if (status == STORE_OK) {
            snprintf(id, 40, "%s", store_column_text(row, 0));
            snprintf(contact, contact_size, "%s", store_column_text(row, 1));
            sqlite3_reset(row);
        }
        if (status != STORE_NOT_FOUND)
            return status;
    }
    return STORE_NOT_FOUND;
}

/* What was told of several houses goes whole, when it is done. */
static enum store_status forget_mentions(struct store *store, const struct forget *what) {
    static const char *const deletions[] = {
        "DELETE FROM outbox WHERE state <> 0 AND system = '' AND instr(body, ?1) > 0",
        "DELETE FROM refused WHERE instr(CAST(example AS TEXT), ?1) > 0",
        "DELETE FROM unclaimed WHERE instr(CAST(example AS TEXT), ?1) > 0",
        "UPDATE alarms SET details = NULL WHERE system = '' AND instr(details, ?1) > 0",
        "UPDATE alarms SET note = NULL WHERE system = '' AND instr(note, ?1) > 0",
    };
    char quoted[300];
    const char *word;
    enum store_status status = STORE_OK;
    for (size_t i = 0; word_at(what, i, quoted, sizeof quoted, &word); i++)
        for (size_t d = 0; *word && d < sizeof deletions / sizeof deletions[0]; d++)
            THEN(status, store_do(store, deletions[d], VALUES(TEXT(word))));
    return status;
}

/* Of each contact the earliest of those that wait without a system may go. */
static enum store_status mark_heads(struct store *store) {
    char contact[200] = "";
    enum store_status status;
    do {
        sqlite3_stmt *row;
        status = store_first(store,
                             "SELECT contact FROM outbox INDEXED BY outbox_waiting WHERE "
                             "state = 0 AND system = '' AND contact > ?1 ORDER BY contact LIMIT 1",
                             VALUES(TEXT(contact)), &row);
        if (status == STORE_OK) {
            snprintf(contact, sizeof contact, "%s", store_column_text(row, 0));
            sqlite3_reset(row);
            status = outbox_mark_head(store, contact, "");
        }
    } while (status == STORE_OK);
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

/* ---- tables ---- */

static enum store_status run_on_table(struct store *store, const char *format, const char *table,
                                      const char *system) {
    char *sql = sqlite3_mprintf(format, table);
    sqlite3_stmt *statement = NULL;
    int code = sql ? sqlite3_prepare_v2(store->db, sql, -1, &statement, NULL) : SQLITE_NOMEM;
    THEN(code, sqlite3_bind_text(statement, 1, system, -1, SQLITE_STATIC));
    if (code == SQLITE_OK && (code = sqlite3_step(statement)) == SQLITE_DONE)
        code = SQLITE_OK;
    sqlite3_finalize(statement);
    sqlite3_free(sql);
    return code == SQLITE_OK ? STORE_OK : store_failure(store, code);
}

/* The last one first: the keys of the others stand in the table of points. */
static enum store_status forget_tables(struct store *store, const char *system) {
    struct store_table tables[STORE_TABLES_MAX];
    size_t count;
    int code = store_list_tables(store->db, tables, &count);
    enum store_status status = code == SQLITE_OK ? STORE_OK : store_failure(store, code);
    while (status == STORE_OK && count-- > 0)
        status = run_on_table(store,
                              tables[count].by_system ? "DELETE FROM \"%w\" WHERE system = ?1"
                                                      : "DELETE FROM \"%w\" WHERE point IN " KEYS,
                              tables[count].name, system);
    return status;
}

/* What bears its id in a name: topics, and notes that end in it. */
static enum store_status forget_names(struct store *store, const char *system) {
    static const char *const deletions[] = {
        "DELETE FROM refused WHERE instr('/' || topic || '/', '/' || ?1 || '/') > 0",
        "DELETE FROM unclaimed WHERE instr('/' || topic || '/', '/' || ?1 || '/') > 0",
        "UPDATE alarms SET point = '' WHERE system = '' AND "
        "instr('/' || point || '/', '/' || ?1 || '/') > 0",
        /* these two end in the id of a contact */
        "DELETE FROM notes WHERE substr(name, -length(?1) - 1) = ' ' || ?1 AND "
        "name NOT IN ('digest ' || ?1, 'undelivered ' || ?1)",
    };
    enum store_status status = STORE_OK;
    for (size_t d = 0; d < sizeof deletions / sizeof deletions[0] && status == STORE_OK; d++)
        status = store_do(store, deletions[d], VALUES(TEXT(system)));
    return status;
}

static enum store_status forget_all(struct store *store, const struct forget *what) {
    int64_t readings = 0;
    enum store_status status = series_arrivals_settle_all(store);
    THEN(status,
         store_get_integer(store, "SELECT " READINGS, VALUES(TEXT(what->system)), &readings));
    THEN(status, store_do(store, "DELETE FROM outbox WHERE " ITS_OWN, VALUES(TEXT(what->system))));
    THEN(status, forget_mentions(store, what));
    THEN(status, forget_tables(store, what->system));
    THEN(status, forget_names(store, what->system));
    THEN(status, mark_heads(store));
    if (status == STORE_OK)
        store->readings -= readings;
    return status;
}

enum store_status forget_system(struct store *store, const struct forget *what) {
    bool own;
    enum store_status status = store_scope_begin(store, &own);
    return status == STORE_OK ? store_scope_end(store, own, forget_all(store, what)) : status;
}

bool forget_empty_log(struct store *store) {
    return store->broken == STORE_OK && !store->in_transaction &&
           sqlite3_wal_checkpoint_v2(store->db, NULL, SQLITE_CHECKPOINT_TRUNCATE, NULL, NULL) ==
               SQLITE_OK;
}
