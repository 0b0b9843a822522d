/*
 * enrolled_kept: the files of enrolled systems within copies of the store.
 */
#ifndef DAEMON_TOOL_ENROLLED_KEPT_H
#define DAEMON_TOOL_ENROLLED_KEPT_H

#include "host/enrolled_files.h"
#include "store/kept_files.h"
#include "tool/ctl.h"

/** Starts as {0}. */
struct enrolled_kept {
    struct enrolled_list list;
    struct kept_file *items;
    struct kept_files files; /* the same, for store_backup */
};

/** Reads the folder enrolled_systems, if the settings name one. False with a sentence in `why`. */
bool enrolled_kept_read(struct enrolled_kept *kept, const struct settings *settings, char *why,
                        size_t why_size);
void enrolled_kept_clear(struct enrolled_kept *kept);

/**
 * Puts the files that a restored store brought along back into the folder, and out of the store. A
 * file that is there stays as it is. Says what it did.
 */
enum ctl_status enrolled_kept_restore(struct ctl *ctl, const char *store_path);

#endif
