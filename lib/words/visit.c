#include "words/visit.h"

#include "measure/duration.h"
#include "measure/timestamp.h"
#include "words/visit_texts.h"
#include "words/wording_texts.h"

#include <assert.h>
#include <stdio.h>
#include <string.h>

#define DATE_GRACE_MS (30 * DURATION_DAY_MS)

static const struct {
    int64_t due_days, latest_days;
} windows[] = {[PRIORITY_LOW] = {60, 120}, [PRIORITY_MEDIUM] = {14, 30}, [PRIORITY_HIGH] = {2, 7}};

/* What only weeks of days have shown asks for no two days' haste. */
static enum priority haste_of(const struct visit_alarm *alarm) {
    bool slow = condition_info(alarm->condition)->measure == MEASURE_DAILY;
    return slow && alarm->priority == PRIORITY_HIGH ? PRIORITY_MEDIUM : alarm->priority;
}

static struct visit_reason alarm_reason(const struct visit_alarm *alarm) {
    enum priority haste = haste_of(alarm);
    return (struct visit_reason){
        .condition = alarm->condition,
        .priority = alarm->priority,
        .text = alarm->text,
        .from_ms = alarm->raised_ms,
        .due_ms = alarm->raised_ms + windows[haste].due_days * DURATION_DAY_MS,
        .latest_ms = alarm->raised_ms + windows[haste].latest_days * DURATION_DAY_MS};
}

static struct visit_reason projection_reason(const struct visit_projection *projection) {
    int64_t due_ms = projection->earliest_ms == TIMESTAMP_NONE ? projection->crossing_ms
                                                               : projection->earliest_ms;
    if (due_ms > projection->crossing_ms)
        due_ms = projection->crossing_ms;
    return (struct visit_reason){.condition = projection->condition,
                                 .priority = PRIORITY_LOW,
                                 .text = projection->text,
                                 .from_ms = due_ms - VISIT_LISTED_BEFORE_MS,
                                 .due_ms = due_ms,
                                 .latest_ms = projection->crossing_ms};
}

static struct visit_reason date_reason(const struct visit_date *date) {
    return (struct visit_reason){.condition = date->condition,
                                 .priority = PRIORITY_LOW,
                                 .text = date->text,
                                 .from_ms = date->due_ms - VISIT_LISTED_BEFORE_MS,
                                 .due_ms = date->due_ms,
                                 .latest_ms = date->due_ms + DATE_GRACE_MS};
}

/* Higher priority first, then the earlier day. */
static bool before(const struct visit_reason *one, const struct visit_reason *other) {
    if (one->priority != other->priority)
        return one->priority > other->priority;
    return one->due_ms < other->due_ms;
}

static const struct wording_texts *texts_of(const struct visit *visit) {
    return wording_languages[visit->reader.language].texts;
}

/* Keeps the list sorted; when it is full the least urgent goes. */
static void reason_add(struct visit *visit, struct visit_reason reason, int64_t now_ms) {
    if (!visit_condition_items(reason.condition)->calls || reason.from_ms > now_ms)
        return;
    if (!reason.text)
        reason.text = texts_of(visit)->conditions[reason.condition].reason;
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

static bool is_caution(const struct visit *visit, const char *text) {
    const char *const *items = texts_of(visit)->items;
    return strcmp(text, items[VISIT_BACK_DRAFT]) == 0 ||
           strcmp(text, items[VISIT_ELECTRICIAN]) == 0;
}

/* Cautions go to the end, so that what to look at first stands first. */
static void check_add(struct visit *visit, const char *text, bool cautions) {
    if (is_caution(visit, text) == cautions)
        list_add(visit->check, &visit->check_count, text);
}

static const struct visit_alarm *alarm_of(const struct visit_input *input,
                                          const struct visit_reason *reason, size_t turn) {
    for (size_t i = 0; i < input->alarm_count; i++)
        if (input->alarms[i].condition == reason->condition &&
            input->alarms[i].raised_ms == reason->from_ms && turn-- == 0)
            return &input->alarms[i];
    return NULL;
}

/* The usual of a condition, as far as it fits the sensor. */
static void usual_lists_add(const struct visit_reason *reason, enum quantity quantity,
                            struct visit *visit, bool cautions) {
    const struct visit_condition_items *usual = visit_condition_items(reason->condition);
    const char *const *items = texts_of(visit)->items;
    for (size_t i = 0; i < VISIT_ITEMS_MOST && usual->check[i] != VISIT_NONE; i++)
        if (visit_item_fits(usual->check[i], quantity))
            check_add(visit, items[usual->check[i]], cautions);
    for (size_t i = 0; i < VISIT_ITEMS_MOST && usual->bring[i] != VISIT_NONE; i++)
        if (visit_item_fits(usual->bring[i], quantity))
            list_add(visit->bring, &visit->bring_count, items[usual->bring[i]]);
}

/* Is it about the sensor rather than about what it measures? */
static bool is_of_sensor(enum condition condition) {
    return condition >= CONDITION_SENSOR_SILENT && condition <= CONDITION_BATTERY_LOW;
}

static void reason_lists_add(const struct visit_input *input, const struct visit_reason *reason,
                             struct visit *visit, bool cautions) {
    const struct visit_alarm *alarm = NULL;
    enum quantity quantity = QUANTITY_COUNT;
    bool diagnosed = false;
    for (size_t turn = 0; (alarm = alarm_of(input, reason, turn)) != NULL; turn++) {
        for (size_t i = 0; i < alarm->check.count; i++)
            check_add(visit, alarm->check.items[i], cautions);
        for (size_t i = 0; i < alarm->bring.count; i++)
            list_add(visit->bring, &visit->bring_count, alarm->bring.items[i]);
        diagnosed = diagnosed || alarm->check.count > 0;
        if (is_of_sensor(alarm->condition))
            quantity = alarm->quantity;
    }
    if (!diagnosed)
        usual_lists_add(reason, quantity, visit, cautions);
}

static void id_fill(const struct visit_input *input, struct visit *visit) {
    if (input->counted_ms == TIMESTAMP_NONE) {
        snprintf(visit->id, sizeof(visit->id), "%.150s-first", input->system);
        return;
    }
    int64_t seconds = input->counted_ms / 1000;
    snprintf(visit->id, sizeof(visit->id), "%.150s-after-%lld", input->system, (long long)seconds);
}

bool visit_plan(const struct visit_input *input, int64_t now_ms, struct visit *visit) {
    assert(input && input->system && visit);
    struct visit made = {.system = input->system,
                         .name = input->name,
                         .address = input->address,
                         .zone = input->zone,
                         .reader = input->reader,
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
    list_add(made.check, &made.check_count, texts_of(&made)->items[VISIT_LEAVE_RUNNING]);
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
