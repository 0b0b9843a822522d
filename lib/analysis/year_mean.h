/*
 * year_mean: what the daily means of a part of a year, or of more than one, say of the mean of a
 * whole year, with an interval that holds it.
 *
 * Every month of the calendar counts alike, however many of its days were measured: eighteen months
 * with two winters say no more of winter than twelve do. A month of which 20 days were measured is
 * known, one with fewer in proportion. The estimate is the mean of the months weighted by how far
 * each is known.
 *
 * Standard uncertainty, parts combined by root sum of squares (JCGM 100:2008 5.1.2):
 * - The months that are not known: a yearly wave of amplitude 0.40 and its second harmonic, 0.4 of
 *   that, each as much of it as the months known leave in (a mean over a share f of the year keeps
 *   sin(pi f) / (pi f)), highest on any day of the year: where winter is higher is known of most
 *   houses, not of each, and of no hemisphere here. The amplitude follows from the published
 *   corrections of up to 1.56 for three months and 1.35 for six (Pinel, Fearn, Darby and Miles,
 *   Radiat. Prot. Dosim. 58 (1995) 127), 0.40 and 0.41; the harmonic from weekly values that a wave
 *   explains to 21.2 % and with its harmonic to 24.6 % (Brixworth). Relative standard uncertainty
 *   0.27 with three months known, 0.18 with six, 0.09 with nine. A six-month result of a single
 *   house, its detector's error in it, scatters more: geometric standard deviation 1.36 in 2300
 *   homes (Cliff, Miles and Naismith), all of them houses without a fan.
 * - The days. Their random part as in average.h, times sqrt(1 - n / 365) for n days: a whole year
 *   of days is the year itself, no sample of it (correction for a finite population; Cochran,
 *   Sampling Techniques, 1977, 2.6; from memory).
 * - The monitor: a relative part, and an absolute one for its background.
 * A part in proportion and one that is constant: asinh(relative x / absolute) / relative has a
 * constant standard deviation of 1 (the transform that stabilises such a variance; Rocke and
 * Durbin, J. Comput. Biol. 8 (2001) 557; from memory). On that scale the normal distribution is
 * taken: of a large mean the interval is in ratio, of a small one in difference.
 *
 * It is the year that is measured, not any year: the years of one house differ, by 35 % on average
 * over about a hundred houses in Minnesota (Steck, Health Phys. 70 (1996) Suppl. 6).
 *
 * Pure; results are written only on YEAR_MEAN_OK and are finite.
 */
#ifndef ANALYSIS_YEAR_MEAN_H
#define ANALYSIS_YEAR_MEAN_H

#include <stddef.h>
#include <stdint.h>

#define YEAR_MEAN_LEAST_DAYS 14

enum year_mean_status {
    YEAR_MEAN_OK = 0,
    YEAR_MEAN_TOO_FEW, /* under 14 days */
    YEAR_MEAN_NOT_FINITE,
    YEAR_MEAN_OUT_OF_ORDER,
    YEAR_MEAN_OUT_OF_RANGE, /* a negative uncertainty, or a mean that is not positive */
    YEAR_MEAN_NO_MEMORY
};

/** One sentence for a person; static text. */
const char *year_mean_why(enum year_mean_status status);

struct year_mean_day {
    int64_t local_day; /* days since 1970-01-01 on the house's calendar */
    double mean;       /* of a day that is well covered */
};

struct year_mean_settings {
    double relative; /* standard uncertainty of the monitor: 0.10 for 10 % */
    double absolute; /* and of its background, in the unit of the values */
    double level;    /* the action level, in the unit of the values */
};

struct year_mean {
    double mean, lower, upper;      /* the interval holds the year's mean in 95 of 100 houses */
    double probability_at_or_above; /* that the year's mean is at or above the level */
    size_t days;                    /* used */
    double known_share;             /* of the year's months, 0..1 */
    int quarters_covered;           /* 0..4: of the calendar, known to three quarters or more */
};

/** Days in order, none twice. */
enum year_mean_status year_mean_assess(const struct year_mean_day *days, size_t n,
                                       const struct year_mean_settings *settings,
                                       struct year_mean *year);

#endif
