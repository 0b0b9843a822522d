#include "monitor/history.h"

#include "analysis/statistics.h"

#include <math.h>
#include <stdlib.h>

enum { MEDIAN_HOURS = 60 * 24 + 2 };

size_t history_hours(const struct history *history, size_t point, int64_t from_ms, int64_t to_ms,
                     struct average_bucket *hours, size_t capacity) {
    return from_ms < to_ms
               ? history->hours(history->context, point, from_ms, to_ms, hours, capacity)
               : 0;
}

size_t history_days(const struct history *history, size_t point, int64_t from_day, int64_t to_day,
                    struct history_day *days, size_t capacity) {
    return from_day < to_day
               ? history->days(history->context, point, from_day, to_day, days, capacity)
               : 0;
}

bool history_all_days(const struct history *history, size_t point, int64_t from_day, int64_t to_day,
                      struct history_day **days, size_t *count) {
    size_t capacity = from_day < to_day ? (size_t)(to_day - from_day) : 0;
    struct history_day *found = capacity ? malloc(capacity * sizeof *found) : NULL;
    *days = NULL;
    *count = 0;
    if (!capacity)
        return true;
    size_t n =
        found ? history_days(history, point, from_day, to_day, found, capacity) : HISTORY_FAILED;
    if (n == HISTORY_FAILED || n == 0) {
        free(found);
        return n == 0;
    }
    *days = found;
    *count = n;
    return true;
}

/* Means of the hours that begin in [from, to); allocated, NULL when there are none. */
static double *hourly_means(const struct history *history, size_t point, int64_t from_ms,
                            int64_t to_ms, size_t *count) {
    *count = 0;
    if (from_ms >= to_ms || to_ms - from_ms > (MEDIAN_HOURS - 2) * AVERAGE_HOUR_MS)
        return NULL;
    size_t capacity = (size_t)((to_ms - from_ms) / AVERAGE_HOUR_MS) + 2;
    struct average_bucket *hours = malloc(capacity * sizeof *hours);
    double *means = malloc(capacity * sizeof *means);
    size_t n = hours && means ? history_hours(history, point, from_ms, to_ms, hours, capacity) : 0;
    for (size_t i = 0; n != HISTORY_FAILED && i < n; i++) {
        bool enough = 2 * hours[i].covered_ms >= AVERAGE_HOUR_MS || hours[i].end_ms > to_ms;
        if (hours[i].start_ms >= from_ms && hours[i].covered_ms > 0 && enough)
            means[(*count)++] = hours[i].value_ms / (double)hours[i].covered_ms;
    }
    free(hours);
    if (*count > 0)
        return means;
    free(means);
    return NULL;
}

double history_median(const struct history *history, size_t point, int64_t from_ms, int64_t to_ms,
                      size_t *count) {
    double median = NAN;
    double *means = hourly_means(history, point, from_ms, to_ms, count);
    if (means && statistics_median_in_place(means, *count, &median) != STATISTICS_OK)
        median = NAN;
    free(means);
    return median;
}

double history_lowest(const struct history *history, size_t point, int64_t from_ms, int64_t to_ms) {
    size_t count = 0;
    double lowest = NAN;
    double *means = hourly_means(history, point, from_ms, to_ms, &count);
    for (size_t i = 0; i < count; i++)
        lowest = fmin(lowest, means[i]);
    free(means);
    return lowest;
}
