/*
 * system_diagnosis: what an alarm's system measures, put before diagnosis_make.
 *
 * Measured values are medians of the hours since the condition began (at most the last 7 days); for
 * what began less than an hour ago the newest reading. How long the change took to come is read
 * from hours and days before. Pure.
 */
#ifndef MONITOR_SYSTEM_DIAGNOSIS_H
#define MONITOR_SYSTEM_DIAGNOSIS_H

#include "diagnosis/diagnosis.h"
#include "monitor/history.h"
#include "monitor/monitor.h"

#include <stdbool.h>

/** Has this condition a cause in the system that measurements can tell? */
bool system_diagnosis_applies(enum condition condition);

/**
 * Diagnoses the system of an alarm as of `now_ms` (event time). False when the condition has no
 * such cause.
 */
bool system_diagnosis_make(const struct monitor *monitor, const struct history *history,
                           const struct alarm *alarm, int64_t now_ms, struct diagnosis *diagnosis);

#endif
