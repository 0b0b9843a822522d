#include "api/id_queue.h"

#include <string.h>

void id_queue_add(struct id_queue *queue, const char *id) {
    text_buffer_add_bytes(&queue->ids, id, strlen(id) + 1);
    queue->left++;
}

const char *id_queue_next(struct id_queue *queue) {
    if (queue->left == 0 || queue->ids.failed)
        return NULL;
    const char *id = queue->ids.bytes + queue->at;
    queue->at += strlen(id) + 1;
    queue->left--;
    return id;
}

void id_queue_clear(struct id_queue *queue) {
    text_buffer_clear(&queue->ids);
    *queue = (struct id_queue){0};
}
