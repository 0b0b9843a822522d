#include "monitor/point_state.h"

#include "measure/array.h"
#include "measure/timestamp.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const struct point_baseline *point_state_baseline(const struct point_state *state,
                                                  int64_t time_ms) {
    for (size_t i = state->baseline_count; i > 0; i--) {
        if (state->baselines[i - 1].from_ms <= time_ms)
            return &state->baselines[i - 1];
    }
    return NULL;
}

static size_t baseline_place(const struct point_state *state, int64_t from_ms) {
    size_t place = 0;
    while (place < state->baseline_count && state->baselines[place].from_ms < from_ms)
        place++;
    return place;
}

bool point_state_add_baseline(struct point_state *state, int64_t from_ms, double value,
                              const char *by, bool learned) {
    char *name = strdup(by);
    size_t place = baseline_place(state, from_ms);
    if (!name)
        return false;
    bool same = place < state->baseline_count && state->baselines[place].from_ms == from_ms;
    if (same) {
        free(state->baselines[place].by);
    } else {
        struct point_baseline *grown =
            array_room(state->baselines, state->baseline_count, sizeof *grown);
        if (!grown) {
            free(name);
            return false;
        }
        state->baselines = grown;
        memmove(&grown[place + 1], &grown[place], (state->baseline_count - place) * sizeof *grown);
        state->baseline_count++;
    }
    state->baselines[place] = (struct point_baseline){from_ms, value, name, learned};
    return true;
}

void point_state_forget(struct point_state *state) {
    const struct point_state former = *state;
    *state = (struct point_state){
        .newest_ms = TIMESTAMP_NONE,
        .newest_value = NAN,
        .lag_ms = TIMESTAMP_NONE,
        .plain_came_ms = former.plain_came_ms,
        .plain_ms = former.plain_ms,
        .heard_ms = former.heard_ms,
        .came_ms = former.came_ms,
        .silent_after_ms = former.silent_after_ms,
        .sensor_silent_after_ms = former.sensor_silent_after_ms,
        .draft_pa = former.draft_pa,
        .draft_ms = former.draft_ms,
        .hour = {.hour_ms = INT64_MIN},
        .window = former.window,
        .baselines = former.baselines,
        .baseline_count = former.baseline_count,
        .trackers = former.trackers,
    };
    if (state->window)
        rollup_window_clear(state->window);
}

void point_state_clear(struct point_state *state) {
    for (size_t i = 0; i < state->baseline_count; i++)
        free(state->baselines[i].by);
    free(state->baselines);
    free(state->window);
    state->baselines = NULL;
    state->baseline_count = 0;
    state->window = NULL;
}
