#include "pipeline/busy_points.h"

#include "measure/duration.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TIMES_EXPECTED = 10, LEAST_READINGS = 300 };

static int32_t hour_of(int64_t time_ms) {
    return (int32_t)(time_ms / DURATION_HOUR_MS);
}

bool busy_points_open(struct busy_points *busy, size_t points) {
    *busy = (struct busy_points){.points = points};
    busy->counts = calloc(points + 1, sizeof *busy->counts);
    return busy->counts != NULL;
}

void busy_points_close(struct busy_points *busy) {
    free(busy->counts);
    busy->counts = NULL;
}

void busy_points_take_over(struct busy_points *busy, const struct busy_points *former,
                           const struct fleet_change *change) {
    for (size_t i = 0; i < busy->points; i++)
        if (change->points_were[i] != FLEET_NONE)
            busy->counts[i] = former->counts[change->points_were[i]];
}

void busy_points_forget(struct busy_points *busy) {
    memset(busy->counts, 0, busy->points * sizeof *busy->counts);
}

void busy_points_count(struct busy_points *busy, size_t point, int64_t time_ms, int64_t now_ms) {
    struct busy_count *count = &busy->counts[point];
    int32_t hour = hour_of(time_ms);
    if (hour > count->said_hour)
        *count = (struct busy_count){.said_hour = hour,
                                     .last = hour == count->said_hour + 1 ? count->count : 0};
    count->count += hour == count->said_hour && count->count < UINT32_MAX;
    count->heard_hour = hour_of(now_ms);
}

bool busy_points_find(const struct busy_points *busy, const struct fleet *fleet, size_t point,
                      int64_t now_ms, struct busy_point *found) {
    const struct busy_count *count = &busy->counts[point];
    uint32_t readings = count->count > count->last ? count->count : count->last;
    if (readings < LEAST_READINGS || count->heard_hour < hour_of(now_ms) - 1)
        return false;
    int64_t every_ms = fleet->points[point].description->every_ms;
    *found = (struct busy_point){point, readings, (double)DURATION_HOUR_MS / (double)every_ms};
    return readings > TIMES_EXPECTED * found->expected;
}

size_t busy_points_worst(const struct busy_points *busy, const struct fleet *fleet, int64_t now_ms,
                         struct busy_point *worst, size_t most) {
    struct busy_point found;
    size_t count = 0;
    for (size_t point = 0; point < busy->points; point++) {
        if (!busy_points_find(busy, fleet, point, now_ms, &found))
            continue;
        size_t at = count < most ? count++ : most;
        for (; at > 0 && worst[at - 1].readings < found.readings; at--)
            if (at < most)
                worst[at] = worst[at - 1];
        if (at < most)
            worst[at] = found;
    }
    return count;
}

char *busy_points_text(char *text, size_t size, const struct fleet *fleet,
                       const struct busy_point *busy) {
    char every[32];
    duration_format(every, sizeof every, fleet->points[busy->point].description->every_ms);
    snprintf(text, size,
             "sends too often: %" PRIu32 " readings of one hour came, about %.3g are expected (one "
             "every %s); correct the sensor's interval, or `every` of the point",
             busy->readings, busy->expected, every);
    return text;
}
