#include "monitor/daily.h"

#include "analysis/control_chart.h"
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "monitor/assessment.h"
#include "monitor/fan_fading.h"
#include "monitor/system_assessment.h"

#include <math.h>
#include <stdlib.h>

enum {
    REFERENCE_LONG = 90,
    WATCHED_DAYS = 400,
    LEAST_HOURS = 84, /* half of 7 days */
    ACTION_WINDOWS = 2
};
static const int64_t action_windows_days[ACTION_WINDOWS] = {91, 365};
static const double outlook_days = 365.0;
static const double longest_reach = 3.0; /* a line is carried on to three times its own length */
static const double lost_share = 0.10;   /* of the baseline: as suction-lost */
static const double pi = 3.14159265358979323846;
/* Of a room's radon, at most, by weather and airing alone; common practice, no source. */
static const double winter_over_summer = 1.8;
static const double least_radon_bq_m3 = 1.0; /* below any monitor's resolution; logs need one */

/* One day being judged. */
struct judged_day {
    struct monitor *monitor;
    const struct history *history;
    const struct fleet *fleet;
    size_t system;
    int64_t local_day, end_ms;
    struct daily_outlook *outlook; /* or NULL */
};

static const struct condition_rule *rule_for(const struct judged_day *day, size_t point,
                                             enum condition condition) {
    const struct condition_rule *rule = fleet_point_rule(day->fleet, point, condition);
    return rule && rule->enabled ? rule : NULL;
}

static const struct point_baseline *baseline_of(const struct judged_day *day, size_t point) {
    return point_state_baseline(monitor_point(day->monitor, point), day->end_ms - 1);
}

/* ---- suction-fading and what lies ahead ---- */

/* Days from the day's end until a falling line is at the limit; infinite: not in time. */
struct reach {
    double days, earliest_days, latest_days;
};
static const struct reach never = {INFINITY, INFINITY, INFINITY};

static struct reach reach_of(const struct trend_series *series, double now_day, double limit,
                             double within_days) {
    struct trend trend;
    struct trend_crossing crossing;
    if (series->n < TREND_LEAST_DAYS)
        return never;
    double span = series->days[series->n - 1] - series->days[0] + 1.0;
    within_days = fmin(within_days, longest_reach * span);
    if (!trend_may_reach(series, now_day, limit, TREND_LOW_LIMIT, within_days) ||
        trend_fit(series, ASSESSMENT_CONFIDENCE, &trend) != TREND_OK || trend.per_year >= 0.0 ||
        trend.p_value_cautious >= ASSESSMENT_P_VALUE ||
        trend.temperature == TREND_TEMPERATURE_LIKE_TIME)
        return never;
    switch (trend_cross(&trend, now_day, limit, TREND_LOW_LIMIT, &crossing)) {
    case TREND_BEYOND_ALREADY:
        return (struct reach){0.0, 0.0, 0.0};
    case TREND_CROSSES:
        if (crossing.day - now_day > within_days)
            return never;
        return (struct reach){
            crossing.day - now_day,
            crossing.has_earliest ? crossing.earliest_day - now_day : INFINITY,
            crossing.has_latest ? crossing.latest_day - now_day : INFINITY,
        };
    default:
        return never;
    }
}

static int64_t instant_after(const struct judged_day *day, double days) {
    return isfinite(days) ? day->end_ms + (int64_t)(days * DURATION_DAY_MS) : TIMESTAMP_NONE;
}

static void note_projection(const struct judged_day *day, size_t point, enum condition condition,
                            const struct reach *reach) {
    struct daily_outlook *outlook = day->outlook;
    if (!outlook || !(reach->days <= outlook_days) || outlook->count == DAILY_PROJECTIONS_MAX)
        return;
    outlook->projections[outlook->count++] = (struct daily_projection){
        .point = point,
        .condition = condition,
        .crossing_ms = instant_after(day, reach->days),
        .earliest_ms = instant_after(day, reach->earliest_days),
        .latest_ms = instant_after(day, reach->latest_days),
    };
}

static void judge_fading(const struct judged_day *day, size_t point,
                         const struct condition_rule *rule, const struct reach *reach) {
    bool holds = reach->days <= rule->setpoint.number / DURATION_DAY_MS;
    monitor_daily(day->monitor, day->system, point, CONDITION_SUCTION_FADING, holds, !holds,
                  holds ? reach->days * DURATION_DAY_MS : NAN, rule->setpoint.number, day->end_ms);
}

/* The sooner of the whole trend and the recent one. */
static struct reach soonest(const struct assessment_series *series, double now_day, double limit,
                            double within_days) {
    const struct trend_series recent = trend_series_recent(&series->series, TREND_RECENT_DAYS);
    struct reach lately = reach_of(&recent, now_day, limit, within_days);
    if (series->series.n <= recent.n)
        return lately;
    struct reach whole = reach_of(&series->series, now_day, limit, within_days);
    return whole.days < lately.days ? whole : lately;
}

static bool judge_falling(const struct judged_day *day, size_t point) {
    bool hole = day->fleet->points[point].description->quantity == QUANTITY_FIELD;
    const struct condition_rule *rule =
        hole ? NULL : rule_for(day, point, CONDITION_SUCTION_FADING);
    const struct point_baseline *baseline = baseline_of(day, point);
    double limit = assessment_low_limit(day->monitor, point, day->end_ms - 1);
    struct assessment_series series;
    if ((!rule && !day->outlook) || !baseline || isnan(limit))
        return true;
    const struct time_zone *zone = day->fleet->systems[day->system].zone;
    if (!assessment_series_read(day->monitor, day->history, point,
                                assessment_first_day(zone, baseline->from_ms, day->end_ms - 1),
                                day->local_day + 1, &series))
        return false;
    if (!hole) /* an outage is no part of a trend */
        assessment_series_drop_below(&series, lost_share * baseline->value);
    double within_days = rule ? rule->setpoint.number / DURATION_DAY_MS : outlook_days;
    if (day->outlook)
        within_days = fmax(within_days, outlook_days);
    if (series.series.n >= TREND_LEAST_DAYS) {
        struct reach reach = soonest(&series, (double)day->local_day + 1.0, limit, within_days);
        if (rule)
            judge_fading(day, point, rule, &reach);
        note_projection(day, point, hole ? CONDITION_FIELD_WEAK : CONDITION_SUCTION_FADING, &reach);
    }
    assessment_series_clear(&series);
    return true;
}

/* ---- radon-above-action ---- */

static bool judge_action(const struct judged_day *day, size_t point) {
    const struct condition_rule *rule = rule_for(day, point, CONDITION_RADON_ABOVE_ACTION);
    const struct time_zone *zone = day->fleet->systems[day->system].zone;
    int64_t commissioned_ms =
        assessment_commissioned_ms(day->monitor, day->system, day->end_ms - 1);
    int64_t first_day = assessment_first_day(zone, commissioned_ms, day->end_ms - 1);
    double probability = NAN;
    if (!rule)
        return true;
    for (size_t w = 0; w < ACTION_WINDOWS; w++) {
        struct average average;
        int64_t from_day = day->local_day + 1 - action_windows_days[w];
        if (from_day < first_day)
            continue;
        enum average_status status = assessment_mean_of_days(
            day->history, day->fleet, point, from_day, day->local_day + 1, &average);
        if (status == AVERAGE_NO_MEMORY)
            return false;
        if (status == AVERAGE_OK && average.has_uncertainty)
            probability = fmax(probability, average.probability_at_or_above);
    }
    double setpoint = rule->setpoint.number;
    double deadband = rule->deadband.kind == SETPOINT_NONE ? 0.0 : rule->deadband.number;
    if (!isnan(probability))
        monitor_daily(day->monitor, day->system, point, CONDITION_RADON_ABOVE_ACTION,
                      probability >= setpoint, probability < setpoint - deadband, probability,
                      setpoint, day->end_ms);
    return true;
}

/* ---- radon-rising ---- */

/* Logarithms of daily means, and the days they belong to. */
struct radon_days {
    double *values, *dates; /* room for as many as asked for */
};

static size_t logarithms(const struct history_day *days, size_t count, struct radon_days radon) {
    size_t n = 0;
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(days[i].mean))
            continue;
        radon.dates[n] = (double)days[i].local_day;
        radon.values[n++] = log(fmax(days[i].mean, least_radon_bq_m3));
    }
    return n;
}

/* How far (in logarithms) a level may rise by the seasons alone between the middle of the reference
   and a day so much later: the largest difference of two points so far apart on a yearly wave,
   whenever its winter is. None after a whole year. */
static double rise_by_season(double days_later) {
    return log(winter_over_summer) * fabs(sin(pi * days_later / TREND_YEAR_DAYS));
}

static void watch_radon(const struct judged_day *day, size_t point, struct radon_days radon,
                        size_t reference, size_t n) {
    struct control_chart_reference learned;
    struct control_chart_watch watch;
    double middle = 0.5 * (radon.dates[0] + radon.dates[reference - 1]), rise = 0.0;
    if (n == reference ||
        control_chart_learn(radon.values, reference, &learned) != CONTROL_CHART_OK)
        return;
    for (size_t i = reference; i < n; i++) {
        rise = rise_by_season(radon.dates[i] - middle);
        radon.values[i] -= rise;
    }
    if (control_chart_watch(&learned, radon.values + reference, n - reference, CONTROL_CHART_WEIGHT,
                            CONTROL_CHART_WIDTH, &watch) != CONTROL_CHART_OK)
        return;
    monitor_daily(day->monitor, day->system, point, CONDITION_RADON_RISING, watch.lasting,
                  !watch.above, exp(watch.smoothed + rise), exp(watch.limit + rise), day->end_ms);
}

enum { RADON_ROOM = REFERENCE_LONG + WATCHED_DAYS };

/* Daily means from `first_day` on: the reference, then the days that are watched. */
static bool judge_rising_in(const struct judged_day *day, size_t point, int64_t first_day,
                            struct history_day *days, struct radon_days radon) {
    int64_t to_day = day->local_day + 1;
    size_t count = history_days(day->history, point, first_day, to_day, days, RADON_ROOM);
    if (count == HISTORY_FAILED)
        return false;
    size_t n = logarithms(days, count, radon);
    size_t reference = n >= REFERENCE_LONG + CONTROL_CHART_LASTING ? (size_t)REFERENCE_LONG
                                                                   : CONTROL_CHART_LEAST_REFERENCE;
    if (n > reference && count < RADON_ROOM) {
        watch_radon(day, point, radon, reference, n);
    } else if (count == RADON_ROOM && n >= REFERENCE_LONG) {
        /* Longer than the room: the reference stays, the watched days are the last ones. */
        size_t last =
            history_days(day->history, point, to_day - WATCHED_DAYS, to_day, days, WATCHED_DAYS);
        if (last == HISTORY_FAILED)
            return false;
        const struct radon_days watched = {radon.values + REFERENCE_LONG,
                                           radon.dates + REFERENCE_LONG};
        watch_radon(day, point, radon, REFERENCE_LONG,
                    REFERENCE_LONG + logarithms(days, last, watched));
    }
    return true;
}

static bool judge_rising_from(const struct judged_day *day, size_t point, int64_t first_day) {
    struct history_day *days = malloc(RADON_ROOM * sizeof *days);
    double *numbers = malloc(2 * RADON_ROOM * sizeof *numbers);
    bool good = days && numbers &&
                judge_rising_in(day, point, first_day, days,
                                (struct radon_days){numbers, numbers + RADON_ROOM});
    free(days);
    free(numbers);
    return good;
}

static bool judge_rising(const struct judged_day *day, size_t point) {
    int64_t commissioned_ms =
        assessment_commissioned_ms(day->monitor, day->system, day->end_ms - 1);
    const struct time_zone *zone = day->fleet->systems[day->system].zone;
    if (!rule_for(day, point, CONDITION_RADON_RISING) || commissioned_ms == TIMESTAMP_NONE)
        return true;
    int64_t first_day = assessment_first_day(zone, commissioned_ms, day->end_ms - 1);
    if (day->local_day - first_day < CONTROL_CHART_LEAST_REFERENCE)
        return true;
    return judge_rising_from(day, point, first_day);
}

/* ---- fan-weak, fan-fading and ground-changed ---- */

/* Whatever the curve, the speed ratio lies between Q/Q0 and sqrt(p/p0) (fan_ratio_from_bounds). */
static double least_possible_speed(const struct system_state_of_air *now,
                                   const struct system_state_of_air *then) {
    double by_flow = now->flow_m3_s / then->flow_m3_s;
    double by_suction = sqrt(fmax(now->suction_pa, 0.0) / then->suction_pa);
    return isfinite(by_flow) && isfinite(by_suction) ? fmin(by_flow, by_suction) : NAN;
}

static void judge_fan(const struct judged_day *day, const struct system_points *points,
                      const struct system_state_of_air *now, const struct system_state_of_air *then,
                      bool settled) {
    struct condition_rule rule = fleet_rule(day->fleet, day->system, CONDITION_FAN_WEAK);
    double setpoint = rule.setpoint.number;
    double clear = setpoint + (rule.deadband.kind == SETPOINT_NONE ? 0.0 : rule.deadband.number);
    double least = least_possible_speed(now, then);
    if (!rule.enabled)
        return;
    bool loss = day->fleet->systems[day->system].description->loss_after_gauge > 0.0;
    if (least > clear && !loss) { /* no need to solve anything */
        monitor_daily(day->monitor, day->system, FLEET_NONE, CONDITION_FAN_WEAK, false, true, least,
                      setpoint, day->end_ms);
        return;
    }
    struct system_fan fan;
    system_assessment_fan(day->fleet, day->system, points, now, then, settled, &fan);
    if (fan.known)
        monitor_daily(day->monitor, day->system, FLEET_NONE, CONDITION_FAN_WEAK,
                      fan.speed.upper < setpoint, fan.speed.ratio >= clear, fan.speed.ratio,
                      setpoint, day->end_ms);
}

/* `judge_fan` has the cheap answer first: a fan whose least possible speed is not below the level
   that wear must have does not fade. */
static bool judge_fan_fading(const struct judged_day *day, const struct system_points *points,
                             const struct system_state_of_air *now, struct system_state_of_air then,
                             bool settled) {
    struct condition_rule rule = fleet_rule(day->fleet, day->system, CONDITION_FAN_FADING);
    bool loss = day->fleet->systems[day->system].description->loss_after_gauge > 0.0;
    struct wear wear;
    enum wear_status status = WEAR_NONE;
    if (!rule.enabled ||
        (!settled &&
         !system_assessment_first_week(day->monitor, day->history, points, day->end_ms - 1, &then)))
        return true;
    double least = least_possible_speed(now, &then);
    if (isnan(least))
        return true;
    double within_days = rule.setpoint.number / DURATION_DAY_MS;
    if (loss || least < WEAR_LEVEL)
        status = fan_fading_find(day->monitor, day->history, day->system, day->end_ms - 1,
                                 day->local_day + 1, within_days, &wear);
    if (status == WEAR_NO_MEMORY)
        return false;
    bool found = status == WEAR_FOUND;
    double left_days = found ? wear.crossing.day - (double)(day->local_day + 1) : NAN;
    monitor_daily(day->monitor, day->system, FLEET_NONE, CONDITION_FAN_FADING, found,
                  status == WEAR_NONE, left_days * DURATION_DAY_MS, rule.setpoint.number,
                  day->end_ms);
    return true;
}

static void judge_ground(const struct judged_day *day, const struct system_state_of_air *now,
                         const struct system_state_of_air *then) {
    struct condition_rule rule = fleet_rule(day->fleet, day->system, CONDITION_GROUND_CHANGED);
    struct system_ground ground;
    double exponent =
        day->history->ground_exponent(day->history->context, day->system, day->end_ms - 1);
    system_assessment_ground(now, then, exponent, &ground);
    if (!rule.enabled || !ground.known)
        return;
    double low = rule.setpoint.number;
    double high =
        rule.second_setpoint.kind == SETPOINT_NONE ? INFINITY : rule.second_setpoint.number;
    double deadband = rule.deadband.kind == SETPOINT_NONE ? 0.0 : rule.deadband.number;
    double ratio = ground.resistance.ratio;
    double least = fmin(ground.at_one, ground.at_two), most = fmax(ground.at_one, ground.at_two);
    monitor_daily(day->monitor, day->system, FLEET_NONE, CONDITION_GROUND_CHANGED,
                  most < low || least > high, ratio >= low + deadband && ratio <= high - deadband,
                  ratio, ratio < 1.0 ? low : high, day->end_ms);
}

/* 1: with readings that day, 0: without, -1: the history failed. */
static int heard_that_day(const struct judged_day *day, size_t point) {
    struct history_day today;
    if (point == FLEET_NONE)
        return 0;
    size_t count = history_days(day->history, point, day->local_day, day->local_day + 1, &today, 1);
    return count == HISTORY_FAILED ? -1 : (int)count;
}

/* What fell silent within the 7 days says nothing of their last one. */
static bool leave_out_silent(const struct judged_day *day, const struct system_points *points,
                             struct system_state_of_air *now) {
    int suction = heard_that_day(day, points->suction), power = heard_that_day(day, points->power);
    int flow = heard_that_day(day, points->flow);
    int velocity = heard_that_day(day, points->velocity_pressure);
    if (suction < 0 || power < 0 || flow < 0 || velocity < 0)
        return false;
    if (!suction)
        now->suction_pa = NAN;
    if (!power)
        now->power_w = NAN;
    if (!flow && !velocity)
        now->flow_m3_s = NAN;
    return true;
}

static bool judge_system(const struct judged_day *day) {
    const struct system_points points = system_points_of(day->fleet, day->system);
    bool has_flow = points.flow != FLEET_NONE || points.velocity_pressure != FLEET_NONE;
    if (!has_flow && points.power == FLEET_NONE)
        return true;
    struct system_state_of_air then =
        system_assessment_then(day->monitor, &points, day->end_ms - 1);
    if (isnan(then.flow_m3_s) && isnan(then.power_w))
        return true;
    struct system_state_of_air now =
        system_assessment_now(day->monitor, day->history, &points,
                              day->end_ms - SYSTEM_ASSESSMENT_WINDOW_MS, day->end_ms, LEAST_HOURS);
    if (!leave_out_silent(day, &points, &now))
        return false;
    bool settled =
        system_assessment_settled(day->monitor, day->history, &points, day->end_ms - 1, &then);
    judge_fan(day, &points, &now, &then, settled);
    judge_ground(day, &now, &then);
    return judge_fan_fading(day, &points, &now, then, settled);
}

/* ---- a day ---- */

static bool judge_point(const struct judged_day *day, size_t point) {
    enum quantity quantity = day->fleet->points[point].description->quantity;
    struct history_day today;
    bool falls = quantity == QUANTITY_SUCTION || (quantity == QUANTITY_FIELD && day->outlook);
    if (!falls && quantity != QUANTITY_RADON)
        return true;
    size_t count = history_days(day->history, point, day->local_day, day->local_day + 1, &today, 1);
    if (count != 1)
        return count == 0;
    if (falls)
        return judge_falling(day, point);
    return judge_action(day, point) && judge_rising(day, point);
}

bool daily_judge(struct monitor *monitor, const struct history *history, size_t system,
                 int64_t local_day, struct daily_outlook *outlook) {
    const struct fleet *fleet = monitor_fleet(monitor);
    const struct fleet_system *owner = &fleet->systems[system];
    struct judged_day day = {.monitor = monitor,
                             .history = history,
                             .fleet = fleet,
                             .system = system,
                             .local_day = local_day,
                             .end_ms = time_zone_day_start_ms(owner->zone, local_day + 1),
                             .outlook = outlook};
    bool good = true;
    if (outlook)
        outlook->count = 0;
    for (size_t i = 0; i < owner->point_count && good; i++)
        good = judge_point(&day, owner->first_point + i);
    return good && judge_system(&day);
}
