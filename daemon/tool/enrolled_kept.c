#include "tool/enrolled_kept.h"

#include "host/fleet_files.h"
#include "measure/array.h"
#include "tool/words.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

bool enrolled_kept_read(struct enrolled_kept *kept, const struct settings *settings, char *why,
                        size_t why_size) {
    char *folder =
        settings->enrolled.name ? settings_path(settings, settings->enrolled.name) : NULL;
    if (!settings->enrolled.name)
        return true;
    bool good = folder && enrolled_files_read(folder, &kept->list, why, why_size);
    free(folder);
    kept->items = good ? calloc(kept->list.count + 1, sizeof *kept->items) : NULL;
    for (size_t i = 0; kept->items && i < kept->list.count; i++)
        kept->items[i] = (struct kept_file){kept->list.items[i].name, kept->list.items[i].text,
                                            kept->list.items[i].length};
    kept->files = (struct kept_files){kept->items, kept->items ? kept->list.count : 0};
    return kept->items != NULL;
}

void enrolled_kept_clear(struct enrolled_kept *kept) {
    enrolled_files_clear(&kept->list);
    free(kept->items);
    *kept = (struct enrolled_kept){0};
}

/* ---- back again ---- */

struct files_restoring {
    const char *folder; /* NULL: the settings name none */
    struct enrolled_list missing;
    size_t there, odd;
    bool failed;
};

static bool add_missing(struct files_restoring *restoring, const struct kept_file *file) {
    struct enrolled_list *list = &restoring->missing;
    struct enrolled_file *items = array_room(list->items, list->count, sizeof *items);
    char *name = strdup(file->name), *text = malloc(file->length + 1);
    if (items)
        list->items = items;
    if (!items || !name || !text) {
        free(name);
        free(text);
        return false;
    }
    if (file->length)
        memcpy(text, file->bytes, file->length);
    text[file->length] = '\0';
    items[list->count++] = (struct enrolled_file){name, text, file->length};
    return true;
}

/* A name that leads elsewhere was not written by us. */
static bool take_file(void *context, const struct kept_file *file) {
    struct files_restoring *restoring = context;
    if (!file->name || strchr(file->name, '/') || !fleet_files_is_system(file->name)) {
        restoring->odd++;
        return true;
    }
    if (!restoring->folder) {
        restoring->there++;
        return false; /* stays where it is */
    }
    char *path = enrolled_files_path(restoring->folder, file->name);
    bool there = path && access(path, F_OK) == 0;
    restoring->there += there;
    restoring->failed |= !path || (!there && !add_missing(restoring, file));
    free(path);
    return !restoring->failed;
}

static enum ctl_status write_missing(struct ctl *ctl, const struct files_restoring *restoring) {
    const struct enrolled_list *list = &restoring->missing;
    char why[1024] = "";
    if (restoring->failed)
        return ctl_error(ctl, CTL_FAILED, "out of memory");
    if (list->count &&
        !enrolled_files_write(restoring->folder, list->items, list->count, why, sizeof why))
        return ctl_error(ctl, CTL_FAILED, "%s", why);
    if (!ctl->json && list->count + restoring->there)
        ctl_tell(ctl, PAGE_TOOL_FILES_PUT_BACK, restoring->folder, CTL_COUNT(list->count),
                 CTL_COUNT(restoring->there), NULL);
    return CTL_DONE;
}

enum ctl_status enrolled_kept_restore(struct ctl *ctl, const char *store_path) {
    const char *name = ctl->settings->enrolled.name;
    char *folder = name ? settings_path(ctl->settings, name) : NULL, why[1024] = "";
    struct files_restoring restoring = {.folder = folder};
    enum ctl_status status = CTL_DONE;
    if (kept_files_take(store_path, take_file, &restoring, why, sizeof why) != STORE_OK)
        status = ctl_error(ctl, CTL_FAILED, "%s", why);
    else if (!folder && restoring.there)
        status = ctl_error(ctl, CTL_FAILED,
                           "the copy holds files of enrolled systems, and the settings name no "
                           "folder enrolled_systems; name one and restore once more");
    else
        status = write_missing(ctl, &restoring);
    enrolled_files_clear(&restoring.missing);
    free(folder);
    return status;
}
