/*
 * daily: what one finished local day of a system decides: suction-fading, field-reversed,
 * radon-above-action, radon-rising, fan-weak, fan-fading and ground-changed. The findings go to
 * monitor_daily at the day's end.
 *
 * A day is judged by what was known at its end, so days that come due in sequence (a backlog, an
 * import, a replay) give what they would have given one by one. A point without a reading on that
 * day decides nothing; a computation that says nothing leaves its condition as it is.
 *
 * suction-fading      A lasting fall of the daily medians since the baseline, told from settling,
 *                     seasons, weather and steps (analysis/drift), p < 0.01, whose line reaches the
 *                     limit of suction-low within the setpoint (730 d), or has reached it. Value:
 *                     time left, ms. Over when p is above 0.1 or the limit two setpoints away, so
 *                     that it does not come and go from day to day. Of a fall by 12 % a year half
 *                     are told after 14 months, for a season of a year that nobody measured could
 *                     be the fall of its first half; a step is none. Days on which suction was lost
 *                     are left out: an outage is no wear. How often it is wrong: drift.h.
 * radon-above-action  Probability of at least the setpoint that the mean of a whole year is at or
 *                     above the action level (year_assessment.h): a season is no year, and after
 *                     work on fan, ground or piping only the days since then count, from 14 on.
 * radon-rising        EWMA chart on the logarithms of the daily means; reference: the first 90
 *                     (until there are so many and a week: 30) days after commissioning. Of the
 *                     days after it the last 400 count: an older one has weight 0.9^400. From each
 *                     day is taken what the seasons alone may have added since the reference
 *                     (winter 2.5 times summer), for a reference of summer knows nothing of winter;
 *                     a year later that is nothing, so a small rise is found then at the latest.
 *                     Where the region is known since the reference (neighbours.h), what it had as
 *                     well is taken out first, and the houses' own seasons are less (2.0 times).
 *                     Told when it lasted for 28 days (a cold spell with windows shut is over by
 *                     then; judgement, no source), is above what season and reference make together
 *                     by a quarter of the action level (less is the monitor's background,
 *                     outdoor air and chance) and is a quarter more than at this season of the last
 *                     year, where that is known.
 * fan-weak            Upper end of the speed ratio's interval, medians of 7 days, below the
 *                     setpoint. Cleared when the ratio itself is above it by the deadband.
 * fan-fading          Wear of the daily speed ratio (analysis/wear), on its way to the setpoint of
 *                     fan-weak within its own (365 d). Value: time left, ms. Cleared when the speed
 *                     is back, or has not fallen for half a year.
 * field-reversed      Share of the hourly means of the last 7 days at or below 0, at least the
 *                     setpoint. A mean over a day hides it: +6 Pa for 16 h and -8 Pa for 8 h are
 *                     +1.3 Pa, yet soil gas comes in every night. A gauge whose zero has drifted
 *                     shows the same; the words say so. Hours before the baseline, and those in
 *                     which a fan of the system stood still, don't count; with fewer than half of
 *                     the hours nothing is decided.
 * ground-changed      Resistance ratio, medians of 7 days, outside the two setpoints; where the
 *                     exponent isn't known, outside on the same side for every exponent.
 *
 * Pure.
 */
#ifndef MONITOR_DAILY_H
#define MONITOR_DAILY_H

#include "monitor/history.h"
#include "monitor/monitor.h"

#include <stdbool.h>

/** A falling trend (p < 0.01) whose line reaches the low limit of a point within a year. */
struct daily_projection {
    size_t point;
    enum condition condition; /* suction-fading, or field-weak for a test hole */
    int64_t crossing_ms;
    int64_t earliest_ms, latest_ms; /* TIMESTAMP_NONE: open */
};

#define DAILY_PROJECTIONS_MAX 8
/** What a day says of the time ahead, for the plan of visits. */
struct daily_outlook {
    struct daily_projection projections[DAILY_PROJECTIONS_MAX];
    size_t count;
};

/**
 * Judges a finished local day of a system. `outlook` (may be NULL: then test holes are not looked
 * at) is written anew. False when the history failed or memory ran out; what was told by then stays
 * told, and judging the same day again is harmless.
 */
bool daily_judge(struct monitor *monitor, const struct history *history, size_t system,
                 int64_t local_day, struct daily_outlook *outlook);

#endif
