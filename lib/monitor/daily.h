/*
 * daily: what one finished local day of a system decides: suction-fading, radon-above-action,
 * radon-rising, fan-weak, fan-fading and ground-changed. The findings go to monitor_daily at the
 * day's end.
 *
 * A day is judged by what was known at its end, so days that come due in sequence (a backlog, an
 * import, a replay) give what they would have given one by one. A point without a reading on that
 * day decides nothing; a computation that says nothing leaves its condition as it is.
 *
 * suction-fading      Falling trend of the daily medians since the baseline, or of the last 180
 *                     days, p < 0.01, whose line reaches the limit of suction-low within the
 *                     setpoint (180 d), or has reached it. Value: time left, ms. p is the cautious
 *                     one of trend.h (never below the one of Hamed and Rao): asked anew every day,
 *                     the other would signal by chance too often. A trend that can't be told from
 *                     the outdoor temperature, which moved along with time, is none: half a year
 *                     from winter to summer looks like a failing fan. That the line can't reach
 *                     the limit is found first, without fitting (trend_may_reach). A line is
 *                     carried on to three times its own length: in 30 days weather alone makes one
 *                     that would be at the limit half a year on. Days on which suction was lost are
 *                     left out: an outage is no wear.
 * radon-above-action  Mean over the last 91 or 365 local days, both after commissioning, with a
 *                     probability of at least the setpoint to be at or above the action level.
 * radon-rising        EWMA chart on the logarithms of the daily means; reference: the first 90
 *                     (until there are so many and a week: 30) days after commissioning. Of the
 *                     days after it the last 400 count: an older one has weight 0.9^400. From each
 *                     day is taken what the seasons alone may have added since the reference
 *                     (winter 1.8 times summer), for a reference of summer knows nothing of winter;
 *                     a year later that is nothing, so a small rise is found then at the latest.
 * fan-weak            Upper end of the speed ratio's interval, medians of 7 days, below the
 *                     setpoint. Cleared when the ratio itself is above it by the deadband.
 * fan-fading          Wear of the daily speed ratio (analysis/wear), on its way to the setpoint of
 *                     fan-weak within its own (365 d). Value: time left, ms. Cleared when the speed
 *                     is back, or has not fallen for half a year.
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
