/*
 * reload: new settings for a daemon at work, after SIGHUP or when a request has added to them.
 *
 *     asked ─► files read and checked in a thread ─► what is new read from the store, some a turn
 *           ─► one turn: what is no longer watched ends; the memory goes over (pipeline_take_over)
 *
 * Until the last step the daemon works with the old settings, and so it goes on when the new ones
 * are wrong. A further SIGHUP meanwhile reads everything once more afterwards. While the store
 * fails a reload waits.
 */
#ifndef DAEMON_SERVICE_SERVICE_RELOAD_H
#define DAEMON_SERVICE_SERVICE_RELOAD_H

#include "monitor/fleet_change.h"

#include <stdbool.h>

struct service;

/** Where it stands; starts as {0}. */
struct reload {
    bool asked; /* not begun yet */
    bool waits; /* for the store; that was said */
    struct fleet_reading *reading;
    struct fleet *fleet; /* read and good, not in force yet */
    struct fleet_change change;
    struct pipeline *pipeline; /* being filled beside the one at work */
    struct upkeep *upkeep;     /* for it */
};

/** Becomes readable when there is something to do; -1: nothing is being read. */
int reload_descriptor(const struct reload *reload);
/** Does what is to be done now. True when more can be done at once. */
bool reload_step(struct service *service);
/** The store is about to be closed: what was read from it beside the work begins again later. */
void reload_put_off(struct reload *reload);
void reload_end(struct reload *reload);

#endif
