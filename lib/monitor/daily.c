#include "monitor/daily_private.h"

const struct condition_rule *daily_rule(const struct judged_day *day, size_t point,
                                        enum condition condition) {
    const struct condition_rule *rule = fleet_point_rule(day->fleet, point, condition);
    return rule && rule->enabled ? rule : NULL;
}

const struct point_baseline *daily_baseline(const struct judged_day *day, size_t point) {
    return point_state_baseline(monitor_point(day->monitor, point), day->end_ms - 1);
}

static bool judge_point(const struct judged_day *day, size_t point) {
    enum quantity quantity = day->fleet->points[point].description->quantity;
    struct history_day today;
    if (quantity != QUANTITY_SUCTION && quantity != QUANTITY_FIELD && quantity != QUANTITY_RADON)
        return true;
    size_t count = history_days(day->history, point, day->local_day, day->local_day + 1, &today, 1);
    if (count != 1)
        return count == 0;
    if (quantity == QUANTITY_RADON)
        return daily_judge_action(day, point) && daily_judge_rising(day, point);
    if (quantity == QUANTITY_FIELD && !daily_judge_reversed(day, point))
        return false;
    return (quantity == QUANTITY_FIELD && !day->outlook) || daily_judge_falling(day, point);
}

/* The days before this one, of all houses around. */
static bool look_around(const struct judged_day *day) {
    struct neighbours *neighbours = monitor_neighbours(day->monitor);
    enum neighbours_progress progress = NEIGHBOURS_MORE;
    while (progress == NEIGHBOURS_MORE)
        progress = neighbours_advance(neighbours, day->history, day->system, day->local_day);
    return progress == NEIGHBOURS_READY;
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
    bool good = look_around(&day);
    if (outlook)
        outlook->count = 0;
    for (size_t i = 0; i < owner->point_count && good; i++)
        good = judge_point(&day, owner->first_point + i);
    return good && daily_judge_system(&day);
}
