#include "store/moved.h"

#include "pack/day_pack_bytes.h"
#include "store/series_arrivals.h"
#include "store/series_packed.h"
#include "store/store_sqlite.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SQL_BYTES = 400 };

#define KEYS "(SELECT key FROM points WHERE system = ?1)"
/* Notes end in the id of what they are about; these two in that of a contact. The homeowner's link
   belongs to the page it was made on. */
#define ITS_NOTES                                                                                  \
    "substr(name, -length(?1) - 1) = ' ' || ?1 AND name NOT IN ('digest ' || ?1, "                 \
    "'undelivered ' || ?1, 'page share ' || ?1)"

struct moved {
    sqlite3 *db;
    char *system, *file;
    int64_t *keys, *new_keys; /* of points */
    size_t key_count;
    int64_t first_alarm; /* what is added to the numbers of alarms */
};

int store_list_tables(sqlite3 *db, struct store_table tables[STORE_TABLES_MAX], size_t *count) {
    sqlite3_stmt *list;
    *count = 0;
    int code = sqlite3_prepare_v2(
        db,
        "SELECT s.name, max(c.name = 'system') FROM sqlite_schema s JOIN pragma_table_info(s.name) "
        "c WHERE s.type = 'table' AND c.name IN ('system', 'point') AND s.name NOT LIKE 'outbox%' "
        "AND s.name NOT IN ('moved', 'arrivals') GROUP BY s.name ORDER BY s.name <> 'points', "
        "s.name",
        -1, &list, NULL);
    while (code == SQLITE_OK && sqlite3_step(list) == SQLITE_ROW && *count < STORE_TABLES_MAX) {
        struct store_table *table = &tables[(*count)++];
        snprintf(table->name, sizeof table->name, "%s", sqlite3_column_text(list, 0));
        table->by_system = sqlite3_column_int(list, 1) != 0;
    }
    int finished = sqlite3_finalize(list);
    return code == SQLITE_OK ? finished : code;
}

/* ---- out ---- */

static int prepare_insert(sqlite3 *db, const char *table, int columns, sqlite3_stmt **insert) {
    char sql[SQL_BYTES];
    int length = snprintf(sql, sizeof sql, "INSERT INTO %s VALUES (?1", table);
    for (int i = 2; i <= columns; i++)
        length += snprintf(sql + length, sizeof sql - (size_t)length, ", ?%d", i);
    snprintf(sql + length, sizeof sql - (size_t)length, ")");
    return sqlite3_prepare_v2(db, sql, -1, insert, NULL);
}

static int run(sqlite3_stmt *statement) {
    int code = sqlite3_step(statement);
    sqlite3_reset(statement);
    return code == SQLITE_DONE ? SQLITE_OK : code;
}

/* Binds one column of a row to the statement that inserts it. */
typedef int bind_column(const void *context, sqlite3_stmt *row, int column, sqlite3_stmt *insert);

static int bind_as_it_is(const void *nothing, sqlite3_stmt *row, int column, sqlite3_stmt *insert) {
    (void)nothing;
    return sqlite3_bind_value(insert, column + 1, sqlite3_column_value(row, column));
}

static int copy_rows(sqlite3_stmt *rows, sqlite3 *to, const char *table, bind_column *bind,
                     const void *context) {
    sqlite3_stmt *insert = NULL;
    int code = prepare_insert(to, table, sqlite3_column_count(rows), &insert), stepped;
    while (code == SQLITE_OK && (stepped = sqlite3_step(rows)) != SQLITE_DONE) {
        code = stepped == SQLITE_ROW ? SQLITE_OK : stepped;
        for (int i = 0; i < sqlite3_column_count(rows) && code == SQLITE_OK; i++)
            code = bind(context, rows, i, insert);
        THEN(code, run(insert));
    }
    sqlite3_finalize(insert);
    return code;
}

static int copy_table(sqlite3 *from, sqlite3 *to, const char *system, const char *table,
                      const char *where) {
    char sql[SQL_BYTES];
    sqlite3_stmt *rows = NULL;
    snprintf(sql, sizeof sql, "SELECT * FROM %s WHERE %s", table, where);
    int code = sqlite3_prepare_v2(from, sql, -1, &rows, NULL);
    THEN(code, sqlite3_bind_text(rows, 1, system, -1, SQLITE_STATIC));
    THEN(code, copy_rows(rows, to, table, bind_as_it_is, NULL));
    sqlite3_finalize(rows);
    return code;
}

static int put_file(sqlite3 *to, const char *system, const char *file) {
    sqlite3_stmt *put = NULL;
    int code =
        sqlite3_exec(to, "CREATE TABLE moved (system TEXT, file TEXT) STRICT", NULL, NULL, NULL);
    THEN(code, sqlite3_prepare_v2(to, "INSERT INTO moved VALUES (?1, ?2)", -1, &put, NULL));
    THEN(code, sqlite3_bind_text(put, 1, system, -1, SQLITE_STATIC));
    THEN(code, sqlite3_bind_text(put, 2, file, -1, SQLITE_STATIC));
    THEN(code, run(put));
    sqlite3_finalize(put);
    return code;
}

static int copy_out(sqlite3 *from, sqlite3 *to, const char *system, const char *file) {
    struct store_table tables[STORE_TABLES_MAX];
    size_t count;
    int code = store_upgrade(to, 0);
    THEN(code, store_list_tables(from, tables, &count));
    for (size_t i = 0; code == SQLITE_OK && i < count; i++)
        code = copy_table(from, to, system, tables[i].name,
                          tables[i].by_system ? "system = ?1" : "point IN " KEYS);
    THEN(code, copy_table(from, to, system, "notes", ITS_NOTES));
    return code == SQLITE_OK ? put_file(to, system, file) : code;
}

static int64_t number(sqlite3 *db, const char *sql) {
    sqlite3_stmt *ask = NULL;
    int64_t answer = 0;
    if (sqlite3_prepare_v2(db, sql, -1, &ask, NULL) == SQLITE_OK && sqlite3_step(ask) == SQLITE_ROW)
        answer = sqlite3_column_int64(ask, 0);
    sqlite3_finalize(ask);
    return answer;
}

static struct moved_counts counts_of(sqlite3 *db) {
    return (struct moved_counts){
        number(db, "SELECT (SELECT count(*) FROM readings) + "
                   "(SELECT coalesce(sum(count), 0) FROM packs)"),
        number(db, "SELECT count(*) FROM alarms"),
        number(db, "SELECT (SELECT count(*) FROM commissioning) + (SELECT count(*) FROM visits) + "
                   "(SELECT count(*) FROM radon_tests) + (SELECT count(*) FROM home_reports)")};
}

/* A day that cannot be read stays where it can be mended from a backup. */
static enum store_status check_days(struct store *store, const char *system) {
    int64_t key = 0;
    enum store_status status;
    while ((status = store_get_integer(store,
                                       "SELECT key FROM points WHERE system = ?1 AND key > ?2 "
                                       "ORDER BY key LIMIT 1",
                                       VALUES(TEXT(system), INT(key)), &key)) == STORE_OK) {
        status = series_packed_check(store, key, INT64_MIN, INT64_MAX);
        if (status != STORE_OK)
            return status;
    }
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

enum store_status moved_out(struct store *store, const char *system, const char *file,
                            unsigned char **bytes, size_t *size, struct moved_counts *counts) {
    sqlite3 *to = NULL;
    sqlite3_int64 length = 0;
    *bytes = NULL;
    enum store_status status = series_arrivals_settle_all(store);
    THEN(status, check_days(store, system));
    if (status != STORE_OK)
        return status;
    int code = sqlite3_open(":memory:", &to);
    THEN(code, copy_out(store->db, to, system, file));
    if (code == SQLITE_OK) {
        *counts = counts_of(to);
        *bytes = sqlite3_serialize(to, "main", &length, 0);
        code = *bytes ? SQLITE_OK : SQLITE_NOMEM;
    }
    *size = (size_t)length;
    sqlite3_close(to);
    return code == SQLITE_OK ? STORE_OK : store_failure(store, code);
}

void moved_free(unsigned char *bytes) {
    sqlite3_free(bytes);
}

enum store_status moved_waiting(struct store *store, const char *system, int64_t *count) {
    return store_get_integer(store,
                             "SELECT count(*) FROM outbox WHERE state = 0 AND (system = ?1 OR "
                             "row IN (SELECT row FROM outbox_alarms WHERE alarm IN "
                             "(SELECT id FROM alarms WHERE system = ?1)))",
                             VALUES(TEXT(system)), count);
}

/* ---- what came ---- */

static bool deserialize(struct moved *moved, const void *bytes, size_t size) {
    unsigned char *copy = sqlite3_malloc64(size + 1);
    if (!copy || sqlite3_open(":memory:", &moved->db) != SQLITE_OK) {
        sqlite3_free(copy);
        return false;
    }
    memcpy(copy, bytes, size);
    return sqlite3_deserialize(moved->db, "main", copy, (sqlite3_int64)size, (sqlite3_int64)size,
                               SQLITE_DESERIALIZE_FREEONCLOSE | SQLITE_DESERIALIZE_READONLY) ==
           SQLITE_OK;
}

static bool read_file(struct moved *moved) {
    sqlite3_stmt *row = NULL;
    if (sqlite3_prepare_v2(moved->db, "SELECT system, file FROM moved", -1, &row, NULL) ==
            SQLITE_OK &&
        sqlite3_step(row) == SQLITE_ROW && sqlite3_column_text(row, 0) &&
        sqlite3_column_text(row, 1)) {
        moved->system = strdup((const char *)sqlite3_column_text(row, 0));
        moved->file = strdup((const char *)sqlite3_column_text(row, 1));
    }
    sqlite3_finalize(row);
    return moved->system && moved->file;
}

static bool is_whole(sqlite3 *db) {
    sqlite3_stmt *check = NULL;
    bool whole = sqlite3_prepare_v2(db, "PRAGMA quick_check(1)", -1, &check, NULL) == SQLITE_OK &&
                 sqlite3_step(check) == SQLITE_ROW && sqlite3_column_text(check, 0) &&
                 strcmp((const char *)sqlite3_column_text(check, 0), "ok") == 0;
    sqlite3_finalize(check);
    return whole;
}

struct moved *moved_open(const void *bytes, size_t size, char *why, size_t why_size) {
    struct moved *moved = calloc(1, sizeof *moved);
    snprintf(why, why_size, "out of memory");
    if (!moved)
        return NULL;
    bool good = deserialize(moved, bytes, size);
    if (good) {
        snprintf(why, why_size, "these bytes are no system that was moved out of a store");
        good = number(moved->db, "PRAGMA application_id") == STORE_APPLICATION_ID &&
               is_whole(moved->db);
    }
    if (good && number(moved->db, "PRAGMA user_version") != store_newest_version()) {
        snprintf(why, why_size,
                 "it comes from another version of this program; let both daemons "
                 "be of the same");
        good = false;
    }
    if (good && read_file(moved))
        return moved;
    moved_close(moved);
    return NULL;
}

void moved_close(struct moved *moved) {
    if (!moved)
        return;
    sqlite3_close(moved->db);
    free(moved->system);
    free(moved->file);
    free(moved->keys);
    free(moved->new_keys);
    free(moved);
}

const char *moved_system(const struct moved *moved) {
    return moved->system;
}

const char *moved_file(const struct moved *moved) {
    return moved->file;
}

struct moved_counts moved_count(const struct moved *moved) {
    return counts_of(moved->db);
}

/* ---- in ---- */

static enum store_status put_points(struct store *store, struct moved *moved) {
    size_t count = (size_t)number(moved->db, "SELECT count(*) FROM points");
    sqlite3_stmt *rows = NULL;
    moved->keys = calloc(count + 1, sizeof *moved->keys);
    moved->new_keys = calloc(count + 1, sizeof *moved->new_keys);
    if (!moved->keys || !moved->new_keys)
        return store_failure(store, SQLITE_NOMEM);
    int code = sqlite3_prepare_v2(
        moved->db,
        "SELECT key, point, interval_ms, interval_from_ms, expired_ms FROM points ORDER BY key", -1,
        &rows, NULL);
    enum store_status status = code == SQLITE_OK ? STORE_OK : store_failure(store, code);
    while (status == STORE_OK && moved->key_count < count && sqlite3_step(rows) == SQLITE_ROW) {
        int64_t *key = &moved->new_keys[moved->key_count];
        moved->keys[moved->key_count++] = sqlite3_column_int64(rows, 0);
        status = series_key(store, moved->system, store_column_text(rows, 1), key);
        THEN(status,
             store_do(store,
                      "UPDATE points SET interval_ms = ?2, interval_from_ms = ?3, "
                      "expired_ms = ?4 WHERE key = ?1",
                      VALUES(INT(*key), INT(sqlite3_column_int64(rows, 2)),
                             TIME(store_column_time(rows, 3)), TIME(store_column_time(rows, 4)))));
    }
    sqlite3_finalize(rows);
    return status;
}

static int64_t new_key(const struct moved *moved, int64_t key) {
    for (size_t i = 0; i < moved->key_count; i++)
        if (moved->keys[i] == key)
            return moved->new_keys[i];
    return 0;
}

/* The check sum of a packed day has the key of its point in it. */
static int bind_packed(const struct moved *moved, sqlite3_stmt *row, int column, int64_t day,
                       sqlite3_stmt *insert) {
    size_t size = (size_t)sqlite3_column_bytes(row, column);
    const struct day_pack_label was = {sqlite3_column_int64(row, 0), day};
    const struct day_pack_label is = {new_key(moved, was.point), day};
    const unsigned char *bytes = sqlite3_column_blob(row, column);
    if (!bytes || size < BYTE_CODE_CHECK_BYTES || !byte_check_is_right(&was, bytes, size))
        return SQLITE_CORRUPT;
    struct byte_writer writer = {sqlite3_malloc64(size), size - BYTE_CODE_CHECK_BYTES};
    if (!writer.bytes)
        return SQLITE_NOMEM;
    memcpy(writer.bytes, bytes, size);
    byte_put_check(&writer, &is);
    return sqlite3_bind_blob(insert, column + 1, writer.bytes, (int)size, sqlite3_free);
}

struct putting {
    const struct moved *moved;
    const struct store_table *table;
};

/* Numbers that mean something within one store are new ones. */
static int bind_anew(const void *context, sqlite3_stmt *row, int column, sqlite3_stmt *insert) {
    const struct putting *putting = context;
    const struct moved *moved = putting->moved;
    const char *name = sqlite3_column_name(row, column);
    int64_t value = sqlite3_column_int64(row, column);
    if (strcmp(name, "point") == 0 && !putting->table->by_system)
        return sqlite3_bind_int64(insert, column + 1, new_key(moved, value));
    if (strcmp(name, "pack") == 0)
        return bind_packed(moved, row, column, day_pack_day(sqlite3_column_int64(row, 1)), insert);
    if (strcmp(name, "hours") == 0)
        return bind_packed(moved, row, column, sqlite3_column_int64(row, 1), insert);
    if (strcmp(name, "id") == 0 && strcmp(putting->table->name, "alarms") == 0)
        return sqlite3_bind_int64(insert, column + 1, moved->first_alarm + value);
    if (strcmp(name, "id") == 0)
        return sqlite3_bind_null(insert, column + 1);
    return bind_as_it_is(NULL, row, column, insert);
}

static enum store_status put_table(struct store *store, const struct moved *moved,
                                   const struct store_table *table) {
    const struct putting putting = {moved, table};
    char sql[SQL_BYTES];
    sqlite3_stmt *rows = NULL;
    snprintf(sql, sizeof sql, "SELECT * FROM %s", table->name);
    int code = sqlite3_prepare_v2(moved->db, sql, -1, &rows, NULL);
    THEN(code, copy_rows(rows, store->db, table->name, bind_anew, &putting));
    sqlite3_finalize(rows);
    return code == SQLITE_OK ? STORE_OK : store_failure(store, code);
}

enum store_status moved_in(struct store *store, struct moved *moved, int64_t *highest_alarm,
                           struct moved_counts *counts) {
    struct store_table tables[STORE_TABLES_MAX];
    const struct store_table notes = {"notes", true};
    size_t count;
    int code = store_list_tables(moved->db, tables, &count);
    moved->first_alarm =
        *highest_alarm - number(moved->db, "SELECT coalesce(min(id), 1) - 1 FROM alarms");
    enum store_status status =
        code == SQLITE_OK ? put_points(store, moved) : store_failure(store, code);
    for (size_t i = 1; i < count && status == STORE_OK; i++)
        status = put_table(store, moved, &tables[i]);
    THEN(status, put_table(store, moved, &notes));
    if (status != STORE_OK)
        return status;
    int64_t newest_ms = number(moved->db, "SELECT coalesce(max(from_ms), -1) FROM packs");
    status = series_pack_note_day(store, day_pack_day(newest_ms));
    *counts = counts_of(moved->db);
    if (counts->alarms > 0)
        *highest_alarm = moved->first_alarm + number(moved->db, "SELECT max(id) FROM alarms");
    store->readings += counts->readings;
    series_note_oldest(store, INT64_MIN);
    return status;
}
