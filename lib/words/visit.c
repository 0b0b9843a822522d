#include "words/visit.h"

#include "diagnosis/diagnosis_texts.h"
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "words/visit_texts.h"

#include <assert.h>
#include <stdio.h>
#include <string.h>

#define LISTED_BEFORE_MS (60 * DURATION_DAY_MS)
#define DATE_GRACE_MS (30 * DURATION_DAY_MS)

static const struct {
    int64_t due_days, latest_days;
} windows[] = {[PRIORITY_LOW] = {60, 120}, [PRIORITY_MEDIUM] = {14, 30}, [PRIORITY_HIGH] = {2, 7}};

static struct visit_reason alarm_reason(const struct visit_alarm *alarm) {
    return (struct visit_reason){
        .condition = alarm->condition,
        .priority = alarm->priority,
        .text = alarm->text,
        .from_ms = alarm->raised_ms,
        .due_ms = alarm->raised_ms + windows[alarm->priority].due_days * DURATION_DAY_MS,
        .latest_ms = alarm->raised_ms + windows[alarm->priority].latest_days * DURATION_DAY_MS};
}

static struct visit_reason projection_reason(const struct visit_projection *projection) {
    int64_t due_ms = projection->earliest_ms == TIMESTAMP_NONE ? projection->crossing_ms
                                                               : projection->earliest_ms;
    if (due_ms > projection->crossing_ms)
        due_ms = projection->crossing_ms;
    return (struct visit_reason){.condition = projection->condition,
                                 .priority = PRIORITY_LOW,
                                 .text = projection->text,
                                 .from_ms = due_ms - LISTED_BEFORE_MS,
                                 .due_ms = due_ms,
                                 .latest_ms = projection->crossing_ms};
}

static struct visit_reason date_reason(const struct visit_date *date) {
    return (struct visit_reason){.condition = date->condition,
                                 .priority = PRIORITY_LOW,
                                 .text = date->text,
                                 .from_ms = date->due_ms - LISTED_BEFORE_MS,
                                 .due_ms = date->due_ms,
                                 .latest_ms = date->due_ms + DATE_GRACE_MS};
}

/* Higher priority first, then the earlier day. */
static bool before(const struct visit_reason *one, const struct visit_reason *other) {
    if (one->priority != other->priority)
        return one->priority > other->priority;
    return one->due_ms < other->due_ms;
}

/* Keeps the list sorted; when it is full the least urgent goes. */
static void reason_add(struct visit *visit, struct visit_reason reason, int64_t now_ms) {
    const char *usual = visit_condition_texts(reason.condition)->reason;
    if (!usual || reason.from_ms > now_ms)
        return;
    if (!reason.text)
        reason.text = usual;
    size_t at = visit->reason_count;
    while (at > 0 && before(&reason, &visit->reasons[at - 1]))
        at--;
    if (at == VISIT_REASONS_MAX)
        return;
    if (visit->reason_count < VISIT_REASONS_MAX)
        visit->reason_count++;
    for (size_t i = visit->reason_count - 1; i > at; i--)
        visit->reasons[i] = visit->reasons[i - 1];
    visit->reasons[at] = reason;
}

static void reasons_fill(const struct visit_input *input, int64_t now_ms, struct visit *visit) {
    for (size_t i = 0; i < input->alarm_count; i++)
        reason_add(visit, alarm_reason(&input->alarms[i]), now_ms);
    for (size_t i = 0; i < input->projection_count; i++)
        if (input->projections[i].crossing_ms != TIMESTAMP_NONE)
            reason_add(visit, projection_reason(&input->projections[i]), now_ms);
    for (size_t i = 0; i < input->date_count; i++)
        if (input->dates[i].due_ms != TIMESTAMP_NONE)
            reason_add(visit, date_reason(&input->dates[i]), now_ms);
}

static void window_fill(struct visit *visit) {
    visit->earliest_ms = visit->reasons[0].from_ms;
    visit->due_ms = visit->reasons[0].due_ms;
    visit->latest_ms = visit->reasons[0].latest_ms;
    visit->priority = visit->reasons[0].priority;
    for (size_t i = 1; i < visit->reason_count; i++) {
        const struct visit_reason *reason = &visit->reasons[i];
        if (reason->from_ms > visit->earliest_ms)
            visit->earliest_ms = reason->from_ms;
        if (reason->due_ms < visit->due_ms)
            visit->due_ms = reason->due_ms;
        if (reason->latest_ms < visit->latest_ms)
            visit->latest_ms = reason->latest_ms;
    }
    if (visit->earliest_ms > visit->due_ms) /* a later reason must not push the day back */
        visit->earliest_ms = visit->due_ms;
    if (visit->latest_ms < visit->due_ms)
        visit->latest_ms = visit->due_ms;
}

/* ---- lists ---- */

static void list_add(const char **list, size_t *count, const char *text) {
    for (size_t i = 0; i < *count; i++)
        if (strcmp(list[i], text) == 0)
            return;
    if (*count < VISIT_LIST_MAX)
        list[(*count)++] = text;
}

static bool is_caution(const char *text) {
    return strcmp(text, diagnosis_text_back_draft) == 0 ||
           strcmp(text, diagnosis_text_electrician) == 0;
}

/* Cautions go to the end, so that what to look at first stands first. */
static void check_add(struct visit *visit, const struct text_list *check, bool cautions) {
    for (size_t i = 0; i < check->count; i++)
        if (is_caution(check->items[i]) == cautions)
            list_add(visit->check, &visit->check_count, check->items[i]);
}

static const struct visit_alarm *alarm_of(const struct visit_input *input,
                                          const struct visit_reason *reason, size_t turn) {
    for (size_t i = 0; i < input->alarm_count; i++)
        if (input->alarms[i].condition == reason->condition &&
            input->alarms[i].raised_ms == reason->from_ms && turn-- == 0)
            return &input->alarms[i];
    return NULL;
}

static void reason_lists_add(const struct visit_input *input, const struct visit_reason *reason,
                             struct visit *visit, bool cautions) {
    const struct visit_condition_texts *usual = visit_condition_texts(reason->condition);
    const struct visit_alarm *alarm = NULL;
    bool diagnosed = false;
    for (size_t turn = 0; (alarm = alarm_of(input, reason, turn)) != NULL; turn++) {
        check_add(visit, &alarm->check, cautions);
        for (size_t i = 0; i < alarm->bring.count; i++)
            list_add(visit->bring, &visit->bring_count, alarm->bring.items[i]);
        diagnosed = diagnosed || alarm->check.count > 0;
    }
    if (diagnosed)
        return;
    check_add(visit, &usual->check, cautions);
    for (size_t i = 0; i < usual->bring.count; i++)
        list_add(visit->bring, &visit->bring_count, usual->bring.items[i]);
}

static void id_fill(const struct visit_input *input, struct visit *visit) {
    if (input->last_visit_ms == TIMESTAMP_NONE) {
        snprintf(visit->id, sizeof(visit->id), "%.150s-first", input->system);
        return;
    }
    int64_t seconds = input->last_visit_ms / 1000;
    snprintf(visit->id, sizeof(visit->id), "%.150s-after-%lld", input->system, (long long)seconds);
}

bool visit_plan(const struct visit_input *input, int64_t now_ms, struct visit *visit) {
    assert(input && input->system && visit);
    struct visit made = {.system = input->system,
                         .name = input->name,
                         .address = input->address,
                         .zone = input->zone,
                         .baseline = input->baseline,
                         .baseline_count = input->baseline_count,
                         .last_visit_ms = input->last_visit_ms,
                         .changed_ms =
                             input->changed_ms == TIMESTAMP_NONE ? now_ms : input->changed_ms};
    reasons_fill(input, now_ms, &made);
    if (made.reason_count == 0)
        return false;
    window_fill(&made);
    id_fill(input, &made);
    for (int cautions = 0; cautions < 2; cautions++)
        for (size_t i = 0; i < made.reason_count; i++)
            reason_lists_add(input, &made.reasons[i], &made, cautions != 0);
    *visit = made;
    return true;
}

struct visit_place visit_place_of(const struct visit *visit) {
    return (struct visit_place){visit->priority, visit->due_ms, visit->system};
}

int visit_place_compare(const struct visit_place *one, const struct visit_place *other) {
    if (one->priority != other->priority)
        return one->priority > other->priority ? -1 : 1;
    if (one->due_ms != other->due_ms)
        return one->due_ms < other->due_ms ? -1 : 1;
    return strcmp(one->system, other->system);
}
