/*
 * period_mean: what a point read on average in some days.
 */
#ifndef DAEMON_API_PERIOD_MEAN_H
#define DAEMON_API_PERIOD_MEAN_H

#include "api/context.h"

#include <stddef.h>

/** The mean over [from, to), SI, NaN when nothing is covered, and the share of the time that
   readings cover. False: they cover too little of it to claim a mean (AVERAGE_LEAST_COVERAGE). */
bool period_mean(const struct api *api, size_t point, int64_t from_ms, int64_t to_ms, double *mean,
                 double *coverage);

#endif
