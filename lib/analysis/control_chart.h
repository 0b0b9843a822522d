/*
 * control_chart: has a series left the level it had? EWMA and tabular CUSUM charts, and a watch for
 a
 * lasting rise of daily means that knows that days follow each other.
 *
 * The plain charts take centre and standard deviation as given and the values as independent
 * (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3 and 6.3.2.4).
 *
 * The watch (control_chart_watch) is an EWMA chart whose limits are widened, not a chart of AR(1)
 * residuals: residuals show a lasting rise only reduced by (1 - r1) after the first day, and the
 page
 * shall show the mean itself. With daily values y of mean m, standard deviation s and lag-1
 * autocorrelation r (all from the time after commissioning), the smoothed value
 * z_t = a y_t + (1 - a) z_(t-1) of a first-order autoregression has the variance
 *   s^2 a / (2 - a) (1 + r (1 - a)) / (1 - r (1 - a))         (Schmid, Metrika 46 (1997) 241)
 * to which s^2 / n_eff is added, because m itself was learned from n_eff effective days. The limit
 * is m + L sqrt(sum), steady from the first day on, and a rise counts only after 7 days above it.
 *
 * Measured by simulation of first-order autoregressions (2000 runs a cell, reference of 90 days,
 * weight 0.1, L = 3; test_control_chart.c measures it anew): share of years in control with a false
 * signal, and median days to the signal after a rise of so many standard deviations.
 *
 *   r1 of the days                     0.0    0.5    0.7
 *   false signal within 365 days     0.004  0.038  0.067
 *   no false signal in ten years     0.94   0.83   0.77
 *   median days to signal, rise 0.5 s   190    660   1530
 *   rise 1 s                             24     66    164
 *   rise 2 s                             11     17     23
 *
 * With a reference of 30 days a false signal within a year comes in 1.3, 7 and 11 of 100 cases.
 * Right-skewed values signal more often (log-normal with a standard deviation of ln of 0.4: 4.5, 14
 * and 20 of 100): give the chart the logarithms of radon values, which brings the table back.
 *
 * Pure; results are written only on CONTROL_CHART_OK and are finite.
 */
#ifndef ANALYSIS_CONTROL_CHART_H
#define ANALYSIS_CONTROL_CHART_H

#include <stdbool.h>
#include <stddef.h>

#define CONTROL_CHART_LEAST_REFERENCE 30 /* daily values that a reference needs */
#define CONTROL_CHART_WEIGHT 0.1
#define CONTROL_CHART_WIDTH 3.0
#define CONTROL_CHART_LASTING 7

enum control_chart_status {
    CONTROL_CHART_OK = 0,
    CONTROL_CHART_TOO_SHORT,   /* no values, or a reference of fewer than 30 days */
    CONTROL_CHART_CONSTANT,    /* a reference without any spread can judge nothing */
    CONTROL_CHART_NOT_FINITE,  /* a NaN or an infinity */
    CONTROL_CHART_OUT_OF_RANGE /* weight outside 0..1, width or spread not above 0 */
};

/** One point of an EWMA chart. */
struct control_chart_ewma {
    double value;        /* z_i = weight y_i + (1 - weight) z_(i-1), z_0 = centre */
    double lower, upper; /* centre -+ width sd sqrt(weight / (2 - weight) x start-up) */
};

/**
 * EWMA chart of n independent values; `points` holds n. `steady` uses the limits of an old chart,
 * otherwise start-up is 1 - (1 - weight)^(2 i) for the i-th value, i from 1. 0 < weight <= 1, width
 * and sd above 0. e-Handbook 6.3.2.4.
 */
enum control_chart_status control_chart_ewma(const double *values, size_t n, double centre,
                                             double sd, double weight, double width, bool steady,
                                             struct control_chart_ewma *points);

/** One point of a tabular CUSUM chart, in the unit of the values. */
struct control_chart_cusum {
    double upper, lower; /* both 0 or more */
};

/**
 * Tabular CUSUM: upper_i = max(0, upper_(i-1) + y_i - target - slack), lower_i the mirror image.
 * `points` holds n; *first is the index of the first value with either above `decision`, or n.
 * slack 0 or more, decision above 0. e-Handbook 6.3.2.3.
 */
enum control_chart_status control_chart_cusum(const double *values, size_t n, double target,
                                              double slack, double decision,
                                              struct control_chart_cusum *points, size_t *first);

/** Level, spread and autocorrelation of the time after commissioning. */
struct control_chart_reference {
    size_t n;
    double mean;
    double sd;             /* bias by autocorrelation removed */
    double r1;             /* 0 or more, bias removed */
    double effective_days; /* that the mean rests on, at least 2 */
};

/** Learns from at least 30 daily values. */
enum control_chart_status control_chart_learn(const double *values, size_t n,
                                              struct control_chart_reference *reference);

struct control_chart_watch {
    double smoothed; /* today's z */
    double limit;
    bool above;   /* z is above the limit today */
    bool lasting; /* and has been for 7 values or more: the signal */
    size_t since; /* index of the first value of the present run above the limit (when above) */
};

/**
 * Judges the daily values after the reference time, in order, holes left out; at least one value.
 * Weight 0.1 and width 3 are the ones whose run lengths stand above.
 */
enum control_chart_status control_chart_watch(const struct control_chart_reference *reference,
                                              const double *values, size_t n, double weight,
                                              double width, struct control_chart_watch *watch);

#endif
