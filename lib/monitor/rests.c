#include "monitor/rests.h"

#include "measure/timestamp.h"

#include <math.h>

enum { MOVES_MEMORY = 64, WIDE_SHARE = 4, RESTS = 10, SAME_READINGS = 20 };
static const double few_steps = 2.5; /* at most two; a step in SI is rounded by the conversion */

static const int64_t usual_gap_ms = 12 * DURATION_HOUR_MS;

int64_t rests_longest_gap_ms(int64_t every_ms) {
    int64_t two_missed_ms = 5 * (every_ms / 2);
    return every_ms > usual_gap_ms ? two_missed_ms : usual_gap_ms;
}

static void learn(struct point_state *state, double move, int64_t rest_ms) {
    if (!(move > 0.0))
        return;
    if (state->least_move == 0.0 || move < state->least_move)
        state->least_move = move;
    bool wide = move > few_steps * state->least_move;
    if (!wide && rest_ms > state->longest_rest_ms)
        state->longest_rest_ms = rest_ms;
    state->moves++;
    state->wide_moves += wide;
    if (state->moves > MOVES_MEMORY) {
        state->moves /= 2;
        state->wide_moves /= 2;
    }
}

int64_t rests_since_ms(const struct point_state *state, const struct reading *reading,
                       int64_t every_ms) {
    bool same = state->newest_ms != TIMESTAMP_NONE && reading->value == state->newest_value &&
                reading->time_ms - state->newest_ms <= rests_longest_gap_ms(every_ms);
    return same ? state->unchanged_since_ms : reading->time_ms;
}

void rests_learn(struct point_state *state, const struct reading *reading) {
    if (state->newest_ms != TIMESTAMP_NONE)
        learn(state, fabs(reading->value - state->newest_value),
              state->newest_ms - state->unchanged_since_ms);
}

double rests_stuck_after_ms(const struct point_state *state, double setpoint_ms, int64_t every_ms) {
    bool coarse = state->moves > 0 && WIDE_SHARE * state->wide_moves <= state->moves;
    double rests_ms = coarse ? (double)RESTS * (double)state->longest_rest_ms : 0.0;
    double same_ms = every_ms > usual_gap_ms ? (double)SAME_READINGS * (double)every_ms : 0.0;
    return fmax(setpoint_ms, fmax(rests_ms, same_ms));
}

void rests_learn_hours(struct point_state *state, const struct rollup_hour *hours, size_t count,
                       int64_t every_ms) {
    const struct rollup_hour *last = NULL;
    int64_t since_ms = 0;
    for (size_t i = 0; i < count; i++) {
        const struct rollup_hour *hour = &hours[i];
        if (hour->count == 0)
            continue;
        bool follows = last && hour->hour_ms - last->hour_ms <= rests_longest_gap_ms(every_ms);
        if (!follows)
            since_ms = hour->hour_ms;
        else if (hour->lowest != last->lowest || hour->highest != last->highest) {
            double move = fmax(hour->highest, last->highest) - fmin(hour->lowest, last->lowest);
            learn(state, move, hour->hour_ms - since_ms);
            since_ms = hour->hour_ms;
        }
        if (hour->lowest != hour->highest)
            since_ms = hour->hour_ms + ROLLUP_HOUR_MS;
        last = hour;
    }
}
