/*
 * series_packed: readings of a point in order, whether they lie as rows or in packed days. Private
 * to lib/store.
 *
 * A damaged pack is passed over as if the day had no packed readings, and noted for
 * series_damage_next; where it matters (see below) it answers STORE_DAMAGED with the day in
 * store_error. The handle stays usable, for everything else in the store is sound.
 */
#ifndef STORE_SERIES_PACKED_H
#define STORE_SERIES_PACKED_H

#include "pack/day_pack.h"
#include "store/series.h"
#include "store/store_sqlite.h"

/* A day unpacked, kept until another is: who reads on in the same day need not unpack it again. */
struct series_unpacked {
    struct day_pack_label label;
    unsigned char *bytes; /* the pack it was made from */
    size_t size;          /* 0: holds nothing */
    struct reading *readings;
    unsigned char *origins;
    size_t count;
};

/** Notes a day that cannot be read, for series_damage_next. */
void series_packed_note_damage(struct store *store, const struct day_pack_label *label);

/**
 * Unpacks the pack in `column` of a row. *day is borrowed until the next call with the same use.
 * STORE_DAMAGED: see above.
 */
enum store_status series_unpack(struct store *store, enum store_unpacked_use use,
                                const struct day_pack_label *label, sqlite3_stmt *row, int column,
                                const struct series_unpacked **day);

/** Index of the first reading at or after an instant. */
size_t series_unpacked_find(const struct series_unpacked *day, int64_t time_ms);

/* Readings of one point with from <= time < to. One at a time in a store. */
struct series_cursor {
    struct store *store;
    int64_t key, from_ms, to_ms;
    sqlite3_stmt *rows, *packs; /* NULL when at the end */
    struct reading row;         /* the next of `rows` */
    int64_t pack_from_ms;       /* of `packs`; unpacked when `day` is not NULL */
    const struct series_unpacked *day;
    size_t next, end; /* in `day` */
};
enum store_status series_cursor_open(struct series_cursor *cursor, struct store *store, int64_t key,
                                     int64_t from_ms, int64_t to_ms);
/** STORE_NOT_FOUND at the end. */
enum store_status series_cursor_next(struct series_cursor *cursor, struct reading *reading);
void series_cursor_close(struct series_cursor *cursor);

/**
 * Neighbours among packed days. `bound_ms`: one beyond it is of no use, so do not unpack for it.
 */
enum store_status series_packed_before(struct store *store, int64_t key, int64_t time_ms,
                                       int64_t bound_ms, struct reading *reading);
enum store_status series_packed_after(struct store *store, int64_t key, int64_t time_ms,
                                      int64_t bound_ms, struct reading *reading);

/**
 * The packed reading of exactly this instant; STORE_NOT_FOUND when there is none, STORE_DAMAGED
 * when that cannot be told.
 */
enum store_status series_packed_at(struct store *store, int64_t key, int64_t time_ms,
                                   struct reading *reading);

/**
 * The pack whose part of its day has an instant in it: column 0 of *pack, 1: where the part begins.
 * Reset it. STORE_NOT_FOUND (already reset): not packed.
 */
enum store_status series_pack_at(struct store *store, int64_t key, int64_t time_ms,
                                 sqlite3_stmt **pack);

/* What a pack holds: readings of one day, from a part of it on. */
struct series_piece {
    int64_t from_ms;
    const struct reading *readings;
    const unsigned char *origins;
    size_t count;
};
/** Writes a pack, once it has been unpacked and compared. STORE_NOT_FOUND: it does not come back as
    it was, nothing is written. */
enum store_status series_pack_write(struct store *store, const struct day_pack_label *label,
                                    const struct series_piece *piece);

/** A day is packed that may be later than all before: readings of it are looked for in packs. */
enum store_status series_pack_note_day(struct store *store, int64_t day);

/** Retention rests until something is too old: this may be the oldest. */
void series_note_oldest(struct store *store, int64_t oldest_ms);

/** Where the part of a day ends that has an instant in it: at the next pack or with the day. */
enum store_status series_pack_part_end(struct store *store, int64_t key, int64_t time_ms,
                                       int64_t *end_ms);

/** Start and end of the UTC day of an instant. */
int64_t series_day_start(int64_t time_ms);
int64_t series_day_end(int64_t time_ms);

/** Key of the next point after *key; STORE_NOT_FOUND behind the last. */
enum store_status series_next_point(struct store *store, int64_t *key);

/** STORE_DAMAGED when a pack of the days from … to cannot be read. */
enum store_status series_packed_check(struct store *store, int64_t key, int64_t from_ms,
                                      int64_t to_ms);

/**
 * Deletes the oldest pack if its day ends by `before_ms`: *count readings up to *last_ms.
 * STORE_NOT_FOUND: there is none; *until_ms is the last instant of the oldest's day, INT64_MAX: no
 * pack.
 */
enum store_status series_packed_expire(struct store *store, int64_t key, int64_t before_ms,
                                       int64_t *last_ms, int64_t *count, int64_t *until_ms);

#endif
