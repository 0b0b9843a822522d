#include "monitor/second_look_private.h"

#include "measure/duration.h"
#include "monitor/rests.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

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

const struct fleet_point *second_look_owner_of(const struct second_look *look) {
    return &look->monitor->fleet->points[look->point];
}

size_t second_look_rule_of(const struct second_look *look, enum condition condition) {
    for (size_t i = 0; i < look->rule_count; i++) {
        if (look->rules[i].judged && second_look_owner_of(look)->rules[i].condition == condition)
            return i;
    }
    return FLEET_NONE;
}

struct alarm *second_look_open_alarm(const struct second_look *look, size_t rule) {
    return alarm_book_standing(look->monitor->book, second_look_owner_of(look)->system, look->point,
                               second_look_owner_of(look)->rules[rule].condition);
}

/* ---- beginning ---- */

static int64_t earlier_by(int64_t time_ms, int64_t by_ms) {
    return time_ms < INT64_MIN + by_ms ? INT64_MIN : time_ms - by_ms;
}

int64_t second_look_lookback_ms(const struct monitor *monitor, size_t point) {
    const struct fleet_point *owner = &monitor->fleet->points[point];
    int64_t longest_ms = DURATION_HOUR_MS;
    for (size_t i = 0; i < owner->rule_count; i++) {
        const struct condition_rule *rule = &owner->rules[i];
        int64_t span_ms = rule->on_delay_ms + rule->off_delay_ms + 2 * owner->description->every_ms;
        if (!rule->enabled || !decided_by_readings(rule->condition))
            continue;
        if (condition_info(rule->condition)->measure == MEASURE_MEAN_24H)
            span_ms += ROLLUP_WINDOW_HOURS * ROLLUP_HOUR_MS;
        if (condition_info(rule->condition)->measure == MEASURE_UNCHANGED)
            span_ms += (int64_t)rests_stuck_after_ms(&monitor->points[point], rule->setpoint.number,
                                                     owner->description->every_ms);
        if (span_ms > longest_ms)
            longest_ms = span_ms;
    }
    return longest_ms;
}

static void clear_scratch(struct second_look *look) {
    struct point_state *scratch = &look->scratch;
    *scratch = look->monitor->points[look->point];
    scratch->newest_ms = TIMESTAMP_NONE;
    scratch->hour = rollup_hour_empty(INT64_MIN);
    scratch->level_count = scratch->suspect_count = 0;
    scratch->former_level = 0.0;
    scratch->trackers = look->trackers;
    if (scratch->window)
        scratch->window = &look->window;
    rollup_window_clear(&look->window);
}

struct second_look *second_look_create(struct monitor *monitor, size_t point, int64_t from_ms,
                                       int64_t before_ms) {
    size_t rules = monitor->fleet->points[point].rule_count;
    struct second_look *look = calloc(1, sizeof *look);
    if (!look)
        return NULL;
    look->monitor = monitor;
    look->point = point;
    look->rule_count = rules;
    look->rules = calloc(rules + 1, sizeof *look->rules);
    look->trackers = calloc(2 * (rules + 1), sizeof *look->trackers);
    if (!look->rules || !look->trackers) {
        second_look_destroy(look);
        return NULL;
    }
    look->asleep = look->trackers + rules + 1;
    look->from_ms = look->again_ms = from_ms;
    look->before_ms = look->settled_ms = before_ms;
    look->reached_ms = look->to_ms = TIMESTAMP_NONE;
    look->warm_ms = look->next_ms = from_ms;
    if (before_ms != TIMESTAMP_NONE) {
        look->warm_ms = earlier_by(before_ms, second_look_lookback_ms(monitor, point));
        look->next_ms = earlier_by(look->warm_ms, ROLLUP_WINDOW_HOURS * ROLLUP_HOUR_MS);
    }
    for (size_t i = 0; i < rules; i++) {
        const struct condition_rule *rule = &monitor->fleet->points[point].rules[i];
        look->rules[i].judged = rule->enabled && decided_by_readings(rule->condition);
        look->rules[i].open_ms = TIMESTAMP_NONE;
    }
    clear_scratch(look);
    return look;
}

void second_look_destroy(struct second_look *look) {
    if (!look)
        return;
    free(look->rules);
    free(look->trackers);
    free(look->found.items);
    free(look->recorded.items);
    free(look->forgotten.items);
    free(look);
}

bool second_look_judges(const struct second_look *look, enum condition condition) {
    return second_look_rule_of(look, condition) != FLEET_NONE;
}

int64_t second_look_next_ms(const struct second_look *look) {
    return look->next_ms;
}

int64_t second_look_reached_ms(const struct second_look *look) {
    return look->reached_ms;
}

int64_t second_look_settled_ms(const struct second_look *look) {
    return look->settled_ms;
}

int64_t second_look_again_ms(const struct second_look *look) {
    return look->again_ms;
}

bool second_look_is_stale(const struct second_look *look) {
    for (size_t i = 0; i < look->rule_count; i++) {
        int64_t open_ms = look->rules[i].open_ms;
        if (open_ms == TIMESTAMP_NONE || open_ms > look->settled_ms)
            continue;
        const struct alarm *open = second_look_open_alarm(look, i);
        if (!open || open->raised_ms != open_ms)
            return true;
    }
    return false;
}

const int64_t *second_look_forgotten(const struct second_look *look, size_t *count) {
    *count = look->forgotten.count;
    return look->forgotten.items;
}

static void set_stood(struct second_look *look, size_t rule, const struct episode *before) {
    look->rules[rule].stood = true;
    look->rules[rule].before = *before;
}

void second_look_stood(struct second_look *look, const struct second_look_occurrence *last) {
    size_t rule = second_look_rule_of(look, last->condition);
    if (rule == FLEET_NONE || last->raised_ms > look->before_ms ||
        last->returned_ms <= look->before_ms)
        return;
    const struct episode before = {.rule = rule,
                                   .since_ms = last->since_ms,
                                   .raised_ms = last->raised_ms,
                                   .returned_ms = TIMESTAMP_NONE,
                                   .value = last->value,
                                   .setpoint = last->setpoint,
                                   .baseline = NAN};
    set_stood(look, rule, &before);
    second_look_recorded(look, last);
}

static void look_at_open_alarms(struct second_look *look) {
    for (size_t i = 0; i < look->rule_count; i++) {
        const struct alarm *open = look->rules[i].judged ? second_look_open_alarm(look, i) : NULL;
        if (!open || look->before_ms == TIMESTAMP_NONE || open->raised_ms > look->before_ms)
            continue;
        const struct episode before = {.rule = i,
                                       .since_ms = open->since_ms,
                                       .raised_ms = open->raised_ms,
                                       .returned_ms = TIMESTAMP_NONE,
                                       .value = open->value,
                                       .setpoint = open->setpoint,
                                       .baseline = open->baseline};
        set_stood(look, i, &before);
    }
}

/* ---- judging ---- */

static void collect(void *context, size_t point, const struct judge_finding *finding) {
    struct second_look *look = context;
    struct rule_look *rule = &look->rules[finding->rule_index];
    (void)point;
    if (!rule->judged)
        return;
    if (finding->event == TRACKER_RAISE) {
        rule->standing = (struct episode){.rule = finding->rule_index,
                                          .since_ms = finding->since_ms,
                                          .raised_ms = finding->at_ms,
                                          .returned_ms = TIMESTAMP_NONE,
                                          .value = finding->value,
                                          .setpoint = finding->setpoint,
                                          .baseline = finding->baseline};
        rule->stands = true;
        return;
    }
    if (!rule->stands)
        return;
    rule->standing.returned_ms = finding->at_ms;
    rule->stands = false;
    monitor_list_add(look->monitor, &look->found, &rule->standing, sizeof rule->standing);
}

static void nobody(void *context, size_t point, const struct judge_finding *finding) {
    (void)context, (void)point, (void)finding;
}

static void ignore_hour(void *context, size_t point, const struct rollup_hour *hour) {
    (void)context, (void)point, (void)hour;
}

/* At the last reading before the look the record is right: what it does not say of delays, the
   readings of the look-back have shown. */
static void trust_the_record(struct second_look *look) {
    look->begun = true;
    for (size_t i = 0; i < look->rule_count; i++) {
        struct rule_look *rule = &look->rules[i];
        struct tracker *tracker = &look->trackers[i];
        bool stands = tracker->phase == TRACKER_STANDING || tracker->phase == TRACKER_CLEARING;
        if (!rule->judged)
            continue;
        if (rule->stood) {
            if (!stands)
                *tracker = (struct tracker){.phase = TRACKER_STANDING};
            tracker->began_ms = rule->before.since_ms;
            if (tracker->phase == TRACKER_STANDING)
                tracker->since_ms = rule->before.since_ms;
            rule->standing = rule->before;
            rule->stands = true;
        } else if (stands) {
            *tracker = (struct tracker){.phase = TRACKER_REST};
        }
    }
}

/* A mean is judged only while there are enough readings for it. */
static void listen(struct second_look *look, int64_t time_ms) {
    double mean;
    bool has_mean = judge_mean_24h(&look->scratch, time_ms, &mean);
    for (size_t i = 0; i < look->rule_count; i++) {
        enum condition condition = second_look_owner_of(look)->rules[i].condition;
        bool hears = has_mean || condition_info(condition)->measure != MEASURE_MEAN_24H;
        look->rules[i].hears = hears;
        look->rules[i].heard |= hears;
    }
}

/* In the look-back: what the record raised stands from then on, so that a return delay that runs at
   the end of the look-back began when it did. */
static void raise_as_recorded(struct second_look *look, int64_t time_ms) {
    for (size_t i = 0; i < look->rule_count; i++) {
        struct rule_look *rule = &look->rules[i];
        if (!rule->stood || rule->raised || time_ms < rule->before.raised_ms)
            continue;
        look->trackers[i] =
            (struct tracker){rule->before.since_ms, rule->before.since_ms, TRACKER_STANDING};
        rule->raised = true;
    }
}

static void judge_one(struct second_look *look, const struct reading *reading) {
    const struct fleet *fleet = look->monitor->fleet;
    const struct judge quiet = {fleet, look, nobody, NULL, ignore_hour};
    const struct judge judge = {fleet, look, collect, NULL, ignore_hour};
    if (reading->time_ms < look->warm_ms) {
        memset(look->asleep, 0, look->rule_count * sizeof *look->asleep);
        look->scratch.trackers = look->asleep;
        judge_reading(&quiet, look->point, &look->scratch, reading);
        look->scratch.trackers = look->trackers;
        return;
    }
    if (!look->begun)
        raise_as_recorded(look, reading->time_ms);
    if (!look->begun && reading->time_ms >= look->from_ms)
        trust_the_record(look);
    judge_reading(look->begun ? &judge : &quiet, look->point, &look->scratch, reading);
    if (look->begun)
        listen(look, reading->time_ms);
}

void second_look_judge(struct second_look *look, const struct reading *readings, size_t count) {
    const struct point_state *state = &look->monitor->points[look->point];
    look->scratch.baselines = state->baselines; /* may have moved since the last step */
    look->scratch.baseline_count = state->baseline_count;
    if (look->reached_ms == TIMESTAMP_NONE)
        look_at_open_alarms(look);
    for (size_t i = 0; i < count; i++)
        judge_one(look, &readings[i]);
    if (count == 0)
        return;
    look->reached_ms = readings[count - 1].time_ms;
    look->next_ms = look->reached_ms + 1;
}

/* What the clock on the wall has decided since the newest reading is decided here too. */
void second_look_catch_up(struct second_look *look) {
    const struct judge judge = {look->monitor->fleet, look, collect, NULL, ignore_hour};
    int64_t clock_ms =
        monitor_known_to_ms(&look->monitor->points[look->point], look->monitor->expired_ms);
    if (!look->begun)
        trust_the_record(look);
    for (size_t i = 0; i < look->rule_count; i++) {
        const struct alarm *open = look->rules[i].judged ? second_look_open_alarm(look, i) : NULL;
        if (!open || open->raised_ms <= look->reached_ms)
            continue;
        if (condition_info(open->condition)->measure == MEASURE_AGE)
            judge_silent(&judge, look->point, &look->scratch);
        if (open->raised_ms > clock_ms)
            clock_ms = open->raised_ms;
    }
    const struct recorded *recorded = look->recorded.items;
    for (size_t i = 0; i < look->recorded.count; i++) {
        if (recorded[i].row.returned_ms > clock_ms)
            clock_ms = recorded[i].row.returned_ms;
    }
    if (clock_ms > look->reached_ms)
        judge_expire(&judge, look->point, &look->scratch, clock_ms);
}
