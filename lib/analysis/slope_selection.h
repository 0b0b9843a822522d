/*
 * slope_selection: the slopes of given ranks among all pair slopes of n points, without computing
 * them all. How, and whose method it is, is told in theil_sen.h. Part of theil_sen, pure.
 */
#ifndef ANALYSIS_SLOPE_SELECTION_H
#define ANALYSIS_SLOPE_SELECTION_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define SLOPE_SELECTION_MOST_RANKS 8

struct slope_point {
    double x, y;
};

struct slope_keyed {
    double key;
    uint32_t index;
};

struct slope_selection {
    size_t n;
    struct slope_point *points; /* by x, equal x by y */
    struct slope_keyed *order, *spare;
    double *slopes; /* room for `room` listed or drawn slopes */
    size_t room, draw, listed;
    uint64_t pairs;            /* with distinct x */
    double center_x, center_y; /* taken off in y - s x, so that it loses few digits */
    double smallest_step, range_x, range_y;
    uint64_t random;
    /* What the last answer found: `slopes` lists ranks answered_from..answered_to - 1, or all of
     * these ranks are answered_slope; so the rank next to it costs nothing. */
    bool answered, answered_by_one;
    uint64_t answered_from, answered_to;
    double answered_slope;
};

/**
 * Takes copies of n >= 2 points and finds pairs, smallest step and ranges. False when out of
 * memory: then nothing is left to free.
 */
bool slope_selection_start(struct slope_selection *s, const double *x, const double *y, size_t n);
void slope_selection_free(struct slope_selection *s);

/** Slopes of `count` rising ranks below s->pairs, 0 the lowest; at most SLOPE_SELECTION_MOST_RANKS.
 */
void slope_selection_ranks(struct slope_selection *s, const uint64_t *ranks, size_t count,
                           double *slopes);

#endif
