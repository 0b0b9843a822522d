/* daily_action: radon-above-action. */
#include "monitor/daily_private.h"

#include "monitor/year_assessment.h"

bool daily_judge_action(const struct judged_day *day, size_t point) {
    const struct condition_rule *rule = daily_rule(day, point, CONDITION_RADON_ABOVE_ACTION);
    struct year_assessment found;
    if (!rule)
        return true;
    if (!year_assessment_make(day->monitor, day->history, point, day->local_day + 1, &found))
        return false;
    double probability = found.year.probability_at_or_above, setpoint = rule->setpoint.number;
    double deadband = rule->deadband.kind == SETPOINT_NONE ? 0.0 : rule->deadband.number;
    if (found.known)
        monitor_daily(day->monitor, day->system, point, CONDITION_RADON_ABOVE_ACTION,
                      probability >= setpoint, probability < setpoint - deadband, probability,
                      setpoint, day->end_ms);
    return true;
}
