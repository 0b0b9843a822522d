/*
 * seasonal_kendall: is there a monotonic trend beside the seasons? Values are compared only with
 * values of the same season of other years. Pure; scratch memory is taken and freed inside.
 */
#ifndef ANALYSIS_SEASONAL_KENDALL_H
#define ANALYSIS_SEASONAL_KENDALL_H

#include "analysis/mann_kendall.h"

struct seasonal_kendall {
    size_t n, seasons;              /* values; seasons with at least two of them */
    double s, variance, z, p_value; /* z with continuity correction */
    double tau;                     /* mean of the seasons' tau-a */
    double slope;                   /* median of the slopes within seasons, per unit of x */
    double lower, upper;            /* interval of the slope; see below */
    double heterogeneity; /* chi-squared that seasons differ in trend, seasons - 1 degrees */
};

/**
 * Seasonal Kendall test: Hirsch, Slack & Smith, Water Resour. Res. 18 (1982) 107. Pairs are formed
 * within a season only; S and its variance are summed, seasons taken as independent. season[i] is
 * 0..season_count - 1, at most 366; x rises from year to year (say, 2023, 2024). One value per
 * season and year is meant (the median of a month). The interval is Gilbert's (Statistical Methods
 * for Environmental Pollution Monitoring, 1987, 17.4.1): ranks (N -+ z sqrt(variance)) / 2, the
 * upper one plus 1, interpolated and held within 1..N, of the N slopes. `variance_factor` (1 or
 * more) multiplies the variance of S, for what else makes the values less sure; 1 is the published
 * test. No season with two values: MANN_KENDALL_TOO_SHORT.
 */
enum mann_kendall_status seasonal_kendall_test(const double *x, const double *y,
                                               const int32_t *season, size_t n,
                                               int32_t season_count, double confidence,
                                               double variance_factor,
                                               struct seasonal_kendall *result);

#endif
