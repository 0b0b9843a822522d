#include "tool/replay_rows.h"

#include "measure/array.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

static bool reserve_row(struct replay_rows *list) {
    struct replay_row *rows = array_room(list->rows, list->count, sizeof *rows);
    if (rows)
        list->rows = rows;
    return rows != NULL;
}

static bool reserve_number(struct replay_rows *list, size_t number) {
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

bool replay_rows_told(struct replay_rows *list, const struct alarm *alarm) {
    size_t number = (size_t)alarm->id;
    if (!reserve_row(list) || !reserve_number(list, number))
        return false;
    list->rows[list->count++] = (struct replay_row){
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

bool replay_rows_update(struct replay_rows *list, const struct alarm *alarm) {
    size_t number = (size_t)alarm->id;
    if (number >= list->by_alarm_size || list->by_alarm[number] == 0)
        return true;
    struct replay_row *row = &list->rows[list->by_alarm[number] - 1];
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
    const struct replay_row *a = left, *b = right;
    if (a->raised_ms != b->raised_ms)
        return a->raised_ms < b->raised_ms ? -1 : 1;
    if (a->system != b->system)
        return a->system < b->system ? -1 : 1;
    if (a->point != b->point)
        return a->point < b->point ? -1 : 1;
    return (a->condition > b->condition) - (a->condition < b->condition);
}

void replay_rows_sort(struct replay_rows *list) {
    if (list->count)
        qsort(list->rows, list->count, sizeof *list->rows, by_time);
}

void replay_rows_clear(struct replay_rows *list) {
    for (size_t i = 0; i < list->count; i++)
        free(list->rows[i].cause);
    free(list->rows);
    free(list->by_alarm);
}
