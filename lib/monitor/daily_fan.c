/* daily_fan: fan-weak, fan-fading and ground-changed. */
#include "monitor/daily_private.h"

#include "measure/duration.h"
#include "monitor/fan_fading.h"
#include "monitor/system_assessment.h"

#include <math.h>

enum { LEAST_HOURS = 84 }; /* half of 7 days */

/* Whatever the curve, the speed ratio lies between Q/Q0 and sqrt(p/p0) (fan_ratio_from_bounds), p
   with or without what the pipe takes behind the gauge. */
static double least_possible_speed(const struct system_state_of_air *now,
                                   const struct system_state_of_air *then) {
    double by_flow = now->flow_m3_s / then->flow_m3_s;
    double by_suction = sqrt(fmax(now->suction_pa, 0.0) / then->suction_pa);
    return isfinite(by_flow) && isfinite(by_suction) ? fmin(by_flow, by_suction) : NAN;
}

static void conclude(const struct judged_day *day, const struct system_points *points,
                     enum condition condition, bool holds, bool cleared, double value,
                     double setpoint) {
    size_t place = fleet_branch_place(day->fleet, day->system, points->branch);
    monitor_daily(day->monitor, day->system, place, condition, holds, cleared, value, setpoint,
                  day->end_ms);
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
    if (system_assessment_no_speed(day->monitor, points, day->end_ms - 1)) {
        conclude(day, points, CONDITION_FAN_WEAK, false, true, NAN, setpoint);
        return;
    }
    if (least > clear) { /* no need to solve anything */
        conclude(day, points, CONDITION_FAN_WEAK, false, true, least, setpoint);
        return;
    }
    struct system_fan fan;
    system_assessment_fan(day->monitor, points, day->end_ms - 1, now, then, settled, &fan);
    if (fan.known)
        conclude(day, points, CONDITION_FAN_WEAK, fan.speed.upper < setpoint,
                 fan.speed.ratio >= clear, fan.speed.ratio, setpoint);
}

/* `judge_fan` has the cheap answer first: a fan whose least possible speed is not below the level
   that wear must have does not fade. */
static bool judge_fan_fading(const struct judged_day *day, const struct system_points *points,
                             const struct system_state_of_air *now, struct system_state_of_air then,
                             bool settled) {
    struct condition_rule rule = fleet_rule(day->fleet, day->system, CONDITION_FAN_FADING);
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
    if (least < WEAR_LEVEL)
        status = fan_fading_find(day->monitor, day->history, points, day->end_ms - 1,
                                 day->local_day + 1, within_days, &wear);
    if (status == WEAR_NO_MEMORY)
        return false;
    bool found = status == WEAR_FOUND;
    double left_days = found ? wear.crossing.day - (double)(day->local_day + 1) : NAN;
    conclude(day, points, CONDITION_FAN_FADING, found, status == WEAR_NONE,
             left_days * DURATION_DAY_MS, rule.setpoint.number);
    return true;
}

static void judge_ground(const struct judged_day *day, const struct system_points *points,
                         const struct system_state_of_air *now,
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
    conclude(day, points, CONDITION_GROUND_CHANGED, most < low || least > high,
             ratio >= low + deadband && ratio <= high - deadband, ratio, ratio < 1.0 ? low : high);
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

static bool judge_branch(const struct judged_day *day, size_t branch) {
    const struct system_points points = system_points_of(day->fleet, day->system, branch);
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
    judge_ground(day, &points, &now, &then);
    return judge_fan_fading(day, &points, &now, then, settled);
}

bool daily_judge_system(const struct judged_day *day) {
    size_t count = day->fleet->systems[day->system].description->branch_count;
    bool good = true;
    for (size_t b = 0; b < count && good; b++)
        good = judge_branch(day, b);
    return good;
}
