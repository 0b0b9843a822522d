/*
 * Silence, from the sensor to the region.
 *
 * What falls silent together is one fact: the points of a system (system-silent: its gateway), or
 * half the fleet within minutes (fleet-silent: a power cut, the broker, the network). A point
 * should have reported one and a half intervals after its newest reading; it is silent after three.
 * A system is silent when two points or more are, and no point has reported since these should
 * have: one that is not due yet says nothing either way. What has been decided follows from the
 * times of the newest readings alone, whenever it is looked at.
 *
 * So before a small fact is told, look whether its neighbours are overdue too; if they are, wait
 * until they have answered or the wider fact is told. After it, each point gets the time that it
 * may be silent to come back.
 *
 * Most systems are not overdue, and of few points is more to be said than at the last look. When
 * the first of a system's points may say more is known in advance, and readings only move it on:
 * until then nobody looks at it (look_at_ms).
 */
#include "measure/duration.h"
#include "monitor/monitor_private.h"

#include <math.h>
#include <stdlib.h>

enum { FLEET_LEAST_SYSTEMS = 3, SYSTEM_LEAST_POINTS = 2 };

/* What the newest reading of a point says of its silence. */
struct point_silence {
    int64_t alive_ms;   /* up to here it is known to have reported; TIMESTAMP_NONE: it never did */
    int64_t overdue_ms; /* from here on it should have reported; INT64_MAX: it is heard */
    int64_t silent_ms;  /* from here on it is silent; INT64_MAX: it is heard */
};

/* What never reported can't fall silent, and what people read does not report by itself. */
static bool may_be_silent(const struct monitor *monitor, size_t point) {
    return monitor->points[point].newest_ms != TIMESTAMP_NONE &&
           !monitor->fleet->points[point].description->by_hand;
}

static struct point_silence look_at_point(const struct monitor *monitor, size_t point,
                                          int64_t now_ms) {
    const struct point_state *state = &monitor->points[point];
    int64_t every_ms = monitor->fleet->points[point].description->every_ms;
    if (!may_be_silent(monitor, point))
        return (struct point_silence){TIMESTAMP_NONE, INT64_MAX, INT64_MAX};
    struct point_silence silence = {.alive_ms = state->newest_ms,
                                    .overdue_ms = state->newest_ms +
                                                  fleet_overdue_after_ms(monitor->fleet, point),
                                    .silent_ms = state->newest_ms + state->silent_after_ms};
    /* A sensor whose clock is slow still speaks: what counts besides is when we last heard it. */
    if (state->came_ms > silence.alive_ms)
        silence.alive_ms = state->came_ms;
    if (now_ms - state->heard_ms <= every_ms)
        silence.overdue_ms = silence.silent_ms = INT64_MAX;
    return silence;
}

static int64_t lesser(int64_t a, int64_t b) {
    return a < b ? a : b;
}

static int64_t greater(int64_t a, int64_t b) {
    return a > b ? a : b;
}

/* The first instant after `now_ms` at which look_at_point may find more than now, however many
   readings come. What has fallen may be heard right now and be due again an interval later.
   INT64_MAX: it cannot be silent. */
static int64_t point_look_at_ms(const struct monitor *monitor, size_t point, int64_t now_ms) {
    const struct point_state *state = &monitor->points[point];
    int64_t every_ms = monitor->fleet->points[point].description->every_ms;
    int64_t after_ms[] = {fleet_overdue_after_ms(monitor->fleet, point), state->silent_after_ms,
                          state->sensor_silent_after_ms};
    if (!may_be_silent(monitor, point))
        return INT64_MAX;
    int64_t next_ms = INT64_MAX;
    for (size_t i = 0; i < sizeof after_ms / sizeof *after_ms; i++) {
        int64_t at_ms = greater(state->heard_ms + every_ms + 1, state->newest_ms + after_ms[i]);
        next_ms = lesser(next_ms, at_ms > now_ms ? at_ms : now_ms + every_ms + 1);
    }
    return next_ms;
}

struct points {
    const struct monitor *monitor;
    size_t first, count, least;
    int64_t now_ms;
    bool overdue; /* asks who is overdue, not who is silent */
};

static int64_t falls_at(const struct points *points, const struct point_silence *point) {
    return points->overdue ? point->overdue_ms : point->silent_ms;
}

/* With all that had fallen by `fell_ms`: since when these should have reported, or INT64_MAX when
   that is not all who should have. *next_ms: when the next one falls. */
static int64_t together_since(const struct points *points, int64_t fell_ms, int64_t *next_ms) {
    int64_t due_ms = INT64_MIN, alive_ms = TIMESTAMP_NONE;
    size_t fallen = 0;
    *next_ms = INT64_MAX;
    for (size_t i = points->first; i < points->first + points->count; i++) {
        struct point_silence point = look_at_point(points->monitor, i, points->now_ms);
        int64_t falls_ms = falls_at(points, &point);
        if (falls_ms <= fell_ms) {
            fallen++;
            due_ms = point.overdue_ms > due_ms ? point.overdue_ms : due_ms;
        } else {
            alive_ms = point.alive_ms > alive_ms ? point.alive_ms : alive_ms;
            *next_ms = falls_ms < *next_ms ? falls_ms : *next_ms;
        }
    }
    return fallen >= points->least && alive_ms < due_ms ? due_ms : INT64_MAX;
}

/* How many have fallen by now; most often one sensor that is long dead. */
static size_t fallen_by_now(const struct points *points) {
    size_t fallen = 0;
    for (size_t i = points->first; i < points->first + points->count; i++) {
        struct point_silence point = look_at_point(points->monitor, i, points->now_ms);
        fallen += falls_at(points, &point) <= points->now_ms;
    }
    return fallen;
}

/* When the silence of all who should have reported had lasted for `delay_ms`; INT64_MAX: not yet.
   The earliest such instant, so that a later look finds the same. */
static int64_t fell_at(const struct points *points, int64_t delay_ms) {
    int64_t earliest_ms = INT64_MAX;
    if (fallen_by_now(points) < points->least)
        return INT64_MAX;
    for (size_t i = points->first; i < points->first + points->count; i++) {
        struct point_silence point = look_at_point(points->monitor, i, points->now_ms);
        int64_t at_ms = falls_at(points, &point), next_ms;
        if (at_ms > points->now_ms || at_ms >= earliest_ms)
            continue;
        int64_t since_ms = together_since(points, at_ms, &next_ms);
        if (since_ms == INT64_MAX)
            continue;
        if (since_ms + delay_ms > at_ms)
            at_ms = since_ms + delay_ms;
        if (at_ms < next_ms && at_ms <= points->now_ms && at_ms < earliest_ms)
            earliest_ms = at_ms;
    }
    return earliest_ms;
}

static struct system_silence look(const struct monitor *monitor, size_t system, int64_t now_ms) {
    const struct fleet_system *owner = &monitor->fleet->systems[system];
    struct system_silence result = {now_ms, 0, TIMESTAMP_NONE, INT64_MAX, INT64_MAX, INT64_MAX};
    struct points points = {monitor, owner->first_point, owner->point_count, 0, now_ms, true};
    for (size_t i = owner->first_point; i < owner->first_point + owner->point_count; i++) {
        int64_t newest_ms = monitor->points[i].newest_ms;
        if (!may_be_silent(monitor, i))
            continue;
        result.seen++;
        result.newest_ms = newest_ms > result.newest_ms ? newest_ms : result.newest_ms;
    }
    points.least = result.seen < SYSTEM_LEAST_POINTS ? 1 : SYSTEM_LEAST_POINTS;
    result.overdue_ms = fell_at(&points, 0);
    if (result.overdue_ms == INT64_MAX)
        return result;
    points.overdue = false;
    result.silent_ms = fell_at(&points, 0);
    points.least = SYSTEM_LEAST_POINTS;
    struct condition_rule rule = fleet_rule(monitor->fleet, system, CONDITION_SYSTEM_SILENT);
    result.raised_ms = fell_at(&points, rule.on_delay_ms);
    return result;
}

bool silence_of_system(const struct monitor *monitor, size_t system) {
    bool any = false;
    const struct fleet_system *owner = &monitor->fleet->systems[system];
    for (size_t i = owner->first_point; i < owner->first_point + owner->point_count; i++) {
        const struct point_state *state = &monitor->points[i];
        if (!may_be_silent(monitor, i))
            continue;
        any = true;
        int64_t age_ms = monitor->advanced_ms - state->newest_ms;
        /* As in look_at_point, but a reading of days ago that was imported just now is no life.
         */
        bool heard = monitor->advanced_ms - state->heard_ms <=
                         monitor->fleet->points[i].description->every_ms &&
                     age_ms <= DURATION_DAY_MS;
        if (heard || age_ms <= state->silent_after_ms)
            return false;
    }
    return any;
}

/* ---- one system ---- */

static void note_system(struct monitor *monitor, size_t system, enum tracker_phase phase,
                        int64_t since_ms) {
    struct tracker *tracker = &monitor->systems[system].trackers[SYSTEM_TRACKER_SILENT];
    *tracker = (struct tracker){since_ms, since_ms, phase};
    silence_look_again(monitor, system);
    monitor_moved_other(monitor, system, FLEET_NONE, CONDITION_SYSTEM_SILENT, tracker);
}

/* After the system has spoken again its points have time to follow (TRACKER_CLEARING, kept in the
   store like a delay). */
static bool may_follow(const struct monitor *monitor, size_t system, size_t point, int64_t now_ms) {
    const struct tracker *tracker = &monitor->systems[system].trackers[SYSTEM_TRACKER_SILENT];
    return tracker->phase == TRACKER_CLEARING &&
           now_ms - tracker->since_ms < monitor->points[point].sensor_silent_after_ms;
}

static void raise_sensors(struct monitor *monitor, size_t system, int64_t now_ms) {
    const struct fleet_system *owner = &monitor->fleet->systems[system];
    bool waited_for = false;
    for (size_t i = owner->first_point; i < owner->first_point + owner->point_count; i++) {
        struct point_silence silence = look_at_point(monitor, i, now_ms);
        bool follows = may_follow(monitor, system, i, now_ms);
        waited_for |= follows;
        if (silence.silent_ms != INT64_MAX && !follows &&
            now_ms - monitor->points[i].newest_ms >= monitor->points[i].sensor_silent_after_ms)
            judge_silent(&monitor->judge, i, &monitor->points[i]);
    }
    if (!waited_for &&
        monitor->systems[system].trackers[SYSTEM_TRACKER_SILENT].phase == TRACKER_CLEARING)
        note_system(monitor, system, TRACKER_REST, now_ms);
}

static bool system_stands(const struct monitor *monitor, size_t system) {
    return monitor->systems[system].trackers[SYSTEM_TRACKER_SILENT].phase == TRACKER_STANDING;
}

static void raise_system(struct monitor *monitor, size_t system,
                         const struct system_silence *silence) {
    if (!fleet_rule(monitor->fleet, system, CONDITION_SYSTEM_SILENT).enabled)
        return;
    note_system(monitor, system, TRACKER_STANDING, silence->newest_ms);
    monitor_raise(monitor, system, FLEET_NONE, CONDITION_SYSTEM_SILENT, silence->newest_ms,
                  silence->raised_ms, NAN, NAN, NULL);
}

void silence_heard(struct monitor *monitor, size_t system, int64_t time_ms) {
    if (!system_stands(monitor, system))
        return;
    note_system(monitor, system, TRACKER_CLEARING, time_ms);
    alarm_book_return(monitor->book, system, FLEET_NONE, CONDITION_SYSTEM_SILENT, time_ms);
}

/* ---- the fleet ---- */

/* How many systems ever reported, have nothing but overdue points, are silent. */
struct fleet_silence {
    size_t seen, quiet, silent;
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
static bool fell_together(struct monitor *monitor, const struct fleet_silence *fleet,
                          int64_t window_ms, int64_t *since_ms, int64_t *at_ms) {
    size_t needed = fleet_threshold(fleet), count = 0;
    int64_t *at = malloc(fleet->silent * sizeof *at);
    if (!at) {
        monitor->out_of_memory = true;
        return false;
    }
    for (size_t s = 0; s < monitor->fleet->system_count; s++)
        if (monitor->silences[s].silent_ms != INT64_MAX)
            at[count++] = monitor->silences[s].silent_ms;
    qsort(at, count, sizeof *at, by_time);
    size_t i = needed;
    while (i <= count && at[i - 1] - at[i - needed] > window_ms)
        i++;
    if (i <= count) {
        *since_ms = at[i - needed];
        *at_ms = at[i - 1];
    }
    free(at);
    return i <= count;
}

static void judge_fleet(struct monitor *monitor, const struct fleet_silence *fleet,
                        int64_t now_ms) {
    struct tracker *tracker = &monitor->fleet_silent;
    int64_t since_ms = 0, at_ms = 0;
    if (tracker->phase != TRACKER_STANDING && fleet->silent < fleet_threshold(fleet))
        return; /* as nearly always */
    struct condition_rule rule = fleet_rule(monitor->fleet, FLEET_NONE, CONDITION_FLEET_SILENT);
    if (!rule.enabled)
        return;
    if (tracker->phase == TRACKER_STANDING) {
        if (fleet->silent >= fleet_threshold(fleet))
            return;
        tracker->phase = TRACKER_REST;
        alarm_book_return(monitor->book, FLEET_NONE, FLEET_NONE, CONDITION_FLEET_SILENT, now_ms);
    } else {
        if (!fell_together(monitor, fleet, (int64_t)rule.setpoint.number, &since_ms, &at_ms))
            return;
        *tracker = (struct tracker){since_ms, since_ms, TRACKER_STANDING};
        monitor_raise(monitor, FLEET_NONE, FLEET_NONE, CONDITION_FLEET_SILENT, since_ms, at_ms,
                      (double)fleet->silent, (double)fleet->seen, NULL);
    }
    monitor_moved_other(monitor, FLEET_NONE, FLEET_NONE, CONDITION_FLEET_SILENT, tracker);
}

/* A system that is silent while much of the fleet is overdue may be one of many: wait for the rest,
   but no longer than the window in which they would have to fall. */
static bool wait_for_fleet(const struct monitor *monitor, const struct fleet_silence *fleet,
                           const struct system_silence *system, int64_t now_ms) {
    if (system->silent_ms == INT64_MAX)
        return false;
    struct condition_rule rule = fleet_rule(monitor->fleet, FLEET_NONE, CONDITION_FLEET_SILENT);
    return rule.enabled && monitor->fleet_silent.phase != TRACKER_STANDING &&
           fleet->quiet >= fleet_threshold(fleet) && fleet->quiet > fleet->silent &&
           now_ms - system->silent_ms <= (int64_t)rule.setpoint.number;
}

static void judge_system(struct monitor *monitor, size_t system, const struct fleet_silence *fleet,
                         const struct system_silence *silence, int64_t now_ms) {
    if (system_stands(monitor, system) || wait_for_fleet(monitor, fleet, silence, now_ms))
        return;
    if (silence->raised_ms != INT64_MAX)
        raise_system(monitor, system, silence);
    else if (silence->overdue_ms != INT64_MAX && silence->seen >= SYSTEM_LEAST_POINTS)
        return; /* the others answer, or it becomes the system's silence */
    if (!system_stands(monitor, system))
        raise_sensors(monitor, system, now_ms);
}

/* ---- who is looked at, and when ---- */

static const int64_t look_now_ms = INT64_MIN;

void silence_look_again(struct monitor *monitor, size_t system) {
    monitor->silences[system].look_at_ms = look_now_ms;
}

void silence_look_at_all(struct monitor *monitor) {
    for (size_t s = 0; s < monitor->fleet->system_count; s++)
        silence_look_again(monitor, s);
}

/* While all that should report are overdue and nobody was told yet, and while the points follow a
   system that has spoken again, it is looked at each time. */
static int64_t next_look_ms(const struct monitor *monitor, size_t system, int64_t now_ms) {
    const struct fleet_system *owner = &monitor->fleet->systems[system];
    enum tracker_phase phase = monitor->systems[system].trackers[SYSTEM_TRACKER_SILENT].phase;
    bool overdue = monitor->silences[system].overdue_ms != INT64_MAX;
    int64_t next_ms = INT64_MAX;
    if (phase == TRACKER_CLEARING || (overdue && phase != TRACKER_STANDING))
        return look_now_ms;
    for (size_t i = owner->first_point; i < owner->first_point + owner->point_count; i++)
        next_ms = lesser(next_ms, point_look_at_ms(monitor, i, now_ms));
    return next_ms;
}

static bool is_due(const struct monitor *monitor, size_t system, int64_t now_ms) {
    return monitor->silences[system].look_at_ms <= now_ms;
}

static struct fleet_silence look_at_fleet(struct monitor *monitor, int64_t now_ms) {
    struct fleet_silence fleet = {0};
    for (size_t s = 0; s < monitor->fleet->system_count; s++) {
        struct system_silence *silence = &monitor->silences[s];
        if (is_due(monitor, s, now_ms))
            *silence = look(monitor, s, now_ms);
        fleet.seen += silence->seen > 0;
        fleet.quiet += silence->overdue_ms != INT64_MAX;
        fleet.silent += silence->silent_ms != INT64_MAX;
    }
    return fleet;
}

void silence_scan(struct monitor *monitor, int64_t now_ms) {
    struct fleet_silence fleet = look_at_fleet(monitor, now_ms);
    judge_fleet(monitor, &fleet, now_ms);
    for (size_t s = 0; s < monitor->fleet->system_count; s++) {
        if (!is_due(monitor, s, now_ms))
            continue;
        judge_system(monitor, s, &fleet, &monitor->silences[s], now_ms);
        monitor->silences[s].look_at_ms = next_look_ms(monitor, s, now_ms);
    }
}
