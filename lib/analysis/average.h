/*
 * average: time-weighted means with their coverage, their uncertainty and the probability that the
 * true mean is at or above a level.
 *
 * Each reading stands for the time since the one before, at most one interval of its point; the
 * first reading stands for one interval. Longer gaps are not covered. Mean = sum(value x time) /
 * sum(time); coverage = covered time / window. Sums are kept per hour (struct average_bucket); of
 * an hour that a window cuts, the part inside counts in proportion.
 *
 * Uncertainty (JCGM 100:2008), two parts combined by root sum of squares (5.1.2):
 * - Random (type A, 4.2). The days of the window are taken as a sample of the days this house has
 *   under its present conditions: what is asked is whether the house is below the level, not only
 *   whether these days were. So there is no reduction for full coverage; days that were not covered
 *   simply add nothing. Days follow each other, so n days are worth n_eff = n (1 - r1) / (1 + r1),
 *   r1 freed of its small-sample bias (statistics.h); the variance of the mean is
 *   s^2 (n - 1) / (n (n_eff - 1)), which also undoes the bias of s^2 (Bayley & Hammersley 1946;
 *   Zieba, Metrol. Meas. Syst. 17 (2010) 3), s^2 / n for independent days. n_eff is held at 2 or
 *   more.
 * - Calibration (type B, 4.3): relative, default 10 %, and absolute (a background, a zero), the
 *   same for every reading, so it does not shrink with their number.
 * Probability: t distribution with the degrees of freedom of Welch and Satterthwaite (G.4.1), n_eff
 * - 1 for the random part and infinitely many for calibration. With few effective days the normal
 * distribution would claim too much; with many, or when calibration leads, t is the normal one.
 *
 * Pure; results are written only on AVERAGE_OK (see each function) and are finite.
 */
#ifndef ANALYSIS_AVERAGE_H
#define ANALYSIS_AVERAGE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define AVERAGE_HOUR_MS INT64_C(3600000)
#define AVERAGE_DAY_MS INT64_C(86400000)
#define AVERAGE_LEAST_COVERAGE 0.75
#define AVERAGE_LEAST_DAYS 5 /* daily means for an uncertainty */
#define AVERAGE_CALIBRATION_RELATIVE 0.10

/** The windows that are shown; the time since commissioning comes beside them. */
struct average_window {
    const char *name; /* "24 h", "91 d" */
    int64_t length_ms;
};
extern const struct average_window average_windows[];
extern const size_t average_window_count; /* 5: 24 h, 7 d, 30 d, 91 d, 365 d */

enum average_status {
    AVERAGE_OK = 0,
    AVERAGE_NOTHING,      /* nothing covered, or an empty window: there is no mean */
    AVERAGE_TOO_FEW,      /* coverage under 75 %: mean and coverage are written, nothing more */
    AVERAGE_NOT_FINITE,   /* a NaN or an infinity */
    AVERAGE_OUT_OF_ORDER, /* times or buckets out of order, an end before its start */
    AVERAGE_OUT_OF_RANGE, /* a setting out of range, or no room for the result */
    AVERAGE_NO_MEMORY
};

/** One sentence for a person, "too few readings"; static text. */
const char *average_why(enum average_status status);

struct average_reading {
    int64_t time_ms;
    double value;
};

/** Sums of a stretch of time, such as an hour or a day. */
struct average_bucket {
    int64_t start_ms, end_ms; /* end not included */
    double value_ms;          /* sum of value x ms it stands for */
    int64_t covered_ms;       /* at most end - start */
};

/**
 * Sums of raw readings over [from, to). Readings in order of time, equal times allowed (the later
 * one stands for nothing). Give the readings from the last one before `from` (so that the first
 * one's span is known) to the first one at or after `to` (its span reaches back into the window).
 * AVERAGE_OK also when nothing is covered: the sums are 0.
 */
enum average_status average_readings(const struct average_reading *readings, size_t n,
                                     int64_t interval_ms, int64_t from_ms, int64_t to_ms,
                                     struct average_bucket *sum);

/**
 * Sums of buckets over [from, to): buckets in order, not overlapping, holes allowed. A bucket that
 * the window cuts counts in proportion.
 */
enum average_status average_sum(const struct average_bucket *buckets, size_t n, int64_t from_ms,
                                int64_t to_ms, struct average_bucket *sum);

/** What daily means say of the random part of their mean's uncertainty (see above). */
struct average_random {
    double variance; /* of the mean of the days */
    double effective_days;
    double r1; /* lag-1 autocorrelation, bias removed */
};
/**
 * From n daily means (2 or more) and where they stand, 1 apart for neighbours, rising. False when
 * they are not finite.
 */
bool average_random_part(const int64_t *places, const double *means, size_t n,
                         struct average_random *random);

struct average_settings {
    double calibration_relative; /* standard uncertainty, 0.10 for 10 %; 0 or more */
    double calibration_absolute; /* the same in the unit of the values: background, zero; 0 or more
                                  */
    double level;                /* the action level, in the unit of the values */
    double least_coverage;       /* 0.75 by custom */
};

struct average {
    double mean;
    double coverage; /* 0..1 */
    int64_t covered_ms;
    bool seasonal_caution; /* window under 365 days: winter is usually higher */

    bool has_uncertainty; /* false: see why */
    const char *why;      /* text for a person when there is no uncertainty, else NULL */
    size_t days;          /* daily means used: days covered at least to least_coverage */
    double effective_days;
    double r1; /* lag-1 autocorrelation of the days, bias removed */
    double random_uncertainty, calibration_uncertainty;
    double standard_uncertainty;
    double degrees_of_freedom;
    double probability_at_or_above; /* that the true mean is at or above the level */
};

/**
 * Judges a window [from, to). `sum` are its sums, `days` the sums of its days in order (of about
 * 24 h; local days of 23 or 25 h will do). Days whose starts are more than 1.5 days apart are not
 * neighbours for r1. On AVERAGE_TOO_FEW mean, coverage, seasonal_caution and why are written, the
 * rest is 0. On AVERAGE_OK has_uncertainty tells whether the days sufficed.
 */
enum average_status average_assess(const struct average_bucket *sum, int64_t from_ms, int64_t to_ms,
                                   const struct average_bucket *days, size_t day_count,
                                   const struct average_settings *settings,
                                   struct average *average);

/** "Winter is usually higher: ..."; static text for the seasonal caution. */
const char *average_seasonal_text(void);

#endif
