/* daily_field: field-reversed. */
#include "monitor/daily_private.h"

#include "measure/duration.h"

#include <math.h>

enum { WEEK_HOURS = 7 * 24, LEAST_HOURS = WEEK_HOURS / 2 };
static const double stopped_share = 0.10; /* of the baseline: as suction-lost and fan-stopped */

/* The hourly means of the week up to the day's end; NaN: too little of the hour is known, or it
   doesn't count. */
struct week {
    int64_t from_ms;
    double means[WEEK_HOURS];
};

static bool read_week(const struct history *history, size_t point, int64_t from_ms,
                      struct week *week) {
    struct average_bucket hours[WEEK_HOURS + 1];
    int64_t end_ms = from_ms + WEEK_HOURS * DURATION_HOUR_MS;
    size_t n = history_hours(history, point, from_ms, end_ms, hours, WEEK_HOURS + 1);
    week->from_ms = from_ms;
    for (size_t i = 0; i < WEEK_HOURS; i++)
        week->means[i] = NAN;
    for (size_t i = 0; n != HISTORY_FAILED && i < n; i++) {
        int64_t index = (hours[i].start_ms - from_ms) / DURATION_HOUR_MS;
        if (hours[i].start_ms >= from_ms && index < WEEK_HOURS &&
            2 * hours[i].covered_ms >= DURATION_HOUR_MS)
            week->means[index] = hours[i].value_ms / (double)hours[i].covered_ms;
    }
    return n != HISTORY_FAILED;
}

/* Of the hours that count; NaN: too few. */
static double share_reversed(const struct week *week) {
    size_t count = 0, reversed = 0;
    for (size_t i = 0; i < WEEK_HOURS; i++) {
        count += isnan(week->means[i]) ? 0 : 1;
        reversed += week->means[i] <= 0.0 ? 1 : 0; /* false with NaN */
    }
    return count >= LEAST_HOURS ? (double)reversed / (double)count : NAN;
}

static void drop_before(struct week *week, int64_t from_ms) {
    for (int64_t i = 0; i < WEEK_HOURS && week->from_ms + i * DURATION_HOUR_MS < from_ms; i++)
        week->means[i] = NAN;
}

static bool is_of_fan(enum quantity quantity) {
    return quantity == QUANTITY_SUCTION || quantity == QUANTITY_FAN_POWER ||
           quantity == QUANTITY_FAN_CURRENT;
}

/* Leaves out the hours in which suction, power or current of a fan were gone. */
static bool drop_stopped(const struct judged_day *day, struct week *week) {
    const struct fleet_system *owner = &day->fleet->systems[day->system];
    for (size_t i = 0; i < owner->point_count; i++) {
        size_t point = owner->first_point + i;
        const struct point_baseline *baseline = daily_baseline(day, point);
        struct week fan;
        if (!baseline || !is_of_fan(day->fleet->points[point].description->quantity))
            continue;
        if (!read_week(day->history, point, week->from_ms, &fan))
            return false;
        for (size_t hour = 0; hour < WEEK_HOURS; hour++) {
            if (fan.means[hour] < stopped_share * baseline->value)
                week->means[hour] = NAN;
        }
    }
    return true;
}

bool daily_judge_reversed(const struct judged_day *day, size_t point) {
    const struct condition_rule *rule = daily_rule(day, point, CONDITION_FIELD_REVERSED);
    const struct point_baseline *baseline = daily_baseline(day, point);
    struct week week;
    if (!rule)
        return true;
    if (!read_week(day->history, point, day->end_ms - WEEK_HOURS * DURATION_HOUR_MS, &week))
        return false;
    if (baseline)
        drop_before(&week, baseline->from_ms);
    if (share_reversed(&week) > 0.0 && !drop_stopped(day, &week))
        return false;
    double share = share_reversed(&week), setpoint = rule->setpoint.number;
    double deadband = rule->deadband.kind == SETPOINT_NONE ? 0.0 : rule->deadband.number;
    if (!isnan(share))
        monitor_daily(day->monitor, day->system, point, CONDITION_FIELD_REVERSED, share >= setpoint,
                      share < setpoint - deadband, share, setpoint, day->end_ms);
    return true;
}
