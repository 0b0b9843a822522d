/*
 * unit_mixup: a sensor whose numbers are in another unit than its point says. Which units
 * instruments show a dimension in, and what their numbers look like when they are taken for the
 * declared one; every pair follows from the table of units. Pure.
 */
#ifndef MEASURE_UNIT_MIXUP_H
#define MEASURE_UNIT_MIXUP_H

#include "measure/unit.h"

/**
 * The i-th unit that instruments show numbers of `declared`'s dimension in, itself and its other
 * spellings left out; NULL behind the last. Which are in use: common practice, no source.
 */
const struct unit *unit_mixup_other(const struct unit *declared, size_t i);

/** What is taken for the truth (SI) when `sent` is taken for `declared`; `si` is the truth. */
double unit_mixup_seen(const struct unit *declared, const struct unit *sent, double si);

#endif
