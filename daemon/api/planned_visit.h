/*
 * planned_visit: the visit that a system needs, with all that its texts point into.
 */
#ifndef DAEMON_API_PLANNED_VISIT_H
#define DAEMON_API_PLANNED_VISIT_H

#include "api/context.h"
#include "words/visit.h"

struct planned_visit;

/**
 * Plans the visit of a system in the words of its reader, and explains its alarms as far as that
 * was not done; NULL when nothing calls for one by now, or memory is out (*failed). Points into the
 * fleet: valid for this turn. Free with planned_visit_free.
 */
struct planned_visit *planned_visit_make(const struct api *api, size_t system,
                                         struct wording_reader reader, bool *failed);
void planned_visit_free(struct planned_visit *plan); /* NULL does nothing */
const struct visit *planned_visit_of(const struct planned_visit *plan);
size_t planned_visit_system(const struct planned_visit *plan);

/** Its place in the list alone, at next to no cost; false when nothing calls for a visit by now, or
 * memory is out (*failed). The place points into the fleet. */
bool planned_visit_place(const struct api *api, size_t system, struct visit_place *place,
                         bool *failed);

#endif
