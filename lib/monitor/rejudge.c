/*
 * The second look. A late reading, or a new baseline, changes what was judged. The point is judged
 * again from a point in time on by the same judge, into a list of episodes; then what stands in the
 * end is reconciled with the open alarm, and what came and went with the history. Nobody is told of
 * a past that is over.
 */
#include "measure/duration.h"
#include "monitor/monitor_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct episode {
    size_t rule;
    int64_t since_ms, raised_ms, returned_ms; /* returned: TIMESTAMP_NONE while it stands */
    double value, setpoint, baseline;
};

struct second_look {
    struct monitor *monitor;
    size_t point;
    struct list episodes;
};

/* Conditions that readings alone decide; the others keep their trackers. */
static bool decided_by_readings(enum condition condition) {
    switch (condition_info(condition)->measure) {
    case MEASURE_VALUE:
    case MEASURE_MEAN_24H:
    case MEASURE_UNCHANGED:
    case MEASURE_AGE:
        return true;
    default:
        return false;
    }
}

static void collect(void *context, size_t point, const struct judge_finding *finding) {
    struct second_look *look = context;
    (void)point;
    if (!decided_by_readings(finding->rule->condition))
        return;
    struct episode *episodes = look->episodes.items;
    if (finding->event == TRACKER_RAISE) {
        const struct episode begun = {finding->rule_index, finding->since_ms, finding->at_ms,
                                      TIMESTAMP_NONE,      finding->value,    finding->setpoint,
                                      finding->baseline};
        monitor_list_add(look->monitor, &look->episodes, &begun, sizeof begun);
        return;
    }
    for (size_t i = look->episodes.count; i > 0; i--) {
        if (episodes[i - 1].rule == finding->rule_index &&
            episodes[i - 1].returned_ms == TIMESTAMP_NONE) {
            episodes[i - 1].returned_ms = finding->at_ms;
            return;
        }
    }
}

static void ignore_hour(void *context, size_t point, const struct rollup_hour *hour) {
    (void)context, (void)point, (void)hour;
}

/* ---- the state at the beginning ---- */

/* Did the alarm of a rule stand at `from_ms`? Then the second look begins with it standing. */
static void begin_rule(struct second_look *look, struct tracker *tracker, size_t rule,
                       int64_t from_ms, const struct monitor_history *history, size_t count) {
    const struct fleet_point *owner = &look->monitor->fleet->points[look->point];
    enum condition condition = owner->rules[rule].condition;
    struct episode before = {.rule = rule,
                             .returned_ms = TIMESTAMP_NONE,
                             .value = NAN,
                             .setpoint = NAN,
                             .baseline = NAN};
    const struct alarm *open =
        alarm_book_standing(look->monitor->book, owner->system, look->point, condition);
    bool stood = open && open->raised_ms <= from_ms;
    if (stood) {
        before.since_ms = open->since_ms;
        before.raised_ms = open->raised_ms;
    }
    for (size_t i = 0; i < count && !stood; i++) {
        stood = history[i].condition == condition && history[i].raised_ms <= from_ms &&
                history[i].returned_ms > from_ms;
        before.since_ms = before.raised_ms = history[i].raised_ms;
    }
    *tracker = (struct tracker){.phase = TRACKER_REST};
    if (!stood)
        return;
    *tracker = (struct tracker){before.since_ms, before.since_ms, TRACKER_STANDING};
    monitor_list_add(look->monitor, &look->episodes, &before, sizeof before);
}

static void begin(struct second_look *look, struct point_state *scratch, int64_t from_ms,
                  const struct monitor_history *history, size_t count) {
    const struct point_state *state = &look->monitor->points[look->point];
    scratch->newest_ms = TIMESTAMP_NONE;
    scratch->hour = rollup_hour_empty(INT64_MIN);
    scratch->level_count = scratch->suspect_count = 0;
    scratch->least_move = state->least_move;
    scratch->moves = state->moves;
    scratch->wide_moves = state->wide_moves;
    scratch->longest_rest_ms = state->longest_rest_ms;
    scratch->former_level = 0.0;
    const struct fleet_point *owner = &look->monitor->fleet->points[look->point];
    for (size_t i = 0; i < owner->rule_count; i++) {
        if (decided_by_readings(owner->rules[i].condition))
            begin_rule(look, &scratch->trackers[i], i, from_ms, history, count);
        else
            scratch->trackers[i] = state->trackers[i];
    }
}

/* Readings before the second look only fill the window and the level: with every rule asleep. */
static void absorb(const struct judge *judge, size_t point, struct point_state *scratch,
                   const struct reading *reading, struct tracker *asleep) {
    struct tracker *awake = scratch->trackers;
    size_t rules = judge->fleet->points[point].rule_count;
    memset(asleep, 0, rules * sizeof *asleep);
    scratch->trackers = asleep;
    judge_reading(judge, point, scratch, reading);
    scratch->trackers = awake;
}

static void nobody(void *context, size_t point, const struct judge_finding *finding) {
    (void)context, (void)point, (void)finding;
}

static void run(struct second_look *look, struct point_state *scratch, struct tracker *asleep,
                const struct reading *readings, size_t count, int64_t from_ms) {
    const struct judge quiet = {look->monitor->fleet, look, nobody, NULL, ignore_hour};
    const struct judge judge = {look->monitor->fleet, look, collect, NULL, ignore_hour};
    for (size_t i = 0; i < count; i++) {
        if (readings[i].time_ms < from_ms)
            absorb(&quiet, look->point, scratch, &readings[i], asleep);
        else
            judge_reading(&judge, look->point, scratch, &readings[i]);
    }
}

/* ---- reconciling ---- */

static bool overlaps(int64_t from_a, int64_t to_a, int64_t from_b, int64_t to_b) {
    return from_a <= to_b && from_b <= to_a;
}

/* What people were told stays as it was told, and so does what began before the second look; what
   nobody was told of is kept only when it is exactly what the second look found. */
static bool matches(const struct episode *episode, enum condition condition, int64_t from_ms,
                    const struct monitor_history *row) {
    if (row->condition != condition)
        return false;
    if (!row->told && row->raised_ms >= from_ms)
        return episode->raised_ms == row->raised_ms && episode->returned_ms == row->returned_ms;
    return overlaps(episode->raised_ms,
                    episode->returned_ms == TIMESTAMP_NONE ? INT64_MAX : episode->returned_ms,
                    row->raised_ms, row->returned_ms);
}

static bool known(const struct episode *episode, enum condition condition, int64_t from_ms,
                  const struct monitor_history *history, size_t count) {
    for (size_t i = 0; i < count; i++) {
        if (matches(episode, condition, from_ms, &history[i]))
            return true;
    }
    return false;
}

static struct alarm facts_of(const struct second_look *look, const struct episode *episode) {
    const struct fleet_point *owner = &look->monitor->fleet->points[look->point];
    const struct condition_rule *rule = &owner->rules[episode->rule];
    return (struct alarm){
        .system = owner->system,
        .point = look->point,
        .condition = rule->condition,
        .priority = rule->priority,
        .since_ms = episode->since_ms,
        .raised_ms = episode->raised_ms,
        .value = episode->value,
        .setpoint = episode->setpoint,
        .baseline = episode->baseline,
        .out_of_service = look->monitor->systems[owner->system].out_until_ms != TIMESTAMP_NONE,
    };
}

/* What stands in the end: none, the last episode, or (NULL, *ended_ms) since when it is over. */
static const struct episode *standing_episode(const struct second_look *look, size_t rule,
                                              int64_t *ended_ms) {
    const struct episode *episodes = look->episodes.items;
    for (size_t i = look->episodes.count; i > 0; i--) {
        if (episodes[i - 1].rule != rule)
            continue;
        if (episodes[i - 1].returned_ms == TIMESTAMP_NONE)
            return &episodes[i - 1];
        *ended_ms = episodes[i - 1].returned_ms;
        return NULL;
    }
    return NULL;
}

static void reconcile_open(struct second_look *look, size_t rule, int64_t from_ms) {
    struct monitor *monitor = look->monitor;
    const struct fleet_point *owner = &monitor->fleet->points[look->point];
    enum condition condition = owner->rules[rule].condition;
    int64_t ended_ms = from_ms;
    const struct episode *stands = standing_episode(look, rule, &ended_ms);
    struct alarm *open = alarm_book_standing(monitor->book, owner->system, look->point, condition);
    if (open && !stands) {
        alarm_book_return(monitor->book, owner->system, look->point, condition,
                          ended_ms < open->raised_ms ? open->raised_ms : ended_ms);
    } else if (open && open->raised_ms != stands->raised_ms) {
        open->since_ms = stands->since_ms;
        open->raised_ms = stands->raised_ms;
        alarm_book_touch(monitor->book, open);
    } else if (!open && stands) {
        const struct alarm facts = facts_of(look, stands);
        if (!alarm_book_raise(monitor->book, &facts))
            monitor->out_of_memory = true;
    }
}

static void reconcile_past(struct second_look *look, int64_t from_ms,
                           const struct monitor_history *history, size_t count,
                           void (*forget)(void *context, int64_t id), void *context) {
    const struct fleet_point *owner = &look->monitor->fleet->points[look->point];
    const struct episode *episodes = look->episodes.items;
    for (size_t i = 0; i < look->episodes.count; i++) {
        enum condition condition = owner->rules[episodes[i].rule].condition;
        if (episodes[i].returned_ms == TIMESTAMP_NONE ||
            known(&episodes[i], condition, from_ms, history, count))
            continue;
        const struct alarm facts = facts_of(look, &episodes[i]);
        if (!alarm_book_history(look->monitor->book, &facts, episodes[i].returned_ms))
            look->monitor->out_of_memory = true;
    }
    for (size_t h = 0; h < count; h++) {
        bool happened = history[h].told || history[h].raised_ms < from_ms ||
                        !decided_by_readings(history[h].condition);
        for (size_t i = 0; i < look->episodes.count && !happened; i++)
            happened = matches(&episodes[i], owner->rules[episodes[i].rule].condition, from_ms,
                               &history[h]);
        if (!happened)
            forget(context, history[h].id);
    }
}

/* The second look's series and trackers become the point's own. */
static void adopt(struct second_look *look, const struct point_state *scratch) {
    struct monitor *monitor = look->monitor;
    struct point_state *state = &monitor->points[look->point];
    const struct fleet_point *owner = &monitor->fleet->points[look->point];
    for (size_t i = 0; i < owner->rule_count; i++) {
        const struct tracker *old = &state->trackers[i], *new = &scratch->trackers[i];
        bool moved = old->phase != new->phase || old->since_ms != new->since_ms;
        state->trackers[i] = scratch->trackers[i];
        if (moved)
            monitor->judge.moved(monitor, look->point, i);
    }
    if (scratch->newest_ms == TIMESTAMP_NONE)
        return;
    if (!state->hour_changed)
        monitor_list_add(monitor, &monitor->changed_points, &look->point, sizeof look->point);
    state->newest_ms = scratch->newest_ms;
    state->newest_value = scratch->newest_value;
    state->unchanged_since_ms = scratch->unchanged_since_ms;
    state->level = scratch->level;
    state->level_noise = scratch->level_noise;
    state->former_level = scratch->former_level;
    state->level_count = scratch->level_count;
    state->suspect_count = scratch->suspect_count;
    state->hour = scratch->hour;
    state->hour_changed = true;
    if (state->window)
        *state->window = *scratch->window;
}

bool monitor_rejudge(struct monitor *monitor, size_t point, const struct reading *readings,
                     size_t count, int64_t from_ms, const struct monitor_history *history,
                     size_t history_count, void (*forget)(void *context, int64_t id),
                     void *context) {
    struct point_state *state = &monitor->points[point], scratch = *state;
    size_t rules = monitor->fleet->points[point].rule_count;
    struct second_look look = {.monitor = monitor, .point = point};
    struct tracker *trackers = calloc(2 * (rules + 1), sizeof *trackers);
    struct rollup_window *window = malloc(sizeof *window);
    bool done = false;
    if (!trackers || !window)
        goto end;
    rollup_window_clear(window);
    scratch.trackers = trackers;
    scratch.window = state->window ? window : NULL;
    begin(&look, &scratch, from_ms, history, history_count);
    run(&look, &scratch, trackers + rules + 1, readings, count, from_ms);
    if (monitor->out_of_memory)
        goto end;
    for (size_t i = 0; i < rules; i++) {
        if (decided_by_readings(monitor->fleet->points[point].rules[i].condition))
            reconcile_open(&look, i, from_ms);
    }
    reconcile_past(&look, from_ms, history, history_count, forget, context);
    adopt(&look, &scratch);
    done = true;
end:
    free(look.episodes.items);
    free(trackers);
    free(window);
    return done;
}

int64_t monitor_lookback_ms(const struct monitor *monitor, size_t point) {
    const struct fleet_point *owner = &monitor->fleet->points[point];
    int64_t longest_ms = DURATION_HOUR_MS;
    for (size_t i = 0; i < owner->rule_count; i++) {
        const struct condition_rule *rule = &owner->rules[i];
        int64_t span_ms = rule->on_delay_ms + rule->off_delay_ms;
        if (condition_info(rule->condition)->measure == MEASURE_MEAN_24H)
            span_ms += 24 * DURATION_HOUR_MS;
        if (rule->setpoint.kind == SETPOINT_DURATION &&
            condition_info(rule->condition)->measure == MEASURE_UNCHANGED)
            span_ms += (int64_t)rule->setpoint.number;
        if (decided_by_readings(rule->condition) && span_ms > longest_ms)
            longest_ms = span_ms;
    }
    return longest_ms;
}
