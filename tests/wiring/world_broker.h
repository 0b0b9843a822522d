/*
 * world_broker: the broker and the line to it, in the place of link/intake.c. One persistent
 * session: what is not acknowledged is sent again, in order, after each connection.
 */
#ifndef WORLD_BROKER_H
#define WORLD_BROKER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/** What stands for its socket in the daemon's list; never polled. */
#define WORLD_BROKER_DESCRIPTOR 100000

void world_broker_begin(void);
void world_broker_end(void);
/** Sensors publish what is due; a broker that goes down or comes up does. */
void world_broker_turn(void);
/** When something happens next at the broker by itself; INT64_MAX: never. */
int64_t world_broker_next_ms(void);
/** Does the daemon wait for the broker in this turn? */
void world_broker_listening(bool listening);
/** The daemon is gone: its connection breaks. */
void world_broker_dropped(void);
/** Messages that the broker still holds for the daemon. */
size_t world_broker_waiting(void);

#endif
