#include "tool/replay_alarms.h"

#include "alarm/chatter.h"
#include "measure/array.h"
#include "measure/timestamp.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

static bool reserve_alarm(struct replay_alarms *list) {
    struct replay_alarm *rows = array_room(list->alarms, list->count, sizeof *rows);
    if (rows)
        list->alarms = rows;
    return rows != NULL;
}

static bool reserve_number(struct replay_alarms *list, size_t number) {
    size_t size = list->by_alarm_size ? list->by_alarm_size : 64;
    while (size <= number)
        size *= 2;
    if (size == list->by_alarm_size)
        return true;
    size_t *grown = realloc(list->by_alarm, size * sizeof *grown);
    if (!grown)
        return false;
    memset(grown + list->by_alarm_size, 0, (size - list->by_alarm_size) * sizeof *grown);
    list->by_alarm = grown;
    list->by_alarm_size = size;
    return true;
}

bool replay_alarms_told(struct replay_alarms *list, const struct alarm *alarm) {
    size_t number = (size_t)alarm->id;
    if (!reserve_alarm(list) || !reserve_number(list, number))
        return false;
    list->alarms[list->count++] = (struct replay_alarm){
        .system = alarm->system,
        .point = alarm->point,
        .condition = alarm->condition,
        .priority = alarm->priority,
        .raised_ms = alarm->raised_ms,
        .returned_ms = alarm->returned_ms,
    };
    list->by_alarm[number] = list->count;
    return true;
}

/* The cause word of {"diagnosis":{"cause":"…"}} or {"cause":"…"}. */
static char *cause_of(const char *details) {
    json_t *root = json_loads(details, 0, NULL);
    json_t *diagnosis = json_object_get(root, "diagnosis");
    const char *cause = json_string_value(json_object_get(diagnosis ? diagnosis : root, "cause"));
    char *copy = cause ? strdup(cause) : NULL;
    json_decref(root);
    return copy;
}

bool replay_alarms_update(struct replay_alarms *list, const struct alarm *alarm) {
    size_t number = (size_t)alarm->id;
    if (number >= list->by_alarm_size || list->by_alarm[number] == 0)
        return true;
    struct replay_alarm *row = &list->alarms[list->by_alarm[number] - 1];
    row->raised_ms = alarm->raised_ms;
    row->returned_ms = alarm->returned_ms;
    row->priority = alarm->priority;
    if (alarm->details) {
        free(row->cause);
        row->cause = cause_of(alarm->details);
    }
    return true;
}

static int by_time(const void *left, const void *right) {
    const struct replay_alarm *a = left, *b = right;
    if (a->raised_ms != b->raised_ms)
        return a->raised_ms < b->raised_ms ? -1 : 1;
    if (a->system != b->system)
        return a->system < b->system ? -1 : 1;
    if (a->point != b->point)
        return a->point < b->point ? -1 : 1;
    return (a->condition > b->condition) - (a->condition < b->condition);
}

/* ---- what comes and goes ---- */

static bool same_place(const struct replay_alarm *a, const struct replay_alarm *b) {
    return a->system == b->system && a->point == b->point && a->condition == b->condition;
}

static int by_place(const void *left, const void *right) {
    const struct replay_alarm *a = left, *b = right;
    if (a->system != b->system)
        return a->system < b->system ? -1 : 1;
    if (a->point != b->point)
        return a->point < b->point ? -1 : 1;
    if (a->condition != b->condition)
        return a->condition < b->condition ? -1 : 1;
    return (a->raised_ms > b->raised_ms) - (a->raised_ms < b->raised_ms);
}

/* How long it must be calm after the row at `at`, while it stands or when it is over; 0: it does
   not come and go. `first`: of its place. */
static int64_t calm_ms(const struct replay_alarm *rows, size_t first, size_t at, bool stands) {
    struct chatter chatter =
        chatter_begin(rows[at].condition, rows[at].priority, rows[at].raised_ms);
    for (size_t i = at + 1; i > first; i--)
        chatter_add(&chatter, rows[i - 1].raised_ms, rows[i - 1].returned_ms, true);
    return chatter_slow_calm_ms(&chatter, stands);
}

struct place_calm {
    bool comes_and_goes;
    int64_t last_ms, needed_ms; /* its last change, and how long it must be calm since */
};

static bool is_told(struct place_calm *place, const struct replay_alarm *rows, size_t first,
                    size_t at, int64_t end_ms) {
    const struct replay_alarm *row = &rows[at];
    bool over = row->returned_ms != TIMESTAMP_NONE;
    int64_t until_ms = over ? row->returned_ms : end_ms;
    int64_t stands_ms = calm_ms(rows, first, at, true), over_ms = calm_ms(rows, first, at, false);
    if (place->comes_and_goes && row->raised_ms - place->last_ms >= place->needed_ms)
        place->comes_and_goes = false;
    bool told = !place->comes_and_goes || (stands_ms && until_ms - row->raised_ms >= stands_ms);
    place->comes_and_goes = place->comes_and_goes ? !told : stands_ms > 0;
    place->last_ms = until_ms;
    if (over_ms)
        place->needed_ms = over_ms;
    return told;
}

void replay_alarms_leave_out_repeats(struct replay_alarms *list, int64_t end_ms) {
    struct replay_alarm *rows = list->alarms;
    struct place_calm place = {false, 0, 0};
    size_t first = 0, kept = 0;
    if (list->count == 0)
        return;
    qsort(rows, list->count, sizeof *rows, by_place);
    bool *told = calloc(list->count, sizeof *told);
    for (size_t i = 0; i < list->count && told; i++) {
        if (!same_place(&rows[first], &rows[i])) {
            first = i;
            place.comes_and_goes = false;
        }
        told[i] = is_told(&place, rows, first, i, end_ms);
    }
    for (size_t i = 0; i < list->count && told; i++) {
        if (told[i])
            rows[kept++] = rows[i];
        else
            free(rows[i].cause);
    }
    list->count = told ? kept : list->count;
    free(told);
}

void replay_alarms_sort(struct replay_alarms *list) {
    if (list->count)
        qsort(list->alarms, list->count, sizeof *list->alarms, by_time);
}

void replay_alarms_clear(struct replay_alarms *list) {
    for (size_t i = 0; i < list->count; i++)
        free(list->alarms[i].cause);
    free(list->alarms);
    free(list->by_alarm);
}
