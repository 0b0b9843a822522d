/*
 * restore: a backup put in the place of the store.
 */
#ifndef STORE_RESTORE_H
#define STORE_RESTORE_H

#include "store/store.h"

#define RESTORE_KEPT_SIZE 4160

/**
 * Puts the backup `from` in the place of the store `path`, which nobody may have open for writing
 * (STORE_LOCKED). Before that a copy of it is opened as the daemon would, brought to today's schema
 * and verified; `from` itself is only read. The store before it is kept under the name that is
 * written into `kept` ("": there was none). At any kill the store is the one before or the new one.
 * On failure the store is as it was, and a sentence is in `why`. `progress` may be NULL.
 */
enum store_status restore_store(const char *path, const char *from, int64_t now_ms,
                                void (*progress)(void *context, double done), void *context,
                                char kept[RESTORE_KEPT_SIZE], char *why, size_t why_size);

#endif
