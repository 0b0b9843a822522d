/*
 * restore: a backup in the store's place.
 *
 * The backup is copied beside the store under a name of its own, opened there as the daemon would
 * open it, so that an older one is upgraded while its file is only read, and verified. Then the
 * store of before gets a second name, its log is folded into it, and the copy is renamed over it:
 * one step, before which a kill leaves the store of before and after which it leaves the new one.
 *
 * A log that cannot be folded in, because its store is damaged, is kept beside it under its name
 * and taken away before the rename: SQLite would play it into the new file.
 */
#include "store/restore.h"

#include "store/store_sqlite.h"
#include "store/verify.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/sendfile.h>
#include <sys/stat.h>
#include <unistd.h>

#define BYTES_A_STEP ((size_t)1 << 20)
#define NAME_SIZE (STORE_PATH_MAX + 64)

struct restoring {
    const char *from;
    char path[STORE_PATH_MAX]; /* of the store */
    char copy[NAME_SIZE];
    struct stat owner; /* who the store belongs to, and how it may be read */
    bool store_exists;
    void (*progress)(void *context, double done);
    void *context;
    char *why;
    size_t why_size;
};

static enum store_status refuse(const struct restoring *restoring, enum store_status status,
                                const char *about, const char *what, const char *advice) {
    snprintf(restoring->why, restoring->why_size, "%s: %s; %s", about, what, advice);
    return status;
}

static void with_suffix(char name[NAME_SIZE + 8], const char *path, const char *suffix) {
    snprintf(name, NAME_SIZE + 8, "%s%s", path, suffix);
}

static void remove_copy(const struct restoring *restoring) {
    static const char *const suffixes[] = {"", "-wal", "-shm", "-journal", ".lock"};
    char name[NAME_SIZE + 8];
    for (size_t i = 0; i < sizeof suffixes / sizeof suffixes[0]; i++) {
        with_suffix(name, restoring->copy, suffixes[i]);
        unlink(name);
    }
}

/* ---- the copy ---- */

/* False with errno. */
static bool copy_bytes(const struct restoring *restoring, int from, int to, int64_t size) {
    int64_t done = 0;
    ssize_t sent;
    while ((sent = sendfile(to, from, NULL, BYTES_A_STEP)) > 0) {
        done += sent;
        if (restoring->progress && size > 0)
            restoring->progress(restoring->context, 0.5 * (double)done / (double)size);
    }
    return sent == 0 && fsync(to) == 0;
}

/* A file that is not there is copied by leaving it out. False with errno. */
static bool copy_file(const struct restoring *restoring, const char *suffix) {
    char from_name[NAME_SIZE + 8], to_name[NAME_SIZE + 8];
    struct stat info = {0};
    with_suffix(from_name, restoring->from, suffix);
    with_suffix(to_name, restoring->copy, suffix);
    int from = open(from_name, O_RDONLY | O_CLOEXEC);
    if (from < 0)
        return errno == ENOENT && *suffix;
    int to = open(to_name, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    bool done = to >= 0 && fstat(from, &info) == 0 && copy_bytes(restoring, from, to, info.st_size);
    int error = errno;
    if (to >= 0)
        close(to);
    close(from);
    errno = error;
    return done;
}

/* ---- is it sound ---- */

static void take_finding(void *context, const char *text) {
    const struct restoring *restoring = context;
    if (!*restoring->why)
        snprintf(restoring->why, restoring->why_size,
                 "%s: this backup is not sound (%s); take an earlier one", restoring->from, text);
}

static void take_progress(void *context, double done) {
    const struct restoring *restoring = context;
    if (restoring->progress)
        restoring->progress(restoring->context, 0.5 + 0.5 * done);
}

/* What opening said names the copy; people know the file by the name that they gave. */
static enum store_status refuse_backup(const struct restoring *restoring, enum store_status status,
                                       const char *said) {
    size_t length = strlen(restoring->copy);
    bool names_it = strncmp(said, restoring->copy, length) == 0 && said[length] == ':';
    const char *what = names_it ? said + length + 2 : said;
    snprintf(restoring->why, restoring->why_size,
             "%s: this backup can't be opened: %.*s; take another one", restoring->from,
             (int)strcspn(what, ";"), what);
    return status;
}

static enum store_status check_copy(struct restoring *restoring) {
    const struct store_options options = {.mode = STORE_READ_WRITE}; /* so it is upgraded */
    struct store *store = NULL;
    char said[NAME_SIZE + 200] = "";
    enum store_status status = store_open(restoring->copy, &options, &store, said, sizeof said);
    if (status != STORE_OK)
        return refuse_backup(restoring, status, said);
    *restoring->why = '\0';
    status = store_verify(store, take_finding, take_progress, restoring);
    if (status == STORE_OK && *restoring->why)
        status = STORE_DAMAGED;
    if (status != STORE_OK && !*restoring->why)
        refuse(restoring, status, restoring->from, store_error(store), "take another backup");
    store_close(store);
    return status;
}

static enum store_status make_copy(struct restoring *restoring) {
    bool exists = false;
    enum store_status status =
        store_judge(restoring->from, &exists, restoring->why, restoring->why_size);
    if (status != STORE_OK)
        return status;
    if (!exists)
        return refuse(restoring, STORE_FAILING, restoring->from, "there is no such file",
                      "name the copy that `backup` made");
    struct stat backup, left_over;
    if (stat(restoring->from, &backup) == 0 && stat(restoring->copy, &left_over) == 0 &&
        backup.st_dev == left_over.st_dev && backup.st_ino == left_over.st_ino)
        return refuse(restoring, STORE_FAILING, restoring->from,
                      "this is the name of a restore that was cut off", "name the backup itself");
    remove_copy(restoring);
    if (copy_file(restoring, "") && copy_file(restoring, "-wal"))
        return check_copy(restoring);
    return refuse(restoring, STORE_FAILING, restoring->copy, strerror(errno),
                  "the backup is copied there first: check space and permissions");
}

/* Whoever runs this is often another than the daemon, which must be able to write it. */
static bool give_to_owner(const struct restoring *restoring, int lock) {
    int copy = open(restoring->copy, O_RDWR | O_CLOEXEC);
    if (copy < 0)
        return false;
    bool done = fchmod(copy, restoring->owner.st_mode & 0777) == 0;
    if (geteuid() == 0)
        done = done && fchown(copy, restoring->owner.st_uid, restoring->owner.st_gid) == 0 &&
               fchown(lock, restoring->owner.st_uid, restoring->owner.st_gid) == 0;
    done = fsync(copy) == 0 && done;
    close(copy);
    return done;
}

/* ---- the store of before ---- */

static void fold_log_in(const char *path) {
    sqlite3 *db = NULL;
    if (sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE, NULL) == SQLITE_OK)
        sqlite3_exec(db, "PRAGMA wal_checkpoint(TRUNCATE)", NULL, NULL, NULL);
    sqlite3_close(db);
}

static bool link_if_there(const char *from, const char *to) {
    return link(from, to) == 0 || errno == ENOENT;
}

/* False with errno. */
static bool keep_store(const struct restoring *restoring, int64_t now_ms,
                       char kept[RESTORE_KEPT_SIZE]) {
    char stamp[32], log[NAME_SIZE + 8], kept_log[NAME_SIZE + 8];
    store_stamp(now_ms, stamp);
    snprintf(kept, RESTORE_KEPT_SIZE, "%s.before-restore-%s", restoring->path, stamp);
    with_suffix(log, restoring->path, "-wal");
    with_suffix(kept_log, kept, "-wal");
    if (!link_if_there(log, kept_log) || !link_if_there(restoring->path, kept) ||
        !store_sync_folder(restoring->path))
        return false;
    unlink(log);
    with_suffix(log, restoring->path, "-shm");
    unlink(log);
    if (!restoring->store_exists)
        *kept = '\0';
    return true;
}

static enum store_status put_in_place(struct restoring *restoring, int lock, int64_t now_ms,
                                      char kept[RESTORE_KEPT_SIZE]) {
    bool exists = false;
    char ignored[NAME_SIZE + 200];
    if (!give_to_owner(restoring, lock))
        return refuse(restoring, STORE_FAILING, restoring->copy, strerror(errno),
                      "it must belong to whom the store belongs; run this as root");
    if (store_judge(restoring->path, &exists, ignored, sizeof ignored) == STORE_OK && exists)
        fold_log_in(restoring->path);
    if (!keep_store(restoring, now_ms, kept))
        return refuse(restoring, STORE_FAILING, kept, strerror(errno),
                      "the store of now must be kept under this name; check the folder");
    if (rename(restoring->copy, restoring->path) == 0 && store_sync_folder(restoring->path))
        return STORE_OK;
    return refuse(restoring, STORE_FAILING, restoring->path, strerror(errno),
                  "check the folder and its disk");
}

/* ---- all of it ---- */

/* Whom the new file is to belong to: as the store of now, else as its folder. */
static bool find_owner(struct restoring *restoring) {
    char folder[STORE_PATH_MAX];
    restoring->store_exists = stat(restoring->path, &restoring->owner) == 0;
    if (restoring->store_exists)
        return true;
    store_folder(restoring->path, folder);
    bool found = stat(folder, &restoring->owner) == 0;
    restoring->owner.st_mode = 0640;
    return found;
}

enum store_status restore_store(const char *path, const char *from, int64_t now_ms,
                                void (*progress)(void *context, double done), void *context,
                                char kept[RESTORE_KEPT_SIZE], char *why, size_t why_size) {
    struct restoring restoring = {
        .from = from, .progress = progress, .context = context, .why = why, .why_size = why_size};
    int lock = -1;
    *kept = '\0';
    if (strlen(path) >= STORE_PATH_MAX || strlen(from) >= STORE_PATH_MAX)
        return refuse(&restoring, STORE_FAILING, "FILE", "its path is too long", "shorten it");
    store_resolve(path, restoring.path);
    snprintf(restoring.copy, sizeof restoring.copy, "%s.restoring", restoring.path);
    if (!find_owner(&restoring))
        return refuse(&restoring, STORE_FAILING, restoring.path, strerror(errno),
                      "make the folder of the store first");
    enum store_status status = store_lock(restoring.path, &lock, why, why_size);
    THEN(status, make_copy(&restoring));
    THEN(status, put_in_place(&restoring, lock, now_ms, kept));
    if (lock >= 0) {
        remove_copy(&restoring); /* where it is in place, its lock file */
        close(lock);
    }
    return status;
}
