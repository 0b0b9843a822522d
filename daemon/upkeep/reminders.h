/*
 * reminders: telling people again, by the clock: what nobody acknowledged, shelvings and times out
 * of service that end, digests, what chattered and is calm. Also keeps the queue of a contact that
 * cannot be reached within bounds.
 *
 * What was told when is read from the outbox, so a restart repeats and forgets nothing.
 */
#ifndef DAEMON_UPKEEP_REMINDERS_H
#define DAEMON_UPKEEP_REMINDERS_H

#include <stddef.h>
#include <stdint.h>

struct pipeline;

/** Where the work goes on; starts as {0}. */
struct reminders {
    int64_t next_ms;
    size_t at; /* alarm to go on with */
};

/**
 * Does what is due, some of it a step, within the turn's transaction. Returns when to call again at
 * the latest; a failure of the store goes to pipeline_note.
 */
int64_t reminders_step(struct reminders *reminders, struct pipeline *pipeline, int64_t now_ms);

#endif
