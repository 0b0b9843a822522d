/*
 * fan_fading: does the fan of a system get slower, and when will it be weak? Told from the daily
 * speed ratio (system_series) by the rules of analysis/wear; the limit is the setpoint of fan-weak.
 *
 * A claim is made only where flow and suction are measured. 1 is what the installed sensors showed
 * in the first week after commissioning, whatever the installer's instrument said. Pure.
 */
#ifndef MONITOR_FAN_FADING_H
#define MONITOR_FAN_FADING_H

#include "analysis/wear.h"
#include "monitor/history.h"
#include "monitor/monitor.h"

/**
 * From the local days before `to_day`, by the baselines in force at `known_ms`; `within_days`
 * counts from the start of `to_day`. *wear is written only on WEAR_FOUND. WEAR_NO_MEMORY also when
 * the history failed.
 */
enum wear_status fan_fading_find(const struct monitor *monitor, const struct history *history,
                                 size_t system, int64_t known_ms, int64_t to_day,
                                 double within_days, struct wear *wear);

#endif
