/*
 * clock: the only reader of the operating system's time.
 */
#ifndef DAEMON_CLOCK_H
#define DAEMON_CLOCK_H

#include <stdint.h>

/** Milliseconds since 1970 UTC; may be set by people. */
int64_t clock_wall_ms(void);
/** Milliseconds since the machine started; never set, counts on while it sleeps. */
int64_t clock_monotonic_ms(void);

#endif
