/*
 * store: the one SQLite file. WAL, synchronous=FULL, one transaction for all that one turn of the
 * loop caused; statements prepared once. This header owns opening, transactions, integrity and
 * backup; series.h, records.h and outbox.h read and write what it holds.
 *
 * After STORE_FAILING at a commit nothing of it counts as kept (a failed fsync may leave it on the
 * disk or not; readings that come again are harmless). Never retry a commit: after an input/output
 * error this handle refuses every further transaction, because the system may have dropped the
 * pages and would answer "done" next time. Close it, open again, take the batch anew. After a full
 * disk or a busy database the same handle may go on with a new transaction.
 *
 * Writing functions of the other headers work outside a transaction too, each in one of its own.
 * All are for one thread. A list's callback must not ask for the same list again.
 */
#ifndef STORE_STORE_H
#define STORE_STORE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct store;

/** Files that go with a copy. */
struct kept_files {
    const struct kept_file *items;
    size_t count;
};

enum store_status {
    STORE_OK = 0,
    STORE_NOT_FOUND, /* no such row */
    STORE_FAILING,   /* disk full, input/output error, busy, read-only: nothing was kept; roll back,
                        close, open again later */
    STORE_DAMAGED,   /* the file is corrupt */
    STORE_FOREIGN,   /* not a subslabd store (application_id), or not a database */
    STORE_NEWER,     /* written by a newer program */
    STORE_LOCKED,    /* another daemon holds it */
    STORE_OUT_OF_MEMORY
};
/** The next call of a chain: made while all before it went well, else the first failure stays. For
    the codes of SQLite too. */
#define THEN(status, call) ((status) = (status) ? (status) : (call))

enum store_mode {
    STORE_READ_WRITE, /* the daemon: creates, upgrades, takes the lock file */
    STORE_READ_ONLY   /* the operator tool: verify, backup */
};

struct store_options {
    enum store_mode mode;
    int busy_timeout_ms; /* default 2000 when 0 */
    const char *vfs;     /* NULL: the default; tests name a failing one */
};

/**
 * Opens `path`; a missing file is made, complete or not at all. An empty file is STORE_FOREIGN: it
 * never was a store. A missing file whose log is still there is STORE_DAMAGED. On failure returns
 * the reason and writes one sentence for a person (what, where, what to do next) into `why`. A
 * damaged file is left untouched: the caller decides.
 */
enum store_status store_open(const char *path, const struct store_options *options,
                             struct store **store, char *why, size_t why_size);
/** Rolls back what is open, checkpoints, closes, releases the lock. NULL does nothing. */
void store_close(struct store *store);

/**
 * Sets a damaged store aside as PATH.damaged-YYYYMMDDTHHMMSSZ (with its WAL). STORE_OK when moved,
 * STORE_NOT_FOUND when there was nothing, STORE_FAILING when it cannot be or the name is taken.
 */
enum store_status store_set_aside(const char *path, int64_t now_ms, char *moved_to, size_t size);

enum store_status store_begin(struct store *store);
enum store_status store_commit(struct store *store); /* not OK: rolled back */
void store_rollback(struct store *store);
/** Is anything uncommitted? The intake asserts that it is not before it acknowledges. */
bool store_in_transaction(const struct store *store);

/** What the last failing call said, for a person: "disk is full (/var/lib/subslabd/subslab.db)". */
const char *store_error(const struct store *store);

/** Bytes of file and WAL. */
void store_size(const struct store *store, int64_t *file_bytes, int64_t *wal_bytes);

/**
 * Moves WAL pages into the file without blocking anybody. Call it when the loop is idle: beyond
 * 8000 pages of log a commit does it by itself.
 */
void store_checkpoint(struct store *store);

/** A cheap read that touches the file: is it still there and readable? For health and watchdog. */
enum store_status store_probe(struct store *store);

/**
 * Online copy of one moment while others write, with further files in it (kept_files.h); complete
 * under its name or not there at all. `progress` may be NULL. Refuses to overwrite a file
 * (STORE_FAILING). Not inside a transaction.
 */
enum store_status store_backup(struct store *store, const char *to, const struct kept_files *files,
                               void (*progress)(void *context, double done), void *context,
                               char *why, size_t why_size);

#endif
