#include "page/series.h"

#include "measure/duration.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { CHUNK = 1024 };

static const int64_t readings_span_ms = 2 * DURATION_DAY_MS;
static const int64_t days_span_ms = 180 * DURATION_DAY_MS;

/* ---- readings ---- */

static bool read_readings(const struct api *api, size_t point, int64_t from_ms, int64_t to_ms,
                          struct page_series *series) {
    struct store *store = pipeline_store(api->pipeline);
    struct reading readings[CHUNK];
    int64_t every_ms = api->fleet->points[point].description->every_ms, at_ms = from_ms;
    size_t count = CHUNK, next = 0, total = 0;
    while (count == CHUNK) {
        if (series_read(store, pipeline_key(api->pipeline, point), at_ms, to_ms, readings, CHUNK,
                        &count) != STORE_OK)
            return false;
        for (size_t i = 0; i < count; i++, total++) {
            series->samples[next++ % PAGE_SAMPLES_MAX] = (struct page_sample){
                readings[i].time_ms, readings[i].time_ms, readings[i].value, NAN, NAN};
            at_ms = readings[i].time_ms + 1;
        }
        if (total > (size_t)PAGE_SAMPLES_MAX)
            break; /* a sensor this busy is shown by its hours */
    }
    series->cut = total > PAGE_SAMPLES_MAX;
    series->count = series->cut ? 0 : total;
    series->gap_ms = every_ms * 5 / 2;
    series->is_reading = true;
    return true;
}

/* ---- sums into buckets ---- */

struct filler {
    struct page_series *series;
    int64_t bucket_ms;
    int64_t start_ms; /* of the open bucket; TIMESTAMP_NONE: none is open */
    int64_t from_ms, to_ms;
    double value_ms, covered_ms, lowest, highest;
};

static void finish_bucket(struct filler *filler) {
    struct page_series *series = filler->series;
    if (filler->start_ms != TIMESTAMP_NONE && filler->covered_ms > 0 &&
        series->count < PAGE_SAMPLES_MAX)
        series->samples[series->count++] = (struct page_sample){
            filler->from_ms, filler->to_ms, filler->value_ms / filler->covered_ms, filler->lowest,
            filler->highest};
    filler->start_ms = TIMESTAMP_NONE;
}

static double wider(double one, double other, bool up) {
    return up ? fmax(one, other) : fmin(one, other); /* fmin and fmax pass over NaN */
}

static void fill(struct filler *filler, int64_t from_ms, int64_t to_ms, double value_ms,
                 double covered_ms, double lowest, double highest) {
    int64_t start_ms = from_ms / filler->bucket_ms * filler->bucket_ms;
    if (covered_ms <= 0)
        return;
    if (filler->start_ms != start_ms) {
        finish_bucket(filler);
        *filler = (struct filler){.series = filler->series,
                                  .bucket_ms = filler->bucket_ms,
                                  .start_ms = start_ms,
                                  .from_ms = from_ms,
                                  .lowest = NAN,
                                  .highest = NAN};
    }
    filler->to_ms = to_ms;
    filler->value_ms += value_ms;
    filler->covered_ms += covered_ms;
    filler->lowest = wider(filler->lowest, lowest, false);
    filler->highest = wider(filler->highest, highest, true);
}

static bool fill_hours(const struct api *api, size_t point, int64_t from_ms, int64_t to_ms,
                       struct filler *filler) {
    struct store *store = pipeline_store(api->pipeline);
    struct series_hour hours[CHUNK];
    int64_t at_ms = from_ms;
    size_t count = CHUNK;
    while (count == CHUNK) {
        if (series_hours(store, pipeline_key(api->pipeline, point), at_ms, to_ms, hours, CHUNK,
                         &count) != STORE_OK)
            return false;
        for (size_t i = 0; i < count; i++) {
            const struct series_hour *hour = &hours[i];
            fill(filler, hour->hour_ms, hour->hour_ms + ROLLUP_HOUR_MS, hour->value_ms,
                 (double)hour->covered_ms, hour->lowest, hour->highest);
            at_ms = hour->hour_ms + 1;
        }
    }
    return true;
}

static bool has_hours(const struct api *api, size_t point, int64_t from_ms, int64_t to_ms) {
    struct series_hour hour;
    size_t count = 0;
    return to_ms > from_ms &&
           series_hours(pipeline_store(api->pipeline), pipeline_key(api->pipeline, point), from_ms,
                        to_ms, &hour, 1, &count) == STORE_OK &&
           count > 0;
}

/* Daily values where there are any; the hours behind them, and all hours where the days are not
   made yet. */
static bool fill_days(const struct api *api, size_t point, int64_t from_ms, int64_t to_ms,
                      struct filler *filler) {
    const struct time_zone *zone = api->fleet->systems[api->fleet->points[point].system].zone;
    int64_t first = time_zone_local_day(zone, from_ms), last = time_zone_local_day(zone, to_ms);
    size_t room = (size_t)(last - first + 1), count = 0;
    struct series_day *days = malloc(room * sizeof *days);
    bool good =
        days && series_days(pipeline_store(api->pipeline), pipeline_key(api->pipeline, point),
                            first, last + 1, days, room, &count) == STORE_OK;
    if (good && count > 0 && has_hours(api, point, from_ms, days[0].start_ms))
        count = 0;
    for (size_t i = 0; good && i < count; i++)
        fill(filler, days[i].start_ms, days[i].end_ms, days[i].mean * (double)days[i].covered_ms,
             (double)days[i].covered_ms, NAN, NAN);
    if (good)
        good = fill_hours(api, point, count ? days[count - 1].end_ms : from_ms, to_ms, filler);
    free(days);
    return good;
}

static int64_t bucket_for(int64_t span_ms) {
    static const int64_t hours[] = {1, 2, 3, 6, 12, 24, 48, 96, 168};
    for (size_t i = 0; i < sizeof hours / sizeof hours[0]; i++) {
        if (span_ms / (hours[i] * DURATION_HOUR_MS) <= 380)
            return hours[i] * DURATION_HOUR_MS;
    }
    return 168 * DURATION_HOUR_MS;
}

bool page_series_read(const struct api *api, size_t point, int64_t from_ms, int64_t to_ms,
                      struct page_series *series) {
    int64_t span_ms = to_ms - from_ms;
    series->count = 0;
    series->cut = series->is_reading = false;
    if (!pipeline_store(api->pipeline))
        return false;
    if (span_ms <= readings_span_ms) {
        if (!read_readings(api, point, from_ms, to_ms, series))
            return false;
        if (!series->cut)
            return true;
    }
    struct filler filler = {
        .series = series, .bucket_ms = bucket_for(span_ms), .start_ms = TIMESTAMP_NONE};
    series->is_reading = false;
    series->gap_ms = filler.bucket_ms / 2;
    bool good = span_ms > days_span_ms ? fill_days(api, point, from_ms, to_ms, &filler)
                                       : fill_hours(api, point, from_ms, to_ms, &filler);
    finish_bucket(&filler);
    return good;
}

size_t page_series_days(const struct api *api, size_t point, int days, struct page_sample *samples,
                        size_t capacity) {
    struct page_series *series = malloc(sizeof *series);
    size_t count = 0;
    if (series && pipeline_store(api->pipeline)) {
        struct filler filler = {
            .series = series, .bucket_ms = DURATION_DAY_MS, .start_ms = TIMESTAMP_NONE};
        series->count = 0;
        fill_days(api, point, api->now_ms - days * DURATION_DAY_MS, api->now_ms, &filler);
        finish_bucket(&filler);
        count = series->count < capacity ? series->count : capacity;
        memcpy(samples, series->samples, count * sizeof *samples);
    }
    free(series);
    return count;
}
