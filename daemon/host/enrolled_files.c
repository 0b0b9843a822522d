/*
 * Each is written under a name that is not read (.NAME.new) and gets its own when all are on the
 * disk. All are written before the first is waited for, so that the file system makes one commit of
 * them. What a killed daemon leaves under the other name is written over.
 */
#include "host/enrolled_files.h"

#include "host/fleet_files.h"
#include "measure/array.h"
#include "store/new_name.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char *path_of(const char *folder, const char *before, const char *name, const char *behind) {
    const char *slash = folder[strlen(folder) - 1] == '/' ? "" : "/";
    char *path = NULL;
    return asprintf(&path, "%s%s%s%s%s", folder, slash, before, name, behind) < 0 ? NULL : path;
}

char *enrolled_files_path(const char *folder, const char *name) {
    return path_of(folder, "", name, "");
}

static char *draft_path(const char *folder, const char *name) {
    return path_of(folder, ".", name, ".new");
}

static bool write_bytes(int file, const char *bytes, size_t length) {
    while (length > 0) {
        ssize_t wrote = write(file, bytes, length);
        if (wrote < 0 && errno == EINTR)
            continue;
        if (wrote < 0)
            return false;
        bytes += wrote;
        length -= (size_t)wrote;
    }
    return true;
}

/* What root puts back belongs to whom the folder around it belongs to, or the daemon could not read
   it. */
static bool give_away(const char *path, const char *around) {
    struct stat about;
    return geteuid() != 0 ||
           (stat(around, &about) == 0 && lchown(path, about.st_uid, about.st_gid) == 0);
}

static bool make_folder(const char *folder) {
    char *around = path_of(folder, "", "..", "");
    bool good = around && (mkdir(folder, 0750) == 0 ? give_away(folder, around) : errno == EEXIST);
    int reason = errno;
    free(around);
    errno = reason;
    return good;
}

static bool write_draft(const char *folder, const char *path, const struct enrolled_file *one) {
    unlink(path);
    int file = open(path, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0640);
    if (file < 0)
        return false;
    bool good = give_away(path, folder) && write_bytes(file, one->text, one->length);
    int reason = errno;
    sync_file_range(file, 0, 0, SYNC_FILE_RANGE_WRITE); /* begins; new_name_sync waits for it */
    good &= close(file) == 0;
    if (!good)
        errno = reason;
    return good;
}

enum step { DRAFT, SYNC, NAME, TAKE_BACK };

/* One step for one file. False with errno. */
static bool do_step(enum step step, const char *folder, const struct enrolled_file *one) {
    char *draft = draft_path(folder, one->name), *path = enrolled_files_path(folder, one->name);
    bool good = draft && path;
    if (!good)
        errno = ENOMEM;
    else if (step == DRAFT)
        good = write_draft(folder, draft, one);
    else if (step == SYNC)
        good = new_name_sync(draft);
    else if (step == NAME)
        good = new_name_take(draft, path);
    else
        unlink(path);
    int reason = errno;
    if (draft && (!good || step == TAKE_BACK))
        unlink(draft);
    free(draft);
    free(path);
    errno = reason;
    return good;
}

/* Does the step for all; returns for how many it was done. */
static size_t do_all(enum step step, const char *folder, const struct enrolled_file *files,
                     size_t count) {
    size_t done = 0;
    while (done < count && do_step(step, folder, &files[done]))
        done++;
    return done;
}

static void say_why(const char *folder, const char *name, char *why, size_t why_size) {
    if (errno == EEXIST)
        snprintf(why, why_size, "%s: a file %s is there already; allowed: an id of its own", folder,
                 name);
    else
        snprintf(why, why_size,
                 "%s: %s cannot be written: %s; allowed: a folder that the daemon may write",
                 folder, name, strerror(errno));
}

bool enrolled_files_write(const char *folder, const struct enrolled_file *files, size_t count,
                          char *why, size_t why_size) {
    if (!make_folder(folder)) {
        snprintf(why, why_size,
                 "%s: the folder cannot be made: %s; make it, for the daemon to write", folder,
                 strerror(errno));
        return false;
    }
    size_t drafts = do_all(DRAFT, folder, files, count);
    size_t synced = drafts == count ? do_all(SYNC, folder, files, count) : 0;
    size_t named = synced == count ? do_all(NAME, folder, files, count) : 0;
    if (named == count && new_name_sync(folder))
        return true;
    size_t bad = drafts < count ? drafts : synced < count ? synced : named < count ? named : 0;
    say_why(folder, files[bad].name, why, why_size);
    do_all(TAKE_BACK, folder, files, named);
    for (size_t i = named; i < drafts; i++) {
        char *draft = draft_path(folder, files[i].name);
        if (draft)
            unlink(draft);
        free(draft);
    }
    return false;
}

/* ---- reading ---- */

void enrolled_files_clear(struct enrolled_list *list) {
    for (size_t i = 0; i < list->count; i++) {
        free((char *)(uintptr_t)list->items[i].name);
        free((char *)(uintptr_t)list->items[i].text);
    }
    free(list->items);
    *list = (struct enrolled_list){0};
}

static bool read_file(const char *folder, const char *name, struct enrolled_list *list) {
    struct enrolled_file *items = array_room(list->items, list->count, sizeof *items);
    char *path = enrolled_files_path(folder, name), *copy = strdup(name), *text = NULL;
    size_t length = 0;
    if (items)
        list->items = items;
    if (items && path && copy)
        text = fleet_files_read(path, FLEET_FILES_BYTES_MAX, &length);
    free(path);
    if (!text) {
        int reason = errno;
        free(copy);
        errno = reason;
        return false;
    }
    items[list->count++] = (struct enrolled_file){copy, text, length};
    return true;
}

bool enrolled_files_read(const char *folder, struct enrolled_list *list, char *why,
                         size_t why_size) {
    DIR *directory = opendir(folder);
    bool good = directory || errno == ENOENT;
    const struct dirent *entry;
    while (good && directory && (entry = readdir(directory)))
        good = !fleet_files_is_system(entry->d_name) || read_file(folder, entry->d_name, list);
    if (!good)
        snprintf(why, why_size, "%s: cannot be read (%s); allowed: a folder that can be read",
                 folder, strerror(errno));
    if (directory)
        closedir(directory);
    return good;
}
