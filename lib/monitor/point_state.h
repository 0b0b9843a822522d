/*
 * point_state: what the monitor remembers of one point: its newest reading, the running hour, the
 * last 24 h, its baselines and its trackers. Data only; judge.h works on it.
 */
#ifndef MONITOR_POINT_STATE_H
#define MONITOR_POINT_STATE_H

#include "alarm/tracker.h"
#include "analysis/rollup.h"
#include "measure/reading.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/** A value to compare with, from an instant on. */
struct point_baseline {
    int64_t from_ms;
    double value; /* SI */
    char *by;     /* owned */
    bool learned; /* from a period of readings, not measured at commissioning */
};

struct point_state {
    int64_t newest_ms; /* event time of the newest reading, TIMESTAMP_NONE: none yet */
    double newest_value;
    int64_t silent_after_ms;        /* how long its newest reading says something */
    int64_t sensor_silent_after_ms; /* how long it may be without a reading */
    int64_t heard_ms;      /* when a reading last arrived, or we began to listen, by our clock */
    int64_t came_ms;       /* when a reading last arrived */
    int64_t lag_ms;        /* our clock less the newest reading's time when it came, by our
                              clock as it goes now; TIMESTAMP_NONE: not known */
    int64_t jump_ms;       /* by which our clock was moved since */
    int64_t plain_came_ms; /* when the last reading without a time of its own came, late or not */
    int64_t plain_ms;      /* the time that it was given */
    int64_t unchanged_since_ms; /* since when newest_value has not moved */
    double least_move;          /* smallest change seen: the step of the display; 0: none yet */
    int moves, wide_moves;      /* changes lately, and those of more than one such step */
    int64_t longest_rest_ms;    /* longest time without a change that one step ended */
    double level;               /* slow mean of credible values, for steps of a unit mix-up */
    double level_noise;         /* mean distance of these values from it */
    double former_level;        /* before it last changed by a step; 0: none */
    int level_count;
    int suspect_count; /* consecutive readings that match a unit mix-up */
    double draft_pa;   /* what its riser pulls without a fan (riser_draft.h); NaN: not known */
    int64_t draft_ms;  /* time of that weather */
    struct rollup_hour hour;          /* running hour */
    bool hour_changed;                /* since it was last handed out */
    struct rollup_window *window;     /* only where a rule needs the 24 h mean */
    struct point_baseline *baselines; /* by from_ms */
    size_t baseline_count;
    struct tracker *trackers; /* one per rule of the point, in their order */
};

/** Baseline in force at an instant, NULL when there is none. */
const struct point_baseline *point_state_baseline(const struct point_state *state, int64_t time_ms);
/** Adds one, kept sorted; a record of the same instant replaces. False when out of memory. */
bool point_state_add_baseline(struct point_state *state, int64_t from_ms, double value,
                              const char *by, bool learned);
/** Forgets all readings; baselines, trackers and when it was last heard stay. */
void point_state_forget(struct point_state *state);
/** Frees what the state owns (not the trackers, which are the monitor's). */
void point_state_clear(struct point_state *state);

#endif
