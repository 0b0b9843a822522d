/*
 * fleet_change: which systems, points and contacts of new settings are those of the former ones.
 * They are told by their ids; a point is unchanged when it is measured, sent and judged so that
 * what is remembered of it holds on. Pure.
 */
#ifndef MONITOR_FLEET_CHANGE_H
#define MONITOR_FLEET_CHANGE_H

#include "monitor/fleet.h"

struct fleet_change {
    struct arena memory;                /* of all the lists */
    const struct fleet *former, *fleet; /* borrowed */
    size_t *systems_were, *points_were; /* of `fleet`: the index in `former`, */
    size_t *contacts_were;              /* FLEET_NONE: it is new */
    size_t *systems_are, *points_are;   /* of `former`: the index in `fleet`, or gone */
    bool *unchanged;                    /* per point of `fleet` */
};

/** Compares two fleets (borrowed). False when out of memory; close it in any case. */
bool fleet_change_open(struct fleet_change *change, const struct fleet *former,
                       const struct fleet *fleet);
void fleet_change_close(struct fleet_change *change);

#endif
