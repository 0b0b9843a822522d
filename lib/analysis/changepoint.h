/*
 * changepoint: did a series step to another level, and where? One break, found by
 * least squares.
 *
 * Both p-values hold for independent values. Daily values follow each other, which makes a
 * wandering series look like a step, so each result also has p_autocorrelated: the test statistic
 * is shrunk by (1 + r1) / (1 - r1), r1 the lag-1 autocorrelation of what is left after taking out
 * the two levels, freed of its bias and at least 0. Pure; scratch memory is taken and freed inside;
 * results are written only on CHANGEPOINT_OK and are finite.
 */
#ifndef ANALYSIS_CHANGEPOINT_H
#define ANALYSIS_CHANGEPOINT_H

#include <stddef.h>

#define CHANGEPOINT_LEAST 10

enum changepoint_status {
    CHANGEPOINT_OK = 0,
    CHANGEPOINT_TOO_SHORT,    /* fewer than 10 values, or 2 segments don't fit */
    CHANGEPOINT_CONSTANT,     /* all values equal: there is no break */
    CHANGEPOINT_NOT_FINITE,   /* a NaN or an infinity */
    CHANGEPOINT_OUT_OF_RANGE, /* least share of a segment outside 0..0.5 */
    CHANGEPOINT_NO_MEMORY
};

struct changepoint {
    size_t n;
    size_t before;    /* values before the break; values[before] is the first after */
    double statistic; /* F */
    double mean_before, mean_after;
    double residual_squares; /* around the two means */
    double r1;               /* of the residuals; 0 or more */
    double p_value;          /* as if independent, 0..1 */
    double p_autocorrelated;
};

/**
 * The break with the least residual sum of squares, each side at least `least_share` of the values
 * (0.15 by custom, and never fewer than 2). statistic = F = (total - residual) / (residual /
 * (n - 2)). p of the largest of all the F, which is no ordinary F: the approximation
 *   p = x phi(x) ((1 - 1/x^2) ln((1 - e)^2 / e^2) + 4/x^2), x = sqrt(F), e = least_share,
 * of Csorgo & Horvath, Limit Theorems in Change-Point Analysis (1997), eq. 1.3.26 (from memory),
 * phi the normal density; 1 for x below 1.5, where it doesn't hold.
 */
enum changepoint_status changepoint_least_squares(const double *values, size_t n,
                                                  double least_share, struct changepoint *result);

#endif
