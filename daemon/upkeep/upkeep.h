/*
 * upkeep: the slow work, in small steps between turns: daily values and what is decided by them,
 * reminders, retention, checkpoints.
 */
#ifndef DAEMON_UPKEEP_UPKEEP_H
#define DAEMON_UPKEEP_UPKEEP_H

#include "pipeline/pipeline.h"

struct upkeep;

/** Where the slow work goes on, for one fleet and one opening of its store. NULL: out of memory. */
struct upkeep *upkeep_open(const struct fleet *fleet);
void upkeep_close(struct upkeep *upkeep); /* NULL does nothing */
/** Takes over, for new settings, how far the former one has come. Cannot fail. */
void upkeep_take_over(struct upkeep *upkeep, struct upkeep *former,
                      const struct fleet_change *change);
/** Which local days are still to be judged. */
struct daily_upkeep *upkeep_daily(struct upkeep *upkeep);

/** An import brought readings of the past: a step is due now when it begins, then soon again; days
   of the past are judged when no more has come for some seconds. */
void upkeep_history_came(struct upkeep *upkeep, int64_t now_ms);
bool upkeep_asked(const struct upkeep *upkeep);
/**
 * Does one step of what is due, within the turn's transaction where it writes. `busy`: readings
 * wait, so only what cannot. Returns when to call again at the latest.
 */
int64_t upkeep_step(struct upkeep *upkeep, struct pipeline *pipeline, int64_t now_ms, bool busy);

#endif
