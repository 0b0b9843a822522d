/*
 * store_support: a folder for a test's store, and batches of readings whose content follows from
 * their number, so that what a store holds can be told from how many batches it kept.
 */
#ifndef STORE_SUPPORT_H
#define STORE_SUPPORT_H

#include "store/series.h"
#include "store/store.h"

#include <stdint.h>

#define BATCH_SIZE 30

/** A new folder under TMPDIR, and a path in it; the last 64 paths stay valid. */
const char *store_test_folder(void);
const char *store_test_path(const char *folder, const char *name);
void store_test_remove(const char *folder);

/** Opens or fails the test. `vfs` may be NULL. */
struct store *store_test_open(const char *path, const char *vfs);

/** Appends batch `number` (0, 1, …) with its rollups in the open transaction. */
enum store_status store_test_append_batch(struct store *store, int64_t number);
/** begin, append, commit. */
enum store_status store_test_write_batch(struct store *store, int64_t number);
/** Fails the test unless the store holds exactly whole batches 0 … n-1; returns n. */
int64_t store_test_count_batches(struct store *store);
/** Fails the test unless store_verify is content. */
void store_test_verify(struct store *store);

#endif
