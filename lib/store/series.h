/*
 * series: readings, hourly rollups and daily values of points in the store.
 *
 * A reading stands for the time since the one before, at most one interval of its point. That span
 * is shared among the hours it covers, so that an hour's `value_ms` and `covered_ms` add up exactly
 * over any number of whole hours.
 */
#ifndef STORE_SERIES_H
#define STORE_SERIES_H

#include "measure/reading.h"
#include "pack/hour_rollup.h"
#include "store/store.h"

/** Row number of a point: made on first use, stable for good. */
enum store_status series_key(struct store *store, const char *system, const char *point,
                             int64_t *key);
/** The same without making one: STORE_NOT_FOUND. */
enum store_status series_find(struct store *store, const char *system, const char *point,
                              int64_t *key);

/**
 * Tells how often a point reports: up to this long a reading stands for the time before it. Kept
 * with the point, so that the operator tool's check can judge rollups without the settings. Cheap
 * when nothing changed; call it at start and when the settings changed, before readings arrive.
 */
enum store_status series_set_interval(struct store *store, int64_t key, int64_t interval_ms);
/** The interval last told, 0 when none was. STORE_NOT_FOUND: no such point. */
enum store_status series_interval(struct store *store, int64_t key, int64_t *interval_ms);

enum series_append { SERIES_NEW, SERIES_SAME, SERIES_CONFLICT };

/** Where a reading came from; kept with it. */
enum series_origin { SERIES_FROM_SENSOR, SERIES_FROM_IMPORT, SERIES_BY_HAND };

/**
 * Adds one reading. `certainly_new` (the time is after the newest of its point) skips the look for
 * a twin. *result tells a repeat (equal value) from a conflict (other value; the first is kept).
 */
enum store_status series_append(struct store *store, int64_t key, const struct reading *reading,
                                enum series_origin origin, bool certainly_new,
                                enum series_append *result);

/**
 * While a broker's backlog comes in: readings that are `certainly_new` are written in the order in
 * which they come, and put into their places many of a point at once. Nobody who reads sees a
 * difference; nothing is packed or deleted for age until all have gone.
 */
void series_gather(struct store *store, bool gathers);
/**
 * Puts about `most` gathered readings into their places when no more are gathered, when there is no
 * more room for them, or when `all` are to go. *more: call again soon.
 */
enum store_status series_place(struct store *store, int most, bool all, bool *more);

/* Hours with from <= hour < to; none when both are equal. */
struct series_span {
    int64_t from_ms, to_ms;
};

/**
 * Adds readings of the past in bulk: of one point, in order of time, each later than what the point
 * has. UTC days that end by `before_ms`, and behind which there is another reading among these, are
 * packed at once together with their hours; the rest lies as with series_append. The hours in
 * *rolled are put, those of the packs and of days between without readings: nobody needs to.
 */
enum store_status series_load(struct store *store, int64_t key, const struct reading *readings,
                              size_t count, enum series_origin origin, int64_t before_ms,
                              struct series_span *rolled);

/** Newest reading of a point: STORE_NOT_FOUND when there is none. */
enum store_status series_newest(struct store *store, int64_t key, struct reading *reading);

/** Newest reading before an instant: STORE_NOT_FOUND when there is none. */
enum store_status series_before(struct store *store, int64_t key, int64_t time_ms,
                                struct reading *reading);

/** Oldest reading at or after an instant: STORE_NOT_FOUND when there is none. */
enum store_status series_after(struct store *store, int64_t key, int64_t time_ms,
                               struct reading *reading);

/**
 * Readings with from <= time < to in order of time, at most `capacity`; *count is set to how many.
 * To page on, ask again from the last time + 1.
 */
enum store_status series_read(struct store *store, int64_t key, int64_t from_ms, int64_t to_ms,
                              struct reading *readings, size_t capacity, size_t *count);

/**
 * A packed day that is damaged reads as if the point had been silent that day: its readings and
 * hours are missing, all others are there. Nobody who reads fails for it. Each such day that a
 * reader came upon is handed out once after each opening, at most some dozens of them; false: no
 * more. `day_ms` is the start of the UTC day.
 */
bool series_damage_next(struct store *store, int64_t *key, int64_t *day_ms);
/** How often readers came upon damaged days: grew it while you read, then what you got has gaps. */
uint64_t series_damage_met(const struct store *store);

/** Writes (inserts or replaces) one rollup; one without readings and cover says there is none. */
enum store_status series_hour_put(struct store *store, int64_t key, const struct series_hour *hour);

/** Rollups with from <= hour < to, in order, at most `capacity`. */
enum store_status series_hours(struct store *store, int64_t key, int64_t from_ms, int64_t to_ms,
                               struct series_hour *hours, size_t capacity, size_t *count);

/**
 * Computes the rollups of all hours touched by [from, to] anew from the readings; an hour without
 * any loses its row. After a reading that came late at `t`, ask for [t - interval, t + interval]:
 * it has hours of its own, and it shortens the span of the reading after it. Hours whose readings
 * have been deleted for age are left as they are.
 */
enum store_status series_hours_rebuild(struct store *store, int64_t key, int64_t interval_ms,
                                       int64_t from_ms, int64_t to_ms);

struct series_day {
    int64_t local_day; /* days since 1970-01-01 on the calendar of the system's time zone */
    int64_t start_ms, end_ms;
    int64_t count;
    double median; /* of the readings of the day */
    double mean;   /* time-weighted */
    int64_t covered_ms;
};

/** Writes one daily row. */
enum store_status series_day_put(struct store *store, int64_t key, const struct series_day *day);
/** Daily rows with from <= day < to, in order, at most `capacity`. */
enum store_status series_days(struct store *store, int64_t key, int64_t from_day, int64_t to_day,
                              struct series_day *days, size_t capacity, size_t *count);
/** Newest daily row: STORE_NOT_FOUND when there is none. */
enum store_status series_newest_day(struct store *store, int64_t key, int64_t *local_day);
/** Forgets daily rows with from <= day <= to, so that they are computed anew. */
enum store_status series_days_forget(struct store *store, int64_t key, int64_t from_day,
                                     int64_t to_day);

/**
 * Packs readings and hours of UTC days that end by `before_ms` (of any point) as day_pack.h and
 * day_hours.h describe, oldest first: a day at a time, or a part of one with more readings than
 * `most_rows`, until so many are done (less than twice as many) or some hundred points have been
 * looked at; the next call goes on there. *packed tells how many rows of readings and hours went.
 * Call again soon while it is not 0, else now and then. Nobody who reads sees a difference;
 * readings and hours that come for a packed day are kept beside it and packed in their turn.
 */
enum store_status series_pack(struct store *store, int64_t before_ms, int most_rows, int *packed);

/** A point whose readings series_expire leaves so much longer than those of others. */
struct series_longer {
    int64_t key, longer_ms;
};
/** From now on these alone, in the order of their keys; they are copied. */
enum store_status series_keep_longer(struct store *store, const struct series_longer *points,
                                     size_t count);

/**
 * Deletes about `most` readings older than `before_ms` (of any point), hours and days are kept. A
 * packed day goes as a whole, once all of it is older. *deleted tells how many. A round over all
 * points takes a call for some hundred of them; a new one begins when something has become too old,
 * and until then a call costs nothing. Call again soon while *deleted is not 0, else now and then.
 */
enum store_status series_expire(struct store *store, int64_t before_ms, int most, int *deleted);

/** Number of readings in all; counted cheaply. */
enum store_status series_count(struct store *store, int64_t *readings);

#endif
