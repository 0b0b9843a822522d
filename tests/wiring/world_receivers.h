/*
 * world_receivers: the endpoints of the contacts and the network to them, in the place of
 * link/delivery.c. They remember what reached them.
 */
#ifndef WORLD_RECEIVERS_H
#define WORLD_RECEIVERS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/** One message as the endpoints know it, whatever the number of tries. */
struct world_letter {
    char id[48], contact[16];
    char *body;
    int64_t tried_ms;  /* first try, true time */
    unsigned arrivals; /* tries that reached the endpoint */
    bool accepted;     /* at least one was answered 2xx */
    bool refused;      /* one was answered 4xx */
    bool changed;      /* came with other bytes under the same id */
};

void world_receivers_begin(void);
void world_receivers_end(void);
/** When the next answer is due; INT64_MAX: none is under way. */
int64_t world_receivers_next_ms(void);
/** The daemon is gone: answers go nowhere. */
void world_receivers_dropped(void);

size_t world_letter_count(void);
const struct world_letter *world_letter_at(size_t i);

#endif
