/*
 * theil_sen: the median of all pair slopes and ranks of it, exact and in O(n log n).
 *
 * n values have N = n (n - 1) / 2 pair slopes: 6.7 million for ten years of days. They are never
 * all computed. How many slopes lie below a trial slope s is the number of inversions of
 * y - s x, which a merge sort counts in O(n log n) (Cole, Salowe, Steiger & Szemeredi, SIAM J.
 * Comput. 18 (1989) 792). A random sample of the slopes that are still possible gives two trial
 * slopes that enclose the wanted rank with few others between them (Dillencourt, Mount & Netanyahu,
 * Int. J. Comput. Geom. Appl. 2 (1992) 1; Matousek, Inf. Process. Lett. 39 (1991) 183); after two
 * or three rounds those few are listed and the wanted one is picked among them. The generator has a
 * fixed seed: equal input, equal result. Given up: slopes nearer to each other than rounding in
 * y - s x (about 1e-15 of the range of y per smallest step of x) may change places.
 *
 * Pure; scratch memory is taken and freed inside. Results are written only on THEIL_SEN_OK and are
 * always finite.
 */
#ifndef ANALYSIS_THEIL_SEN_H
#define ANALYSIS_THEIL_SEN_H

#include <stddef.h>
#include <stdint.h>

enum theil_sen_status {
    THEIL_SEN_OK = 0,
    THEIL_SEN_TOO_SHORT,    /* fewer than 2 points */
    THEIL_SEN_NOT_FINITE,   /* a NaN or an infinity in x, y or a slope */
    THEIL_SEN_SAME_TIME,    /* all x are equal: there is no slope */
    THEIL_SEN_OUT_OF_RANGE, /* confidence outside 0..1, variance factor below 0, n above 2^20 */
    THEIL_SEN_NO_MEMORY
};

struct theil_sen {
    size_t n;
    double slope; /* median of all slopes of pairs with distinct x, unit of y per unit of x */
    double
        intercept; /* median(y) - slope x median(x): Conover, Practical Nonparametric Statistics */
    double median_x, median_y;
    double lower, upper; /* Sen's interval, for values that don't follow each other */
};

/**
 * Fits n points in any order, x irregular, equal x allowed (their pairs have no slope).
 *
 * The interval is that of Sen, J. Am. Stat. Assoc. 63 (1968) 1379, eq. 2.6, with the same ranks as
 * scipy.stats.theilslopes: with N slopes, C = z sqrt(Var S), z the normal quantile of
 * 1 - (1 - confidence) / 2 and Var S less its ties in x and y, the ends are the slopes of rank
 * round((N - C) / 2) - 1 and round((N + C) / 2) counted from 0 (half to even), held in 0..N - 1.
 */
enum theil_sen_status theil_sen_fit(const double *x, const double *y, size_t n, double confidence,
                                    struct theil_sen *fit);

/**
 * The same interval with Var S times a factor (0 or more): the factor of Hamed and Rao
 * (mann_kendall.h) widens it for values that follow each other.
 */
enum theil_sen_status theil_sen_interval(const double *x, const double *y, size_t n,
                                         double confidence, double variance_factor, double *lower,
                                         double *upper);

#endif
