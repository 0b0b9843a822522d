/*
 * The store file itself: opened for reading beside a running daemon or without one, copied, and put
 * back.
 */
#include "host/clock.h"
#include "store/restore.h"
#include "store/verify.h"
#include "tool/backup_folder.h"
#include "tool/ctl_client.h"
#include "tool/enrolled_kept.h"
#include "tool/text.h"
#include "tool/words.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { STORE_WHY_SIZE = RESTORE_KEPT_SIZE + 512 };

/* The path of the store, to be freed; NULL after an error. */
static char *store_path(struct ctl *ctl) {
    if (!ctl_settings(ctl))
        return NULL;
    if (!ctl->settings) {
        ctl_error(ctl, CTL_WRONG_USE,
                  "%s can't be read, so the store is not known; run this as root, or name the "
                  "settings with --settings FILE",
                  ctl->settings_file);
        return NULL;
    }
    char *path = settings_path(ctl->settings, ctl->settings->store_file);
    if (!path)
        ctl_error(ctl, CTL_FAILED, "out of memory");
    return path;
}

static struct store *open_store(struct ctl *ctl) {
    const struct store_options options = {.mode = STORE_READ_ONLY};
    char why[512] = "", *path = store_path(ctl);
    struct store *store = NULL;
    if (path && store_open(path, &options, &store, why, sizeof why) != STORE_OK) {
        ctl_error(ctl, CTL_FAILED, "%s", why);
        store = NULL;
    }
    free(path);
    return store;
}

static void show_check(void *context, double done) {
    (void)context;
    ctl_progress("checking", done);
}

static void show_copy(void *context, double done) {
    (void)context;
    ctl_progress("copying", done);
}

static void show_restore(void *context, double done) {
    (void)context;
    ctl_progress("copying and checking", done);
}

static void print_finding(void *context, const char *text) {
    size_t *findings = context;
    ctl_progress("", -1.0);
    ctl_text_put(stdout, text);
    ++*findings;
}

static enum ctl_status verify(struct ctl *ctl, const struct ctl_arguments *given) {
    size_t findings = 0;
    (void)given;
    struct store *store = open_store(ctl);
    if (!store)
        return ctl->settings ? CTL_FAILED : CTL_WRONG_USE;
    enum store_status found = store_verify(store, print_finding, show_check, &findings);
    ctl_progress("", -1.0);
    enum ctl_status status = CTL_DONE;
    if (found == STORE_OK && findings == 0)
        ctl_tell(ctl, PAGE_TOOL_STORE_SOUND, NULL);
    else
        status = ctl_error(ctl, CTL_FAILED,
                           "the store is not sound (%s); keep a copy of the file, then restore the "
                           "last backup",
                           findings ? "see above" : store_error(store));
    store_close(store);
    return status;
}

/* ---- copies ---- */

/* The files of enrolled systems go with the store: both are this daemon's own. False with a
   sentence in `why`. */
static bool make_copy(const struct ctl *ctl, const char *path, const char *to, char *why,
                      size_t why_size) {
    const struct store_options options = {.mode = STORE_READ_ONLY};
    struct store *store = NULL;
    struct enrolled_kept kept = {0};
    enum store_status done = STORE_FAILING;
    if (enrolled_kept_read(&kept, ctl->settings, why, why_size))
        done = store_open(path, &options, &store, why, why_size);
    THEN(done, store_backup(store, to, &kept.files, show_copy, NULL, why, why_size));
    ctl_progress("", -1.0);
    store_close(store);
    enrolled_kept_clear(&kept);
    return done == STORE_OK;
}

static void print_copy(const struct ctl *ctl, const char *to) {
    struct stat about;
    if (stat(to, &about) == 0)
        ctl_tell(ctl, PAGE_TOOL_COPY_BYTES, to, CTL_COUNT(about.st_size), NULL);
}

/* The daemon tells its contractors of a failure. One that does not run tells nobody: then the exit
   status is all there is. */
static void tell_daemon(struct ctl *ctl, const char *to, const char *why) {
    struct ctl_answer answer;
    json_t *json = json_pack("{s:s}", *why ? "failed" : "done", *why ? why : to);
    char *text = json_dumps(json, JSON_COMPACT);
    const struct ctl_body body = {"application/json", text, text ? strlen(text) : 0};
    if (text && access(ctl->socket, F_OK) == 0 &&
        ctl_request_any(ctl, "/api/backup", &body, &answer))
        free(answer.body);
    json_decref(json);
    free(text);
}

/* A dated copy into a folder; the oldest go only when the new one is whole. */
static enum ctl_status copy_into(struct ctl *ctl, const char *path, const char *folder,
                                 size_t keep) {
    char why[STORE_WHY_SIZE] = "", *to = backup_folder_name(folder, path, clock_wall_ms());
    size_t deleted = 0;
    if (!to)
        return ctl_error(ctl, CTL_FAILED, "out of memory");
    bool done = make_copy(ctl, path, to, why, sizeof why);
    if (done)
        print_copy(ctl, to);
    if (done && !backup_folder_thin(folder, path, keep, &deleted))
        snprintf(why, sizeof why, "%s: an old copy can't be deleted (%s); check the folder", folder,
                 strerror(errno));
    if (deleted)
        ctl_tell(ctl, PAGE_TOOL_COPIES_DELETED, CTL_COUNT(deleted), CTL_COUNT(keep), NULL);
    tell_daemon(ctl, to, why);
    free(to);
    return *why ? ctl_error(ctl, CTL_FAILED, "%s", why) : CTL_DONE;
}

static enum ctl_status copy_to(struct ctl *ctl, const char *path, const char *to) {
    char why[STORE_WHY_SIZE] = "";
    if (!make_copy(ctl, path, to, why, sizeof why))
        return ctl_error(ctl, CTL_FAILED, "%s", why);
    print_copy(ctl, to);
    return CTL_DONE;
}

static bool read_keep(const char *text, size_t *keep) {
    char *end = NULL;
    long number = text ? strtol(text, &end, 10) : 30;
    *keep = number > 0 ? (size_t)number : 0;
    return number > 0 && (!text || (end != text && *end == '\0'));
}

static enum ctl_status backup(struct ctl *ctl, const struct ctl_arguments *given) {
    const char *folder = ctl_option(given, "--into"), *keep_text = ctl_option(given, "--keep");
    size_t keep = 0;
    if ((given->count == 1) == (folder != NULL) || (keep_text && !folder))
        return ctl_error(ctl, CTL_WRONG_USE,
                         "name a new FILE, or a folder: backup --into FOLDER [--keep N]");
    if (!read_keep(keep_text, &keep))
        return ctl_error(ctl, CTL_WRONG_USE, "--keep: \"%s\" is not allowed; allowed: 1 or more",
                         keep_text);
    char *path = store_path(ctl);
    if (!path)
        return ctl->settings ? CTL_FAILED : CTL_WRONG_USE;
    enum ctl_status status =
        folder ? copy_into(ctl, path, folder, keep) : copy_to(ctl, path, given->operands[0]);
    free(path);
    return status;
}

/* ---- back again ---- */

static void print_restored(const struct ctl *ctl, const char *path, const char *from,
                           const char *kept) {
    if (ctl->json) {
        ctl_print_json(json_pack("{s:s, s:s, s:s?}", "store", path, "from", from, "kept",
                                 *kept ? kept : NULL));
        return;
    }
    ctl_tell(ctl, PAGE_TOOL_RESTORED, path, from, NULL);
    if (*kept)
        ctl_tell(ctl, PAGE_TOOL_STORE_BEFORE, kept, NULL);
    ctl_tell(ctl, PAGE_TOOL_START_DAEMON, NULL);
}

static enum ctl_status restore(struct ctl *ctl, const struct ctl_arguments *given) {
    char kept[RESTORE_KEPT_SIZE], why[STORE_WHY_SIZE] = "";
    const char *from = given->operands[0];
    char *path = store_path(ctl);
    if (!path)
        return ctl->settings ? CTL_FAILED : CTL_WRONG_USE;
    enum store_status done =
        restore_store(path, from, clock_wall_ms(), show_restore, NULL, kept, why, sizeof why);
    enum ctl_status status = CTL_DONE;
    ctl_progress("", -1.0);
    if (done == STORE_OK) {
        print_restored(ctl, path, from, kept);
        status = enrolled_kept_restore(ctl, path);
    } else if (done == STORE_LOCKED)
        status = ctl_error(ctl, CTL_FAILED,
                           "%s: the daemon runs; stop it first: systemctl stop subslabd", path);
    else
        status = ctl_error(ctl, CTL_FAILED, "%s", why);
    free(path);
    return status;
}

const struct ctl_command ctl_store_commands[] = {
    {"verify", "", "checks the store: integrity, and hourly sums", "The daemon may run meanwhile.",
     verify},
    {"backup", "FILE | --into FOLDER [--keep N]", "copies the store while the daemon runs",
     "FILE must not exist yet. --into makes a copy with the time in its name, and deletes the "
     "oldest when there are more than N (30). `restore` puts a copy back.",
     backup},
    {"restore", "FILE [--json]", "puts a copy in the place of the store",
     "The daemon must be stopped. The copy is checked first, and brought to the form of this "
     "version; the store of before is kept beside it. What came in since the copy was made is "
     "not in it: see \"RESTORING\" in subslabd(8).",
     restore},
    {0},
};
