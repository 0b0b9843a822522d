/*
 * What a monitor takes from the store at the start, and what it gives to the store.
 */
#include "monitor/monitor_private.h"
#include "monitor/rests.h"

/* ---- start-up ---- */

void monitor_note_newest(struct monitor *monitor, int64_t time_ms) {
    if (time_ms > monitor->newest_ms)
        monitor->newest_ms = time_ms;
}

void monitor_load_rests(struct monitor *monitor, size_t point, const struct rollup_hour *hours,
                        size_t count) {
    rests_learn_hours(&monitor->points[point], hours, count,
                      monitor->fleet->points[point].description->every_ms);
}

void monitor_load_newest(struct monitor *monitor, size_t point, const struct reading *newest,
                         int64_t unchanged_since_ms, const struct rollup_hour *hour) {
    struct point_state *state = &monitor->points[point];
    point_state_forget(state);
    monitor_note_newest(monitor, newest->time_ms);
    state->newest_ms = newest->time_ms;
    state->newest_value = newest->value;
    state->unchanged_since_ms = unchanged_since_ms;
    state->level = newest->value;
    state->hour = *hour;
    monitor_dates_changed(monitor);
    silence_look_again(monitor, monitor->fleet->points[point].system);
    monitor_note_weather(monitor, point);
}

bool monitor_wants_hours(const struct monitor *monitor, size_t point) {
    return monitor->points[point].window != NULL;
}

void monitor_load_hour(struct monitor *monitor, size_t point, const struct rollup_hour *hour) {
    if (monitor->points[point].window)
        rollup_window_add_hour(monitor->points[point].window, hour);
}

bool monitor_load_baseline(struct monitor *monitor, size_t point, int64_t from_ms, double value,
                           const char *by, bool learned) {
    enum quantity quantity = monitor->fleet->points[point].description->quantity;
    if (!quantity_can_be_baseline(quantity, value))
        return true;
    monitor_dates_changed(monitor); /* of a point read by hand */
    return point_state_add_baseline(&monitor->points[point], from_ms, value, by, learned);
}

bool monitor_load_fan(struct monitor *monitor, size_t system, int64_t since_ms,
                      const struct equipment *equipment) {
    const struct fleet_system *owner = &monitor->fleet->systems[system];
    size_t branch = branch_description_find(owner->description->branches,
                                            owner->description->branch_count, equipment->branch);
    return branch == BRANCH_NONE ||
           fitted_fans_add(&monitor->branches[owner->first_branch + branch].fans, since_ms,
                           equipment);
}

void monitor_forget_fans(struct monitor *monitor, size_t system) {
    const struct fleet_system *owner = &monitor->fleet->systems[system];
    for (size_t b = 0; b < owner->description->branch_count; b++)
        fitted_fans_clear(&monitor->branches[owner->first_branch + b].fans);
}

const struct fitted_fans *monitor_fans(const struct monitor *monitor, size_t system,
                                       size_t branch) {
    return &monitor->branches[monitor->fleet->systems[system].first_branch + branch].fans;
}

/* Of the conditions of branches and systems, the place among the trackers of one. */
static const size_t tracker_places[CONDITION_COUNT] = {
    [CONDITION_SYSTEM_SILENT] = SYSTEM_TRACKER_SILENT,
    [CONDITION_RETEST_DUE] = SYSTEM_TRACKER_RETEST,
    [CONDITION_VISIT_DUE] = SYSTEM_TRACKER_VISIT,
    [CONDITION_CALIBRATION_DUE] = SYSTEM_TRACKER_CALIBRATION,
    [CONDITION_FAN_WEAK] = BRANCH_TRACKER_FAN_WEAK,
    [CONDITION_FAN_FADING] = BRANCH_TRACKER_FAN_FADING,
    [CONDITION_GROUND_CHANGED] = BRANCH_TRACKER_GROUND_CHANGED,
};

struct tracker *monitor_wider_tracker(struct monitor *monitor, size_t system, size_t point,
                                      enum condition condition) {
    enum condition_scope scope = condition_info(condition)->scope;
    if (condition == CONDITION_FLEET_SILENT)
        return &monitor->fleet_silent;
    if (system == FLEET_NONE)
        return &monitor->daemon_trackers[condition];
    if (scope == SCOPE_SYSTEM)
        return &monitor->systems[system].trackers[tracker_places[condition]];
    const struct fleet_system *owner = &monitor->fleet->systems[system];
    for (size_t b = 0; scope == SCOPE_BRANCH && b < owner->description->branch_count; b++) {
        if (fleet_branch_place(monitor->fleet, system, b) == point)
            return &monitor->branches[owner->first_branch + b].trackers[tracker_places[condition]];
    }
    return NULL;
}

static void load_point_tracker(struct monitor *monitor, const struct monitor_tracker *stored) {
    const struct fleet_point *owner = &monitor->fleet->points[stored->point];
    for (size_t i = 0; i < owner->rule_count; i++) {
        if (owner->rules[i].condition != stored->condition)
            continue;
        monitor->points[stored->point].trackers[i] = stored->tracker;
        if (stored->tracker.phase == TRACKER_PENDING || stored->tracker.phase == TRACKER_CLEARING)
            monitor_note_running(monitor, stored->point);
    }
}

void monitor_load_tracker(struct monitor *monitor, const struct monitor_tracker *stored) {
    monitor_dates_changed(monitor);
    if (condition_info(stored->condition)->scope == SCOPE_POINT) {
        if (stored->point != FLEET_NONE)
            load_point_tracker(monitor, stored);
        return;
    }
    struct tracker *tracker =
        monitor_wider_tracker(monitor, stored->system, stored->point, stored->condition);
    if (tracker)
        *tracker = stored->tracker;
}

/* ---- what must be kept ---- */

bool monitor_flush_hours(struct monitor *monitor, const struct monitor_sink *sink) {
    if (monitor->out_of_memory)
        return false;
    const struct closed_hour *hours = monitor->hours.items;
    for (size_t i = 0; i < monitor->hours.count; i++) {
        if (!sink->hour(sink->context, hours[i].point, &hours[i].hour))
            return false;
    }
    monitor->hours.count = 0;
    const size_t *points = monitor->changed_points.items;
    for (size_t i = 0; i < monitor->changed_points.count; i++) {
        struct point_state *state = &monitor->points[points[i]];
        if (!sink->hour(sink->context, points[i], &state->hour))
            return false;
        state->hour_changed = false;
    }
    monitor->changed_points.count = 0;
    return true;
}

static bool flush_trackers(struct monitor *monitor, const struct monitor_sink *sink) {
    const struct point_rule *moved = monitor->moved.items;
    for (size_t i = 0; i < monitor->moved.count; i++) {
        size_t point = moved[i].point;
        const struct tracker *as_it_is = &monitor->points[point].trackers[moved[i].rule];
        const struct monitor_tracker tracker = {
            monitor->fleet->points[point].system, point,
            monitor->fleet->points[point].rules[moved[i].rule].condition, *as_it_is};
        if (!sink->tracker(sink->context, &tracker))
            return false;
        monitor->has_moved[as_it_is - monitor->trackers] = false;
    }
    monitor->moved.count = 0;
    const struct monitor_tracker *other = monitor->moved_other.items;
    for (size_t i = 0; i < monitor->moved_other.count; i++) {
        if (!sink->tracker(sink->context, &other[i]))
            return false;
    }
    monitor->moved_other.count = 0;
    return true;
}

bool monitor_has_changes(const struct monitor *monitor) {
    return monitor->out_of_memory || monitor->hours.count || monitor->changed_points.count ||
           monitor->moved.count || monitor->moved_other.count || alarm_book_changed(monitor->book);
}

bool monitor_flush(struct monitor *monitor, const struct monitor_sink *sink) {
    return monitor_flush_hours(monitor, sink) && flush_trackers(monitor, sink) &&
           alarm_book_flush(monitor->book, sink->alarm, sink->context);
}
