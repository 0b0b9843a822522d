/*
 * store_backup: a whole copy while others write, of one moment: SQLite copies within one read
 * transaction, row by row, so that the copy has no free pages, and damage ends it. The copy is made
 * under a temporary name, synced and then given its own, so that under its own name it is complete
 * or absent.
 */
#include "store/new_name.h"
#include "store/store_sqlite.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define OPERATIONS_A_STEP 1000

struct copying {
    const char *to;
    double bytes; /* of the store; the copy has as many or fewer */
    void (*progress)(void *context, double done);
    void *context;
};

static int tell_progress(void *context) {
    const struct copying *copying = context;
    struct stat info;
    if (stat(copying->to, &info) == 0)
        copying->progress(copying->context, fmin((double)info.st_size / copying->bytes, 1));
    return 0;
}

static int copy_to(const char *to, const struct store *store, const struct kept_files *files,
                   void (*progress)(void *context, double done), void *context) {
    int64_t bytes, log_bytes;
    store_size(store, &bytes, &log_bytes);
    struct copying copying = {to, (double)(bytes + log_bytes), progress, context};
    char *sql = sqlite3_mprintf("VACUUM INTO %Q", to);
    if (progress)
        sqlite3_progress_handler(store->db, OPERATIONS_A_STEP, tell_progress, &copying);
    int code = sql ? sqlite3_exec(store->db, sql, NULL, NULL, NULL) : SQLITE_NOMEM;
    sqlite3_progress_handler(store->db, 0, NULL, NULL);
    sqlite3_free(sql);
    THEN(code, kept_files_put(to, store->vfs, files));
    if (code == SQLITE_OK && progress)
        progress(context, 1);
    return code;
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
    snprintf(why, why_size, "%s: the copy could not be made (%s); %s", to,
             code == SQLITE_OK ? strerror(error) : sqlite3_errstr(code),
             status == STORE_DAMAGED ? "the store is damaged: restore an earlier copy"
                                     : "check its disk and its space");
    return status;
}
