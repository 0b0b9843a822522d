/*
 * History comes in many readings at once. First what is new goes into the store, point by point, so
 * that whole days become packs (series_load.h); then all are judged in order of time, as they would
 * have been one by one. What is not after the newest of its point goes the way of a late reading.
 */
#include "pipeline/pipeline_private.h"

#include <stdlib.h>

struct row_place {
    size_t point, row;
};

struct file_rows {
    struct pipeline *pipeline;
    struct pipeline_row *rows; /* in order of time */
    struct row_place *places;  /* in order of point, then as the rows */
    size_t count;
    struct reading *readings; /* of one point, those that are new */
    struct monitor_memory_rolled *rolled;
    size_t rolled_count;
    int64_t now_ms;
};

static int by_time(const void *a, const void *b) {
    const struct pipeline_row *x = a, *y = b;
    if (x->reading.time_ms != y->reading.time_ms)
        return x->reading.time_ms < y->reading.time_ms ? -1 : 1;
    return (x->line > y->line) - (x->line < y->line);
}

static int by_point(const void *a, const void *b) {
    const struct row_place *x = a, *y = b;
    if (x->point != y->point)
        return x->point < y->point ? -1 : 1;
    return (x->row > y->row) - (x->row < y->row);
}

static bool open_import(struct file_rows *import) {
    size_t count = import->count;
    import->places = malloc(count * sizeof *import->places);
    import->readings = malloc(count * sizeof *import->readings);
    import->rolled = malloc(count * sizeof *import->rolled);
    if (!import->places || !import->readings || !import->rolled)
        return false;
    qsort(import->rows, count, sizeof *import->rows, by_time);
    for (size_t i = 0; i < count; i++)
        import->places[i] = (struct row_place){import->rows[i].point, i};
    qsort(import->places, count, sizeof *import->places, by_point);
    return true;
}

static void close_import(const struct file_rows *import) {
    free(import->places);
    free(import->readings);
    free(import->rolled);
}

/* ---- into the store ---- */

/* Which rows of a point are new; returns how many. The others are PIPELINE_FAILED until they are
   looked for in the store. */
static size_t choose_new(const struct file_rows *import, const struct row_place *places,
                         size_t count) {
    int64_t newest_ms = monitor_newest(import->pipeline->monitor, places[0].point).time_ms;
    size_t chosen = 0;
    for (size_t i = 0; i < count; i++) {
        struct pipeline_row *row = &import->rows[places[i].row];
        const struct reading *last = chosen ? &import->readings[chosen - 1] : NULL;
        row->taken = PIPELINE_FAILED;
        if (row->reading.time_ms > (last ? last->time_ms : newest_ms)) {
            import->readings[chosen++] = row->reading;
            row->taken = PIPELINE_NEW;
        } else if (last && row->reading.time_ms == last->time_ms) {
            row->taken = row->reading.value == last->value ? PIPELINE_SAME : PIPELINE_CONFLICT;
        }
    }
    return chosen;
}

static bool load_point(struct file_rows *import, const struct row_place *places, size_t count) {
    struct pipeline *pipeline = import->pipeline;
    size_t point = places[0].point, chosen = choose_new(import, places, count);
    struct monitor_memory_rolled *rolled = &import->rolled[import->rolled_count];
    rolled->point = point;
    enum store_status status =
        series_load(pipeline->turn.store, pipeline->memory.keys[point], import->readings, chosen,
                    SERIES_FROM_IMPORT, pipeline_pack_before_ms(import->now_ms), &rolled->hours);
    import->rolled_count += rolled->hours.from_ms < rolled->hours.to_ms;
    return pipeline_note(pipeline, status);
}

static bool load_points(struct file_rows *import) {
    bool good = true;
    for (size_t i = 0, end; i < import->count && good; i = end) {
        end = i + 1;
        while (end < import->count && import->places[end].point == import->places[i].point)
            end++;
        good = load_point(import, &import->places[i], end - i);
    }
    return good;
}

/* ---- judged ---- */

static bool write_hours(const struct file_rows *import) {
    struct pipeline *pipeline = import->pipeline;
    return pipeline_note(pipeline, monitor_memory_write_hours(&pipeline->memory, import->rolled,
                                                              import->rolled_count));
}

static bool judge_row(const struct file_rows *import, struct pipeline_row *row) {
    struct pipeline *pipeline = import->pipeline;
    switch (row->taken) {
    case PIPELINE_NEW:
        pipeline_count_taken(pipeline, SERIES_NEW);
        monitor_reading(pipeline->monitor, row->point, &row->reading, import->now_ms);
        if (!pipeline_book_has_grown(pipeline))
            return true;
        if (!write_hours(import))
            return false;
        pipeline_write_early(pipeline);
        return true;
    case PIPELINE_SAME:
        pipeline_count_taken(pipeline, SERIES_SAME);
        return true;
    case PIPELINE_CONFLICT:
        pipeline_count_taken(pipeline, SERIES_CONFLICT);
        return true;
    case PIPELINE_FAILED: /* not new */
        row->taken =
            pipeline_take(pipeline, row->point, &row->reading, SERIES_FROM_IMPORT, import->now_ms);
        break;
    }
    return row->taken != PIPELINE_FAILED;
}

void pipeline_import(struct pipeline *pipeline, struct pipeline_row *rows, size_t count,
                     int64_t now_ms) {
    struct file_rows import = {
        .pipeline = pipeline, .rows = rows, .count = count, .now_ms = now_ms};
    if (count == 0 || !pipeline_begin(pipeline))
        return;
    bool good = open_import(&import);
    if (!good)
        pipeline_note(pipeline, STORE_OUT_OF_MEMORY);
    good = good && load_points(&import);
    for (size_t i = 0; i < count && good; i++)
        good = judge_row(&import, &rows[i]);
    if (good)
        write_hours(&import);
    close_import(&import);
}
