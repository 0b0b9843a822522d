/*
 * daily_private: what the files of daily share, one family of conditions each: daily_fading.c
 * (suction-fading), daily_action.c (radon-above-action), daily_rising.c (radon-rising),
 * daily_field.c (field-reversed), daily_fan.c (fan-weak, fan-fading, ground-changed). What each
 * decides is said in daily.h. Not for anybody else.
 */
#ifndef MONITOR_DAILY_PRIVATE_H
#define MONITOR_DAILY_PRIVATE_H

#include "monitor/daily.h"
#include "monitor/point_state.h"

/** One day being judged. */
struct judged_day {
    struct monitor *monitor;
    const struct history *history;
    const struct fleet *fleet;
    size_t system;
    int64_t local_day, end_ms;
    struct daily_outlook *outlook; /* or NULL */
};

/** The rule of a point's condition, NULL where it has none or it is off. */
const struct condition_rule *daily_rule(const struct judged_day *day, size_t point,
                                        enum condition condition);

/** The baseline that holds at the day's end, or NULL. */
const struct point_baseline *daily_baseline(const struct judged_day *day, size_t point);

/**
 * Each judges its conditions for one point, or for the system. False when the history failed or
 * memory ran out.
 */
bool daily_judge_falling(const struct judged_day *day, size_t point);
bool daily_judge_action(const struct judged_day *day, size_t point);
bool daily_judge_rising(const struct judged_day *day, size_t point);
bool daily_judge_reversed(const struct judged_day *day, size_t point);
bool daily_judge_system(const struct judged_day *day);

#endif
