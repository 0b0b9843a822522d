/*
 * renewals: when work was done at a system and what it changed, from commissioning records and
 * visits; and so, since when readings are of the system as it is.
 *
 * What a record does not say is taken from what it measured: with the riser's suction measured
 * anew, or for the first time at this system, all is new; else only the points that it names, so
 * that a test hole measured once more ends no average of radon. Pure.
 */
#ifndef MONITOR_RENEWALS_H
#define MONITOR_RENEWALS_H

#include "monitor/monitor.h"

/**
 * Since when radon is that of the house as it is, at or before an instant: the newest work on fan,
 * ground or piping, else the first record. TIMESTAMP_NONE: there is none.
 */
int64_t renewals_house_ms(const struct monitor *monitor, size_t system, int64_t time_ms);

/** The same, or since a monitor was exchanged: since when readings of radon compare. */
int64_t renewals_radon_ms(const struct monitor *monitor, size_t system, int64_t time_ms);

/**
 * The first when work was done after the first record: a repair. TIMESTAMP_NONE: none.
 */
int64_t renewals_repair_ms(const struct monitor *monitor, size_t system, int64_t time_ms);

/**
 * Since when the values of a point are one series: the newest work on fan, ground or piping at or
 * before an instant, or its newest baseline whose record changed what moves it: `gauge` moves
 * pressures, flow and power, `monitor` radon, `nothing` nothing. TIMESTAMP_NONE: no baseline.
 */
int64_t renewals_series_ms(const struct monitor *monitor, size_t point, int64_t time_ms);

#endif
