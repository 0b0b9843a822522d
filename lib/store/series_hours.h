/*
 * series_hours: hours of a point in order, whether they lie as rows, are written down in day_hours
 * or are computed from packed readings. Private to lib/store.
 *
 * Rows count before what is kept of a day, until they go into it.
 */
#ifndef STORE_SERIES_HOURS_H
#define STORE_SERIES_HOURS_H

#include "pack/day_hours.h"
#include "store/series_rollup.h"
#include "store/store_sqlite.h"

/* Hours of one point with from <= hour < to. One at a time in a store. */
struct series_hours_cursor {
    struct store *store;
    int64_t key, from_ms, to_ms;
    bool is_strict;            /* a damaged day ends it; otherwise it is passed over */
    sqlite3_stmt *rows, *days; /* NULL when at the end */
    struct series_hour row;    /* the next of `rows` */
    struct day_pack_label day; /* of `days` */
    bool is_filled;            /* with the hours of that day: */
    struct day_hours_table table;
    unsigned next; /* in it */
};
enum store_status series_hours_open(struct series_hours_cursor *cursor, struct store *store,
                                    int64_t key, int64_t from_ms, int64_t to_ms, bool is_strict);
/** STORE_NOT_FOUND at the end. */
enum store_status series_hours_next(struct series_hours_cursor *cursor, struct series_hour *hour);
void series_hours_close(struct series_hours_cursor *cursor);

/** All hours of a day as readers see them. STORE_DAMAGED: what is kept of it cannot be read. */
enum store_status series_hours_of_day(struct store *store, const struct day_pack_label *label,
                                      struct day_hours_table *seen);

/** Rows of a range of days in order; columns: day, hours (day_hours.h), pack (NULL: none). */
enum store_status series_hours_find_days(struct store *store, int64_t key, int64_t from_day,
                                         int64_t to_day, sqlite3_stmt **days);
/** What is kept of a day, from such a row. STORE_DAMAGED: it cannot be read. */
enum store_status series_hours_read_kept(struct store *store, const struct day_pack_label *label,
                                         sqlite3_stmt *row, struct day_hours *kept);

/** Deletes what lies as rows of the hours from … to (starts of hours); *rows is how many. */
/** Writes a row at once, also while readings of its point wait (series_arrivals.h). */
enum store_status series_hours_put_row(struct store *store, int64_t key,
                                       const struct series_hour *hour);

enum store_status series_hours_delete_rows(struct store *store, int64_t key, int64_t from_hour_ms,
                                           int64_t to_hour_ms, int *rows);

/**
 * Keeps the hours of a day: computed from the one pack that holds it, else written down as `seen`.
 * Not `is_whole` (rows of its readings are left): they are not computed yet. *rows is how many rows
 * of hours went.
 */
enum store_status series_hours_pack(struct store *store, const struct day_pack_label *label,
                                    const struct day_hours_table *seen, bool is_whole, int *rows);

/** Are all readings there that the hours of a day (since 1970) are made of, and can they be
   computed from its pack? */
bool series_hours_can_compute(const struct series_point *info, int64_t day);
/** How the hours of a day with readings from first to last come out of its pack. `before_ms`: of
   the reading before the day, TIMESTAMP_NONE: none; `after`: the one behind it, NULL: none. */
struct day_hours series_hours_plan(const struct day_pack_label *label, int64_t interval_ms,
                                   int64_t before_ms, int64_t first_ms, int64_t last_ms,
                                   const struct reading *after);
/** Keeps that. */
enum store_status series_hours_put_plan(struct store *store, const struct day_pack_label *label,
                                        const struct day_hours *plan);

/** The day's pack is about to go for its age: keeps its hours without it. */
enum store_status series_hours_keep(struct store *store, const struct day_pack_label *label);

#endif
