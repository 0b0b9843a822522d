/*
 * clock: the only reader of the operating system's time.
 */
#ifndef DAEMON_HOST_CLOCK_H
#define DAEMON_HOST_CLOCK_H

#include <stdbool.h>
#include <stdint.h>

/** Milliseconds since 1970 UTC; may be set by people. */
int64_t clock_wall_ms(void);
/**
 * Does the system's time service say that it has set this clock within the last hour? A hint: many
 * machines run another service or none.
 */
bool clock_is_synchronised(int64_t wall_ms);
/** Milliseconds since the machine started; never set, counts on while it sleeps. */
int64_t clock_monotonic_ms(void);
/** Processor time that this process has used. */
int64_t clock_processor_ms(void);

#endif
