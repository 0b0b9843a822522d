/*
 * daily_upkeep: which finished local days of which systems are still to be judged (monitor/daily),
 * and judging them in small steps between turns.
 *
 * A day is due when its system has a reading past its end and every other point has one too or has
 * been silent too long. Days of the past (a backlog, an import) wait until the system has been
 * quiet for some seconds, so that its points come in completely, ten minutes at most; while history
 * is imported, of whatever system, until no more has come for some seconds. How far a
 * system has been judged is kept in a note, written in the same transaction as the findings.
 */
#ifndef DAEMON_UPKEEP_DAILY_UPKEEP_H
#define DAEMON_UPKEEP_DAILY_UPKEEP_H

#include "monitor/daily.h"

#include <stdbool.h>
#include <stdint.h>

struct daily_upkeep;
struct pipeline;

struct daily_upkeep *daily_upkeep_create(const struct fleet *fleet); /* NULL: out of memory */
/** Takes over, for new settings, how far the days of the former ones are judged. Cannot fail. */
void daily_upkeep_take_over(struct daily_upkeep *upkeep, struct daily_upkeep *former,
                            const struct fleet_change *change);
void daily_upkeep_destroy(struct daily_upkeep *upkeep); /* NULL does nothing */

/**
 * Judges due days for about 20 ms at most, within the turn's transaction. True when more is due.
 * A failure of the store goes to pipeline_note.
 */
bool daily_upkeep_step(struct daily_upkeep *upkeep, struct pipeline *pipeline, int64_t now_ms);

/** Readings of the past came, as many as somebody sends at once. */
void daily_upkeep_history_came(struct daily_upkeep *upkeep, int64_t now_ms);
/** Have some come in the last seconds? Then more may. */
bool daily_upkeep_history_comes(const struct daily_upkeep *upkeep, int64_t now_ms);

/** True when a finished day waits for the rest of its readings: ask again in a second or two. */
bool daily_upkeep_waits(const struct daily_upkeep *upkeep);

/** What the last judged day said of the time ahead; empty where none was judged yet. */
const struct daily_outlook *daily_upkeep_outlook(const struct daily_upkeep *upkeep, size_t system);

/** Last local day that was judged; false when none was yet. */
bool daily_upkeep_judged(const struct daily_upkeep *upkeep, size_t system, int64_t *local_day);

#endif
