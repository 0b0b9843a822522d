#include "monitor/second_look.h"

#include "measure/duration.h"
#include "monitor/monitor_private.h"
#include "monitor/rests.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct episode {
    size_t rule;
    int64_t since_ms, raised_ms, returned_ms; /* returned: TIMESTAMP_NONE while it stands */
    double value, setpoint, baseline;
    bool known; /* the record has it */
};

struct rule_look {
    bool judged; /* by readings alone; the others keep their trackers */
    bool stood;  /* `before` says what, at the last reading before the look */
    struct episode before;
    bool raised; /* the look-back has come to it */
    bool stands; /* `standing` says what, at the last reading judged */
    struct episode standing;
    bool heard;      /* some reading of the look had something to judge it by, */
    bool hears;      /* the last one had */
    bool agrees;     /* from here on this look and the record say the same of it */
    int64_t open_ms; /* when the open alarm was raised; TIMESTAMP_NONE: none is */
    bool holds;      /* `held` says what: it has ended, and is the open alarm if nothing follows */
    struct episode held;
};

struct recorded {
    size_t rule;
    struct second_look_occurrence row;
};

struct second_look {
    struct monitor *monitor;
    size_t point, rule_count;
    int64_t from_ms, before_ms, warm_ms, next_ms, reached_ms, settled_ms, again_ms;
    int64_t to_ms; /* of the last settling */
    bool begun;    /* the readings before `from_ms` are behind */
    struct rule_look *rules;
    struct point_state scratch;
    struct tracker *trackers, *asleep; /* of the scratch; asleep ones for what is only absorbed */
    struct rollup_window window;
    struct list found;     /* struct episode: ended since the last settling */
    struct list recorded;  /* struct recorded: not decided yet */
    struct list forgotten; /* int64_t */
};

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

static const struct fleet_point *owner_of(const struct second_look *look) {
    return &look->monitor->fleet->points[look->point];
}

static size_t rule_of(const struct second_look *look, enum condition condition) {
    for (size_t i = 0; i < look->rule_count; i++) {
        if (look->rules[i].judged && owner_of(look)->rules[i].condition == condition)
            return i;
    }
    return FLEET_NONE;
}

static struct alarm *open_alarm(const struct second_look *look, size_t rule) {
    return alarm_book_standing(look->monitor->book, owner_of(look)->system, look->point,
                               owner_of(look)->rules[rule].condition);
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
            span_ms +=
                (int64_t)rests_stuck_after_ms(&monitor->points[point], rule->setpoint.number);
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
    return rule_of(look, condition) != FLEET_NONE;
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
        const struct alarm *open = open_alarm(look, i);
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
    size_t rule = rule_of(look, last->condition);
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
        const struct alarm *open = look->rules[i].judged ? open_alarm(look, i) : NULL;
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
        enum condition condition = owner_of(look)->rules[i].condition;
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
static void catch_up(struct second_look *look) {
    const struct judge judge = {look->monitor->fleet, look, collect, NULL, ignore_hour};
    int64_t clock_ms =
        monitor_known_to_ms(&look->monitor->points[look->point], look->monitor->expired_ms);
    if (!look->begun)
        trust_the_record(look);
    for (size_t i = 0; i < look->rule_count; i++) {
        const struct alarm *open = look->rules[i].judged ? open_alarm(look, i) : NULL;
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

/* ---- comparing with the record ---- */

static struct alarm facts_of(const struct second_look *look, const struct episode *episode) {
    const struct condition_rule *rule = &owner_of(look)->rules[episode->rule];
    size_t system = owner_of(look)->system;
    return (struct alarm){
        .system = system,
        .point = look->point,
        .condition = rule->condition,
        .priority = rule->priority,
        .since_ms = episode->since_ms,
        .raised_ms = episode->raised_ms,
        .value = episode->value,
        .setpoint = episode->setpoint,
        .baseline = episode->baseline,
        .out_of_service = look->monitor->systems[system].out_until_ms != TIMESTAMP_NONE,
    };
}

static void add_history(struct second_look *look, const struct episode *episode,
                        int64_t returned_ms) {
    const struct alarm facts = facts_of(look, episode);
    if (!alarm_book_history(look->monitor->book, &facts, returned_ms))
        look->monitor->out_of_memory = true;
}

static void forget(struct second_look *look, int64_t id) {
    monitor_list_add(look->monitor, &look->forgotten, &id, sizeof id);
}

bool second_look_recorded(struct second_look *look,
                          const struct second_look_occurrence *occurrence) {
    const struct recorded recorded = {rule_of(look, occurrence->condition), *occurrence};
    if (recorded.rule != FLEET_NONE)
        monitor_list_add(look->monitor, &look->recorded, &recorded, sizeof recorded);
    return !look->monitor->out_of_memory;
}

static int in_order(size_t rule_a, int64_t raised_a_ms, size_t rule_b, int64_t raised_b_ms) {
    if (rule_a != rule_b)
        return rule_a < rule_b ? -1 : 1;
    return (raised_a_ms > raised_b_ms) - (raised_a_ms < raised_b_ms);
}

static int compare_found(const void *a, const void *b) {
    const struct episode *x = a, *y = b;
    return in_order(x->rule, x->raised_ms, y->rule, y->raised_ms);
}

static int compare_recorded(const void *a, const void *b) {
    const struct recorded *x = a, *y = b;
    return in_order(x->rule, x->row.raised_ms, y->rule, y->row.raised_ms);
}

static void sort(struct list *list, size_t size, int (*compare)(const void *a, const void *b)) {
    if (list->count > 1)
        qsort(list->items, list->count, size, compare);
}

/* What people were told stays as it was told; what nobody was told of is kept only when it is
   exactly what the second look found. */
static bool matches(const struct episode *episode, const struct second_look_occurrence *row) {
    if (!row->told)
        return episode->raised_ms == row->raised_ms && episode->returned_ms == row->returned_ms;
    return episode->raised_ms <= row->returned_ms &&
           (episode->returned_ms == TIMESTAMP_NONE || row->raised_ms <= episode->returned_ms);
}

static bool is_before(const struct episode *episode, const struct recorded *recorded) {
    if (episode->rule != recorded->rule)
        return episode->rule < recorded->rule;
    return episode->returned_ms != TIMESTAMP_NONE && episode->returned_ms < recorded->row.raised_ms;
}

/* One sweep over both, each in order. Rows that end after `until_ms` wait for the next one. */
static void sweep(struct second_look *look, int64_t until_ms) {
    struct episode *found = look->found.items;
    struct recorded *recorded = look->recorded.items;
    size_t first = 0, kept = 0;
    for (size_t r = 0; r < look->recorded.count; r++) {
        const struct recorded one = recorded[r];
        bool happened = one.row.told;
        while (first < look->found.count && is_before(&found[first], &one))
            first++;
        for (size_t f = first; f < look->found.count && found[f].rule == one.rule &&
                               found[f].raised_ms <= one.row.returned_ms;
             f++) {
            bool match = matches(&found[f], &one.row);
            found[f].known |= match;
            happened |= match;
        }
        if (one.row.returned_ms > until_ms)
            recorded[kept++] = one;
        else if (!happened)
            forget(look, one.row.id);
    }
    look->recorded.count = kept;
}

/* What was held for the open alarm was one of its own. */
static void let_go(struct second_look *look, struct rule_look *rule) {
    if (rule->holds && !rule->held.known)
        add_history(look, &rule->held, rule->held.returned_ms);
    rule->holds = false;
}

static void keep_what_is_new(struct second_look *look) {
    const struct episode *found = look->found.items;
    for (size_t i = 0; i < look->found.count; i++) {
        struct rule_look *rule = &look->rules[found[i].rule];
        if (found[i].returned_ms == TIMESTAMP_NONE) {
            rule->standing.known |= found[i].known;
        } else if (rule->open_ms != TIMESTAMP_NONE && found[i].returned_ms >= rule->open_ms) {
            let_go(look, rule);
            rule->held = found[i];
            rule->holds = true;
        } else if (!found[i].known) {
            add_history(look, &found[i], found[i].returned_ms);
        }
    }
}

static void compare_with_record(struct second_look *look, int64_t until_ms) {
    look->forgotten.count = 0;
    for (size_t i = 0; i < look->rule_count; i++) {
        struct rule_look *rule = &look->rules[i];
        const struct alarm *open = rule->judged ? open_alarm(look, i) : NULL;
        rule->open_ms = open ? open->raised_ms : TIMESTAMP_NONE;
        if (rule->stands)
            monitor_list_add(look->monitor, &look->found, &rule->standing, sizeof rule->standing);
    }
    sort(&look->found, sizeof(struct episode), compare_found);
    sort(&look->recorded, sizeof(struct recorded), compare_recorded);
    if (look->monitor->out_of_memory)
        return;
    sweep(look, until_ms);
    keep_what_is_new(look);
    look->found.count = 0;
}

/* ---- the end ---- */

/* By the record a rule stands at the last reading judged: by this row, by the open alarm (NULL with
   true), or not at all. */
static bool stands_by_record(const struct second_look *look, size_t rule,
                             const struct second_look_occurrence **by) {
    const struct recorded *recorded = look->recorded.items;
    *by = NULL;
    for (size_t i = 0; i < look->recorded.count; i++) {
        if (recorded[i].rule == rule && recorded[i].row.raised_ms <= look->reached_ms) {
            *by = &recorded[i].row;
            return true;
        }
    }
    int64_t open_ms = look->rules[rule].open_ms;
    return open_ms != TIMESTAMP_NONE && open_ms <= look->reached_ms;
}

/* Do this look and the record say the same of all conditions from here on? See the header. Late
   readings only add to what a mean is of: one never heard here was not heard without them either.
 */
static bool is_as_recorded(struct second_look *look) {
    bool all = true;
    for (size_t i = 0; i < look->rule_count; i++) {
        struct rule_look *rule = &look->rules[i];
        const struct second_look_occurrence *by;
        enum tracker_phase phase = look->trackers[i].phase;
        if (!rule->judged || rule->agrees)
            continue;
        rule->agrees = (phase == TRACKER_REST || phase == TRACKER_STANDING) &&
                       (rule->hears || !rule->heard) &&
                       rule->stands == stands_by_record(look, i, &by);
        all &= rule->agrees;
    }
    return all;
}

static bool may_end(struct second_look *look, int64_t to_ms) {
    for (size_t i = 0; i < look->rule_count && to_ms > look->to_ms; i++)
        look->rules[i].agrees = false;
    look->to_ms = to_ms;
    return look->begun && look->reached_ms > to_ms &&
           look->reached_ms - to_ms >= second_look_lookback_ms(look->monitor, look->point) &&
           is_as_recorded(look);
}

/* How many occurrences the record has that stand at the last reading judged: two, while one that
   this look has found is there already and the one in its place is not forgotten yet. */
static size_t count_standing(const struct second_look *look, size_t rule) {
    const struct recorded *recorded = look->recorded.items;
    int64_t open_ms = look->rules[rule].open_ms;
    size_t count = open_ms != TIMESTAMP_NONE && open_ms <= look->reached_ms;
    for (size_t i = 0; i < look->recorded.count; i++)
        count += recorded[i].rule == rule && recorded[i].row.raised_ms <= look->reached_ms;
    return count;
}

/* What the record has differently at the last reading judged is right only before it began. */
static int64_t find_again(const struct second_look *look) {
    int64_t again_ms = look->begun ? look->reached_ms + 1 : look->again_ms;
    for (size_t i = 0; i < look->rule_count && look->begun; i++) {
        const struct rule_look *rule = &look->rules[i];
        const struct second_look_occurrence *by;
        if (!rule->judged)
            continue;
        bool recorded = stands_by_record(look, i, &by);
        int64_t raised_ms = by ? by->raised_ms : rule->open_ms;
        bool same = rule->stands && recorded && count_standing(look, i) == 1 &&
                    (raised_ms == rule->standing.raised_ms || (by && by->told));
        if (rule->holds && rule->held.raised_ms < again_ms)
            again_ms = rule->held.raised_ms;
        if (same)
            continue;
        if (rule->stands && rule->standing.raised_ms < again_ms)
            again_ms = rule->standing.raised_ms;
        if (recorded && raised_ms < again_ms)
            again_ms = raised_ms;
    }
    return again_ms;
}

static void move_open(struct second_look *look, struct alarm *open,
                      const struct episode *standing) {
    if (open->raised_ms == standing->raised_ms)
        return;
    open->since_ms = standing->since_ms;
    open->raised_ms = standing->raised_ms;
    alarm_book_touch(look->monitor->book, open);
}

/* From here on the record is right; what stands is the record's, with the beginning found. */
static void end_as_recorded(struct second_look *look) {
    for (size_t i = 0; i < look->rule_count; i++) {
        struct rule_look *rule = &look->rules[i];
        const struct second_look_occurrence *by;
        let_go(look, rule);
        if (!rule->judged || !rule->stands || !stands_by_record(look, i, &by))
            continue;
        if (!by) {
            move_open(look, open_alarm(look, i), &rule->standing);
        } else if (!by->told && by->raised_ms != rule->standing.raised_ms) {
            forget(look, by->id);
            add_history(look, &rule->standing, by->returned_ms);
        }
    }
}

/* The open alarm is over: it is what was held, or it never was. */
static void return_open(struct second_look *look, struct alarm *open, struct rule_look *rule) {
    int64_t ended_ms = open->raised_ms;
    if (rule->holds && !open->told)
        move_open(look, open, &rule->held);
    if (rule->holds && rule->held.returned_ms > open->raised_ms)
        ended_ms = rule->held.returned_ms;
    if (!rule->holds && !open->told && open->acknowledged_ms == TIMESTAMP_NONE)
        forget(look, open->id);
    rule->holds = false;
    alarm_book_return(look->monitor->book, open->system, open->point, open->condition, ended_ms);
}

static void end_open(struct second_look *look, size_t i) {
    struct rule_look *rule = &look->rules[i];
    struct alarm *open = open_alarm(look, i);
    if (open && !rule->stands)
        return_open(look, open, rule);
    let_go(look, rule);
    if (open && rule->stands) {
        move_open(look, open, &rule->standing);
    } else if (rule->stands) {
        const struct alarm facts = facts_of(look, &rule->standing);
        if (!alarm_book_raise(look->monitor->book, &facts))
            look->monitor->out_of_memory = true;
    }
}

/* The look's series and trackers become the point's own. */
static void adopt(struct second_look *look) {
    struct monitor *monitor = look->monitor;
    struct point_state *state = &monitor->points[look->point];
    const struct point_state *scratch = &look->scratch;
    for (size_t i = 0; i < look->rule_count; i++) {
        const struct tracker *old = &state->trackers[i], *new = &look->trackers[i];
        bool moved = old->phase != new->phase || old->since_ms != new->since_ms;
        if (!look->rules[i].judged)
            continue;
        state->trackers[i] = *new;
        if (moved)
            monitor->judge.moved(monitor, look->point, i);
    }
    if (scratch->newest_ms != state->newest_ms)
        return;
    if (!state->hour_changed)
        monitor_list_add(monitor, &monitor->changed_points, &look->point, sizeof look->point);
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
        *state->window = look->window;
}

enum second_look_progress second_look_settle(struct second_look *look, bool ended, int64_t to_ms) {
    enum second_look_progress progress = SECOND_LOOK_GOES_ON;
    if (ended)
        catch_up(look);
    compare_with_record(look, ended ? INT64_MAX : look->reached_ms);
    if (ended) {
        for (size_t i = 0; i < look->rule_count; i++) {
            if (look->rules[i].judged)
                end_open(look, i);
        }
        adopt(look);
        progress = SECOND_LOOK_DONE;
    } else if (may_end(look, to_ms)) {
        end_as_recorded(look);
        progress = SECOND_LOOK_DONE;
    }
    look->again_ms = find_again(look);
    if (look->reached_ms > look->settled_ms)
        look->settled_ms = look->reached_ms;
    return look->monitor->out_of_memory ? SECOND_LOOK_NO_MEMORY : progress;
}
