/*
 * verify: is all of a store as it must be?
 */
#ifndef STORE_VERIFY_H
#define STORE_VERIFY_H

#include "store/store.h"

/**
 * Full integrity check: SQLite's own, foreign keys, running totals, and rollups against their
 * readings (points whose interval was told by series_set_interval). Calls `progress` (may be NULL)
 * now and then; each finding is handed to `finding`. STORE_OK when sound, STORE_DAMAGED with
 * findings. Reads one moment of the store, so others may write meanwhile.
 */
enum store_status store_verify(struct store *store,
                               void (*finding)(void *context, const char *text),
                               void (*progress)(void *context, double done), void *context);

#endif
