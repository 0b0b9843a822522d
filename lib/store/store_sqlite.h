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

#define STORE_STATEMENTS_MAX 256 /* twice as many as there are, a power of two */

/* Who keeps an unpacked day: one lies under a cursor while neighbours or hours are looked up. */
enum store_unpacked_use { UNPACKED_CURSOR, UNPACKED_LOOKUP, UNPACKED_HOURS, UNPACKED_USE_COUNT };
struct series_unpacked;
struct series_arrivals;

#define SERIES_DAMAGE_MAX 64

/* Packed days that could not be read since the store was opened; beyond the most, only counted. */
struct series_damage {
    uint64_t met; /* how often */
    size_t count, told;
    int64_t keys[SERIES_DAMAGE_MAX], days[SERIES_DAMAGE_MAX];
};

struct store {
    sqlite3 *db;
    struct {
        const char *sql; /* NULL: free */
        sqlite3_stmt *statement;
    } statements[STORE_STATEMENTS_MAX]; /* by the address of their text */
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
        struct series_longer *longer; /* points that keep theirs longer, by key */
        size_t longer_count;
    } expiry;
    int64_t pack_key;      /* the last point series_pack has done, */
    int64_t pack_from_ms;  /* and from when on it looks at the next */
    int64_t packed_to_day; /* no day after it is packed */
    struct series_unpacked *unpacked[UNPACKED_USE_COUNT]; /* see series_packed.h, which sets */
    void (*free_unpacked)(struct store *store);           /* this with the first of them */
    struct series_arrivals *arrivals; /* readings that are not in their places; NULL: none */
    bool gathers;                     /* see series_arrivals.h */
    bool arrivals_lost; /* what is remembered is not what the table has, by death or rollback */
    void (*close_arrivals)(struct store *store); /* set with the first of them */
    struct series_damage damage;
    char error[STORE_PATH_MAX + 200];
};

/** Maps an SQLite result code. */
enum store_status store_status_of(int code);

/** Notes a failure for store_error, the open transaction and the handle; returns its status. */
enum store_status store_failure(struct store *store, int code);

/* ---- statements: each is prepared at first use and kept until the store closes ---- */

/* What a parameter is bound to. Texts and bytes are borrowed until the statement is reset. */
struct store_value {
    enum { VALUE_END, VALUE_INTEGER, VALUE_NUMBER, VALUE_TEXT, VALUE_BYTES, VALUE_NULL } kind;
    int size; /* of text (-1: up to its end) and bytes */
    union {
        int64_t integer;
        double number;
        const void *bytes;
    };
};
#define INT(whole) ((struct store_value){.kind = VALUE_INTEGER, .integer = (whole)})
#define NUMBER(real)                                                                               \
    ((struct store_value){.kind = VALUE_NUMBER, .number = (real)}) /* NaN is NULL */
#define TEXT(text) TEXT_UP_TO(text, -1)                            /* NULL is NULL */
#define TEXT_UP_TO(text, length)                                                                   \
    ((struct store_value){.kind = VALUE_TEXT, .size = (length), .bytes = (text)})
#define BYTES(at, length)                                                                          \
    ((struct store_value){.kind = VALUE_BYTES, .size = (int)(length), .bytes = (at)})
#define TIME(time_ms) store_time(time_ms) /* TIMESTAMP_NONE is NULL */
#define END ((struct store_value){.kind = VALUE_END})
/* Parameters ?1, ?2 and so on. */
#define VALUES(...) ((const struct store_value[]){__VA_ARGS__, END})
#define NO_VALUES (&END)
struct store_value store_time(int64_t time_ms);

/* A list of one system's rows goes by its index, whoever else has rows; ?1 NULL: of all. */
#define STORE_OF_SYSTEM(system, select, order)                                                     \
    ((system) ? select " WHERE system = ?1 ORDER BY " order                                        \
              : select " WHERE ?1 IS NULL ORDER BY " order)

/** Ready to be stepped; `sql` is a literal. On failure *statement is NULL. */
enum store_status store_ask(struct store *store, const char *sql, const struct store_value *values,
                            sqlite3_stmt **statement);
/** With its first row, to be reset; STORE_NOT_FOUND (already reset): no row. */
enum store_status store_first(struct store *store, const char *sql,
                              const struct store_value *values, sqlite3_stmt **statement);
/** The first column of the first row. */
enum store_status store_get_integer(struct store *store, const char *sql,
                                    const struct store_value *values, int64_t *answer);
/** To its end; no row is no failure. */
enum store_status store_do(struct store *store, const char *sql, const struct store_value *values);

/** Steps once: STORE_OK when there is a row; otherwise the statement has been reset. */
enum store_status store_row(struct store *store, sqlite3_stmt *statement);

/** After the last row that is wanted: resets; that there was no other is no failure. */
enum store_status store_listed(sqlite3_stmt *statement, enum store_status status);

/** A transaction of our own unless the caller already has one. Where it cannot be begun, the end
    only says so. */
enum store_status store_scope_begin(struct store *store, bool *own);
enum store_status store_scope_end(struct store *store, bool own, enum store_status status);

/** Brings the schema of a connection from `version` to the newest, in one transaction. */
int store_upgrade(sqlite3 *db, int version);
int store_newest_version(void);

/** The file itself where a link names it: its lock and its log lie beside the file. */
void store_resolve(const char *path, char real[STORE_PATH_MAX]);
/** What the first bytes of a file say: a store that this program can open? Touches nothing. */
enum store_status store_judge(const char *path, bool *exists, char *why, size_t why_size);
/** The lock of the daemon that works with a store, held until the descriptor is closed. */
enum store_status store_lock(const char *path, int *descriptor, char *why, size_t why_size);

/** The folder that a file is in. */
void store_folder(const char *path, char folder[STORE_PATH_MAX]);
/** An instant as names of files bear it, "20251003T140000Z". */
void store_stamp(int64_t now_ms, char stamp[32]);
/** Makes directory entries of `path` durable; false with errno. */
bool store_sync_folder(const char *path);

/** Text and numbers where "none" is NULL. A text is borrowed until the next step. */
const char *store_column_text(sqlite3_stmt *statement, int column);
int64_t store_column_time(sqlite3_stmt *statement, int column);
double store_column_number(sqlite3_stmt *statement, int column);

#define STORE_TABLES_MAX 32
struct store_table {
    char name[64];
    bool by_system; /* else by point */
};
/** moved.c: what is known of systems, but for messages and for readings that wait for their places;
    points first, for the others name their keys. An SQLite code. */
int store_list_tables(sqlite3 *db, struct store_table tables[STORE_TABLES_MAX], size_t *count);

/** kept_files.c: writes files (NULL: none) into a copy of the store. An SQLite code. */
int kept_files_put(const char *path, const char *vfs, const struct kept_files *files);

#endif
