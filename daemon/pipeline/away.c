#include "pipeline/away.h"

#include "measure/duration.h"

#include <stdlib.h>
#include <string.h>

static const int64_t watch_ms = 30 * DURATION_MINUTE_MS;

bool away_open(struct away *away, size_t points) {
    *away = (struct away){.points = points};
    away->spoke = calloc(points + 1, sizeof *away->spoke);
    return away->spoke != NULL;
}

void away_close(struct away *away) {
    free(away->spoke);
    away->spoke = NULL;
}

void away_take_over(struct away *away, const struct away *former,
                    const struct fleet_change *change) {
    const struct away fresh = *away;
    *away = *former;
    away->spoke = fresh.spoke;
    away->points = fresh.points;
    away->spoke_count = 0;
    for (size_t i = 0; i < fresh.points; i++) {
        size_t was = change->points_were[i];
        away->spoke[i] = was != FLEET_NONE && former->spoke[was];
        away->spoke_count += away->spoke[i];
    }
}

void away_begin(struct away *away, int64_t from_ms, int64_t to_ms) {
    memset(away->spoke, 0, away->points * sizeof *away->spoke);
    away->watching = true;
    away->from_ms = from_ms;
    away->to_ms = to_ms;
    away->spoke_count = away->hole_count = 0;
    away->hole_from_ms = INT64_MAX;
    away->hole_to_ms = INT64_MIN;
}

/* The hole may be the first step of a point, or a later one: a short queue keeps its oldest. */
void away_reading(struct away *away, const struct monitor *monitor, size_t point, int64_t time_ms) {
    const struct point_state *state = monitor_point(monitor, point);
    if (!away->watching || state->newest_ms == TIMESTAMP_NONE ||
        monitor_fleet(monitor)->points[point].description->by_hand)
        return;
    if (!away->spoke[point]) {
        away->spoke[point] = true;
        away->spoke_count++;
    }
    int64_t every_ms = monitor_fleet(monitor)->points[point].description->every_ms;
    int64_t longest_ms = state->silent_after_ms;
    bool spoke_until_then = state->newest_ms >= away->from_ms - 2 * every_ms;
    bool over_then = state->newest_ms < away->to_ms && time_ms > away->from_ms;
    if (!spoke_until_then || !over_then || time_ms - state->newest_ms <= longest_ms)
        return;
    away->hole_count++;
    if (state->newest_ms < away->hole_from_ms)
        away->hole_from_ms = state->newest_ms;
    if (time_ms > away->hole_to_ms)
        away->hole_to_ms = time_ms;
}

bool away_judge(struct away *away, int64_t now_ms) {
    if (!away->watching)
        return false;
    bool many = away->hole_count > 0 && 2 * away->hole_count >= away->spoke_count;
    bool early = many && away->spoke_count >= 3;
    if (!early && now_ms - away->to_ms < watch_ms)
        return false;
    away->watching = false;
    return many;
}
