/*
 * store_open: from a path to a connection. First the file's first bytes are read without SQLite,
 * because SQLite would recover, check-point or delete the log of a file that is not ours. Then the
 * lock, then the connection, the upgrade, and a cheap look at every table; the thorough check is
 * verify.
 *
 * A new store is made under the name PATH.creating and renamed when it is complete. So a file under
 * the real name is always a whole store: one that is empty was never ours.
 */
#include "store/new_name.h"
#include "store/store_sqlite.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define HEADER_SIZE 100
#define CACHE_KIB 24576          /* of the daemon's 120 MiB */
#define WAL_PAGES 8000           /* 32 MiB of log before a commit pays for a checkpoint */
#define WAL_LIMIT_BYTES 67108864 /* the log file shrinks to this after a checkpoint */
#define DEFAULT_BUSY_MS 2000

struct opening {
    const char *path;
    char *why;
    size_t why_size;
};

__attribute__((format(printf, 3, 4))) static enum store_status
refuse(const struct opening *opening, enum store_status status, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(opening->why, opening->why_size, format, arguments);
    va_end(arguments);
    return status;
}

static void path_with(char *text, size_t size, const char *path, const char *suffix) {
    snprintf(text, size, "%s%s", path, suffix);
}

/* ---- what the bytes say ---- */

static uint32_t big_endian(const unsigned char *bytes) {
    return (uint32_t)bytes[0] << 24 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 8 | bytes[3];
}

/* *length is -1 when there is no file. */
static enum store_status read_header(const struct opening *opening, unsigned char *header,
                                     ssize_t *length) {
    *length = -1;
    int file = open(opening->path, O_RDONLY | O_CLOEXEC);
    if (file < 0 && errno == ENOENT)
        return STORE_OK;
    struct stat info;
    if (file >= 0 && fstat(file, &info) == 0 && !S_ISREG(info.st_mode)) {
        close(file);
        return refuse(opening, STORE_FOREIGN, "%s: not a regular file; name another in store.file",
                      opening->path);
    }
    ssize_t got = file < 0 ? -1 : pread(file, header, HEADER_SIZE, 0);
    int error = errno;
    if (file >= 0)
        close(file);
    if (got < 0)
        return refuse(opening, STORE_FAILING,
                      "%s: cannot be read (%s); check its permissions and the disk", opening->path,
                      strerror(error));
    *length = got;
    return STORE_OK;
}

static enum store_status judge_missing(const struct opening *opening, bool *exists) {
    char wal[STORE_PATH_MAX + 8];
    path_with(wal, sizeof wal, opening->path, "-wal");
    *exists = false;
    struct stat info;
    if (stat(wal, &info) == 0 && info.st_size > 0)
        return refuse(opening, STORE_DAMAGED,
                      "%s: the file is gone but its write-ahead log is there; put the file back",
                      opening->path);
    return STORE_OK;
}

static enum store_status judge_file(const struct opening *opening, bool *exists) {
    unsigned char header[HEADER_SIZE];
    ssize_t length;
    enum store_status status = read_header(opening, header, &length);
    if (status != STORE_OK)
        return status;
    if (length < 0)
        return judge_missing(opening, exists);
    *exists = true;
    if (length == 0)
        return refuse(opening, STORE_FOREIGN,
                      "%s: an empty file, not a store; put a backup in its "
                      "place, or remove it to begin anew",
                      opening->path);
    bool ours = length == HEADER_SIZE && big_endian(header + 68) == STORE_APPLICATION_ID;
    bool database = length >= 16 && memcmp(header, "SQLite format 3", 16) == 0;
    if (ours && !database)
        return refuse(opening, STORE_DAMAGED,
                      "%s: damaged, its first bytes are not those of a "
                      "database; put a backup in its place",
                      opening->path);
    if (database && length < HEADER_SIZE)
        return refuse(opening, STORE_DAMAGED,
                      "%s: damaged, cut off after %zd bytes; put a backup in its place",
                      opening->path, length);
    if (!ours)
        return refuse(opening, STORE_FOREIGN,
                      "%s: not a store of this program; nothing was "
                      "touched; name another file in store.file",
                      opening->path);
    uint32_t version = big_endian(header + 60);
    if (version > (uint32_t)store_newest_version() && version <= INT_MAX)
        return refuse(opening, STORE_NEWER,
                      "%s: written by a newer version of this program "
                      "(schema %u, this one knows %d); install the newer version",
                      opening->path, version, store_newest_version());
    return STORE_OK;
}

/* ---- lock ---- */

static void read_holder(int file, char *pid, size_t size) {
    ssize_t got = pread(file, pid, size - 1, 0);
    pid[got > 0 ? got : 0] = '\0';
    pid[strcspn(pid, "\n")] = '\0';
}

static enum store_status take_lock(const struct opening *opening, int *descriptor) {
    char path[STORE_PATH_MAX + 8], pid[24];
    path_with(path, sizeof path, opening->path, ".lock");
    int file = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0640);
    if (file < 0)
        return refuse(opening, STORE_FAILING,
                      "%s: cannot be made (%s); check that the folder exists and may be written",
                      path, strerror(errno));
    if (flock(file, LOCK_EX | LOCK_NB) != 0) {
        int error = errno;
        read_holder(file, pid, sizeof pid);
        close(file);
        if (error != EWOULDBLOCK)
            return refuse(opening, STORE_FAILING, "%s: cannot be locked (%s)", path,
                          strerror(error));
        return refuse(opening, STORE_LOCKED,
                      "%s: in use by another daemon (process %s); stop that one first",
                      opening->path, pid[0] ? pid : "unknown");
    }
    /* The number is for people; the lock is what counts, so a full disk does not matter here. */
    int length = snprintf(pid, sizeof pid, "%ld\n", (long)getpid());
    if (ftruncate(file, 0) != 0 || pwrite(file, pid, (size_t)length, 0) != length)
        errno = 0;
    *descriptor = file;
    return STORE_OK;
}

enum store_status store_lock(const char *path, int *descriptor, char *why, size_t why_size) {
    const struct opening opening = {path, why, why_size};
    return take_lock(&opening, descriptor);
}

enum store_status store_judge(const char *path, bool *exists, char *why, size_t why_size) {
    const struct opening opening = {path, why, why_size};
    return judge_file(&opening, exists);
}

/* ---- connection ---- */

static int configure(sqlite3 *db, int busy_timeout_ms) {
    char sql[400];
    snprintf(sql, sizeof sql,
             "PRAGMA synchronous=FULL; PRAGMA foreign_keys=OFF; PRAGMA temp_store=MEMORY;"
             "PRAGMA mmap_size=0; PRAGMA cache_size=-%d; PRAGMA wal_autocheckpoint=%d;"
             "PRAGMA journal_size_limit=%d; PRAGMA trusted_schema=OFF;"
             "PRAGMA cell_size_check=ON; PRAGMA secure_delete=ON",
             CACHE_KIB, WAL_PAGES, WAL_LIMIT_BYTES);
    sqlite3_extended_result_codes(db, 1);
    sqlite3_busy_timeout(db, busy_timeout_ms > 0 ? busy_timeout_ms : DEFAULT_BUSY_MS);
    return sqlite3_exec(db, sql, NULL, NULL, NULL);
}

void store_folder(const char *path, char folder[STORE_PATH_MAX]) {
    snprintf(folder, STORE_PATH_MAX, "%s", path);
    char *slash = strrchr(folder, '/');
    if (slash)
        slash[slash == folder ? 1 : 0] = '\0';
    else
        snprintf(folder, STORE_PATH_MAX, ".");
}

bool store_sync_folder(const char *path) {
    char folder[STORE_PATH_MAX];
    store_folder(path, folder);
    return new_name_sync(folder);
}

void store_stamp(int64_t now_ms, char stamp[32]) {
    time_t seconds = (time_t)(now_ms / 1000);
    struct tm utc = {0};
    gmtime_r(&seconds, &utc);
    strftime(stamp, 32, "%Y%m%dT%H%M%SZ", &utc);
}

static int first_number(sqlite3 *db, const char *sql, int64_t *number) {
    sqlite3_stmt *statement;
    int code = sqlite3_prepare_v2(db, sql, -1, &statement, NULL);
    if (code != SQLITE_OK)
        return code;
    code = sqlite3_step(statement);
    if (code == SQLITE_ROW)
        *number = sqlite3_column_int64(statement, 0);
    int finished = sqlite3_finalize(statement);
    return finished != SQLITE_OK ? finished : code == SQLITE_ROW ? SQLITE_OK : SQLITE_CORRUPT;
}

static int make_schema(const char *path, const struct store_options *options) {
    sqlite3 *db = NULL;
    int code = sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE, options->vfs);
    THEN(code, configure(db, options->busy_timeout_ms));
    THEN(code, store_upgrade(db, 0));
    THEN(code, sqlite3_exec(db, "PRAGMA journal_mode=WAL", NULL, NULL, NULL));
    int closed = sqlite3_close(db);
    return code != SQLITE_OK ? code : closed;
}

static void remove_creating(const char *path) {
    static const char *const suffixes[] = {"", "-journal", "-wal", "-shm"};
    char name[STORE_PATH_MAX + 32];
    for (size_t i = 0; i < sizeof suffixes / sizeof suffixes[0]; i++) {
        path_with(name, sizeof name, path, suffixes[i]);
        unlink(name);
    }
}

static enum store_status create(const struct opening *opening,
                                const struct store_options *options) {
    char path[STORE_PATH_MAX + 16];
    path_with(path, sizeof path, opening->path, ".creating");
    remove_creating(path);
    int file = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0640);
    if (file < 0)
        return refuse(opening, STORE_FAILING,
                      "%s: cannot be made (%s); check that the folder may be written",
                      opening->path, strerror(errno));
    close(file);
    int code = make_schema(path, options);
    if (code == SQLITE_OK && rename(path, opening->path) == 0 && store_sync_folder(opening->path))
        return STORE_OK;
    int error = errno;
    remove_creating(path);
    return refuse(opening, code == SQLITE_NOMEM ? STORE_OUT_OF_MEMORY : STORE_FAILING,
                  "%s: the store cannot be made (%s); check space and permissions", opening->path,
                  code == SQLITE_OK ? strerror(error) : sqlite3_errstr(code));
}

/* ---- a look at every table ---- */

static const char *const looks[] = {
    "SELECT count(*) FROM (SELECT 1 FROM points LIMIT 1)",
    "SELECT count(*) FROM (SELECT value, origin FROM readings ORDER BY point DESC LIMIT 1)",
    "SELECT count(*) FROM (SELECT count, pack FROM packs ORDER BY point DESC LIMIT 1)",
    "SELECT count(*) FROM (SELECT value_ms, highest FROM hours ORDER BY point DESC LIMIT 1)",
    "SELECT count(*) FROM (SELECT hours FROM day_hours ORDER BY point DESC LIMIT 1)",
    "SELECT count(*) FROM (SELECT median FROM days ORDER BY point DESC LIMIT 1)",
    "SELECT count(*) FROM alarms WHERE open = 1",
    "SELECT count(*) FROM trackers",
    "SELECT count(*) FROM commissioning",
    "SELECT count(*) FROM (SELECT 1 FROM visits LIMIT 1)",
    "SELECT count(*) FROM service",
    "SELECT count(*) FROM refused",
    "SELECT count(*) FROM unclaimed",
    "SELECT count(*) FROM notes",
    "SELECT count(*) FROM (SELECT 1 FROM outbox WHERE head = 1 LIMIT 1)",
    "SELECT value FROM totals WHERE name = 'readings'", /* last: its answer is kept */
};

static enum store_status look_at_tables(struct store *store, const struct opening *opening) {
    int64_t number = 0;
    for (size_t i = 0; i < sizeof looks / sizeof looks[0]; i++) {
        int code = first_number(store->db, looks[i], &number);
        enum store_status status = code == SQLITE_ERROR ? STORE_DAMAGED : store_status_of(code);
        if (status == STORE_DAMAGED)
            return refuse(opening, status, "%s: damaged (%s); put a backup in its place",
                          store->path, sqlite3_errmsg(store->db));
        if (status != STORE_OK)
            return refuse(opening, status, "%s: cannot be read (%s); check the disk", store->path,
                          sqlite3_errmsg(store->db));
    }
    store->readings = store->readings_committed = number;
    return STORE_OK;
}

/*
 * A reader does not upgrade. Empty tables in memory, and a view of what was named otherwise, stand
 * for the tables that an older store lacks.
 */
static int stand_in_for_packs(sqlite3 *db, int version) {
    static const struct {
        int from, before; /* versions that lack it */
        const char *sql;
    } tables[] = {
        {1, 2,
         "CREATE TEMP TABLE packs (point INTEGER, from_ms INTEGER, count INTEGER, pack BLOB, "
         "PRIMARY KEY (point, from_ms)) WITHOUT ROWID"},
        {2, 4,
         "CREATE TEMP VIEW packs AS SELECT point, day * 86400000 AS from_ms, count, pack FROM "
         "day_packs"},
        {1, 3,
         "CREATE TEMP TABLE day_hours (point INTEGER, day INTEGER, hours BLOB, "
         "PRIMARY KEY (point, day)) WITHOUT ROWID"},
        {1, 8, "CREATE TEMP TABLE arrivals (point INTEGER, time_ms INTEGER, value, origin)"},
    };
    int code = SQLITE_OK;
    for (size_t i = 0; i < sizeof tables / sizeof tables[0] && code == SQLITE_OK; i++)
        if (version >= tables[i].from && version < tables[i].before)
            code = sqlite3_exec(db, tables[i].sql, NULL, NULL, NULL);
    return code;
}

static enum store_status refuse_code(const struct opening *opening, sqlite3 *db, int code) {
    enum store_status status = store_status_of(code);
    THEN(status, STORE_FAILING);
    return refuse(opening, status, "%s: %s (%s); %s", opening->path,
                  status == STORE_DAMAGED ? "damaged" : "cannot be opened",
                  db ? sqlite3_errmsg(db) : sqlite3_errstr(code),
                  status == STORE_DAMAGED ? "put a backup in its place"
                                          : "check the disk, its space and the permissions");
}

static enum store_status check_version(struct store *store, const struct opening *opening) {
    int64_t version = 0;
    int code = first_number(store->db, "PRAGMA user_version", &version);
    if (code != SQLITE_OK)
        return refuse_code(opening, store->db, code);
    if (version > store_newest_version()) {
        sqlite3_db_config(store->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
        return refuse(opening, STORE_NEWER,
                      "%s: written by a newer version of this program; install the newer version",
                      store->path);
    }
    if (version < 1)
        return refuse(opening, STORE_DAMAGED,
                      "%s: damaged, its version number is %lld; put a backup in its place",
                      store->path, (long long)version);
    if (version == store_newest_version())
        return STORE_OK;
    code = store->writable ? store_upgrade(store->db, (int)version)
                           : stand_in_for_packs(store->db, (int)version);
    return code == SQLITE_OK ? STORE_OK : refuse_code(opening, store->db, code);
}

static enum store_status connect_store(struct store *store, const struct opening *opening,
                                       const struct store_options *options) {
    /* Without locks: a store is of one thread. */
    int code = sqlite3_open_v2(store->path, &store->db,
                               (store->writable ? SQLITE_OPEN_READWRITE : SQLITE_OPEN_READONLY) |
                                   SQLITE_OPEN_NOMUTEX,
                               options->vfs);
    if (code == SQLITE_OK && store->writable && sqlite3_db_readonly(store->db, "main"))
        return refuse(opening, STORE_FAILING,
                      "%s: the file or its file system is read-only; make it writable",
                      store->path);
    THEN(code, configure(store->db, options->busy_timeout_ms));
    if (code == SQLITE_OK && store->writable)
        code = sqlite3_exec(store->db, "PRAGMA journal_mode=WAL", NULL, NULL, NULL);
    if (code != SQLITE_OK)
        return refuse_code(opening, store->db, code);
    enum store_status status = check_version(store, opening);
    THEN(status, look_at_tables(store, opening));
    if (status != STORE_OK || !store->writable)
        return status;
    int64_t left = 0; /* by a process that died */
    code = first_number(store->db, "SELECT value FROM totals WHERE name = 'packed to day'",
                        &store->packed_to_day);
    THEN(code,
         first_number(store->db,
                      "SELECT count(*) FROM (SELECT value, origin FROM arrivals LIMIT 1)", &left));
    store->arrivals_lost = left > 0;
    if (code != SQLITE_OK)
        return refuse_code(opening, store->db, code);
    /* Pages of an earlier process whose fsync failed may be in the log of the page cache but not on
     * the disk. Writing them into the file anew and starting the log afresh makes them durable. */
    code = sqlite3_wal_checkpoint_v2(store->db, NULL, SQLITE_CHECKPOINT_TRUNCATE, NULL, NULL);
    if (code != SQLITE_OK && (code & 0xff) != SQLITE_BUSY)
        return refuse_code(opening, store->db, code);
    return STORE_OK;
}

static enum store_status open_file(struct store *store, const struct opening *opening,
                                   const struct store_options *options) {
    bool exists;
    enum store_status status = judge_file(opening, &exists);
    if (status == STORE_FOREIGN || status == STORE_NEWER)
        return status; /* not even a lock file beside it */
    if (store->writable) {
        enum store_status locked = take_lock(opening, &store->lock_descriptor);
        if (locked != STORE_OK)
            return locked;
        status = judge_file(opening, &exists); /* again: another may just have made it */
    }
    if (status != STORE_OK)
        return status;
    if (!exists && !store->writable)
        return refuse(opening, STORE_FAILING, "%s: there is no such file; check store.file",
                      opening->path);
    if (!exists)
        status = create(opening, options);
    return status == STORE_OK ? connect_store(store, opening, options) : status;
}

void store_resolve(const char *path, char real[STORE_PATH_MAX]) {
    struct stat info;
    bool is_link = lstat(path, &info) == 0 && S_ISLNK(info.st_mode);
    char *found = is_link ? realpath(path, NULL) : NULL;
    snprintf(real, STORE_PATH_MAX, "%s", found ? found : path);
    free(found);
}

enum store_status store_open(const char *path, const struct store_options *options,
                             struct store **store, char *why, size_t why_size) {
    struct opening opening = {path, why, why_size};
    if (strlen(path) >= STORE_PATH_MAX)
        return refuse(&opening, STORE_FAILING, "the path of the store is too long");
    struct store *made = calloc(1, sizeof *made);
    if (!made)
        return refuse(&opening, STORE_OUT_OF_MEMORY, "%s: out of memory", path);
    store_resolve(path, made->path);
    opening.path = made->path;
    made->vfs = options->vfs;
    made->lock_descriptor = -1;
    made->pack_from_ms = INT64_MIN;
    made->expiry.oldest_ms = INT64_MIN; /* not known yet */
    made->writable = options->mode == STORE_READ_WRITE;
    sqlite3_config(SQLITE_CONFIG_MEMSTATUS, 0); /* nobody asks; heeded before the first use only */
    enum store_status status = open_file(made, &opening, options);
    if (status != STORE_OK) {
        made->broken = status; /* leave the log of what could not be opened alone */
        store_close(made);
        return status;
    }
    *store = made;
    return STORE_OK;
}

void store_close(struct store *store) {
    if (!store)
        return;
    store_rollback(store);
    if (store->close_arrivals)
        store->close_arrivals(store);
    for (size_t i = 0; i < STORE_STATEMENTS_MAX; i++)
        sqlite3_finalize(store->statements[i].statement);
    if (store->db && store->broken != STORE_OK)
        sqlite3_db_config(store->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
    sqlite3_close(store->db);
    if (store->lock_descriptor >= 0)
        close(store->lock_descriptor); /* the lock file stays: removing it would race */
    if (store->free_unpacked)
        store->free_unpacked(store);
    free(store->expiry.longer);
    free(store);
}

/* ---- setting aside ---- */

enum store_status store_set_aside(const char *path, int64_t now_ms, char *moved_to, size_t size) {
    /* The log first: a new file beside the old log would take the log for its own. */
    static const char *const suffixes[] = {"-wal", "-shm", ""};
    char stamp[32], from[STORE_PATH_MAX + 8], to[STORE_PATH_MAX + 64];
    if (strlen(path) >= STORE_PATH_MAX)
        return STORE_FAILING;
    store_stamp(now_ms, stamp);
    bool moved = false;
    for (size_t i = 0; i < sizeof suffixes / sizeof suffixes[0]; i++) {
        path_with(from, sizeof from, path, suffixes[i]);
        snprintf(to, sizeof to, "%s.damaged-%s%s", path, stamp, suffixes[i]);
        if (new_name_take(from, to))
            moved = true;
        else if (errno != ENOENT)
            return STORE_FAILING;
    }
    snprintf(moved_to, size, "%s.damaged-%s", path, stamp);
    if (!moved)
        return STORE_NOT_FOUND;
    return store_sync_folder(path) ? STORE_OK : STORE_FAILING;
}
