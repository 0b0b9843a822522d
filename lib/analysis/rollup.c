#include "analysis/rollup.h"

#include <math.h>

int64_t rollup_hour_start(int64_t time_ms) {
    int64_t rest = time_ms % ROLLUP_HOUR_MS;
    return time_ms - (rest < 0 ? rest + ROLLUP_HOUR_MS : rest);
}

struct rollup_hour rollup_hour_empty(int64_t hour_ms) {
    return (struct rollup_hour){.hour_ms = hour_ms, .lowest = NAN, .highest = NAN};
}

/* A reading at exactly 10:00 stands for time in the hour before, but counts in the hour from 10:00.
 */
static void cover(struct rollup_hour *hour, double value, int64_t from_ms, int64_t to_ms) {
    hour->value_ms += value * (double)(to_ms - from_ms);
    hour->covered_ms += to_ms - from_ms;
}

void rollup_add(struct rollup_hour *hour, const struct reading *reading, int64_t span_ms,
                void (*closed)(void *context, const struct rollup_hour *hour), void *context) {
    int64_t from_ms = reading->time_ms - span_ms;
    int64_t last_hour_ms = rollup_hour_start(reading->time_ms);
    int64_t first_hour_ms = rollup_hour_start(from_ms);
    if (hour->hour_ms == INT64_MIN)
        *hour = rollup_hour_empty(first_hour_ms);
    while (hour->hour_ms < last_hour_ms) {
        int64_t end_ms = hour->hour_ms + ROLLUP_HOUR_MS;
        if (from_ms < end_ms) {
            cover(hour, reading->value, from_ms, end_ms);
            from_ms = end_ms;
        }
        closed(context, hour);
        int64_t next_ms = rollup_hour_start(from_ms);
        *hour = rollup_hour_empty(next_ms > end_ms ? next_ms : end_ms);
    }
    cover(hour, reading->value, from_ms, reading->time_ms);
    hour->count++;
    hour->lowest = fmin(hour->lowest, reading->value);
    hour->highest = fmax(hour->highest, reading->value);
}

void rollup_window_clear(struct rollup_window *window) {
    *window = (struct rollup_window){.newest_hour_ms = INT64_MIN};
}

static size_t slot_of(int64_t hour_ms) {
    int64_t slot = hour_ms / ROLLUP_HOUR_MS % ROLLUP_WINDOW_HOURS;
    return (size_t)(slot < 0 ? slot + ROLLUP_WINDOW_HOURS : slot);
}

/* Forgets the hours between the newest one and a newer one, so that old sums never reappear. */
static void advance_to(struct rollup_window *window, int64_t hour_ms) {
    if (hour_ms <= window->newest_hour_ms)
        return;
    if (window->newest_hour_ms == INT64_MIN ||
        hour_ms - window->newest_hour_ms >= ROLLUP_WINDOW_HOURS * ROLLUP_HOUR_MS) {
        rollup_window_clear(window);
    } else {
        for (int64_t h = window->newest_hour_ms + ROLLUP_HOUR_MS; h <= hour_ms;
             h += ROLLUP_HOUR_MS) {
            window->value_ms[slot_of(h)] = 0.0;
            window->covered_ms[slot_of(h)] = 0;
        }
    }
    window->newest_hour_ms = hour_ms;
}

static bool in_window(const struct rollup_window *window, int64_t hour_ms) {
    return hour_ms > window->newest_hour_ms - ROLLUP_WINDOW_HOURS * ROLLUP_HOUR_MS &&
           hour_ms <= window->newest_hour_ms;
}

void rollup_window_add(struct rollup_window *window, const struct reading *reading,
                       int64_t span_ms) {
    int64_t from_ms = reading->time_ms - span_ms;
    advance_to(window, rollup_hour_start(reading->time_ms));
    int64_t oldest_ms = window->newest_hour_ms - (ROLLUP_WINDOW_HOURS - 1) * ROLLUP_HOUR_MS;
    if (from_ms < oldest_ms)
        from_ms = oldest_ms;
    while (from_ms < reading->time_ms) {
        int64_t hour_ms = rollup_hour_start(from_ms), end_ms = hour_ms + ROLLUP_HOUR_MS;
        int64_t to_ms = end_ms < reading->time_ms ? end_ms : reading->time_ms;
        window->value_ms[slot_of(hour_ms)] += reading->value * (double)(to_ms - from_ms);
        window->covered_ms[slot_of(hour_ms)] += to_ms - from_ms;
        from_ms = to_ms;
    }
}

void rollup_window_add_hour(struct rollup_window *window, const struct rollup_hour *hour) {
    advance_to(window, hour->hour_ms);
    if (!in_window(window, hour->hour_ms))
        return;
    window->value_ms[slot_of(hour->hour_ms)] += hour->value_ms;
    window->covered_ms[slot_of(hour->hour_ms)] += hour->covered_ms;
}

bool rollup_window_mean(const struct rollup_window *window, int64_t time_ms, double *mean,
                        double *coverage) {
    const int64_t length_ms = 24 * ROLLUP_HOUR_MS;
    int64_t from_ms = time_ms - length_ms;
    double value_ms = 0.0, covered_ms = 0.0;
    if (window->newest_hour_ms == INT64_MIN)
        return false;
    int64_t oldest_ms = window->newest_hour_ms - (ROLLUP_WINDOW_HOURS - 1) * ROLLUP_HOUR_MS;
    int64_t first_ms =
        rollup_hour_start(from_ms) > oldest_ms ? rollup_hour_start(from_ms) : oldest_ms;
    size_t slot = slot_of(first_ms); /* a division an hour would be half the time of judging */
    for (int64_t h = first_ms; h <= window->newest_hour_ms; h += ROLLUP_HOUR_MS) {
        double part = h < from_ms ? (double)(h + ROLLUP_HOUR_MS - from_ms) / ROLLUP_HOUR_MS : 1.0;
        value_ms += part * window->value_ms[slot];
        covered_ms += part * (double)window->covered_ms[slot];
        slot = slot + 1 < ROLLUP_WINDOW_HOURS ? slot + 1 : 0;
    }
    if (covered_ms <= 0.0)
        return false;
    *mean = value_ms / covered_ms;
    *coverage = covered_ms / (double)length_ms;
    return true;
}
