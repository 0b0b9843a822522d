/*
 * Hours lie in a ring by their number, so an old hour is overwritten when its place is needed. The
 * readings of the running day are kept for its median; the day becomes a row when a reading past
 * its end arrives, because that reading's span may still reach back into it.
 */
#include "monitor/history_memory.h"

#include "analysis/statistics.h"
#include "measure/array.h"
#include "measure/timestamp.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { DEFAULT_KEEP_HOURS = 40 * 24 };

struct hour_sum {
    int64_t hour; /* since 1970; all zeros: an hour without anything */
    double value_ms;
    int64_t covered_ms;
};

struct day_sum {
    int64_t local_day, start_ms, end_ms;
    double value_ms;
    int64_t covered_ms;
    double *values;
    size_t count;
};

struct point_memory {
    int64_t newest_ms;
    struct hour_sum *hours;
    struct day_sum today;
    struct history_day *days;
    size_t day_count;
};

struct system_memory {
    int64_t exponent_from_ms;
    double exponent;
};

struct history_memory {
    const struct fleet *fleet;
    size_t keep_hours;
    struct point_memory *points;
    struct system_memory *systems;
};

struct history_memory *history_memory_create(const struct fleet *fleet, size_t keep_hours) {
    struct history_memory *memory = calloc(1, sizeof *memory);
    if (!memory)
        return NULL;
    memory->fleet = fleet;
    memory->keep_hours = keep_hours ? keep_hours : DEFAULT_KEEP_HOURS;
    memory->points = calloc(fleet->point_count + 1, sizeof *memory->points);
    memory->systems = calloc(fleet->system_count + 1, sizeof *memory->systems);
    if (!memory->points || !memory->systems) {
        history_memory_destroy(memory);
        return NULL;
    }
    for (size_t i = 0; i < fleet->point_count; i++)
        memory->points[i].newest_ms = TIMESTAMP_NONE;
    for (size_t i = 0; i < fleet->system_count; i++)
        memory->systems[i] = (struct system_memory){INT64_MIN, NAN};
    return memory;
}

void history_memory_destroy(struct history_memory *memory) {
    if (!memory)
        return;
    for (size_t i = 0; memory->points && i < memory->fleet->point_count; i++) {
        free(memory->points[i].hours);
        free(memory->points[i].today.values);
        free(memory->points[i].days);
    }
    free(memory->points);
    free(memory->systems);
    free(memory);
}

void history_memory_set_exponent(struct history_memory *memory, size_t system, int64_t from_ms,
                                 double exponent) {
    if (from_ms >= memory->systems[system].exponent_from_ms)
        memory->systems[system] = (struct system_memory){from_ms, exponent};
}

static int64_t hour_number(int64_t time_ms) {
    int64_t hour = time_ms / AVERAGE_HOUR_MS;
    return time_ms % AVERAGE_HOUR_MS < 0 ? hour - 1 : hour;
}

static struct hour_sum *hour_place(const struct history_memory *memory,
                                   const struct point_memory *point, int64_t hour) {
    int64_t place = hour % (int64_t)memory->keep_hours;
    return &point->hours[place < 0 ? place + (int64_t)memory->keep_hours : place];
}

static void add_to_hours(const struct history_memory *memory, const struct point_memory *point,
                         int64_t from_ms, int64_t to_ms, double value) {
    while (from_ms < to_ms) {
        int64_t hour = hour_number(from_ms), end_ms = (hour + 1) * AVERAGE_HOUR_MS;
        int64_t span_ms = (to_ms < end_ms ? to_ms : end_ms) - from_ms;
        struct hour_sum *sum = hour_place(memory, point, hour);
        if (sum->hour != hour)
            *sum = (struct hour_sum){.hour = hour};
        sum->value_ms += value * (double)span_ms;
        sum->covered_ms += span_ms;
        from_ms += span_ms;
    }
}

/* ---- days ---- */

/* The running day as a row. The values change their order. False when it has no reading. */
static bool day_row(const struct day_sum *day, struct history_day *row) {
    if (day->count == 0)
        return false;
    *row = (struct history_day){
        .local_day = day->local_day,
        .start_ms = day->start_ms,
        .end_ms = day->end_ms,
        .count = (int64_t)day->count,
        .mean = day->covered_ms > 0 ? day->value_ms / (double)day->covered_ms : NAN,
        .covered_ms = day->covered_ms,
    };
    return statistics_median_in_place(day->values, day->count, &row->median) == STATISTICS_OK;
}

static bool close_day(struct point_memory *point) {
    struct history_day row;
    return !day_row(&point->today, &row) ||
           array_add(&point->days, &point->day_count, &row, sizeof row);
}

static void begin_day(struct day_sum *day, const struct time_zone *zone, int64_t time_ms) {
    day->local_day = time_zone_local_day(zone, time_ms);
    day->start_ms = time_zone_day_start_ms(zone, day->local_day);
    day->end_ms = time_zone_day_start_ms(zone, day->local_day + 1);
    day->value_ms = 0.0;
    day->covered_ms = 0;
    day->count = 0;
}

/* A span that begins before the running day belongs in part to the day before it, which has been
   closed by then only if this is the first reading past its end. */
static void add_span(struct day_sum *day, int64_t from_ms, int64_t to_ms, double value) {
    from_ms = from_ms > day->start_ms ? from_ms : day->start_ms;
    to_ms = to_ms < day->end_ms ? to_ms : day->end_ms;
    if (from_ms >= to_ms)
        return;
    day->value_ms += value * (double)(to_ms - from_ms);
    day->covered_ms += to_ms - from_ms;
}

bool history_memory_add(struct history_memory *memory, size_t index,
                        const struct reading *reading) {
    struct point_memory *point = &memory->points[index];
    const struct fleet_point *owner = &memory->fleet->points[index];
    bool first = point->newest_ms == TIMESTAMP_NONE;
    if (!first && reading->time_ms <= point->newest_ms)
        return true;
    if (!point->hours)
        point->hours = calloc(memory->keep_hours, sizeof *point->hours);
    if (!point->hours)
        return false;
    int64_t from_ms = reading->time_ms - fleet_covers_ms(memory->fleet, index);
    if (!first && point->newest_ms > from_ms)
        from_ms = point->newest_ms;
    add_to_hours(memory, point, from_ms, reading->time_ms, reading->value);
    if (first)
        begin_day(&point->today, memory->fleet->systems[owner->system].zone, reading->time_ms);
    add_span(&point->today, from_ms, reading->time_ms, reading->value);
    if (reading->time_ms >= point->today.end_ms) {
        if (!close_day(point))
            return false;
        begin_day(&point->today, memory->fleet->systems[owner->system].zone, reading->time_ms);
        add_span(&point->today, from_ms, reading->time_ms, reading->value);
    }
    point->newest_ms = reading->time_ms;
    return array_add(&point->today.values, &point->today.count, &reading->value,
                     sizeof reading->value);
}

/* ---- asking ---- */

static size_t hours_of(void *context, size_t index, int64_t from_ms, int64_t to_ms,
                       struct average_bucket *hours, size_t capacity) {
    const struct history_memory *memory = context;
    const struct point_memory *point = &memory->points[index];
    size_t count = 0;
    if (!point->hours)
        return 0;
    int64_t newest = hour_number(point->newest_ms), last = hour_number(to_ms - 1);
    int64_t hour = hour_number(from_ms), oldest = newest - (int64_t)memory->keep_hours + 1;
    last = last < newest ? last : newest;
    for (hour = hour > oldest ? hour : oldest; hour <= last && count < capacity; hour++) {
        const struct hour_sum *sum = hour_place(memory, point, hour);
        if (sum->hour == hour && sum->covered_ms > 0)
            hours[count++] =
                (struct average_bucket){hour * AVERAGE_HOUR_MS, (hour + 1) * AVERAGE_HOUR_MS,
                                        sum->value_ms, sum->covered_ms};
    }
    return count;
}

/* First row at or after a day. */
static size_t find_day(const struct point_memory *point, int64_t local_day) {
    size_t low = 0, high = point->day_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (point->days[middle].local_day < local_day)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static size_t days_of(void *context, size_t index, int64_t from_day, int64_t to_day,
                      struct history_day *days, size_t capacity) {
    const struct history_memory *memory = context;
    const struct point_memory *point = &memory->points[index];
    size_t first = find_day(point, from_day), end = find_day(point, to_day);
    size_t count = end - first < capacity ? end - first : capacity;
    if (count > 0)
        memcpy(days, &point->days[first], count * sizeof *days);
    int64_t today = point->today.local_day;
    if (point->newest_ms != TIMESTAMP_NONE && today >= from_day && today < to_day &&
        count < capacity && day_row(&point->today, &days[count]))
        count++;
    return count;
}

static double exponent_of(void *context, size_t system, int64_t time_ms) {
    const struct history_memory *memory = context;
    const struct system_memory *owner = &memory->systems[system];
    return owner->exponent_from_ms <= time_ms ? owner->exponent : NAN;
}

struct history history_memory_view(struct history_memory *memory) {
    return (struct history){memory, hours_of, days_of, exponent_of};
}
