/*
 * clock: the only reader of the operating system's time.
 */
#ifndef DAEMON_CLOCK_H
#define DAEMON_CLOCK_H

#include <stdbool.h>
#include <stdint.h>

/** Milliseconds since 1970 UTC; may be set by people. */
int64_t clock_wall_ms(void);
/** Is this a time at all, or that of a machine that does not know it yet (1970, 2000)? */
bool clock_is_set(int64_t wall_ms);
/** Milliseconds since the machine started; never set, counts on while it sleeps. */
int64_t clock_monotonic_ms(void);

#endif
