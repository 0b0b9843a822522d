#include "store/kept_files.h"

#include "store/store_sqlite.h"

#include <stdio.h>

static int put_all(sqlite3 *to, const struct kept_files *files) {
    sqlite3_stmt *insert = NULL;
    int code = sqlite3_exec(to,
                            "DROP TABLE IF EXISTS kept_files; CREATE TABLE kept_files (name TEXT "
                            "PRIMARY KEY, bytes BLOB NOT NULL) WITHOUT ROWID, STRICT",
                            NULL, NULL, NULL);
    THEN(code, sqlite3_prepare_v2(to, "INSERT INTO kept_files VALUES (?1, ?2)", -1, &insert, NULL));
    for (size_t i = 0; i < files->count && code == SQLITE_OK; i++) {
        sqlite3_bind_text(insert, 1, files->items[i].name, -1, SQLITE_STATIC);
        sqlite3_bind_blob64(insert, 2, files->items[i].bytes, files->items[i].length,
                            SQLITE_STATIC);
        code = sqlite3_step(insert) == SQLITE_DONE ? SQLITE_OK : sqlite3_extended_errcode(to);
        sqlite3_reset(insert);
    }
    sqlite3_finalize(insert);
    return code;
}

int kept_files_put(const char *path, const char *vfs, const struct kept_files *files) {
    sqlite3 *to = NULL;
    if (!files || files->count == 0)
        return SQLITE_OK;
    int code = sqlite3_open_v2(path, &to, SQLITE_OPEN_READWRITE, vfs);
    /* A copy has a name of its own only when it is whole: it needs no journal. */
    THEN(code, sqlite3_exec(to, "PRAGMA journal_mode=OFF", NULL, NULL, NULL));
    THEN(code, put_all(to, files));
    int closed = sqlite3_close(to);
    return code != SQLITE_OK ? code : closed;
}

static int hand_out(sqlite3 *db, bool (*each)(void *context, const struct kept_file *file),
                    void *context, bool *all) {
    sqlite3_stmt *rows = NULL;
    int code = sqlite3_prepare_v2(db, "SELECT name, bytes FROM kept_files", -1, &rows, NULL);
    while (code == SQLITE_OK && *all && (code = sqlite3_step(rows)) == SQLITE_ROW) {
        const struct kept_file file = {(const char *)sqlite3_column_text(rows, 0),
                                       sqlite3_column_blob(rows, 1),
                                       (size_t)sqlite3_column_bytes(rows, 1)};
        *all = each(context, &file);
        code = SQLITE_OK;
    }
    sqlite3_finalize(rows);
    return code == SQLITE_DONE ? SQLITE_OK : code;
}

enum store_status kept_files_take(const char *path,
                                  bool (*each)(void *context, const struct kept_file *file),
                                  void *context, char *why, size_t why_size) {
    sqlite3 *db = NULL;
    bool all = true;
    int code = sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE, NULL);
    bool there =
        code == SQLITE_OK && sqlite3_table_column_metadata(db, "main", "kept_files", "name", NULL,
                                                           NULL, NULL, NULL, NULL) == SQLITE_OK;
    if (there) {
        code = hand_out(db, each, context, &all);
        if (code == SQLITE_OK && all)
            code = sqlite3_exec(db, "PRAGMA secure_delete=ON; DROP TABLE kept_files", NULL, NULL,
                                NULL);
    }
    if (code != SQLITE_OK)
        snprintf(why, why_size, "%s: the files in it cannot be taken out (%s); check the disk",
                 path, sqlite3_errstr(code));
    sqlite3_close(db);
    return code == SQLITE_OK ? STORE_OK : store_status_of(code);
}
