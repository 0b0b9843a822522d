/*
 * A stored daily row is right until a reading comes late: the pipeline then forgets it. A reading
 * is late when its point has a newer one, so a row may only be kept once the point has a reading at
 * or after the day's end; until then a further reading of that day would be no late one.
 */
#include "pipeline/stored_history.h"

#include "analysis/statistics.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { HOURS_A_STEP = 256, DAYS_A_STEP = 128, FIRST_READINGS = 512, SWEEP_READINGS = 4096 };

/* What a day is computed for. */
struct day_source {
    struct store *store;
    int64_t key, covers_ms;
    const struct time_zone *zone;
};

static bool source_of(const struct monitor_memory *memory, size_t point,
                      struct day_source *source) {
    const struct fleet *fleet = monitor_fleet(memory->monitor);
    *source = (struct day_source){
        .store = memory->store,
        .key = memory->keys[point],
        .covers_ms = fleet_covers_ms(fleet, point),
        .zone = fleet->systems[fleet->points[point].system].zone,
    };
    return source->store != NULL;
}

/* ---- hours ---- */

static size_t take_hours(const struct series_hour *rows, size_t count,
                         struct average_bucket *hours) {
    size_t taken = 0;
    for (size_t i = 0; i < count; i++) {
        if (rows[i].covered_ms > 0)
            hours[taken++] =
                (struct average_bucket){rows[i].hour_ms, rows[i].hour_ms + ROLLUP_HOUR_MS,
                                        rows[i].value_ms, rows[i].covered_ms};
    }
    return taken;
}

static size_t hours_of(void *context, size_t point, int64_t from_ms, int64_t to_ms,
                       struct average_bucket *hours, size_t capacity) {
    struct day_source source;
    struct series_hour rows[HOURS_A_STEP];
    size_t taken = 0, count = 0;
    if (!source_of(context, point, &source))
        return HISTORY_FAILED;
    from_ms = rollup_hour_start(from_ms);
    do {
        size_t room = capacity - taken < HOURS_A_STEP ? capacity - taken : HOURS_A_STEP;
        if (room == 0)
            break;
        if (series_hours(source.store, source.key, from_ms, to_ms, rows, room, &count) != STORE_OK)
            return HISTORY_FAILED;
        taken += take_hours(rows, count, hours + taken);
        if (count > 0)
            from_ms = rows[count - 1].hour_ms + 1;
        if (count < room)
            break;
    } while (from_ms < to_ms);
    return taken;
}

/* ---- one day from its readings ---- */

struct day_readings {
    struct reading *readings; /* with the ones before and after the day where there are */
    size_t count, capacity;
    size_t first, inside; /* of the day itself */
    bool over;            /* there is a reading at or after the day's end */
};

static bool reserve(struct day_readings *day, size_t more) {
    if (day->count + more <= day->capacity)
        return true;
    size_t capacity = day->capacity ? 2 * day->capacity : FIRST_READINGS;
    struct reading *grown = realloc(day->readings, capacity * sizeof *grown);
    if (!grown)
        return false;
    day->readings = grown;
    day->capacity = capacity;
    return true;
}

static enum store_status read_inside(const struct day_source *source, int64_t from_ms,
                                     int64_t to_ms, struct day_readings *day) {
    day->first = day->count;
    for (;;) {
        size_t got = 0;
        if (!reserve(day, 2))
            return STORE_OUT_OF_MEMORY;
        size_t room = day->capacity - day->count - 1; /* one place is for the reading after */
        enum store_status status = series_read(source->store, source->key, from_ms, to_ms,
                                               day->readings + day->count, room, &got);
        if (status != STORE_OK)
            return status;
        day->count += got;
        day->inside = day->count - day->first;
        if (got < room)
            return STORE_OK;
        from_ms = day->readings[day->count - 1].time_ms + 1;
    }
}

static enum store_status read_day(const struct day_source *source, int64_t start_ms, int64_t end_ms,
                                  struct day_readings *day) {
    if (!reserve(day, 3))
        return STORE_OUT_OF_MEMORY;
    enum store_status status =
        series_before(source->store, source->key, start_ms, &day->readings[0]);
    if (status == STORE_OK)
        day->count = 1;
    else if (status != STORE_NOT_FOUND)
        return status;
    status = read_inside(source, start_ms, end_ms, day);
    if (status != STORE_OK)
        return status;
    status = series_after(source->store, source->key, end_ms, &day->readings[day->count]);
    day->over = status == STORE_OK;
    if (day->over)
        day->count++;
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

static bool sum_day(const struct day_source *source, const struct day_readings *day,
                    struct series_day *row) {
    struct average_bucket sum;
    struct average_reading *readings = malloc(day->count * sizeof *readings);
    double *values = malloc(day->inside * sizeof *values);
    bool good = readings && values;
    for (size_t i = 0; good && i < day->count; i++)
        readings[i] = (struct average_reading){day->readings[i].time_ms, day->readings[i].value};
    for (size_t i = 0; good && i < day->inside; i++)
        values[i] = day->readings[day->first + i].value;
    good = good && statistics_median_in_place(values, day->inside, &row->median) == STATISTICS_OK &&
           average_readings(readings, day->count, source->covers_ms, row->start_ms, row->end_ms,
                            &sum) == AVERAGE_OK;
    free(readings);
    free(values);
    if (!good)
        return false;
    row->count = (int64_t)day->inside;
    row->covered_ms = sum.covered_ms;
    row->mean = sum.covered_ms > 0 ? sum.value_ms / (double)sum.covered_ms : NAN;
    return true;
}

/* A row is kept once the day is over. */
static enum store_status keep_sum(const struct day_source *source, const struct day_readings *day,
                                  struct series_day *row) {
    if (!sum_day(source, day, row))
        return STORE_OUT_OF_MEMORY;
    return day->over && store_in_transaction(source->store)
               ? series_day_put(source->store, source->key, row)
               : STORE_OK;
}

/* count 0: a day without readings, which has no row. */
static enum store_status compute_day(const struct day_source *source, int64_t local_day,
                                     struct series_day *row) {
    struct day_readings day = {.readings = NULL};
    *row = (struct series_day){.local_day = local_day,
                               .start_ms = time_zone_day_start_ms(source->zone, local_day),
                               .end_ms = time_zone_day_start_ms(source->zone, local_day + 1)};
    enum store_status status = read_day(source, row->start_ms, row->end_ms, &day);
    if (status == STORE_OK && day.inside > 0)
        status = keep_sum(source, &day, row);
    free(day.readings);
    return status;
}

struct day_list {
    struct history_day *days;
    size_t count, capacity;
};

static void give(struct day_list *answer, const struct series_day *row) {
    if (row->count > 0 && answer->count < answer->capacity)
        answer->days[answer->count++] =
            (struct history_day){row->local_day, row->start_ms, row->end_ms,    row->count,
                                 row->median,    row->mean,     row->covered_ms};
}

/* ---- days without a row ---- */

/* Readings of a hole, as many as there is room for, with the one before it and the one behind it.
 */
struct sweep {
    struct reading readings[SWEEP_READINGS + 2];
    size_t first, count; /* of the hole itself: [first, first + count) */
    bool whole;          /* the hole has no more of them */
    bool behind;         /* there is one behind it, at first + count */
};

static enum store_status read_hole(const struct day_source *source, int64_t from_ms, int64_t to_ms,
                                   struct sweep *sweep) {
    enum store_status status =
        series_before(source->store, source->key, from_ms, &sweep->readings[0]);
    sweep->first = status == STORE_OK;
    sweep->behind = false;
    if (status != STORE_OK && status != STORE_NOT_FOUND)
        return status;
    struct reading *readings = sweep->readings + sweep->first;
    status = series_read(source->store, source->key, from_ms, to_ms, readings, SWEEP_READINGS,
                         &sweep->count);
    sweep->whole = sweep->count < SWEEP_READINGS;
    if (status != STORE_OK || !sweep->whole || sweep->count == 0)
        return status;
    status = series_after(source->store, source->key, to_ms, readings + sweep->count);
    sweep->behind = status == STORE_OK;
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

/* The day of the i-th reading of the hole; *end: behind its last. False: not all of it was read. */
static bool slice_day(const struct day_source *source, struct sweep *sweep, size_t i, size_t *end,
                      struct series_day *row, struct day_readings *day) {
    struct reading *readings = sweep->readings + sweep->first;
    int64_t local_day = time_zone_local_day(source->zone, readings[i].time_ms);
    *row = (struct series_day){.local_day = local_day,
                               .start_ms = time_zone_day_start_ms(source->zone, local_day),
                               .end_ms = time_zone_day_start_ms(source->zone, local_day + 1)};
    for (*end = i + 1; *end < sweep->count && readings[*end].time_ms < row->end_ms;)
        ++*end;
    bool before = sweep->first + i > 0;
    *day = (struct day_readings){.readings = readings + i - before, .first = before};
    day->inside = *end - i;
    day->over = *end < sweep->count || sweep->behind;
    day->count = day->first + day->inside + day->over;
    return *end < sweep->count || sweep->whole;
}

/* The days that were read whole, *day becomes the one to go on with. */
static enum store_status sum_days(const struct day_source *source, struct sweep *sweep,
                                  int64_t *day, struct day_list *answer) {
    struct series_day row;
    struct day_readings readings;
    enum store_status status = STORE_OK;
    for (size_t i = 0, end; i < sweep->count && answer->count < answer->capacity; i = end) {
        bool whole = slice_day(source, sweep, i, &end, &row, &readings);
        *day = row.local_day;
        if (!whole && i > 0)
            return STORE_OK;
        if (!whole) /* more readings than a sweep has room for */
            status = compute_day(source, row.local_day, &row);
        else
            status = keep_sum(source, &readings, &row);
        if (status != STORE_OK)
            return status;
        give(answer, &row);
        *day = row.local_day + 1;
        if (!whole)
            return STORE_OK;
    }
    return STORE_OK;
}

/* Days without a row in [from, to): computed, many of them in one pass over their readings. */
static enum store_status fill_hole(const struct day_source *source, int64_t from_day,
                                   int64_t to_day, struct day_list *answer) {
    struct sweep *sweep = from_day < to_day ? malloc(sizeof *sweep) : NULL;
    enum store_status status = from_day < to_day && !sweep ? STORE_OUT_OF_MEMORY : STORE_OK;
    while (status == STORE_OK && from_day < to_day && answer->count < answer->capacity) {
        status = read_hole(source, time_zone_day_start_ms(source->zone, from_day),
                           time_zone_day_start_ms(source->zone, to_day), sweep);
        THEN(status, sum_days(source, sweep, &from_day, answer));
        if (status != STORE_OK || sweep->whole)
            break;
    }
    free(sweep);
    return status;
}

/* ---- days ---- */

static size_t days_of(void *context, size_t point, int64_t from_day, int64_t to_day,
                      struct history_day *days, size_t capacity) {
    struct day_source source;
    struct series_day rows[DAYS_A_STEP];
    struct day_list answer = {days, 0, capacity};
    if (!source_of(context, point, &source))
        return HISTORY_FAILED;
    while (from_day < to_day && answer.count < capacity) {
        size_t count = 0;
        int64_t end_day = to_day - from_day > DAYS_A_STEP ? from_day + DAYS_A_STEP : to_day;
        if (series_days(source.store, source.key, from_day, end_day, rows, DAYS_A_STEP, &count) !=
            STORE_OK)
            return HISTORY_FAILED;
        for (size_t i = 0; i <= count; i++) {
            int64_t next_day = i < count ? rows[i].local_day : end_day;
            if (fill_hole(&source, from_day, next_day, &answer) != STORE_OK)
                return HISTORY_FAILED;
            if (i < count)
                give(&answer, &rows[i]);
            from_day = i < count ? next_day + 1 : end_day;
        }
    }
    return answer.count;
}

/* ---- the commissioning record ---- */

struct exponent_search {
    int64_t time_ms;
    double exponent;
};

static bool on_record(void *context, const struct record_commissioning *record) {
    struct exponent_search *search = context;
    if (record->from_ms > search->time_ms || strcmp(record->origin, "learned") == 0)
        return true;
    json_t *root = json_loads(record->text, 0, NULL);
    json_t *exponent = json_object_get(root, "ground_exponent");
    if (json_is_number(exponent)) /* else what an older record says holds on */
        search->exponent = json_number_value(exponent);
    json_decref(root);
    return true;
}

static double exponent_of(void *context, size_t system, int64_t time_ms) {
    const struct monitor_memory *memory = context;
    struct exponent_search search = {time_ms, NAN};
    const struct fleet *fleet = monitor_fleet(memory->monitor);
    if (!memory->store ||
        record_commissioning_list(memory->store, fleet_system_id(fleet, system),
                                  RECORD_OLDEST_FIRST, on_record, &search) != STORE_OK)
        return NAN;
    return search.exponent;
}

struct history stored_history_view(struct monitor_memory *memory) {
    return (struct history){memory, hours_of, days_of, exponent_of};
}
