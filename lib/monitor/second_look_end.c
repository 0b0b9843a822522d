/*
 * What a second look found is compared with the record; at its end the live state is taken over.
 */
#include "monitor/second_look_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- comparing with the record ---- */

static struct alarm facts_of(const struct second_look *look, const struct episode *episode) {
    const struct condition_rule *rule = &second_look_owner_of(look)->rules[episode->rule];
    size_t system = second_look_owner_of(look)->system;
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
    const struct recorded recorded = {second_look_rule_of(look, occurrence->condition),
                                      *occurrence};
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
        const struct alarm *open = rule->judged ? second_look_open_alarm(look, i) : NULL;
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
            move_open(look, second_look_open_alarm(look, i), &rule->standing);
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
    if (!rule->holds && !open->told && open->acknowledged.time_ms == TIMESTAMP_NONE)
        forget(look, open->id);
    rule->holds = false;
    alarm_book_return(look->monitor->book, open->system, open->point, open->condition, ended_ms);
}

static void end_open(struct second_look *look, size_t i) {
    struct rule_look *rule = &look->rules[i];
    struct alarm *open = second_look_open_alarm(look, i);
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
        second_look_catch_up(look);
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
