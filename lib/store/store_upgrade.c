/*
 * store_upgrade: the schema's versions. A new version adds one .sql file and one row below; all
 * steps that a file lacks run in one transaction together with the new version number, so that a
 * kill leaves either the old schema or the new one.
 */
#include "store/store_sqlite.h"

#include "store_schema.h"

#include <stdio.h>

struct schema_step {
    int version; /* the one this step leads to */
    const unsigned char *sql;
};

static const struct schema_step steps[] = {
    {1, embedded_schema_sql},   {2, embedded_schema_2_sql}, {3, embedded_schema_3_sql},
    {4, embedded_schema_4_sql}, {5, embedded_schema_5_sql}, {6, embedded_schema_6_sql},
    {7, embedded_schema_7_sql}, {8, embedded_schema_8_sql}, {9, embedded_schema_9_sql},
};

#define STEP_COUNT (sizeof steps / sizeof steps[0])

int store_newest_version(void) {
    return steps[STEP_COUNT - 1].version;
}

static int run_steps(sqlite3 *db, int version) {
    for (size_t i = 0; i < STEP_COUNT; i++) {
        if (steps[i].version <= version)
            continue;
        int code = sqlite3_exec(db, (const char *)steps[i].sql, NULL, NULL, NULL);
        if (code != SQLITE_OK)
            return sqlite3_extended_errcode(db);
    }
    char sql[100];
    snprintf(sql, sizeof sql, "PRAGMA application_id=%d; PRAGMA user_version=%d",
             STORE_APPLICATION_ID, store_newest_version());
    return sqlite3_exec(db, sql, NULL, NULL, NULL);
}

int store_upgrade(sqlite3 *db, int version) {
    if (version == store_newest_version())
        return SQLITE_OK;
    sqlite3_db_config(db, SQLITE_DBCONFIG_DEFENSIVE, 0, NULL); /* it forbids what version 9 does */
    int code = sqlite3_exec(db, "BEGIN IMMEDIATE", NULL, NULL, NULL);
    THEN(code, run_steps(db, version));
    THEN(code, sqlite3_exec(db, "COMMIT", NULL, NULL, NULL));
    if (code != SQLITE_OK)
        sqlite3_exec(db, "ROLLBACK", NULL, NULL, NULL);
    return code;
}
