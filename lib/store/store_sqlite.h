/*
 * store_sqlite: what the files of this folder share: the connection, its prepared statements and
 * the mapping of SQLite's codes. Private to lib/store; nobody else sees an SQLite type.
 */
#ifndef STORE_STORE_SQLITE_H
#define STORE_STORE_SQLITE_H

#include "store/store.h"

#include <sqlite3.h>

#define STORE_APPLICATION_ID 0x53754277 /* "SuBw" */
#define STORE_PATH_MAX 4096

/* One slot a statement: prepared at first use, kept until the store closes. */
enum store_statement {
    STATEMENT_BEGIN,
    STATEMENT_COMMIT,
    STATEMENT_PROBE,
    STATEMENT_TOTAL_GET,
    STATEMENT_TOTAL_SET,
    STATEMENT_POINT_FIND,
    STATEMENT_POINT_ADD,
    STATEMENT_POINT_NEXT,
    STATEMENT_POINT_INFO,
    STATEMENT_POINT_INTERVAL,
    STATEMENT_POINT_EXPIRED,
    STATEMENT_READING_ADD,
    STATEMENT_READING_TWIN,
    STATEMENT_READING_BEFORE,
    STATEMENT_READING_AFTER,
    STATEMENT_READING_RANGE,
    STATEMENT_READING_SPAN,
    STATEMENT_READING_IN_DAY,
    STATEMENT_READING_OLDEST,
    STATEMENT_READING_OLD,
    STATEMENT_READING_DELETE,
    STATEMENT_READING_DELETE_SPAN,
    STATEMENT_PACK_AT,
    STATEMENT_PACK_NEXT,
    STATEMENT_PACK_PUT,
    STATEMENT_PACK_DELETE,
    STATEMENT_PACK_RANGE,
    STATEMENT_PACK_BEFORE,
    STATEMENT_PACK_AFTER,
    STATEMENT_PACK_OLDEST,
    STATEMENT_PACK_NEWEST_DAY,
    STATEMENT_HOUR_PUT,
    STATEMENT_HOUR_RANGE,
    STATEMENT_HOUR_DELETE,
    STATEMENT_HOUR_OLDEST,
    STATEMENT_DAY_HOURS_RANGE,
    STATEMENT_DAY_HOURS_PUT,
    STATEMENT_DAY_HOURS_DELETE,
    STATEMENT_DAY_PUT,
    STATEMENT_DAY_RANGE,
    STATEMENT_DAY_NEWEST,
    STATEMENT_DAY_FORGET,
    STATEMENT_ALARM_PUT,
    STATEMENT_ALARM_DELETE,
    STATEMENT_ALARM_HIGHEST,
    STATEMENT_ALARM_GET,
    STATEMENT_ALARM_LIST,
    STATEMENT_ALARM_LIST_OPEN,
    STATEMENT_ALARM_LIST_SYSTEM,
    STATEMENT_ALARM_LIST_OPEN_SYSTEM,
    STATEMENT_ALARM_LAST,
    STATEMENT_ALARM_RAISED,
    STATEMENT_LOOK_PUT,
    STATEMENT_LOOK_DELETE,
    STATEMENT_LOOK_LIST,
    STATEMENT_TRACKER_PUT,
    STATEMENT_TRACKER_DELETE,
    STATEMENT_TRACKER_LIST,
    STATEMENT_COMMISSIONING_ADD,
    STATEMENT_COMMISSIONING_LIST,
    STATEMENT_VISIT_ADD,
    STATEMENT_VISIT_LIST,
    STATEMENT_BY_HAND_ADD,
    STATEMENT_BY_HAND_NEWEST,
    STATEMENT_SERVICE_PUT,
    STATEMENT_SERVICE_DELETE,
    STATEMENT_SERVICE_LIST,
    STATEMENT_REFUSED_AGAIN,
    STATEMENT_REFUSED_ADD,
    STATEMENT_REFUSED_BOUND,
    STATEMENT_REFUSED_LIST,
    STATEMENT_UNCLAIMED_AGAIN,
    STATEMENT_UNCLAIMED_ADD,
    STATEMENT_UNCLAIMED_BOUND,
    STATEMENT_UNCLAIMED_LIST,
    STATEMENT_NOTE_PUT,
    STATEMENT_NOTE_GET,
    STATEMENT_NOTE_DELETE,
    STATEMENT_OUTBOX_INSERT,
    STATEMENT_OUTBOX_CONTACT,
    STATEMENT_OUTBOX_DUE,
    STATEMENT_OUTBOX_GET,
    STATEMENT_OUTBOX_NEXT,
    STATEMENT_OUTBOX_DONE,
    STATEMENT_OUTBOX_RETRY,
    STATEMENT_OUTBOX_HEAD_CLEAR,
    STATEMENT_OUTBOX_HEAD_SET,
    STATEMENT_OUTBOX_ROW,
    STATEMENT_OUTBOX_BY_ID,
    STATEMENT_OUTBOX_FIND,
    STATEMENT_OUTBOX_AGAIN,
    STATEMENT_OUTBOX_HASTEN,
    STATEMENT_OUTBOX_LIST,
    STATEMENT_OUTBOX_LIST_FAILED,
    STATEMENT_OUTBOX_WAITING,
    STATEMENT_OUTBOX_EXPIRE,
    STATEMENT_OUTBOX_BEGUN,
    STATEMENT_OUTBOX_UNTRIED,
    STATEMENT_OUTBOX_MEMBER_PUT,
    STATEMENT_OUTBOX_MEMBER_MOVE,
    STATEMENT_OUTBOX_MEMBERS,
    STATEMENT_OUTBOX_DELETE,
    STATEMENT_OUTBOX_REPLACE,
    STATEMENT_OUTBOX_TOLD,
    STATEMENT_OUTBOX_RELEASE,
    STATEMENT_OUTBOX_BUNDLES,
    STATEMENT_OUTBOX_UNRETURNED,
    STATEMENT_OUTBOX_SHARED,
    STATEMENT_OUTBOX_THIN,
    STATEMENT_OUTBOX_OUTDATE,
    STATEMENT_OUTBOX_UNREACHED,
    STATEMENT_OUTBOX_NEWEST,
    STATEMENT_OUTBOX_MOVE_TRIED,
    STATEMENT_OUTBOX_MOVE_WRITTEN,
    STATEMENT_COUNT
};

/* Who keeps an unpacked day: one lies under a cursor while neighbours or hours are looked up. */
enum store_unpacked_use { UNPACKED_CURSOR, UNPACKED_LOOKUP, UNPACKED_HOURS, UNPACKED_USE_COUNT };
struct series_unpacked;

#define SERIES_DAMAGE_MAX 64

/* Packed days that could not be read since the store was opened; beyond the most, only counted. */
struct series_damage {
    uint64_t met; /* how often */
    size_t count, told;
    int64_t keys[SERIES_DAMAGE_MAX], days[SERIES_DAMAGE_MAX];
};

struct store {
    sqlite3 *db;
    sqlite3_stmt *statements[STATEMENT_COUNT];
    char path[STORE_PATH_MAX];
    const char *vfs;
    int lock_descriptor; /* -1: none */
    bool writable;
    bool in_transaction;
    enum store_status transaction_status; /* first failure since begin: the rest is refused */
    enum store_status broken;             /* the handle must not be used for writing any more */
    int64_t readings;                     /* running total, including what is uncommitted */
    int64_t readings_committed;
    struct {
        int64_t key; /* the last point that series_expire has looked at in this round; */
        int64_t
            oldest_ms; /* of what the round has left, the oldest: before it passes, no new one */
    } expiry;
    int64_t pack_key;      /* the last point series_pack has done, */
    int64_t pack_from_ms;  /* and from when on it looks at the next */
    int64_t packed_to_day; /* no day after it is packed */
    struct series_unpacked *unpacked[UNPACKED_USE_COUNT]; /* see series_packed.h, which sets */
    void (*free_unpacked)(struct store *store);           /* this with the first of them */
    struct series_damage damage;
    char error[STORE_PATH_MAX + 200];
};

/** Maps an SQLite result code. */
enum store_status store_status_of(int code);

/** Notes a failure for store_error, the open transaction and the handle; returns its status. */
enum store_status store_failure(struct store *store, int code);

/** The prepared statement of a slot; `sql` must be the same at every call. */
enum store_status store_statement(struct store *store, enum store_statement slot, const char *sql,
                                  sqlite3_stmt **statement);

/** Steps once: STORE_OK when there is a row; otherwise the statement has been reset. */
enum store_status store_row(struct store *store, sqlite3_stmt *statement);

/** Steps a statement that gives no rows to its end and resets it. */
enum store_status store_run(struct store *store, sqlite3_stmt *statement);

/** A transaction of our own unless the caller already has one. */
enum store_status store_scope_begin(struct store *store, bool *own);
enum store_status store_scope_end(struct store *store, bool own, enum store_status status);

/** Brings the schema of a connection from `version` to the newest, in one transaction. */
int store_upgrade(sqlite3 *db, int version);
int store_newest_version(void);

/** Makes directory entries of `path` durable; false with errno. */
bool store_sync_folder(const char *path);

/** Text and numbers where "none" is NULL. A text is borrowed until the statement is reset. */
void store_bind_text(sqlite3_stmt *statement, int column, const char *text);
void store_bind_time(sqlite3_stmt *statement, int column, int64_t time_ms);
void store_bind_number(sqlite3_stmt *statement, int column, double number);
const char *store_column_text(sqlite3_stmt *statement, int column);
int64_t store_column_time(sqlite3_stmt *statement, int column);
double store_column_number(sqlite3_stmt *statement, int column);

#endif
