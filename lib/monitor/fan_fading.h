/*
 * fan_fading: does the fan of a branch get slower, and when will it be weak? Told from the daily
 * speed ratio (system_series) by the rules of analysis/wear; the limit is the setpoint of fan-weak.
 *
 * A claim is made only where flow and suction are measured. 1 is what the installed sensors showed
 * in the first week after commissioning, whatever the installer's instrument said.
 *
 * What is usual: the density of soil air goes with the seasons, 0.8 % of the speed (reasoning, no
 * source). The draft of the riser does too, and the gauge shows it as suction: pascals that are
 * next to nothing of a strong fan's and a tenth of a weak one's; speed goes with the root of
 * pressure, so half their share. So does the zero of the gauge, which wanders. Pure.
 */
#ifndef MONITOR_FAN_FADING_H
#define MONITOR_FAN_FADING_H

#include "analysis/wear.h"
#include "monitor/history.h"
#include "monitor/monitor.h"
#include "monitor/system_assessment.h"

/**
 * From the local days before `to_day`, by the baselines in force at `known_ms`; `within_days`
 * counts from the start of `to_day`. *wear is written only on WEAR_FOUND. WEAR_NO_MEMORY also when
 * the history failed.
 */
enum wear_status fan_fading_find(const struct monitor *monitor, const struct history *history,
                                 const struct system_points *points, int64_t known_ms,
                                 int64_t to_day, double within_days, struct wear *wear);

#endif
