/*
 * What concerns more than a point: weather and dates of a system, its time out of service, its
 * status; and the daemon itself.
 */
#include "monitor/monitor_private.h"

#include "measure/duration.h"
#include "monitor/riser_draft.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- weather ---- */

/* What a point of the system says at about that time; NaN: none does. */
static double value_about(const struct monitor *monitor, size_t system, enum quantity quantity,
                          int64_t time_ms) {
    size_t point = fleet_point_of(monitor->fleet, system, quantity);
    const struct point_state *state = point == FLEET_NONE ? NULL : &monitor->points[point];
    return state && state->newest_ms != TIMESTAMP_NONE &&
                   llabs(time_ms - state->newest_ms) <= DURATION_DAY_MS
               ? state->newest_value
               : NAN;
}

void monitor_note_weather(struct monitor *monitor, size_t point) {
    const struct fleet_point *points = monitor->fleet->points;
    if (points[point].description->quantity != QUANTITY_OUTDOOR_TEMPERATURE)
        return;
    size_t system = points[point].system;
    const struct fleet_system *owner = &monitor->fleet->systems[system];
    int64_t time_ms = monitor->points[point].newest_ms;
    const struct riser_weather weather = {
        .indoor_celsius = value_about(monitor, system, QUANTITY_INDOOR_TEMPERATURE, time_ms),
        .outdoor_celsius = monitor->points[point].newest_value,
        .barometer_pa = value_about(monitor, system, QUANTITY_BAROMETRIC_PRESSURE, time_ms),
    };
    for (size_t i = owner->first_point; i < owner->first_point + owner->point_count; i++) {
        size_t branch = points[i].description->branch;
        if (points[i].description->quantity != QUANTITY_SUCTION)
            continue;
        monitor->points[i].draft_ms = time_ms;
        monitor->points[i].draft_pa =
            riser_draft_pa(monitor->fleet, system, branch == BRANCH_NONE ? 0 : branch, &weather);
    }
}

/* ---- dates ---- */

void monitor_set_dates(struct monitor *monitor, size_t system, const struct monitor_dates *dates) {
    monitor->systems[system].dates = *dates;
    monitor->dates_ms = INT64_MIN / 2; /* look at them at the next turn */
    monitor_dates_changed(monitor);
}

void monitor_dates_changed(struct monitor *monitor) {
    monitor->next_date_ms = INT64_MIN;
}

bool monitor_load_renewal(struct monitor *monitor, size_t system, int64_t from_ms,
                          unsigned changed) {
    return renewal_list_add(&monitor->systems[system].renewals, from_ms, changed);
}

const struct renewal_list *monitor_renewals(const struct monitor *monitor, size_t system) {
    return &monitor->systems[system].renewals;
}

const struct monitor_dates *monitor_dates(const struct monitor *monitor, size_t system) {
    return &monitor->systems[system].dates;
}

/* A system is tested within a month of its start: common practice of measurement, no source. */
static const int64_t first_test_ms = 30 * DURATION_DAY_MS;

static int64_t after(int64_t from_ms, int64_t span_ms) {
    return from_ms == TIMESTAMP_NONE || span_ms <= 0 ? INT64_MAX : from_ms + span_ms;
}

int64_t monitor_due_ms(const struct monitor *monitor, size_t system, enum condition condition) {
    const struct system_description *description = monitor->fleet->systems[system].description;
    const struct settings *settings = monitor->fleet->settings;
    const struct monitor_dates *dates = &monitor->systems[system].dates;
    if (condition == CONDITION_RETEST_DUE) {
        int64_t every_ms = description->retest_every_ms >= 0 ? description->retest_every_ms
                                                             : settings->retest_every_ms;
        if (dates->tested_ms == TIMESTAMP_NONE && every_ms > 0)
            return after(dates->commissioned_ms, first_test_ms);
        return after(dates->tested_ms, every_ms);
    }
    if (condition == CONDITION_VISIT_DUE)
        return after(dates->visited_ms, description->visit_every_ms >= 0
                                            ? description->visit_every_ms
                                            : settings->visit_every_ms);
    return dates->next_calibration_ms == TIMESTAMP_NONE ? INT64_MAX : dates->next_calibration_ms;
}

/* Each judge_… returns when it will have something to do next; INT64_MAX: never. */
static int64_t judge_date(struct monitor *monitor, size_t system, enum condition condition,
                          int64_t now_ms) {
    struct tracker *tracker = monitor_wider_tracker(monitor, system, FLEET_NONE, condition);
    int64_t due_ms = monitor_due_ms(monitor, system, condition);
    bool stands = tracker->phase == TRACKER_STANDING, due = due_ms <= now_ms;
    int64_t next_ms = due ? INT64_MAX : due_ms;
    if (due == stands || (due && !fleet_rule(monitor->fleet, system, condition).enabled))
        return next_ms;
    *tracker = (struct tracker){due_ms, due_ms, due ? TRACKER_STANDING : TRACKER_REST};
    monitor_moved_other(monitor, system, FLEET_NONE, condition, tracker);
    if (due)
        monitor_raise(monitor, system, FLEET_NONE, condition, due_ms, due_ms, NAN, NAN, NULL);
    else
        alarm_book_return(monitor->book, system, FLEET_NONE, condition, now_ms);
    return next_ms;
}

int64_t monitor_reading_due_ms(const struct monitor *monitor, size_t point) {
    const struct point_state *state = &monitor->points[point];
    int64_t last_ms = state->newest_ms;
    if (state->baseline_count > 0 && state->baselines[state->baseline_count - 1].from_ms > last_ms)
        last_ms = state->baselines[state->baseline_count - 1].from_ms;
    return after(last_ms, monitor->fleet->points[point].description->every_ms);
}

static int64_t judge_reading_due(struct monitor *monitor, size_t point, int64_t now_ms) {
    int64_t due_ms = monitor_reading_due_ms(monitor, point);
    judge_due(&monitor->judge, point, &monitor->points[point], due_ms, now_ms);
    return due_ms <= now_ms ? INT64_MAX : due_ms;
}

static int64_t judge_service(struct monitor *monitor, size_t system, int64_t now_ms) {
    int64_t until_ms = monitor->systems[system].out_until_ms;
    if (until_ms == TIMESTAMP_NONE)
        return INT64_MAX;
    if (until_ms > now_ms)
        return until_ms;
    monitor_set_out_of_service(monitor, system, TIMESTAMP_NONE);
    return INT64_MAX;
}

static int64_t sooner(int64_t a, int64_t b) {
    return a < b ? a : b;
}

void monitor_judge_dates(struct monitor *monitor, int64_t now_ms) {
    static const enum condition dated[] = {CONDITION_RETEST_DUE, CONDITION_VISIT_DUE,
                                           CONDITION_CALIBRATION_DUE};
    int64_t next_ms = INT64_MAX;
    if (now_ms < monitor->next_date_ms)
        return;
    for (size_t i = 0; i < monitor->fleet->point_count; i++) {
        if (monitor->fleet->points[i].description->by_hand)
            next_ms = sooner(next_ms, judge_reading_due(monitor, i, now_ms));
    }
    for (size_t s = 0; s < monitor->fleet->system_count; s++) {
        for (size_t c = 0; c < sizeof dated / sizeof dated[0]; c++)
            next_ms = sooner(next_ms, judge_date(monitor, s, dated[c], now_ms));
        next_ms = sooner(next_ms, judge_service(monitor, s, now_ms));
    }
    monitor->next_date_ms = next_ms;
}

/* ---- out of service ---- */

void monitor_set_out_of_service(struct monitor *monitor, size_t system, int64_t until_ms) {
    monitor->systems[system].out_until_ms = until_ms;
    monitor_dates_changed(monitor);
    alarm_book_set_out_of_service(monitor->book, system, until_ms != TIMESTAMP_NONE);
}

int64_t monitor_out_of_service_until(const struct monitor *monitor, size_t system) {
    return monitor->systems[system].out_until_ms;
}

/* ---- the daemon itself ---- */

void monitor_daemon_event(struct monitor *monitor, enum condition condition,
                          enum tracker_event event, int64_t at_ms, double value,
                          const char *subject) {
    if (event == TRACKER_RAISE)
        monitor_raise(monitor, FLEET_NONE, FLEET_NONE, condition,
                      monitor->daemon_trackers[condition].began_ms, at_ms, value, NAN, subject);
    else if (event == TRACKER_RETURN)
        alarm_book_return(monitor->book, FLEET_NONE, FLEET_NONE, condition, at_ms);
}

static void remember_subject(struct monitor *monitor, enum condition condition,
                             const char *subject) {
    char *copy = subject ? strdup(subject) : NULL;
    if (!copy)
        return;
    free(monitor->daemon_subjects[condition]);
    monitor->daemon_subjects[condition] = copy;
}

void monitor_daemon(struct monitor *monitor, enum condition condition, bool holds,
                    const char *subject, double value, int64_t now_ms) {
    struct condition_rule rule = fleet_rule(monitor->fleet, FLEET_NONE, condition);
    struct tracker *tracker = &monitor->daemon_trackers[condition], before = *tracker;
    int64_t at_ms = now_ms;
    if (!rule.enabled)
        return;
    remember_subject(monitor, condition, subject);
    enum tracker_event event =
        tracker_step(tracker, rule.on_delay_ms, rule.off_delay_ms, holds, !holds, now_ms, &at_ms);
    monitor_daemon_event(monitor, condition, event, at_ms, value, subject);
    if (before.phase != tracker->phase || before.since_ms != tracker->since_ms)
        monitor_moved_other(monitor, FLEET_NONE, FLEET_NONE, condition, tracker);
}

/* ---- what people see ---- */

int64_t monitor_system_newest_ms(const struct monitor *monitor, size_t system) {
    const struct fleet_system *owner = &monitor->fleet->systems[system];
    int64_t newest_ms = TIMESTAMP_NONE;
    for (size_t i = 0; i < owner->point_count; i++) {
        int64_t point_ms = monitor->points[owner->first_point + i].newest_ms;
        if (point_ms > newest_ms)
            newest_ms = point_ms;
    }
    return newest_ms;
}

/* What an alarm says of its system. */
static enum monitor_status severity(enum condition condition) {
    static const enum monitor_status of[] = {[SAYS_NOTHING] = MONITOR_IN_SPEC,
                                             [SAYS_DRIFTING] = MONITOR_DRIFTING,
                                             [SAYS_OUT_OF_SPEC] = MONITOR_OUT_OF_SPEC,
                                             [SAYS_SILENT] = MONITOR_SILENT};
    return of[condition_info(condition)->says];
}

static bool reading_is_due(const struct monitor *monitor, size_t system, size_t point) {
    const struct alarm *alarm = alarm_book_of_system(monitor->book, system);
    int64_t due_ms = monitor_reading_due_ms(monitor, point);
    while (alarm && !(alarm->condition == CONDITION_READING_DUE && alarm->point == point &&
                      alarm_stands(alarm) && alarm->since_ms >= due_ms))
        alarm = alarm->next_of_system;
    return alarm != NULL;
}

/* A house that only people read has no sensor to fall silent: nobody has heard of it when each
   reading that was ever taken is overdue. */
static bool is_unread(const struct monitor *monitor, size_t system) {
    const struct fleet_system *owner = &monitor->fleet->systems[system];
    for (size_t i = owner->first_point; i < owner->first_point + owner->point_count; i++) {
        if (!monitor->fleet->points[i].description->by_hand ||
            (monitor->points[i].newest_ms != TIMESTAMP_NONE && !reading_is_due(monitor, system, i)))
            return false;
    }
    return true;
}

enum monitor_status monitor_status(const struct monitor *monitor, size_t system,
                                   int64_t *since_ms) {
    enum monitor_status status = MONITOR_IN_SPEC;
    *since_ms = TIMESTAMP_NONE;
    if (monitor->systems[system].out_until_ms != TIMESTAMP_NONE)
        return MONITOR_OUT_OF_SERVICE;
    if (monitor_system_newest_ms(monitor, system) == TIMESTAMP_NONE)
        return MONITOR_SILENT;
    for (const struct alarm *alarm = alarm_book_of_system(monitor->book, system); alarm;
         alarm = alarm->next_of_system) {
        if (!alarm_stands(alarm))
            continue;
        enum monitor_status one = severity(alarm->condition);
        if (one == MONITOR_IN_SPEC || one < status)
            continue;
        if (one > status || alarm->since_ms < *since_ms)
            *since_ms = alarm->since_ms;
        status = one;
    }
    if (status < MONITOR_OUT_OF_SPEC &&
        (silence_of_system(monitor, system) || is_unread(monitor, system))) {
        *since_ms = monitor_system_newest_ms(monitor, system);
        status = MONITOR_SILENT;
    }
    return status;
}

void monitor_tally(const struct monitor *monitor, size_t tally[MONITOR_STATUSES]) {
    int64_t since_ms = 0;
    memset(tally, 0, MONITOR_STATUSES * sizeof *tally);
    for (size_t s = 0; s < monitor->fleet->system_count; s++)
        tally[monitor_status(monitor, s, &since_ms)]++;
}

const char *monitor_status_word(enum monitor_status status) {
    static const char *const words[] = {"in spec", "drifting", "out of spec", "silent",
                                        "out of service"};
    return words[status];
}
