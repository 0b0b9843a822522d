/*
 * rests: how long a point's value may honestly stand still. A display in coarse steps (0.01 inH2O,
 * 1 W, 1 degF in a room that a thermostat holds) on a steady quantity shows the same number for
 * days: one that seldom moves by more than two steps has its noise below the step, and then only a
 * rest far longer than any before it is odd. Where a quarter of the moves are wider, or none was
 * ever seen, noise would have shown: the plain limit holds. What reports once a day shows the same
 * number twice or thrice by chance: there it takes twenty of them. Pure.
 */
#ifndef MONITOR_RESTS_H
#define MONITOR_RESTS_H

#include "measure/duration.h"
#include "monitor/point_state.h"

/** After a longer silence of a sensor that reports every so often a rest begins anew. */
int64_t rests_longest_gap_ms(int64_t every_ms);

/** Takes a reading before it becomes the newest of the point. */
void rests_learn(struct point_state *state, const struct reading *reading);

/** The setpoint, or ten times the longest honest rest where that is longer, or twenty readings of a
    sensor that reports once a day or so. */
double rests_stuck_after_ms(const struct point_state *state, double setpoint_ms, int64_t every_ms);

/**
 * Since when the value stands still: a long silence in between says nothing of what the value did
 * meanwhile, so the rest begins anew after it.
 */
int64_t rests_since_ms(const struct point_state *state, const struct reading *reading,
                       int64_t every_ms);

/** After a start: the same from hours, in order, as the store kept them. */
void rests_learn_hours(struct point_state *state, const struct rollup_hour *hours, size_t count,
                       int64_t every_ms);

#endif
