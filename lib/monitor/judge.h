/*
 * judge: one point, one reading, which conditions begin and end. The same code judges live
 * readings, a backlog, an import, a replay and the second look after a late reading; they differ
 * only in who is told (`emit`). Event time throughout; pure.
 */
#ifndef MONITOR_JUDGE_H
#define MONITOR_JUDGE_H

#include "monitor/fleet.h"
#include "monitor/point_state.h"

struct judge_finding {
    size_t rule_index; /* of the point */
    const struct condition_rule *rule;
    enum tracker_event event; /* RAISE or RETURN */
    int64_t since_ms;         /* when the condition began */
    int64_t at_ms;            /* raised or returned */
    double value, setpoint;   /* SI, NaN: none */
    double baseline;          /* SI, NaN: none */
};

struct judge {
    const struct fleet *fleet;
    void *context;
    void (*emit)(void *context, size_t point, const struct judge_finding *finding);
    /** A tracker has changed its phase (also on an event). May be NULL. */
    void (*moved)(void *context, size_t point, size_t rule_index);
    /** An hour of the point is complete. */
    void (*hour)(void *context, size_t point, const struct rollup_hour *hour);
};

/** A reading newer than every one before of its point. */
void judge_reading(const struct judge *judge, size_t point, struct point_state *state,
                   const struct reading *reading);

/**
 * Lets delays of a point end by the clock. A delay ends only on evidence: not when the newest
 * reading is older at that instant than the point may be silent.
 */
void judge_expire(const struct judge *judge, size_t point, struct point_state *state,
                  int64_t time_ms);

/** The point has been silent too long at `time_ms`: raises sensor-silent (at its own instant). */
void judge_silent(const struct judge *judge, size_t point, struct point_state *state);

/** A reading by hand is due at `due_ms`, or was taken: raises or returns reading-due. */
void judge_due(const struct judge *judge, size_t point, struct point_state *state, int64_t due_ms,
               int64_t now_ms);

/** A message of the point was refused as impossible, or for its time. */
void judge_event(const struct judge *judge, size_t point, struct point_state *state,
                 enum condition condition, bool holds, int64_t time_ms);

/**
 * A value that cannot be was refused (SI; NaN: not known). Where it would be what the point read
 * before in another unit, the finding has both.
 */
void judge_impossible(const struct judge *judge, size_t point, struct point_state *state,
                      double value, int64_t time_ms);

/** A finding that analysis makes once a day (suction-fading, radon-above-action, radon-rising). */
void judge_daily(const struct judge *judge, size_t point, struct point_state *state,
                 enum condition condition, bool holds, bool cleared, double value, double setpoint,
                 int64_t time_ms);

/** Mean over the 24 h that end at an instant (not before the newest reading); false: too few
   readings to judge by. */
bool judge_mean_24h(const struct point_state *state, int64_t time_ms, double *mean);

/** Earliest instant at which a delay of the point ends; INT64_MAX when none runs. */
int64_t judge_deadline_ms(const struct judge *judge, size_t point, const struct point_state *state);

/** Setpoint of a rule in SI for a point with that baseline (NaN: none), where the riser would pull
    `draft_pa` without a fan (NaN: not known); NaN when not judgeable. */
double judge_setpoint(const struct fleet *fleet, const struct condition_rule *rule, double baseline,
                      double draft_pa);

#endif
