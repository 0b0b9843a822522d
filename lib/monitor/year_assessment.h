/*
 * year_assessment: what a radon point's readings say of the mean of a whole year, of the house as
 * it is: of the last 365 local days at most, and none before the last work on fan, ground or piping
 * (renewals.h). Pure.
 */
#ifndef MONITOR_YEAR_ASSESSMENT_H
#define MONITOR_YEAR_ASSESSMENT_H

#include "analysis/year_mean.h"
#include "monitor/history.h"
#include "monitor/monitor.h"

#include <stdbool.h>

enum year_basis {
    YEAR_BASIS_READINGS,      /* nothing is on record: all readings of the last 365 days */
    YEAR_BASIS_COMMISSIONING, /* since then, less than 365 days */
    YEAR_BASIS_REPAIR,        /* the same */
    YEAR_BASIS_WHOLE_YEAR     /* the last 365 days of a house that did not change in them */
};

struct year_assessment {
    bool known;      /* false: see why */
    const char *why; /* or NULL */
    enum year_basis basis;
    int64_t since_ms; /* start of the first local day that may count */
    struct year_mean year;
};

/** "since the repair" and so on, for `basis` of the API; static text. */
const char *year_basis_text(enum year_basis basis);

/**
 * What makes the sensor suspect, or NULL: for weeks a room reads less than the air outdoors, which
 * has about 10 Bq/m3 (world mean, UNSCEAR 2000, from memory; 0.4 pCi/L in the US, EPA), and which
 * it breathes. Below half of that no background explains it well. Static text.
 */
const char *year_assessment_caution(const struct year_assessment *result);

/** As of the end of the local days before `to_day`. False: the history failed or memory ran out. */
bool year_assessment_make(const struct monitor *monitor, const struct history *history,
                          size_t point, int64_t to_day, struct year_assessment *result);

#endif
