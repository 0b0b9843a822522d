/*
 * published_charts: series for control charts.
 * Each source stands beside its data.
 */
#ifndef PUBLISHED_CHARTS_H
#define PUBLISHED_CHARTS_H

#include <stddef.h>

#define PUBLISHED_COUNT(series) (sizeof(series) / sizeof((series)[0]))

/* NIST/SEMATECH e-Handbook 6.3.2.4, 20 values. */
static const double published_handbook_ewma[] = {52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0,
                                                 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3,
                                                 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};

/* NIST/SEMATECH e-Handbook 6.3.2.3, 20 values. */
static const double published_handbook_cusum[] = {
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350};

#endif
