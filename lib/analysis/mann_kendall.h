/*
 * mann_kendall: is there a monotonic trend? The rank test by Mann and Kendall, plain and for values
 * that follow each other (Hamed & Rao).
 *
 * S counts the pairs that rise less those that fall, by merge sort in O(n log n). Pure; scratch
 * memory is taken and freed inside; results are written only on MANN_KENDALL_OK and are finite.
 */
#ifndef ANALYSIS_MANN_KENDALL_H
#define ANALYSIS_MANN_KENDALL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum mann_kendall_status {
    MANN_KENDALL_OK = 0,
    MANN_KENDALL_TOO_SHORT,    /* fewer than 3 values (seasonal_kendall: no season has 2) */
    MANN_KENDALL_NOT_FINITE,   /* a NaN or an infinity */
    MANN_KENDALL_OUT_OF_RANGE, /* a setting out of range, n above 2^20, or time out of order */
    MANN_KENDALL_NO_MEMORY
};

struct mann_kendall {
    size_t n;
    double s;        /* rising pairs less falling pairs */
    double tau;      /* S / number of pairs (tau-a) */
    double variance; /* of S, after ties and after the factor */
    double factor;   /* for autocorrelation; 1 in the plain test */
    double z;        /* with continuity correction (S - sign S) / sqrt(variance); 0 when S = 0 */
    double p_value;  /* two-sided, normal approximation; 1 when all values are equal */
};

/**
 * Plain test, for values that don't follow each other: Mann, Econometrica 13 (1945) 245; Kendall,
 * Rank Correlation Methods (1970), variance with ties in y and in x. At least 3 values in any
 * order; a constant series is S = 0, p = 1. The normal approximation is customary from n > 10;
 * below it mann_kendall_exact_p says more.
 */
enum mann_kendall_status mann_kendall_test(const double *x, const double *y, size_t n,
                                           struct mann_kendall *result);

/**
 * Exact two-sided p of |S| for n = 2..20 values without ties, by counting permutations by
 * inversions (Kendall 1970; Gilbert 1987, table A18). Out of range gives 1.
 */
double mann_kendall_exact_p(size_t n, double s);

/** How autocorrelation is looked at. All zeros: the defaults. */
struct mann_kendall_lags {
    size_t most;         /* largest lag; 0: the square root of n; SIZE_MAX: n - 1 */
    double significance; /* two-sided, of each lag; 0: 0.05 */
    bool may_shrink;     /* let the factor fall below 1, as published; default: at least 1 */
};

/** Factors of the variance of S for values that follow each other; 1: independent. */
struct mann_kendall_factors {
    double hamed_rao;   /* see below */
    double first_order; /* (1 + rho) / (1 - rho), at least 1 */
};

/**
 * hamed_rao, by Hamed & Rao, J. Hydrology 204 (1998) 182:
 *   1 + 2 / (n (n-1) (n-2)) x sum over lags i of (n-i)(n-i-1)(n-i-2) r_i,
 * r_i the autocorrelation of the ranks of y - slope x at the lags where |r_i| > z / sqrt(n).
 * `slope` is the Theil-Sen slope; x must not fall. Days are laid on a grid of the median step of x,
 * so that a hole in the series does not pass for a step. Unlike the publication only lags up to
 * sqrt(n) count by default and the factor never goes below 1: far lags rest on few pairs, and their
 * chance values, some of them negative, would make a trend look surer than the plain test says.
 *
 * first_order, for a first-order autoregression (Bayley & Hammersley 1946, the inverse of their
 * effective share), with the bias of r1 around a fitted line taken off: rho = (n r1 + 2) / (n - 4),
 * the 1 of Kendall (statistics_unbiased_r1) becoming 2 for the second fitted parameter; held at
 * 0.95.
 *
 * Measured on first-order autoregressions without a trend (2000 runs a cell): share of p < 0.05
 * with the plain test, with hamed_rao and with the larger of the two. Hamed & Rao's estimate is too
 * small in short series, because r_i of detrended values is biased downwards.
 *
 *   n, r1        30, 0.5   91, 0.5  180, 0.5  365, 0.5   91, 0.7  365, 0.7   365, 0
 *   plain           0.22      0.22      0.27      0.24      0.37      0.41    0.05
 *   hamed_rao       0.16      0.12      0.10      0.08      0.15      0.10    0.05
 *   the larger      0.06      0.05      0.06      0.05      0.07      0.05    0.05
 */
enum mann_kendall_status mann_kendall_factors(const double *x, const double *y, size_t n,
                                              double slope, const struct mann_kendall_lags *lags,
                                              struct mann_kendall_factors *factors);

/** Applies a factor (above 0) to a plain result: variance, z and p are computed anew. */
struct mann_kendall mann_kendall_with_factor(const struct mann_kendall *plain, double factor);

#endif
