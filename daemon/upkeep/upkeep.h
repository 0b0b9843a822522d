/*
 * upkeep: the slow work, in small steps between turns: daily values and what is decided by them,
 * reminders, retention, checkpoints.
 */
#ifndef DAEMON_UPKEEP_UPKEEP_H
#define DAEMON_UPKEEP_UPKEEP_H

#include "pipeline/pipeline.h"

/**
 * Does one step of what is due, within the turn's transaction where it writes. `busy`: readings
 * wait, so only what cannot. Returns when to call again at the latest.
 */
int64_t upkeep_step(struct pipeline *pipeline, int64_t now_ms, bool busy);

#endif
