/*
 * trend_few: where a handful of readings are heading that are months apart, as of a U-tube that
 * somebody reads twice a year.
 *
 * They are too few for a normal approximation and too far apart to follow each other, so the exact
 * test is the right one: Kendall's distribution of S without ties, which with ties only makes p
 * larger. The slope is the median of all pair slopes; its interval goes from the (N - C + 2) / 2-th
 * smallest to the (N - C + 2) / 2-th largest of these N slopes, C the least S whose two-sided exact
 * probability is at most 1 - confidence (Theil; Hollander & Wolfe, Nonparametric Statistical
 * Methods, 9.3). With more than 20 values both are those of mann_kendall.h and theil_sen.h. Pure.
 */
#ifndef ANALYSIS_TREND_FEW_H
#define ANALYSIS_TREND_FEW_H

#include "analysis/trend.h"

#define TREND_FEW_LEAST 6 /* with five values no order is rarer than 1 in 60 */

/**
 * `confidence` of the interval, 0.95 by custom; only days and values of the series are used.
 * TREND_TOO_SHORT: fewer than six values.
 */
enum trend_status trend_few_fit(const struct trend_series *series, double confidence,
                                struct trend *trend);

/** One sentence for a person, "a trend needs at least 6 readings by hand"; static text. */
const char *trend_few_why(enum trend_status status);

#endif
