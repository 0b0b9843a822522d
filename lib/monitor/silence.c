/*
 * Silence, from the sensor to the region.
 *
 * One missing sensor is told as such; when all of a system is missing, that is one fact
 * (system-silent); when half the fleet fell silent within minutes, that is one fact again
 * (fleet-silent: a power cut, the broker, the network). So before the small fact is told, look
 * whether its neighbours are overdue too ("quiet": one and a half intervals without a reading); if
 * they are, wait until they have answered or are silent themselves.
 */
#include "measure/duration.h"
#include "monitor/monitor_private.h"

#include <math.h>
#include <stdlib.h>

enum quietness { HEARD, QUIET, SILENT };

enum { FLEET_LEAST_SYSTEMS = 3 };

struct system_silence {
    size_t seen, quiet, silent; /* points; a silent one is quiet too */
    int64_t newest_ms;          /* newest reading of the system */
    int64_t silent_at_ms;       /* when the last of its points became silent */
};

static enum quietness point_quietness(const struct monitor *monitor, size_t point, int64_t now_ms) {
    const struct point_state *state = &monitor->points[point];
    int64_t every_ms = monitor->fleet->points[point].description->every_ms;
    int64_t age_ms = now_ms - state->newest_ms;
    /* A sensor whose clock is slow still speaks: what counts besides is when we last heard it. */
    if (now_ms - state->heard_ms <= every_ms)
        return HEARD;
    if (age_ms >= state->silent_after_ms)
        return SILENT;
    return age_ms > every_ms + every_ms / 2 ? QUIET : HEARD;
}

static struct system_silence look(const struct monitor *monitor, size_t system, int64_t now_ms) {
    const struct fleet_system *owner = &monitor->fleet->systems[system];
    struct system_silence result = {.newest_ms = TIMESTAMP_NONE, .silent_at_ms = TIMESTAMP_NONE};
    for (size_t i = owner->first_point; i < owner->first_point + owner->point_count; i++) {
        int64_t newest_ms = monitor->points[i].newest_ms;
        if (newest_ms == TIMESTAMP_NONE)
            continue;
        enum quietness quietness = point_quietness(monitor, i, now_ms);
        result.seen++;
        result.quiet += quietness != HEARD;
        result.silent += quietness == SILENT;
        int64_t silent_at_ms = newest_ms + monitor->points[i].silent_after_ms;
        if (newest_ms > result.newest_ms)
            result.newest_ms = newest_ms;
        if (silent_at_ms > result.silent_at_ms)
            result.silent_at_ms = silent_at_ms;
    }
    return result;
}

static bool all_silent(const struct system_silence *silence) {
    return silence->seen > 0 && silence->silent == silence->seen;
}

static bool all_quiet(const struct system_silence *silence) {
    return silence->seen > 0 && silence->quiet == silence->seen;
}

bool silence_of_system(const struct monitor *monitor, size_t system) {
    const struct fleet_system *owner = &monitor->fleet->systems[system];
    for (size_t i = owner->first_point; i < owner->first_point + owner->point_count; i++) {
        const struct point_state *state = &monitor->points[i];
        if (state->newest_ms == TIMESTAMP_NONE)
            continue;
        int64_t age_ms = monitor->advanced_ms - state->newest_ms;
        /* As in point_quietness, but a reading of days ago that was imported just now is no life.
         */
        bool heard = monitor->advanced_ms - state->heard_ms <=
                         monitor->fleet->points[i].description->every_ms &&
                     age_ms <= DURATION_DAY_MS;
        if (heard || age_ms <= state->silent_after_ms)
            return false;
    }
    return true;
}

/* ---- one system ---- */

static void raise_sensors(struct monitor *monitor, size_t system, int64_t now_ms) {
    const struct fleet_system *owner = &monitor->fleet->systems[system];
    for (size_t i = owner->first_point; i < owner->first_point + owner->point_count; i++) {
        if (monitor->points[i].newest_ms != TIMESTAMP_NONE &&
            point_quietness(monitor, i, now_ms) == SILENT)
            judge_silent(&monitor->judge, i, &monitor->points[i]);
    }
}

static void raise_system(struct monitor *monitor, size_t system,
                         const struct system_silence *silence) {
    struct tracker *tracker = &monitor->systems[system].trackers[SYSTEM_TRACKER_SILENT];
    if (tracker->phase == TRACKER_STANDING ||
        !fleet_rule(monitor->fleet, system, CONDITION_SYSTEM_SILENT).enabled)
        return;
    *tracker = (struct tracker){silence->newest_ms, silence->newest_ms, TRACKER_STANDING};
    monitor_moved_other(monitor, system, CONDITION_SYSTEM_SILENT, tracker);
    monitor_raise(monitor, system, FLEET_NONE, CONDITION_SYSTEM_SILENT, silence->newest_ms,
                  silence->silent_at_ms, NAN, NAN, NULL);
}

void silence_heard(struct monitor *monitor, size_t system, int64_t time_ms) {
    struct tracker *tracker = &monitor->systems[system].trackers[SYSTEM_TRACKER_SILENT];
    if (tracker->phase != TRACKER_STANDING)
        return;
    tracker->phase = TRACKER_REST;
    monitor_moved_other(monitor, system, CONDITION_SYSTEM_SILENT, tracker);
    alarm_book_return(monitor->book, system, FLEET_NONE, CONDITION_SYSTEM_SILENT, time_ms);
}

/* ---- the fleet ---- */

struct fleet_silence {
    size_t seen, quiet, silent;
    int64_t *silent_at_ms; /* of the silent systems */
};

static int by_time(const void *a, const void *b) {
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

static size_t fleet_threshold(const struct fleet_silence *fleet) {
    size_t half = (fleet->seen + 1) / 2;
    return half > FLEET_LEAST_SYSTEMS ? half : FLEET_LEAST_SYSTEMS;
}

/* When did so many systems fall silent within the window? False when they did not. */
static bool fell_together(const struct fleet_silence *fleet, int64_t window_ms, int64_t *since_ms,
                          int64_t *at_ms) {
    size_t needed = fleet_threshold(fleet);
    qsort(fleet->silent_at_ms, fleet->silent, sizeof *fleet->silent_at_ms, by_time);
    for (size_t i = needed; i <= fleet->silent; i++) {
        if (fleet->silent_at_ms[i - 1] - fleet->silent_at_ms[i - needed] <= window_ms) {
            *since_ms = fleet->silent_at_ms[i - needed];
            *at_ms = fleet->silent_at_ms[i - 1];
            return true;
        }
    }
    return false;
}

static void judge_fleet(struct monitor *monitor, const struct fleet_silence *fleet,
                        int64_t now_ms) {
    struct condition_rule rule = fleet_rule(monitor->fleet, FLEET_NONE, CONDITION_FLEET_SILENT);
    struct tracker *tracker = &monitor->fleet_silent;
    int64_t since_ms = 0, at_ms = 0;
    if (!rule.enabled)
        return;
    if (tracker->phase == TRACKER_STANDING) {
        if (fleet->silent >= fleet_threshold(fleet))
            return;
        tracker->phase = TRACKER_REST;
        alarm_book_return(monitor->book, FLEET_NONE, FLEET_NONE, CONDITION_FLEET_SILENT, now_ms);
    } else {
        if (!fell_together(fleet, (int64_t)rule.setpoint.number, &since_ms, &at_ms))
            return;
        *tracker = (struct tracker){since_ms, since_ms, TRACKER_STANDING};
        monitor_raise(monitor, FLEET_NONE, FLEET_NONE, CONDITION_FLEET_SILENT, since_ms, at_ms,
                      (double)fleet->silent, (double)fleet->seen, NULL);
    }
    monitor_moved_other(monitor, FLEET_NONE, CONDITION_FLEET_SILENT, tracker);
}

/* A system that is silent while much of the fleet is overdue may be one of many: wait for the rest,
   but no longer than the window in which they would have to fall. */
static bool wait_for_fleet(const struct monitor *monitor, const struct fleet_silence *fleet,
                           const struct system_silence *system, int64_t now_ms) {
    struct condition_rule rule = fleet_rule(monitor->fleet, FLEET_NONE, CONDITION_FLEET_SILENT);
    return rule.enabled && monitor->fleet_silent.phase != TRACKER_STANDING &&
           fleet->quiet >= fleet_threshold(fleet) && fleet->quiet > fleet->silent &&
           now_ms - system->silent_at_ms <= (int64_t)rule.setpoint.number;
}

void silence_scan(struct monitor *monitor, int64_t now_ms) {
    size_t systems = monitor->fleet->system_count;
    struct system_silence *found = malloc((systems + 1) * sizeof *found);
    struct fleet_silence fleet = {.silent_at_ms = malloc((systems + 1) * sizeof(int64_t))};
    if (!found || !fleet.silent_at_ms) {
        monitor->out_of_memory = true;
        goto done;
    }
    for (size_t s = 0; s < systems; s++) {
        found[s] = look(monitor, s, now_ms);
        fleet.seen += found[s].seen > 0;
        fleet.quiet += all_quiet(&found[s]);
        if (all_silent(&found[s]))
            fleet.silent_at_ms[fleet.silent++] = found[s].silent_at_ms;
    }
    judge_fleet(monitor, &fleet, now_ms);
    for (size_t s = 0; s < systems; s++) {
        if (found[s].silent == 0 || (all_quiet(&found[s]) && !all_silent(&found[s])))
            continue;
        if (all_silent(&found[s])) {
            if (wait_for_fleet(monitor, &fleet, &found[s], now_ms))
                continue;
            raise_system(monitor, s, &found[s]);
        }
        raise_sensors(monitor, s, now_ms);
    }
done:
    free(found);
    free(fleet.silent_at_ms);
}
