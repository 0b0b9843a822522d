/*
 * What new settings do to a monitor at work: what they no longer watch ends, all else goes on.
 */
#include "monitor/monitor_private.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* ---- what ends ---- */

static bool is_branch_place(const struct fleet *fleet, size_t system, size_t point) {
    for (size_t b = 0; b < fleet->systems[system].description->branch_count; b++) {
        if (fleet_branch_place(fleet, system, b) == point)
            return true;
    }
    return false;
}

static bool is_watched(const struct fleet *next, const char *system_id, const char *point_id,
                       enum condition condition) {
    if (!*system_id)
        return fleet_rule(next, FLEET_NONE, condition).enabled;
    size_t system = fleet_find_system(next, system_id);
    if (system == FLEET_NONE)
        return false;
    size_t point = *point_id ? fleet_find_point(next, system, point_id) : FLEET_NONE;
    if (condition_info(condition)->scope == SCOPE_BRANCH)
        return (!*point_id || point != FLEET_NONE) && is_branch_place(next, system, point) &&
               fleet_rule(next, system, condition).enabled;
    if (!*point_id)
        return fleet_rule(next, system, condition).enabled;
    const struct condition_rule *rule =
        point == FLEET_NONE ? NULL : fleet_point_rule(next, point, condition);
    return rule && rule->enabled;
}

static bool has_place(const struct fleet *next, const char *system_id, const char *point_id) {
    size_t system = *system_id ? fleet_find_system(next, system_id) : FLEET_NONE;
    return !*system_id || (system != FLEET_NONE &&
                           (!*point_id || fleet_find_point(next, system, point_id) != FLEET_NONE));
}

static void stop_point(struct monitor *monitor, const struct fleet *next, size_t point) {
    const struct fleet_point *owner = &monitor->fleet->points[point];
    for (size_t i = 0; i < owner->rule_count; i++) {
        struct tracker *tracker = &monitor->points[point].trackers[i];
        if (tracker->phase == TRACKER_REST ||
            is_watched(next, fleet_system_id(monitor->fleet, owner->system),
                       fleet_point_id(monitor->fleet, point), owner->rules[i].condition))
            continue;
        tracker->phase = TRACKER_REST;
        monitor->judge.moved(monitor, point, i);
    }
}

/* The conditions of one scope at one place; of the fleet and the daemon `system` is FLEET_NONE. */
static void stop_wider(struct monitor *monitor, const struct fleet *next, size_t system,
                       size_t point, enum condition_scope scope) {
    for (size_t c = 0; c < CONDITION_COUNT; c++) {
        enum condition condition = (enum condition)c;
        if (condition_info(condition)->scope != scope)
            continue;
        struct tracker *tracker = monitor_wider_tracker(monitor, system, point, condition);
        if (!tracker || tracker->phase == TRACKER_REST ||
            is_watched(next, fleet_system_id(monitor->fleet, system),
                       fleet_point_id(monitor->fleet, point), condition))
            continue;
        tracker->phase = TRACKER_REST;
        monitor_moved_other(monitor, system, point, condition, tracker);
    }
}

/* One that has returned but waits for somebody stays, as long as there is its place. */
static void end_alarm(struct monitor *monitor, const struct fleet *next, struct alarm *alarm,
                      int64_t now_ms) {
    const char *system_id = fleet_system_id(monitor->fleet, alarm->system);
    const char *point_id = fleet_point_id(monitor->fleet, alarm->point);
    bool stays = alarm_stands(alarm) ? is_watched(next, system_id, point_id, alarm->condition)
                                     : has_place(next, system_id, point_id);
    if (!stays && !alarm_book_unwatch(monitor->book, alarm, now_ms))
        monitor->out_of_memory = true;
}

void monitor_end_unwatched(struct monitor *monitor, const struct fleet *next, int64_t now_ms) {
    for (size_t i = 0; i < monitor->fleet->point_count; i++)
        stop_point(monitor, next, i);
    for (size_t s = 0; s < monitor->fleet->system_count; s++) {
        stop_wider(monitor, next, s, FLEET_NONE, SCOPE_SYSTEM);
        for (size_t b = 0; b < monitor->fleet->systems[s].description->branch_count; b++)
            stop_wider(monitor, next, s, fleet_branch_place(monitor->fleet, s, b), SCOPE_BRANCH);
    }
    stop_wider(monitor, next, FLEET_NONE, FLEET_NONE, SCOPE_FLEET);
    stop_wider(monitor, next, FLEET_NONE, FLEET_NONE, SCOPE_DAEMON);
    for (size_t i = 0; i < alarm_book_count(monitor->book); i++) {
        struct alarm *alarm = alarm_book_get(monitor->book, i);
        if (alarm_open(alarm))
            end_alarm(monitor, next, alarm, now_ms);
    }
}

void monitor_end_untold(struct monitor *monitor, size_t system) {
    for (size_t i = 0; i < alarm_book_count(monitor->book); i++) {
        struct alarm *alarm = alarm_book_get(monitor->book, i);
        if (alarm->system == system)
            alarm->return_told = true;
    }
}

/* ---- what goes on ---- */

/* The readings of `state` and all else of `before`, or all of `before`. */
/* `windowed`: the new settings ask for the mean of 24 h. */
static void take_over_state(struct point_state *state, struct point_state *before, bool unchanged,
                            bool windowed) {
    const struct point_state loaded = *state;
    if (unchanged) {
        *state = *before;
        state->window = windowed ? before->window : NULL;
        before->window = windowed ? NULL : before->window;
    } else {
        state->heard_ms = before->heard_ms;
        state->came_ms = before->came_ms;
        state->lag_ms = before->lag_ms;
        state->jump_ms = before->jump_ms;
        state->plain_came_ms = before->plain_came_ms;
        state->plain_ms = before->plain_ms;
        state->baselines = before->baselines;
        state->baseline_count = before->baseline_count;
    }
    before->baselines = loaded.baselines;
    before->baseline_count = loaded.baseline_count;
    state->trackers = loaded.trackers;
    state->silent_after_ms = loaded.silent_after_ms;
    state->sensor_silent_after_ms = loaded.sensor_silent_after_ms;
}

static void take_over_trackers(struct monitor *monitor, size_t is, const struct monitor *former,
                               size_t was) {
    const struct fleet_point *owner = &monitor->fleet->points[is];
    const struct fleet_point *before = &former->fleet->points[was];
    for (size_t i = 0; i < owner->rule_count; i++) {
        for (size_t j = 0; j < before->rule_count; j++) {
            if (before->rules[j].condition == owner->rules[i].condition)
                monitor->points[is].trackers[i] = former->points[was].trackers[j];
        }
        enum tracker_phase phase = monitor->points[is].trackers[i].phase;
        if (phase == TRACKER_PENDING || phase == TRACKER_CLEARING)
            monitor_note_running(monitor, is);
    }
}

static void take_over_trackers_of(struct branch_state *branch, const struct branch_state *before) {
    for (size_t i = 0; i < BRANCH_TRACKER_COUNT; i++)
        branch->trackers[i] = before->trackers[i];
}

static void take_over_fans(struct branch_state *branch, struct branch_state *before) {
    const struct fitted_fans loaded = branch->fans;
    branch->fans = before->fans;
    before->fans = loaded;
}

/* What is judged of a branch goes on where its alarms stand at the same place; its fans are found
   by its id. */
static void take_over_branches(struct monitor *monitor, size_t is, const struct monitor *former,
                               size_t was, const struct fleet_change *change) {
    const struct fleet_system *owner = &monitor->fleet->systems[is];
    const struct fleet_system *before = &former->fleet->systems[was];
    for (size_t b = 0; b < owner->description->branch_count; b++) {
        struct branch_state *branch = &monitor->branches[owner->first_branch + b];
        size_t place = fleet_branch_place(monitor->fleet, is, b);
        size_t place_was = place == FLEET_NONE ? FLEET_NONE : change->points_were[place];
        for (size_t f = 0; f < before->description->branch_count; f++) {
            struct branch_state *state = &former->branches[before->first_branch + f];
            if ((place == FLEET_NONE) == (place_was == FLEET_NONE) &&
                fleet_branch_place(former->fleet, was, f) == place_was)
                take_over_trackers_of(branch, state);
            if (strcmp(owner->description->branches[b].id, before->description->branches[f].id) ==
                0)
                take_over_fans(branch, state);
        }
    }
}

static void take_over_wider(struct monitor *monitor, struct monitor *former,
                            const struct fleet_change *change) {
    for (size_t s = 0; s < monitor->fleet->system_count; s++) {
        size_t was = change->systems_were[s];
        if (was == FLEET_NONE)
            continue;
        const struct renewal_list loaded = monitor->systems[s].renewals;
        monitor->systems[s] = former->systems[was];
        former->systems[was].renewals = loaded; /* each is freed by the monitor that has it */
        take_over_branches(monitor, s, former, was, change);
    }
    for (size_t c = 0; c < CONDITION_COUNT; c++) {
        monitor->daemon_trackers[c] = former->daemon_trackers[c];
        monitor->daemon_subjects[c] = former->daemon_subjects[c];
        former->daemon_subjects[c] = NULL;
    }
    monitor->fleet_silent = former->fleet_silent;
    alarm_book_take_over(monitor->book, former->book, change);
}

void monitor_take_over(struct monitor *monitor, struct monitor *former,
                       const struct fleet_change *change, int64_t now_ms) {
    assert(!monitor_has_changes(former));
    for (size_t i = 0; i < monitor->fleet->point_count; i++) {
        size_t was = change->points_were[i];
        if (was == FLEET_NONE) {
            monitor->points[i].heard_ms = now_ms; /* it has had no time to speak yet */
            continue;
        }
        take_over_trackers(monitor, i, former, was);
        take_over_state(&monitor->points[i], &former->points[was], change->unchanged[i],
                        fleet_needs_window(monitor->fleet, i));
    }
    take_over_wider(monitor, former, change);
    /* When to look at silence and dates again is not taken over: at once, for limits changed. */
    monitor->backlog = former->backlog;
    monitor->arrival_ms = former->arrival_ms;
    monitor->advanced_ms = former->advanced_ms;
    if (former->newest_ms > monitor->newest_ms)
        monitor->newest_ms = former->newest_ms;
}
