/*
 * id_queue: ids of systems in the order in which they are to be listed. A list that is answered
 * over many turns holds these and no places in the fleet, which new settings replace.
 */
#ifndef DAEMON_API_ID_QUEUE_H
#define DAEMON_API_ID_QUEUE_H

#include "words/text_buffer.h"

/** Starts as {0}. */
struct id_queue {
    struct text_buffer ids; /* each with its end; `failed`: memory is out */
    size_t at;
    size_t left;
};

void id_queue_add(struct id_queue *queue, const char *id);
/** Takes out the next one, valid until the queue is changed; NULL at the end. */
const char *id_queue_next(struct id_queue *queue);
void id_queue_clear(struct id_queue *queue);

#endif
