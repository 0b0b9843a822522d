/*
 * drift: does a positive series fall or rise for good, once what comes and goes is accounted for?
 * For daily values of a mitigation system in its first years, where settling, seasons and the steps
 * of repairs look like a trend.
 *
 * One model, fitted to the logarithms of weekly medians (128 at most; longer ones for more than two
 * and a half years): a line whose slope may have been another until nine months ago; a yearly wave
 * and its second harmonic; settling after the installation, exp(-t/20 d) and exp(-t/60 d); the
 * outdoor temperature where it is known; a level of its own before each step; first-order red noise
 * with white noise on it. What the neighbours had as well (trend_series.common) is taken out
 * first; that a house follows it more or less than they do is a part of the model.
 *
 * Each part has a usual size, its standard deviation a priori (Bayesian linear regression; Gelman
 * et al., Bayesian Data Analysis, 3rd ed. 2013, ch. 14, from memory). So a year need not have
 * passed: while the seasons are unknown they widen the interval of the slope by as much as they
 * usually do, and where they are known by the data they cost nothing. Line and wave that can't be
 * told apart share what is seen, and the line is not sure. The noise is whitened by its innovations
 * (Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, 1989, ch. 3, from
 * memory), its variance estimated with a usual one worth six weeks; nine mixtures of red and white
 * are averaged by their evidence. The wander of a gauge (random walk of 1 % in a year) is added to
 * the variance.
 *
 * A step is a fall of the median of 5 days by more than 4 %, 4.5 times as large as such changes
 * usually are in the series; four of them at most. Steps up are left in: water that comes in a day
 * and drains in months would else leave a fall behind, and left in they only make a fall less sure.
 *
 * Measured (test_drift.c, 60 houses each, asked every week for two years, p < 0.01 and 70 % of the
 * first level within 730 d; days of first-order noise with r1 0.9 and 2 %): told of a flat line 0;
 * settling by 15 % in 45 d 0; a season of 10 % or 15 % that nobody measures 0; wet springs of 15 %
 * 0; two steps of 10 % 1; settling, season and a step together 3. A fall of 12 % a year is told
 * after 399 days in the middle with noise of 1 %, 406 with 2 %, 20 % a year after 343, 20 % a year
 * that begins after a year 174 days later. Before the seasons are known, from some 300 days on, a
 * fall in suction alone can hardly be told from them: a wave of a tenth falls by a fifth in half a
 * year. Pure; results are written only on TREND_OK.
 */
#ifndef ANALYSIS_DRIFT_H
#define ANALYSIS_DRIFT_H

#include "analysis/trend.h"

#define DRIFT_LONGEST_DAYS 1100.0 /* what is older than three years is not looked at */

/** Usual sizes, standard deviations of logarithms. */
struct drift_usual {
    double slope_per_year;
    double season;   /* of each of cosine and sine; 0.3 of it with neighbours, 0.6 with outdoors */
    double settling; /* of each of the two exponentials, on the day of installation */
    double noise;    /* of a week */
    double wander;   /* of the sensor in a year */
};
/** Suction of a system: seasons of some 4 %, in one case of ten 8 % and more; common practice, no
 * source. */
extern const struct drift_usual drift_suction;

/**
 * Fits the model to at least 30 daily values, all above 0; `installed_day`: when settling began, on
 * the scale of the days. In `trend` the slope is that of the last nine months, per year in units of
 * the level at the last day (level_day, level: without season and settling); p_value two-sided, the
 * same as p_value_cautious; the intervals without autocorrelation are those with it.
 * TREND_OUT_OF_RANGE also for a value that is not above 0.
 */
enum trend_status drift_fit(const struct trend_series *series, double installed_day,
                            const struct drift_usual *usual, double confidence,
                            struct trend *trend);

/**
 * May there be a fall at all? False is cheap: the last four weeks are no lower than the whole (true
 * where neighbours are known). A fall that a season hides at present is not told at present.
 */
bool drift_may_fall(const struct trend_series *series);

#endif
