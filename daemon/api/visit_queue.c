#include "api/visit_queue.h"

#include "api/id_queue.h"

#include <stdlib.h>
#include <string.h>

enum { SYSTEMS_A_STEP = 64 };

struct visit_queue {
    char *behind_system;       /* NULL: from the front */
    struct visit_place behind; /* names behind_system */
    struct wording_reader reader;
    bool begun;
    uint64_t reloads; /* settings whose systems are being placed */
    size_t placed;    /* so many of them are */
    struct visit_place *places;
    size_t place_count;
    enum visit_queue_state state;
    struct id_queue order;
};

struct visit_queue *visit_queue_create(const struct visit_place *behind,
                                       struct wording_reader reader) {
    struct visit_queue *queue = calloc(1, sizeof *queue);
    if (queue)
        queue->reader = reader;
    if (!queue || !behind)
        return queue;
    queue->behind = *behind;
    queue->behind.system = queue->behind_system = strdup(behind->system);
    if (queue->behind_system)
        return queue;
    free(queue);
    return NULL;
}

void visit_queue_destroy(struct visit_queue *queue) {
    if (!queue)
        return;
    free(queue->behind_system);
    free(queue->places);
    id_queue_clear(&queue->order);
    free(queue);
}

/* ---- placing ---- */

/* Anew, when there are new settings: places point into the fleet. */
static bool begin(struct visit_queue *queue, const struct api *api) {
    if (queue->begun && queue->reloads == api->reloads)
        return true;
    free(queue->places);
    queue->places = calloc(api->fleet->system_count + 1, sizeof *queue->places);
    queue->begun = true;
    queue->reloads = api->reloads;
    queue->placed = queue->place_count = 0;
    return queue->places != NULL;
}

static bool place_some(struct visit_queue *queue, const struct api *api) {
    bool failed = false;
    for (size_t i = 0; i < SYSTEMS_A_STEP && queue->placed < api->fleet->system_count; i++) {
        struct visit_place *place = &queue->places[queue->place_count];
        if (planned_visit_place(api, queue->placed++, place, &failed) &&
            (!queue->behind_system || visit_place_compare(&queue->behind, place) < 0))
            queue->place_count++;
        if (failed)
            return false;
    }
    return true;
}

static int compare(const void *one, const void *other) {
    return visit_place_compare(one, other);
}

/* From here on ids alone are kept. */
static bool put_in_order(struct visit_queue *queue) {
    qsort(queue->places, queue->place_count, sizeof *queue->places, compare);
    for (size_t i = 0; i < queue->place_count; i++)
        id_queue_add(&queue->order, queue->places[i].system);
    free(queue->places);
    queue->places = NULL;
    return !queue->order.ids.failed;
}

enum visit_queue_state visit_queue_place(struct visit_queue *queue, const struct api *api) {
    if (queue->state != VISIT_QUEUE_PLACING)
        return queue->state;
    if (!begin(queue, api) || !place_some(queue, api))
        queue->state = VISIT_QUEUE_FAILED;
    else if (queue->placed == api->fleet->system_count)
        queue->state = put_in_order(queue) ? VISIT_QUEUE_IN_ORDER : VISIT_QUEUE_FAILED;
    return queue->state;
}

/* ---- taking ---- */

size_t visit_queue_left(const struct visit_queue *queue) {
    return queue->order.left;
}

struct planned_visit *visit_queue_take(struct visit_queue *queue, const struct api *api,
                                       bool *failed) {
    const char *id;
    *failed = false;
    while ((id = id_queue_next(&queue->order))) {
        size_t system = fleet_find_system(api->fleet, id);
        struct planned_visit *plan =
            system == FLEET_NONE ? NULL : planned_visit_make(api, system, queue->reader, failed);
        if (plan || *failed)
            return plan;
    }
    return NULL;
}
