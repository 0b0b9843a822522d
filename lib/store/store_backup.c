/*
 * store_backup: a whole copy while others write. The copy is made under a temporary name, synced
 * and then given its own, so that under its own name it is complete or absent.
 *
 * The source stands in one read transaction all the while: it sees one moment of the store, and
 * SQLite need not begin anew whenever the daemon commits.
 */
#include "store/new_name.h"
#include "store/store_sqlite.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define PAGES_A_STEP 500

static int copy_pages(sqlite3 *to, sqlite3 *from, void (*progress)(void *context, double done),
                      void *context) {
    sqlite3_backup *backup = sqlite3_backup_init(to, "main", from, "main");
    if (!backup)
        return sqlite3_extended_errcode(to);
    int code;
    do {
        code = sqlite3_backup_step(backup, PAGES_A_STEP);
        int total = sqlite3_backup_pagecount(backup), left = sqlite3_backup_remaining(backup);
        if (progress && total > 0)
            progress(context, (double)(total - left) / (double)total);
    } while (code == SQLITE_OK);
    int finished = sqlite3_backup_finish(backup);
    return code == SQLITE_DONE ? finished : code;
}

static int copy_snapshot(sqlite3 *to, const struct store *store,
                         void (*progress)(void *context, double done), void *context) {
    if (store->in_transaction)
        return SQLITE_MISUSE;
    int code = sqlite3_exec(store->db, "BEGIN; SELECT count(*) FROM totals", NULL, NULL, NULL);
    THEN(code, copy_pages(to, store->db, progress, context));
    if (!sqlite3_get_autocommit(store->db))
        sqlite3_exec(store->db, "COMMIT", NULL, NULL, NULL);
    return code;
}

static int copy_to(const char *path, const struct store *store, const struct kept_files *files,
                   void (*progress)(void *context, double done), void *context) {
    sqlite3 *to = NULL;
    int code = sqlite3_open_v2(path, &to, SQLITE_OPEN_READWRITE, store->vfs);
    THEN(code, sqlite3_extended_result_codes(to, 1));
    /* The copy has a name of its own only when it is whole: it needs no journal. */
    THEN(code,
         sqlite3_exec(to, "PRAGMA journal_mode=OFF; PRAGMA synchronous=FULL", NULL, NULL, NULL));
    THEN(code, copy_snapshot(to, store, progress, context));
    if (code == SQLITE_OK && files && files->count)
        code = kept_files_put(to, files->items, files->count);
    int closed = sqlite3_close(to);
    return code != SQLITE_OK ? code : closed;
}

enum store_status store_backup(struct store *store, const char *to, const struct kept_files *files,
                               void (*progress)(void *context, double done), void *context,
                               char *why, size_t why_size) {
    char partial[STORE_PATH_MAX + 16];
    if (strlen(to) >= STORE_PATH_MAX || access(to, F_OK) == 0) {
        snprintf(why, why_size, "%s: exists already; name a new file", to);
        return STORE_FAILING;
    }
    snprintf(partial, sizeof partial, "%s.partial", to);
    unlink(partial); /* left over from a copy that was cut off */
    int file = open(partial, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0640);
    if (file < 0) {
        snprintf(why, why_size, "%s: cannot be made (%s); name a folder that may be written", to,
                 strerror(errno));
        return STORE_FAILING;
    }
    close(file);
    int code = copy_to(partial, store, files, progress, context);
    if (code == SQLITE_OK && new_name_sync(partial) && new_name_take(partial, to) &&
        store_sync_folder(to))
        return STORE_OK;
    int error = errno;
    unlink(partial);
    enum store_status status = code == SQLITE_OK ? STORE_FAILING : store_status_of(code);
    snprintf(why, why_size, "%s: the copy could not be made (%s); check its disk and its space", to,
             code == SQLITE_OK ? strerror(error) : sqlite3_errstr(code));
    return status;
}
