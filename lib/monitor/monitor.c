#include "monitor/monitor_private.h"
#include "monitor/rests.h"

#include "measure/array.h"
#include "measure/duration.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const int64_t live_lag_ms =
    60 * DURATION_SECOND_MS;                            /* so fresh, or within its interval: live */
static const int64_t quiet_ms = 2 * DURATION_SECOND_MS; /* a backlog has ended when so quiet */
static const int64_t scan_every_ms = DURATION_SECOND_MS;
static const int64_t dates_every_ms = DURATION_MINUTE_MS;

/* ---- lists and small helpers ---- */

void monitor_list_add(struct monitor *monitor, struct list *list, const void *item, size_t size) {
    if (!array_add(&list->items, &list->count, item, size))
        monitor->out_of_memory = true;
}

void monitor_moved_other(struct monitor *monitor, size_t system, size_t point,
                         enum condition condition, const struct tracker *tracker) {
    const struct monitor_tracker moved = {system, point, condition, *tracker};
    monitor_list_add(monitor, &monitor->moved_other, &moved, sizeof moved);
}

void monitor_note_running(struct monitor *monitor, size_t point) {
    if (monitor->is_running[point])
        return;
    monitor->is_running[point] = true;
    monitor_list_add(monitor, &monitor->running, &point, sizeof point);
}

static bool is_out_of_service(const struct monitor *monitor, size_t system) {
    return system != FLEET_NONE && monitor->systems[system].out_until_ms != TIMESTAMP_NONE;
}

void monitor_raise(struct monitor *monitor, size_t system, size_t point, enum condition condition,
                   int64_t since_ms, int64_t raised_ms, double value, double setpoint,
                   const char *subject) {
    struct alarm facts = {
        .system = system,
        .point = point,
        .condition = condition,
        .priority = fleet_rule(monitor->fleet, system, condition).priority,
        .since_ms = since_ms,
        .raised_ms = raised_ms,
        .value = value,
        .setpoint = setpoint,
        .baseline = NAN,
        .out_of_service = is_out_of_service(monitor, system),
        .subject = subject ? strdup(subject) : NULL,
    };
    bool copied = !subject || facts.subject;
    if (!alarm_book_raise(monitor->book, &facts) || !copied)
        monitor->out_of_memory = true;
}

/* ---- what the judge reports ---- */

static void on_finding(void *context, size_t point, const struct judge_finding *finding) {
    struct monitor *monitor = context;
    size_t system = monitor->fleet->points[point].system;
    enum condition condition = finding->rule->condition;
    if (finding->event == TRACKER_RETURN) {
        struct alarm *alarm = alarm_book_standing(monitor->book, system, point, condition);
        if (alarm)
            alarm->returned_value = finding->value;
        alarm_book_return(monitor->book, system, point, condition, finding->at_ms);
        return;
    }
    struct alarm facts = {
        .system = system,
        .point = point,
        .condition = condition,
        .priority = finding->rule->priority,
        .since_ms = finding->since_ms,
        .raised_ms = finding->at_ms,
        .value = finding->value,
        .setpoint = finding->setpoint,
        .baseline = finding->baseline,
        .out_of_service = is_out_of_service(monitor, system),
    };
    if (!alarm_book_raise(monitor->book, &facts))
        monitor->out_of_memory = true;
}

static void on_moved(void *context, size_t point, size_t rule) {
    struct monitor *monitor = context;
    const struct point_rule moved = {point, rule};
    const struct tracker *tracker = &monitor->points[point].trackers[rule];
    bool *has_moved = &monitor->has_moved[tracker - monitor->trackers];
    if (!*has_moved)
        monitor_list_add(monitor, &monitor->moved, &moved, sizeof moved);
    *has_moved = true;
    enum tracker_phase phase = tracker->phase;
    if (phase == TRACKER_PENDING || phase == TRACKER_CLEARING)
        monitor_note_running(monitor, point);
}

static void on_hour(void *context, size_t point, const struct rollup_hour *hour) {
    struct monitor *monitor = context;
    const struct closed_hour closed = {point, *hour};
    monitor_list_add(monitor, &monitor->hours, &closed, sizeof closed);
}

/* ---- making and ending ---- */

static size_t rules_in_all(const struct fleet *fleet) {
    size_t count = 0;
    for (size_t i = 0; i < fleet->point_count; i++)
        count += fleet->points[i].rule_count;
    return count;
}

/* `change`: NULL, or a point that is unchanged by it will take its window over. */
static bool set_up_point(struct monitor *monitor, size_t i, const struct fleet_change *change,
                         struct tracker *trackers) {
    struct point_state *state = &monitor->points[i];
    bool needs_window = fleet_needs_window(monitor->fleet, i) && !(change && change->unchanged[i]);
    *state = (struct point_state){
        .heard_ms = INT64_MIN / 2,
        .came_ms = INT64_MIN / 2,
        .plain_came_ms = INT64_MIN / 2,
        .plain_ms = INT64_MIN / 2,
        .draft_pa = NAN,
        .silent_after_ms = fleet_silent_after_ms(monitor->fleet, i),
        .sensor_silent_after_ms = fleet_sensor_silent_after_ms(monitor->fleet, i),
        .window = needs_window ? malloc(sizeof *state->window) : NULL,
        .trackers = trackers,
    };
    point_state_forget(state);
    return state->window || !needs_window;
}

static bool set_up(struct monitor *monitor, const struct fleet_change *change) {
    const struct fleet *fleet = monitor->fleet;
    monitor->book = alarm_book_create(fleet);
    monitor->neighbours = neighbours_create(fleet);
    monitor->points = calloc(fleet->point_count + 1, sizeof *monitor->points);
    size_t rules = rules_in_all(fleet) + 1;
    monitor->trackers = calloc(rules, sizeof *monitor->trackers);
    monitor->has_moved = calloc(rules, sizeof *monitor->has_moved);
    monitor->systems = calloc(fleet->system_count + 1, sizeof *monitor->systems);
    monitor->branches = calloc(fleet->branch_count + 1, sizeof *monitor->branches);
    monitor->is_running = calloc(fleet->point_count + 1, sizeof *monitor->is_running);
    monitor->look_waits = calloc(fleet->point_count + 1, sizeof *monitor->look_waits);
    monitor->silences = calloc(fleet->system_count + 1, sizeof *monitor->silences);
    if (!monitor->book || !monitor->neighbours || !monitor->points || !monitor->trackers ||
        !monitor->has_moved || !monitor->systems || !monitor->branches || !monitor->is_running ||
        !monitor->look_waits || !monitor->silences)
        return false;
    struct tracker *trackers = monitor->trackers;
    for (size_t i = 0; i < fleet->point_count; i++) {
        if (!set_up_point(monitor, i, change, trackers))
            return false;
        trackers += fleet->points[i].rule_count;
    }
    const struct monitor_dates none = MONITOR_NO_DATES;
    for (size_t s = 0; s < fleet->system_count; s++) {
        monitor->systems[s].out_until_ms = TIMESTAMP_NONE;
        monitor->systems[s].dates = none;
    }
    silence_look_at_all(monitor);
    return true;
}

static struct monitor *create(const struct fleet *fleet, const struct fleet_change *change) {
    struct monitor *monitor = calloc(1, sizeof *monitor);
    if (!monitor)
        return NULL;
    monitor->fleet = fleet;
    monitor->scanned_ms = monitor->dates_ms = monitor->expired_ms = INT64_MIN / 2;
    monitor->newest_ms = TIMESTAMP_NONE;
    monitor->next_date_ms = INT64_MIN;
    monitor->judge = (struct judge){fleet, monitor, on_finding, on_moved, on_hour};
    if (set_up(monitor, change))
        return monitor;
    monitor_destroy(monitor);
    return NULL;
}

struct monitor *monitor_create(const struct fleet *fleet) {
    return create(fleet, NULL);
}

struct monitor *monitor_create_beside(const struct fleet_change *change) {
    return create(change->fleet, change);
}

void monitor_destroy(struct monitor *monitor) {
    if (!monitor)
        return;
    for (size_t i = 0; monitor->points && i < monitor->fleet->point_count; i++)
        point_state_clear(&monitor->points[i]);
    for (size_t c = 0; c < CONDITION_COUNT; c++)
        free(monitor->daemon_subjects[c]);
    alarm_book_destroy(monitor->book);
    neighbours_destroy(monitor->neighbours);
    free(monitor->points);
    free(monitor->trackers);
    free(monitor->has_moved);
    for (size_t s = 0; monitor->systems && s < monitor->fleet->system_count; s++)
        renewal_list_clear(&monitor->systems[s].renewals);
    free(monitor->systems);
    for (size_t s = 0; monitor->branches && s < monitor->fleet->system_count; s++)
        monitor_forget_fans(monitor, s);
    free(monitor->branches);
    free(monitor->is_running);
    free(monitor->look_waits);
    free(monitor->silences);
    free(monitor->running.items);
    free(monitor->hours.items);
    free(monitor->changed_points.items);
    free(monitor->moved.items);
    free(monitor->moved_other.items);
    free(monitor);
}

const struct fleet *monitor_fleet(const struct monitor *monitor) {
    return monitor->fleet;
}

struct alarm_book *monitor_alarms(struct monitor *monitor) {
    return monitor->book;
}

struct neighbours *monitor_neighbours(const struct monitor *monitor) {
    return monitor->neighbours;
}

const struct point_state *monitor_point(const struct monitor *monitor, size_t point) {
    return &monitor->points[point];
}

/* ---- readings ---- */

bool monitor_is_newest(const struct monitor *monitor, size_t point, int64_t time_ms) {
    return time_ms > monitor->points[point].newest_ms;
}

int64_t monitor_newest_ms(const struct monitor *monitor) {
    return monitor->newest_ms;
}

bool monitor_holds(const struct monitor *monitor, size_t point, enum condition condition) {
    const struct fleet_point *owner = &monitor->fleet->points[point];
    for (size_t i = 0; i < owner->rule_count; i++) {
        if (owner->rules[i].condition == condition)
            return monitor->points[point].trackers[i].phase != TRACKER_REST;
    }
    return false;
}

struct reading monitor_newest(const struct monitor *monitor, size_t point) {
    const struct point_state *state = &monitor->points[point];
    return (struct reading){state->newest_ms, state->newest_value};
}

/* A sensor whose clock is ours, or that has none, jumped with it: its delays go on by as much. One
   with a clock of its own did not. */
static bool jumped_too(const struct point_state *state, int64_t lag_ms) {
    return state->lag_ms == TIMESTAMP_NONE ||
           llabs(lag_ms - (state->lag_ms - state->jump_ms)) < llabs(lag_ms - state->lag_ms);
}

static void note_lag(struct monitor *monitor, size_t point, int64_t lag_ms) {
    struct point_state *state = &monitor->points[point];
    int64_t jump_ms = jumped_too(state, lag_ms) ? state->jump_ms : 0;
    state->lag_ms = lag_ms;
    state->jump_ms = 0;
    for (size_t i = 0; jump_ms > 0 && i < monitor->fleet->points[point].rule_count; i++) {
        struct tracker *tracker = &state->trackers[i];
        if (tracker->phase == TRACKER_PENDING || tracker->phase == TRACKER_CLEARING)
            tracker->since_ms += jump_ms;
    }
}

void monitor_reading(struct monitor *monitor, size_t point, const struct reading *reading,
                     int64_t arrival_ms) {
    struct point_state *state = &monitor->points[point];
    size_t system = monitor->fleet->points[point].system;
    monitor_note_newest(monitor, reading->time_ms);
    if (state->newest_ms == TIMESTAMP_NONE || arrival_ms < state->heard_ms)
        silence_look_again(monitor, system);
    state->heard_ms = state->came_ms = arrival_ms;
    note_lag(monitor, point, arrival_ms - reading->time_ms);
    if (!state->hour_changed)
        monitor_list_add(monitor, &monitor->changed_points, &point, sizeof point);
    judge_reading(&monitor->judge, point, state, reading);
    monitor_note_weather(monitor, point);
    if (monitor->fleet->points[point].description->by_hand) {
        monitor_dates_changed(monitor);
        monitor->dates_ms = INT64_MIN / 2; /* whoever read it looks at what it says right away */
    }
    silence_heard(monitor, system, reading->time_ms);
}

void monitor_plain(struct monitor *monitor, size_t point, int64_t time_ms, int64_t arrival_ms) {
    monitor->points[point].plain_ms = time_ms;
    monitor->points[point].plain_came_ms = arrival_ms;
}

void monitor_set_look_waits(struct monitor *monitor, size_t point, bool waits) {
    monitor->look_waits[point] = waits;
}

void monitor_refused(struct monitor *monitor, size_t point, enum refusal refusal, double value,
                     int64_t arrival_ms) {
    struct point_state *state = &monitor->points[point];
    if (refusal == REFUSAL_OUT_OF_RANGE)
        judge_impossible(&monitor->judge, point, state, value, arrival_ms);
    else if (refusal == REFUSAL_TIME_IN_FUTURE || refusal == REFUSAL_TOO_OLD)
        judge_event(&monitor->judge, point, state, CONDITION_SENSOR_CLOCK, true, arrival_ms);
}

void monitor_daily(struct monitor *monitor, size_t system, size_t point, enum condition condition,
                   bool holds, bool cleared, double value, double setpoint, int64_t time_ms) {
    if (condition_info(condition)->scope == SCOPE_POINT) {
        judge_daily(&monitor->judge, point, &monitor->points[point], condition, holds, cleared,
                    value, setpoint, time_ms);
        return;
    }
    struct condition_rule rule = fleet_rule(monitor->fleet, system, condition);
    struct tracker *tracker = monitor_wider_tracker(monitor, system, point, condition);
    if (!rule.enabled || !tracker)
        return;
    struct tracker before = *tracker;
    int64_t at_ms = time_ms;
    enum tracker_event event =
        tracker_step(tracker, rule.on_delay_ms, rule.off_delay_ms, holds, cleared, time_ms, &at_ms);
    if (event == TRACKER_RAISE)
        monitor_raise(monitor, system, point, condition, tracker->began_ms, at_ms, value, setpoint,
                      NULL);
    else if (event == TRACKER_RETURN)
        alarm_book_return(monitor->book, system, point, condition, at_ms);
    if (before.phase != tracker->phase || before.since_ms != tracker->since_ms)
        monitor_moved_other(monitor, system, point, condition, tracker);
}

/* ---- time ---- */

/* After a start nobody knows how late the point's readings come: no less than this one would. */
static void end_backlog(struct point_state *state, int64_t now_ms) {
    if (state->heard_ms < now_ms)
        state->heard_ms = now_ms;
    if (state->lag_ms == TIMESTAMP_NONE && state->newest_ms != TIMESTAMP_NONE &&
        state->newest_ms < now_ms)
        state->lag_ms = now_ms - state->newest_ms;
}

void monitor_set_backlog(struct monitor *monitor, bool backlog, int64_t now_ms) {
    if (monitor->backlog && !backlog) {
        for (size_t i = 0; i < monitor->fleet->point_count; i++)
            end_backlog(&monitor->points[i], now_ms);
        silence_look_at_all(monitor);
    }
    monitor->backlog = backlog;
}

/* What is known of a point stays the same: whether its sensor's clock moved too is seen when it
   says something. */
void monitor_clock_moved(struct monitor *monitor, int64_t by_ms) {
    for (size_t i = 0; i < monitor->fleet->point_count; i++) {
        struct point_state *state = &monitor->points[i];
        state->heard_ms += by_ms;
        state->came_ms += by_ms;
        state->jump_ms += by_ms;
        if (state->lag_ms != TIMESTAMP_NONE)
            state->lag_ms += by_ms;
    }
    silence_look_at_all(monitor);
    monitor->expired_ms += by_ms;
    monitor->scanned_ms = monitor->dates_ms = INT64_MIN / 2;
    monitor_dates_changed(monitor);
}

int64_t monitor_known_to_ms(const struct point_state *state, int64_t now_ms) {
    return state->lag_ms == TIMESTAMP_NONE ? now_ms : now_ms - state->lag_ms;
}

/* Returns when the earliest delay still running ends. */
static int64_t expire_points(struct monitor *monitor, int64_t now_ms) {
    int64_t next_ms = INT64_MAX;
    size_t *running = monitor->running.items, kept = 0;
    /* judge_expire never starts a delay, so the list does not grow under our feet. */
    for (size_t r = 0; r < monitor->running.count; r++) {
        size_t point = running[r];
        struct point_state *state = &monitor->points[point];
        int64_t known_ms = monitor_known_to_ms(state, now_ms);
        judge_expire(&monitor->judge, point, state, known_ms);
        int64_t deadline_ms = judge_deadline_ms(&monitor->judge, point, state);
        if (deadline_ms == INT64_MAX) {
            monitor->is_running[point] = false;
            continue;
        }
        running[kept++] = point;
        deadline_ms += now_ms - known_ms;
        if (deadline_ms > now_ms && deadline_ms < next_ms)
            next_ms = deadline_ms;
    }
    monitor->running.count = kept;
    return next_ms;
}

static void expire_daemon(struct monitor *monitor, int64_t now_ms) {
    for (size_t c = 0; c < CONDITION_COUNT; c++) {
        struct tracker *tracker = &monitor->daemon_trackers[c];
        if (tracker->phase != TRACKER_PENDING && tracker->phase != TRACKER_CLEARING)
            continue;
        enum condition condition = (enum condition)c;
        struct condition_rule rule = fleet_rule(monitor->fleet, FLEET_NONE, condition);
        int64_t at_ms = now_ms;
        enum tracker_event event =
            tracker_expire(tracker, rule.on_delay_ms, rule.off_delay_ms, now_ms, &at_ms);
        if (event == TRACKER_NOTHING)
            continue;
        monitor_daemon_event(monitor, condition, event, at_ms, NAN, monitor->daemon_subjects[c]);
        monitor_moved_other(monitor, FLEET_NONE, FLEET_NONE, condition, tracker);
    }
}

int64_t monitor_advance(struct monitor *monitor, int64_t now_ms) {
    monitor->advanced_ms = now_ms;
    int64_t next_ms = alarm_book_expire(monitor->book, now_ms);
    expire_daemon(monitor, now_ms);
    if (!monitor->backlog) {
        int64_t deadline_ms = expire_points(monitor, now_ms);
        monitor->expired_ms = now_ms;
        if (deadline_ms < next_ms)
            next_ms = deadline_ms;
        if (now_ms - monitor->scanned_ms >= scan_every_ms) {
            silence_scan(monitor, now_ms);
            monitor->scanned_ms = now_ms;
        }
    }
    if (now_ms - monitor->dates_ms >= dates_every_ms) {
        monitor_judge_dates(monitor, now_ms);
        monitor->dates_ms = now_ms;
    }
    int64_t scan_ms = now_ms + scan_every_ms;
    return next_ms < scan_ms ? next_ms : scan_ms;
}

/* ---- telling ---- */

struct teller {
    struct monitor *monitor;
    int64_t now_ms;
    void *context;
    void (*tell)(void *context, struct alarm *alarm, enum alarm_notice notice);
};

static bool point_is_settled(const struct monitor *monitor, size_t point, int64_t now_ms) {
    const struct point_state *state = &monitor->points[point];
    int64_t every_ms = monitor->fleet->points[point].description->every_ms;
    int64_t live_ms = every_ms > live_lag_ms ? every_ms : live_lag_ms;
    if (state->newest_ms == TIMESTAMP_NONE)
        return true;
    return now_ms - state->newest_ms <= live_ms || now_ms - state->heard_ms >= quiet_ms;
}

/* Live findings are told at once; those from the past when their system has come to rest. */
static bool ready(void *context, const struct alarm *alarm) {
    const struct teller *teller = context;
    const struct monitor *monitor = teller->monitor;
    if (alarm->system == FLEET_NONE)
        return true;
    if (monitor->backlog)
        return false;
    if (alarm->point != FLEET_NONE)
        return !monitor->look_waits[alarm->point] &&
               point_is_settled(monitor, alarm->point, teller->now_ms);
    const struct fleet_system *system = &monitor->fleet->systems[alarm->system];
    for (size_t i = 0; i < system->point_count; i++) {
        if (!point_is_settled(monitor, system->first_point + i, teller->now_ms))
            return false;
    }
    return true;
}

static void pass_on(void *context, struct alarm *alarm, enum alarm_notice notice) {
    struct teller *teller = context;
    teller->tell(teller->context, alarm, notice);
}

bool monitor_tell(struct monitor *monitor, int64_t now_ms, void *context,
                  void (*tell)(void *context, struct alarm *alarm, enum alarm_notice notice)) {
    struct teller teller = {monitor, now_ms, context, tell};
    const struct alarm_book_listener listener = {&teller, ready, pass_on};
    return alarm_book_tell(monitor->book, now_ms, &listener);
}
