/*
 * backup_folder: dated copies of a store in one folder, "subslab-20261130T013000Z.db"; the oldest
 * go when there are more than are kept.
 */
#ifndef DAEMON_TOOL_BACKUP_FOLDER_H
#define DAEMON_TOOL_BACKUP_FOLDER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/** FOLDER/NAME-TIME.db for a copy of the store `path`, made now; the caller frees. NULL: out of
    memory. */
char *backup_folder_name(const char *folder, const char *path, int64_t now_ms);

/**
 * Deletes the oldest copies of the store `path` beyond `keep`. Nothing else in the folder is
 * touched. False with errno; *deleted counts those that went.
 */
bool backup_folder_thin(const char *folder, const char *path, size_t keep, size_t *deleted);

#endif
