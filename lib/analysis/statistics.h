/*
 * statistics: the small tools under averages, trends and charts: location, spread, autocorrelation,
 * distributions and the straight line.
 *
 * Pure arithmetic on arrays of double. Nothing is kept between calls. Every function that can be
 * given bad data returns a status and writes its result only on STATISTICS_OK; no result is ever
 * NaN or infinite. A null pointer for a result is a bug of the caller (assert). Values have the
 * unit of their input; "n" counts values.
 */
#ifndef ANALYSIS_STATISTICS_H
#define ANALYSIS_STATISTICS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum statistics_status {
    STATISTICS_OK = 0,
    STATISTICS_TOO_SHORT,    /* fewer values than the figure needs (an empty array too) */
    STATISTICS_NOT_FINITE,   /* an input is NaN or infinite, or the sums overflow */
    STATISTICS_CONSTANT,     /* all values equal: the figure has no meaning */
    STATISTICS_OUT_OF_RANGE, /* a parameter outside what is allowed, such as a probability of 2 */
    STATISTICS_NO_MEMORY
};

/** True when every value is finite (true for n = 0). */
bool statistics_all_finite(const double *values, size_t n);

/**
 * Running mean and variance: Welford, Technometrics 4 (1962) 419. Start from all zeros. Unlike the
 * sum of squares it stays right when the mean is large beside the spread (NIST StRD NumAcc3, 4).
 */
struct statistics_running {
    uint64_t count;
    double mean;
    double squares; /* sum of squared deviations from the mean */
};
void statistics_running_add(struct statistics_running *running, double value);

struct statistics_summary {
    size_t n;
    double mean;
    double sd; /* with n - 1 */
    double lowest, highest;
};

/** Mean and standard deviation (n - 1) of at least 2 values. */
enum statistics_status statistics_summarize(const double *values, size_t n,
                                            struct statistics_summary *summary);

/**
 * k-th smallest (k from 0, below n) by Floyd and Rivest's selection: expected O(n), also with many
 * ties; reorders `values`. n at least 1, all finite: anything else is a bug of the caller.
 */
double statistics_select(double *values, size_t n, size_t k);

/** Median of at least 1 value (mean of the middle two for even n); reorders `values`. */
enum statistics_status statistics_median_in_place(double *values, size_t n, double *median);

/** The same, leaving `values` alone; needs scratch memory. */
enum statistics_status statistics_median(const double *values, size_t n, double *median);

/**
 * Median absolute deviation from the median, not scaled: times STATISTICS_MAD_TO_SD it estimates
 * the standard deviation of normal data (1 / normal quantile of 0.75).
 */
#define STATISTICS_MAD_TO_SD 1.482602218505602
enum statistics_status statistics_mad(const double *values, size_t n, double *median, double *mad);

/**
 * Quantile of probability 0..1, type 7 of Hyndman & Fan, Am. Statistician 50 (1996) 361: linear
 * between order statistics at (n - 1) p. At least 1 value.
 */
enum statistics_status statistics_quantile(const double *values, size_t n, double probability,
                                           double *quantile);

/**
 * Midranks, 1..n, ties share their mean rank. `ranks` holds n values of the caller.
 */
enum statistics_status statistics_ranks(const double *values, size_t n, double *ranks);

/**
 * Autocorrelation at a lag of at least 1 and below n:
 *   r_k = sum (y_i - mean)(y_(i+k) - mean) / sum (y_i - mean)^2
 * (NIST StRD, Box & Jenkins). A constant series is STATISTICS_CONSTANT.
 */
enum statistics_status statistics_autocorrelation(const double *values, size_t n, size_t lag,
                                                  double *r);

/**
 * The same for a series with holes. `position` tells where each value stands (whole steps, rising
 * strictly); only pairs exactly `lag` steps apart count, and the sum over them is scaled by
 * (n - lag) / pairs, so that without holes it is the formula above. No such pair: TOO_SHORT.
 */
enum statistics_status statistics_autocorrelation_at(const int64_t *position, const double *values,
                                                     size_t n, size_t lag, double *r);

/**
 * Lag-1 autocorrelation freed of its small-sample bias: E[r1] is about rho - (1 + 4 rho) / n
 * (Kendall, Biometrika 41 (1954) 403; Marriott & Pope, same volume 390), so rho = (n r1 + 1) /
 * (n - 4), held within -0.95..0.95. n below 8 gives r1 itself, held the same way.
 */
double statistics_unbiased_r1(double r1, size_t n);

/**
 * Number of independent values that n values with lag-1 autocorrelation r1 are worth,
 * n (1 - r1) / (1 + r1): Bayley & Hammersley, J. R. Stat. Soc. Suppl. 8 (1946) 184, for a
 * first-order autoregression. Held within 1..n: a negative r1 never claims more than n.
 */
double statistics_effective_size(double n, double r1);

/** Normal distribution: P(Z <= z); P(|Z| >= |z|); and the quantile, 0 < probability < 1. */
double statistics_normal_cdf(double z);
double statistics_normal_two_sided(double z);
enum statistics_status statistics_normal_quantile(double probability, double *z);

/**
 * Student's t, degrees of freedom above 0 (not only whole numbers). From the regularized incomplete
 * beta function by its continued fraction (DLMF 8.17.22, Lentz's method). From 1e8 degrees of
 * freedom on the normal distribution is used. statistics_t_cdf with a NaN or degrees <= 0 is a bug
 * of the caller.
 */
double statistics_t_cdf(double t, double degrees);

#endif
