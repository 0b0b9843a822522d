/*
 * series_rows: readings of a point that lie as rows, on their way into packs or out of them.
 * Private to lib/store.
 */
#ifndef STORE_SERIES_ROWS_H
#define STORE_SERIES_ROWS_H

#include "store/series.h"
#include "store/store_sqlite.h"

/** In order of time. Starts as {0}. */
struct series_rows {
    struct reading *readings;
    unsigned char *origins;
    size_t count, capacity;
};
/** Makes room for so many in all; false when memory is out, and what there is stands. */
bool series_rows_reserve(struct series_rows *rows, size_t capacity);
void series_rows_free(const struct series_rows *rows);

/** Takes in what lies at from <= time < to, the `most` first of them. */
enum store_status series_rows_read(struct store *store, int64_t key, int64_t from_ms, int64_t to_ms,
                                   int64_t most, struct series_rows *rows);
/** Can they be packed? A value or origin that never came from here would trip the encoder. */
bool series_rows_are_packable(const struct series_rows *rows);
/** One reading that has no twin. */
enum store_status series_rows_insert(struct store *store, int64_t key,
                                     const struct reading *reading, int origin);
/** Deletes what lies from … to; it must be `count`. */
enum store_status series_rows_delete(struct store *store, int64_t key, int64_t first_ms,
                                     int64_t last_ms, size_t count);

#endif
