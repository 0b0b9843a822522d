/*
 * system_series: day by day, what several points of a system tell together, relative to
 * commissioning: speed of the fan, resistance of the ground, coupling of a test hole. Computed from
 * the daily medians that are kept for good, so that the same trend code serves them as serves a
 * point. Days on which suction was below a tenth of its baseline are left out: a fan that stands
 * still tells nothing of its wear. Pure.
 */
#ifndef MONITOR_SYSTEM_SERIES_H
#define MONITOR_SYSTEM_SERIES_H

#include "monitor/assessment.h"
#include "monitor/system_assessment.h"

#include <stdbool.h>

enum system_series_kind {
    /* s / s0 by the fan curve; without a usable one the highest that any curve allows, the larger
       of Q/Q0 and sqrt(p/p0) (fan_ratio_from_bounds), so that a change of the ground is no wear */
    SYSTEM_SERIES_SPEED,
    SYSTEM_SERIES_RESISTANCE, /* K / K0 */
    SYSTEM_SERIES_COUPLING    /* (field / suction) / (the same at commissioning), of one hole */
};

/** Of what the series is made. Borrowed pointers. */
struct system_series_source {
    const struct monitor *monitor;
    const struct history *history;
    const struct system_points *points;
    const struct system_state_of_air *then; /* best the settled one (system_assessment_settled) */
    size_t hole;                            /* SYSTEM_SERIES_COUPLING: its point */
};

/**
 * Daily values of the local days from the baselines in force at `known_ms` up to `to_day`, that day
 * left out. Empty where a point or a baseline is missing, and of the speed where it says nothing
 * (system_assessment_no_speed).
 * Clear with assessment_series_clear. False: the history failed or memory ran out.
 */
bool system_series_read(const struct system_series_source *source, enum system_series_kind kind,
                        int64_t known_ms, int64_t to_day, struct assessment_series *series);

#endif
