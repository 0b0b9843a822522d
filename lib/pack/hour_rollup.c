#include "pack/hour_rollup.h"

#include "measure/timestamp.h"

#include <math.h>

int64_t hour_rollup_start(int64_t time_ms) {
    int64_t hour = time_ms / HOUR_ROLLUP_HOUR_MS;
    if (time_ms % HOUR_ROLLUP_HOUR_MS < 0)
        hour--;
    return hour * HOUR_ROLLUP_HOUR_MS;
}

bool hour_rollup_is_empty(const struct series_hour *hour) {
    return hour->count == 0 && hour->covered_ms == 0;
}

void hour_rollup_begin(struct hour_rollup *rollup, int64_t from_hour_ms, int64_t to_hour_ms,
                       bool (*take)(void *context, const struct series_hour *hour), void *context) {
    *rollup =
        (struct hour_rollup){from_hour_ms, to_hour_ms, {.hour_ms = TIMESTAMP_NONE}, take, context};
}

bool hour_rollup_end(struct hour_rollup *rollup) {
    const struct series_hour *hour = &rollup->hour;
    if (hour->hour_ms == TIMESTAMP_NONE || hour_rollup_is_empty(hour) ||
        hour->hour_ms < rollup->from_hour_ms || hour->hour_ms > rollup->to_hour_ms)
        return true;
    return rollup->take(rollup->context, hour);
}

static bool open_hour(struct hour_rollup *rollup, int64_t hour_ms) {
    if (rollup->hour.hour_ms == hour_ms)
        return true;
    bool goes_on = hour_rollup_end(rollup);
    rollup->hour = (struct series_hour){hour_ms, 0, 0.0, 0, (double)NAN, (double)NAN};
    return goes_on;
}

static void count_reading(struct series_hour *hour, double value) {
    hour->lowest = hour->count && hour->lowest < value ? hour->lowest : value;
    hour->highest = hour->count && hour->highest > value ? hour->highest : value;
    hour->count++;
}

bool hour_rollup_add(struct hour_rollup *rollup, const struct reading *reading, int64_t span_ms) {
    int64_t at = reading->time_ms - span_ms;
    if (at < rollup->from_hour_ms) /* what lies before is another run's */
        at = rollup->from_hour_ms;
    bool goes_on = true;
    while (goes_on && at < reading->time_ms) {
        int64_t hour_ms = hour_rollup_start(at), end = hour_ms + HOUR_ROLLUP_HOUR_MS;
        int64_t part = (reading->time_ms < end ? reading->time_ms : end) - at;
        goes_on = open_hour(rollup, hour_ms);
        rollup->hour.value_ms += reading->value * (double)part;
        rollup->hour.covered_ms += part;
        at += part;
    }
    if (goes_on)
        goes_on = open_hour(rollup, hour_rollup_start(reading->time_ms));
    if (goes_on)
        count_reading(&rollup->hour, reading->value);
    return goes_on;
}
