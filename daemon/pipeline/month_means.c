#include "pipeline/month_means.h"

#include <math.h>
#include <stdlib.h>

enum { HOURS = MONTH_MEANS_DAYS * 24 + 1 };

struct sum {
    double value_ms;
    int64_t covered_ms;
};

/* Of the complete hours with begin <= hour < end. */
struct month {
    int64_t begin_ms, end_ms;
    struct sum all, first; /* first: the hour at begin, of which a part counts */
};

struct month_means {
    size_t point_count;
    struct month **points; /* NULL: not known */
    struct series_hour hours[HOURS];
};

struct month_means *month_means_open(size_t point_count) {
    struct month_means *means = calloc(1, sizeof *means);
    if (means)
        means->points = calloc(point_count + 1, sizeof(struct month *));
    if (means && !means->points) {
        free(means);
        return NULL;
    }
    if (means)
        means->point_count = point_count;
    return means;
}

static void forget(struct month_means *means, size_t point) {
    free(means->points[point]);
    means->points[point] = NULL;
}

void month_means_close(struct month_means *means) {
    if (!means)
        return;
    for (size_t i = 0; i < means->point_count; i++)
        forget(means, i);
    free(means->points);
    free(means);
}

void month_means_changed(struct month_means *means, size_t point, int64_t hour_ms) {
    if (means->points[point] && hour_ms < means->points[point]->end_ms)
        forget(means, point);
}

void month_means_take_over(struct month_means *means, struct month_means *former,
                           const struct fleet_change *change) {
    for (size_t i = 0; i < means->point_count; i++) {
        size_t was = change->points_were[i];
        if (was == FLEET_NONE || !change->unchanged[i])
            continue;
        means->points[i] = former->points[was];
        former->points[was] = NULL;
    }
}

/* ---- bringing a sum up to date ---- */

static void add(struct sum *sum, double part, const struct series_hour *hour) {
    sum->value_ms += part * hour->value_ms;
    sum->covered_ms += part < 0 ? -hour->covered_ms : hour->covered_ms;
}

static enum store_status add_hours(struct month_means *means, struct store *store, int64_t key,
                                   struct month *month, int64_t end_ms) {
    size_t count = 0;
    if (end_ms <= month->end_ms)
        return STORE_OK;
    enum store_status status =
        series_hours(store, key, month->end_ms, end_ms, means->hours, HOURS, &count);
    for (size_t i = 0; i < count; i++) {
        add(&month->all, 1.0, &means->hours[i]);
        if (means->hours[i].hour_ms == month->begin_ms)
            add(&month->first, 1.0, &means->hours[i]);
    }
    month->end_ms = end_ms;
    return status;
}

static enum store_status take_away_hours(struct month_means *means, struct store *store,
                                         int64_t key, struct month *month, int64_t begin_ms) {
    size_t count = 0;
    if (begin_ms == month->begin_ms)
        return STORE_OK;
    enum store_status status = series_hours(store, key, month->begin_ms, begin_ms + ROLLUP_HOUR_MS,
                                            means->hours, HOURS, &count);
    month->first = (struct sum){0};
    for (size_t i = 0; i < count; i++)
        if (means->hours[i].hour_ms < begin_ms)
            add(&month->all, -1.0, &means->hours[i]);
        else
            add(&month->first, 1.0, &means->hours[i]);
    month->begin_ms = begin_ms;
    return status;
}

/* NULL when out of memory. */
static struct month *month_of(struct month_means *means, size_t point, int64_t begin_ms,
                              int64_t end_ms) {
    struct month *month = means->points[point];
    if (month && month->begin_ms <= begin_ms && begin_ms < month->end_ms && month->end_ms <= end_ms)
        return month;
    if (!month)
        month = means->points[point] = malloc(sizeof *month);
    if (month)
        *month = (struct month){.begin_ms = begin_ms, .end_ms = begin_ms};
    return month;
}

enum store_status month_means_read(struct month_means *means, struct store *store, size_t point,
                                   int64_t key, const struct rollup_hour *running, int64_t now_ms,
                                   struct month_mean *mean) {
    const int64_t window_ms = MONTH_MEANS_DAYS * 24 * ROLLUP_HOUR_MS;
    int64_t from_ms = now_ms - window_ms, begin_ms = rollup_hour_start(from_ms);
    bool runs = begin_ms < running->hour_ms && running->hour_ms <= now_ms;
    int64_t end_ms = runs ? running->hour_ms : rollup_hour_start(now_ms) + ROLLUP_HOUR_MS;
    *mean = (struct month_mean){NAN, 0.0};
    struct month *month = month_of(means, point, begin_ms, end_ms);
    if (!month)
        return STORE_OUT_OF_MEMORY;
    enum store_status status = add_hours(means, store, key, month, end_ms);
    THEN(status, take_away_hours(means, store, key, month, begin_ms));
    if (status != STORE_OK) {
        forget(means, point);
        return status;
    }
    double left_out = (double)(from_ms - begin_ms) / ROLLUP_HOUR_MS;
    double value_ms = month->all.value_ms - left_out * month->first.value_ms;
    double covered_ms = (double)month->all.covered_ms - left_out * (double)month->first.covered_ms;
    if (runs) {
        value_ms += running->value_ms;
        covered_ms += (double)running->covered_ms;
    }
    if (covered_ms > 0)
        *mean = (struct month_mean){value_ms / covered_ms, covered_ms / (double)window_ms};
    return STORE_OK;
}
