/* daily_fading: suction-fading, and what lies ahead of it. */
#include "monitor/daily_private.h"
#include "monitor/renewals.h"

#include "analysis/drift.h"
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "monitor/assessment.h"

#include <math.h>

static const double outlook_days = 365.0;
static const double lost_share = 0.10; /* of the baseline: as suction-lost */
/* A finding lasts while it is likely. */
static const double unsure_p_value = 0.10;
static const double deadband = 2.0; /* of the setpoint */

/* Days from the day's end until a falling line is at the limit; infinite: not within ten years. */
struct reach {
    double days, earliest_days, latest_days;
    double p_value; /* 1: it does not fall */
};
static const struct reach never = {INFINITY, INFINITY, INFINITY, 1.0};

static struct reach reach_of(const struct trend *trend, double now_day, double limit) {
    struct trend_crossing crossing;
    struct reach reach = never;
    enum trend_crossing_status status =
        trend_cross(trend, now_day, limit, TREND_LOW_LIMIT, &crossing);
    if (trend->per_year >= 0.0)
        return never;
    reach.p_value = trend->p_value_cautious;
    if (status == TREND_BEYOND_ALREADY)
        reach.days = reach.earliest_days = reach.latest_days = 0.0;
    if (status != TREND_CROSSES)
        return reach;
    reach.days = crossing.day - now_day;
    if (crossing.has_earliest)
        reach.earliest_days = crossing.earliest_day - now_day;
    if (crossing.has_latest)
        reach.latest_days = crossing.latest_day - now_day;
    return reach;
}

/* False: memory ran out. */
static bool find_reach(const struct trend_series *series, double now_day, double limit,
                       struct reach *reach) {
    struct trend trend;
    *reach = never;
    if (series->n < TREND_LEAST_DAYS || !drift_may_fall(series))
        return true;
    enum trend_status status =
        drift_fit(series, series->days[0], &drift_suction, ASSESSMENT_CONFIDENCE, &trend);
    if (status == TREND_OK)
        *reach = reach_of(&trend, now_day, limit);
    return status != TREND_NO_MEMORY;
}

static int64_t instant_after(const struct judged_day *day, double days) {
    return isfinite(days) ? day->end_ms + (int64_t)(days * DURATION_DAY_MS) : TIMESTAMP_NONE;
}

static void note_projection(const struct judged_day *day, size_t point, const struct reach *reach) {
    bool hole = day->fleet->points[point].description->quantity == QUANTITY_FIELD;
    struct daily_outlook *outlook = day->outlook;
    if (!outlook || !(reach->days <= outlook_days) || outlook->count == DAILY_PROJECTIONS_MAX)
        return;
    outlook->projections[outlook->count++] = (struct daily_projection){
        .point = point,
        .condition = hole ? CONDITION_FIELD_WEAK : CONDITION_SUCTION_FADING,
        .crossing_ms = instant_after(day, reach->days),
        .earliest_ms = instant_after(day, reach->earliest_days),
        .latest_ms = instant_after(day, reach->latest_days),
    };
}

/* Between the two it stays as it is, so that a finding does not come and go with every day. */
static void judge_fading(const struct judged_day *day, size_t point,
                         const struct condition_rule *rule, const struct reach *reach) {
    double within_days = rule->setpoint.number / DURATION_DAY_MS;
    bool holds = reach->p_value < ASSESSMENT_P_VALUE && reach->days <= within_days;
    bool over = reach->p_value >= unsure_p_value || reach->days > deadband * within_days;
    monitor_daily(day->monitor, day->system, point, CONDITION_SUCTION_FADING, holds, over,
                  over ? NAN : reach->days * DURATION_DAY_MS, rule->setpoint.number, day->end_ms);
}

static bool judge_series(const struct judged_day *day, size_t point,
                         const struct condition_rule *rule, const struct trend_series *series,
                         double limit) {
    struct reach reach;
    if (series->n < TREND_LEAST_DAYS)
        return true;
    if (!find_reach(series, (double)day->local_day + 1.0, limit, &reach))
        return false;
    if (rule)
        judge_fading(day, point, rule, &reach);
    if (reach.p_value < ASSESSMENT_P_VALUE)
        note_projection(day, point, &reach);
    return true;
}

bool daily_judge_falling(const struct judged_day *day, size_t point) {
    bool hole = day->fleet->points[point].description->quantity == QUANTITY_FIELD;
    const struct condition_rule *rule =
        hole ? NULL : daily_rule(day, point, CONDITION_SUCTION_FADING);
    const struct point_baseline *baseline = daily_baseline(day, point);
    double limit = assessment_low_limit(day->monitor, point, day->end_ms - 1);
    struct assessment_series series;
    if ((!rule && !day->outlook) || !baseline || isnan(limit))
        return true;
    const struct time_zone *zone = day->fleet->systems[day->system].zone;
    int64_t begun_ms = renewals_series_ms(day->monitor, point, day->end_ms - 1);
    if (!assessment_series_read(day->monitor, day->history, point,
                                assessment_first_day(zone, begun_ms, day->end_ms - 1),
                                day->local_day + 1, &series))
        return false;
    if (!hole) /* an outage is no part of a trend */
        assessment_series_drop_below(&series, lost_share * baseline->value);
    bool good = judge_series(day, point, rule, &series.series, limit);
    assessment_series_clear(&series);
    return good;
}
