/*
 * visit_queue: the visits of the fleet, most urgent first, planned one after another over as many
 * turns as it takes. First each system gets its place, some systems a step; then each visit is
 * planned when it is taken. New settings on the way: what is already in order stays, without the
 * systems that are gone.
 */
#ifndef DAEMON_API_VISIT_QUEUE_H
#define DAEMON_API_VISIT_QUEUE_H

#include "api/planned_visit.h"

enum visit_queue_state { VISIT_QUEUE_PLACING, VISIT_QUEUE_IN_ORDER, VISIT_QUEUE_FAILED };

struct visit_queue;

/** Begins behind a place (copied), or at the front for NULL. NULL when memory is out. */
struct visit_queue *visit_queue_create(const struct visit_place *behind,
                                       struct wording_reader reader);
void visit_queue_destroy(struct visit_queue *queue); /* NULL does nothing */

/** Goes on with placing; to be called until all are in order. Failed: memory is out. */
enum visit_queue_state visit_queue_place(struct visit_queue *queue, const struct api *api);

/** How many are still to be taken, at most: some may no longer be called for. */
size_t visit_queue_left(const struct visit_queue *queue);
/** The next one, to be freed; NULL at the end, or when memory is out (*failed). */
struct planned_visit *visit_queue_take(struct visit_queue *queue, const struct api *api,
                                       bool *failed);

#endif
