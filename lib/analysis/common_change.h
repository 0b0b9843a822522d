/*
 * common_change: what houses that share their weather have in common, day by day.
 *
 * Each house gives the logarithm of its daily value (NaN: none that day). In the two-way table of
 * days and houses, log value = level of the house + common change of the day + what is its own, the
 * parts are found by medians: median polish (Tukey, Exploratory Data Analysis, 1977, chapter 11),
 * which a minority of faulty houses can't pull along; comparing a house with what the others did
 * over the same days is known as difference in differences. Here the polish runs along the days, so
 * that a day says nothing that was not known at its end:
 * - the first levels are the medians of the last 30 values, once 8 houses have so many; the common
 *   change is counted from there. A house that comes later takes the median of 30 days, each less
 *   the common change;
 * - a day's change is the median of log value - level over the houses that gave a value (8 at
 *   least), without those that lie more than three robust standard deviations off: a few that are
 *   always on one side would tilt it slowly;
 * - then each level moves by a fixed small step towards its house (the sign of what was left, times
 *   a 64th of the spread): the stochastic approximation of a median (Robbins and Monro, Annals of
 *   Mathematical Statistics 22 (1951) 400). Left of a median lie as many as right of it, so the
 *   steps add up to nothing and the common change isn't moved by them; but a house that was
 *   repaired, or wears, is no outlier for ever. Time constant about 75 days.
 *
 * A house is not left out of the median it is compared with: among eight, one more moves the median
 * by half the gap to the next house, within its uncertainty. What nearly all houses do year after
 * year, such as ageing alike, is common too, and no comparison can tell it from the weather.
 *
 * Pure; arrays belong to the caller.
 */
#ifndef ANALYSIS_COMMON_CHANGE_H
#define ANALYSIS_COMMON_CHANGE_H

#include <stdbool.h>
#include <stddef.h>

#define COMMON_CHANGE_LEAST 8       /* houses */
#define COMMON_CHANGE_MOST 64       /* houses that one median is made of */
#define COMMON_CHANGE_LEARN_DAYS 30 /* values that a level is learned from */

struct common_change; /* the levels of the houses */

/** For so many houses, 1 to COMMON_CHANGE_MOST. NULL: out of memory. */
struct common_change *common_change_create(size_t houses);
void common_change_destroy(struct common_change *common); /* NULL does nothing */

struct common_change_day {
    double change;               /* logarithm, since the first levels; NaN: fewer than 8 houses */
    double standard_uncertainty; /* of the median: 1.2533 s / sqrt(n), s from the MAD */
    size_t houses;               /* that gave a value */
};

/** Takes in the next day: `logs` holds one value a house. */
void common_change_add(struct common_change *common, const double *logs,
                       struct common_change_day *day);

/** How a house follows the common change. */
struct common_change_response {
    double factor;             /* its change for a common change of 1; held within 0..4 */
    double factor_uncertainty; /* standard */
    double common_per_day;     /* slope of the common change over the house's days, per day */
};

/**
 * Houses follow their weather more or less: log value = a + b time + factor x common + own, by
 * least squares with the values held within 3 robust standard deviations of their line in time. The
 * factor is drawn towards 1 as if a standard deviation of 0.7 were known of it beforehand, and as
 * if only every 30th day were independent, because weather lasts (ridge regression, Hoerl and
 * Kennard, Technometrics 12 (1970) 55; both numbers are judgement, no source). Only days with both
 * finite count. False (and nothing written): fewer than 30 of them, or out of memory.
 */
bool common_change_respond(const double *days, const double *logs, const double *common, size_t n,
                           struct common_change_response *response);

#endif
