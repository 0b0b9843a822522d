/*
 * neighbours: what the houses of a region have in common (analysis/common_change), for suction,
 * field, radon and water: a table of the days of each region and quantity.
 *
 * A region is the systems that name it (system key `region`), else those of a time zone. Of each
 * system the first point of the quantity counts; of more than 64 such points 64 are taken, evenly
 * from the fleet. With fewer than 8 there is no table.
 *
 * The tables are made from the daily values that are kept anyway, and nothing of them is stored: a
 * start or new settings begin anew, four years back, in pieces. So a value that came after its day
 * was taken in counts from the next such beginning on, or from neighbours_forget; one house among
 * eight hardly moves a median. The newest day that a house can be compared on is the one before the
 * day being judged, because the others' day may still be on its way.
 *
 * Memory: 8 bytes a day, quantity and region, and some 150 bytes a house that counts. Pure.
 */
#ifndef MONITOR_NEIGHBOURS_H
#define MONITOR_NEIGHBOURS_H

#include "analysis/common_change.h"
#include "monitor/fleet.h"
#include "monitor/history.h"

#include <stdbool.h>

#define NEIGHBOURS_DAYS 1461 /* of a table: four years */

struct neighbours;

struct neighbours *neighbours_create(const struct fleet *fleet); /* NULL: out of memory */
void neighbours_destroy(struct neighbours *neighbours);          /* NULL does nothing */

enum neighbours_progress { NEIGHBOURS_READY, NEIGHBOURS_MORE, NEIGHBOURS_FAILED };
/**
 * Brings the tables of a system's region up to before `to_day`, 64 days of one point at a call:
 * MORE means call again. FAILED: the history, or memory.
 */
enum neighbours_progress neighbours_advance(struct neighbours *neighbours,
                                            const struct history *history, size_t system,
                                            int64_t to_day);
/** Compares nobody from now on: every house is judged as if it stood alone. */
void neighbours_set_apart(struct neighbours *neighbours);
/** Begins all tables anew: much of the past has changed. */
void neighbours_forget(struct neighbours *neighbours);

/** Systems of a system's region, itself included, and the name of the region. */
size_t neighbours_systems(const struct neighbours *neighbours, size_t system, const char **region);

/** Name of the i-th region, in order of their names; NULL behind the last. */
const char *neighbours_region(const struct neighbours *neighbours, size_t i);

/**
 * What a point's region did on a day; its change is NaN where it is not known. Of quantities that
 * are not compared too.
 */
struct common_change_day neighbours_on(const struct neighbours *neighbours, size_t point,
                                       int64_t local_day);

/** How much the region had to do with a series of daily values. */
struct neighbours_part {
    bool known;    /* false: too little is known of the region; the rest is nothing */
    size_t houses; /* at the end of the series */
    double change; /* of the region from the first 30 days to the last 7, logarithm */
    struct common_change_response response;
};

/**
 * What a series of daily values (`days` in order: local day, a fraction added or not) shared with
 * its region, as its house follows it: logarithms against a usual day of the region (the median of
 * its days), NaN where the region is not known. Divide each value by exp of it. Unknown as a whole,
 * all of `shared` NaN, when the region is known on fewer than three quarters of the days or fewer
 * than 30.
 *
 * Of suction and field nothing is known before days a year apart can be compared (60 pairs of
 * them), and the region's own line over whole years is not shared when the middle change from one
 * year to the next is more than 0.06: fans that wear alike are no weather, and in the first year
 * nothing tells them apart. The weather of two years may differ by so much (up to 0.055 in
 * simulated regions; judgement, no source).
 *
 * False: out of memory.
 */
bool neighbours_share(const struct neighbours *neighbours, size_t point, const double *days,
                      const double *values, size_t n, double *shared, struct neighbours_part *part);

/** How a house and its region changed over the same time; logarithms of ratios. */
struct neighbours_comparison {
    size_t houses; /* that the region's change is made of */
    int64_t days;
    double own, theirs, uncertainty; /* standard, of theirs */
};
/**
 * Compares what a point reads `now` with its first week from `from_day` on of which the region is
 * known, and the region's week before `to_day` with the same. False: not known over two weeks and
 * more, `now` not above 0, or the history failed.
 */
bool neighbours_compare(const struct neighbours *neighbours, const struct history *history,
                        size_t point, int64_t from_day, int64_t to_day, double now,
                        struct neighbours_comparison *comparison);

#endif
