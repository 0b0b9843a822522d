#include "tool/backup_folder.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static const char ending[] = ".db";
enum { STAMP_LENGTH = 16 }; /* 20261130T013000Z */

/* "subslab" of "/var/lib/subslabd/subslab.db". */
static int stem_of(const char *path, const char **stem) {
    const char *slash = strrchr(path, '/'), *name = slash ? slash + 1 : path;
    const char *dot = strrchr(name, '.');
    *stem = name;
    return (int)(dot && dot > name ? (size_t)(dot - name) : strlen(name));
}

char *backup_folder_name(const char *folder, const char *path, int64_t now_ms) {
    const char *stem;
    int length = stem_of(path, &stem);
    time_t seconds = (time_t)(now_ms / 1000);
    struct tm utc = {0};
    char stamp[STAMP_LENGTH + 16], *name = NULL;
    gmtime_r(&seconds, &utc);
    strftime(stamp, sizeof stamp, "%Y%m%dT%H%M%SZ", &utc);
    return asprintf(&name, "%s/%.*s-%s%s", folder, length, stem, stamp, ending) < 0 ? NULL : name;
}

/* The store whose copies are looked for; scandir gives its filter no context. */
static _Thread_local const char *copies_of;

static int is_copy(const struct dirent *entry) {
    const char *stem, *name = entry->d_name;
    size_t length = (size_t)stem_of(copies_of, &stem);
    if (strncmp(name, stem, length) != 0 || name[length] != '-')
        return 0;
    const char *stamp = name + length + 1;
    for (int i = 0; i < STAMP_LENGTH; i++) {
        char wanted = i == 8 ? 'T' : i == STAMP_LENGTH - 1 ? 'Z' : '0';
        if (wanted == '0' ? stamp[i] < '0' || stamp[i] > '9' : stamp[i] != wanted)
            return 0;
    }
    return strcmp(stamp + STAMP_LENGTH, ending) == 0;
}

static bool delete_copy(const char *folder, const char *name) {
    char *path = NULL;
    if (asprintf(&path, "%s/%s", folder, name) < 0)
        return false;
    bool done = unlink(path) == 0;
    int error = errno;
    free(path);
    errno = error;
    return done;
}

bool backup_folder_thin(const char *folder, const char *path, size_t keep, size_t *deleted) {
    struct dirent **entries = NULL;
    copies_of = path;
    *deleted = 0;
    int count = scandir(folder, &entries, is_copy, alphasort); /* so the oldest comes first */
    bool done = count >= 0;
    for (int i = 0; i < count; i++) {
        if (done && (size_t)(count - i) > keep) {
            done = delete_copy(folder, entries[i]->d_name);
            *deleted += done;
        }
        free(entries[i]);
    }
    free(entries);
    return done;
}
