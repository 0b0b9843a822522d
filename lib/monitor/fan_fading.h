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
 * pressure, so half their share. So does the zero of the gauge, which wanders; that of a gauge for
 * velocity pressure and the scale of a flow sensor wander too, and go into the speed as far as the
 * curve lets flow decide it.
 *
 * Power is a second witness where it is measured in watts. It goes with the third power of the
 * speed (fan laws, ANSI/AMCA 99), and neither the draft nor a zero moves it. Where the air says
 * that a share of the speed is lost and the power has moved by less than half that share, up or
 * down, no claim is made: bearings that drag make an induction motor draw more, for the power it
 * takes from the air gap is torque times synchronous speed, and whatever else slows a fan lets it
 * draw less. And where the air has lost at least half of what the cube root of the power has, wear
 * found in that root counts as well; of the density of soil air it knows the third part, not half.
 * Pure.
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
