/*
 * timers: when the loop has something to do without being called. One row each: nothing else wakes
 * it but its descriptors.
 *
 * A timer runs on the clock on the wall when people's time is meant by it, else on the monotonic
 * one. While one is held (the clock is doubted, the store fails or works) it is neither due nor
 * wakes the loop; its time stands.
 */
#ifndef DAEMON_SERVICE_TIMERS_H
#define DAEMON_SERVICE_TIMERS_H

#include <stdbool.h>
#include <stdint.h>

enum timer {
    TIMER_LOOK,      /* is the broker's connection alive, has the clock on the wall been moved? */
    TIMER_READ,      /* readings that come one by one have gathered */
    TIMER_BACKLOG,   /* is it over, and do waiting messages agree with the clock? */
    TIMER_TICK,      /* delays, silence, dates */
    TIMER_UPKEEP,    /* what the calendar causes */
    TIMER_DISPATCH,  /* a message waits until then */
    TIMER_STORE,     /* the store that fails is tried again */
    TIMER_STATE,     /* what stands is compared with what the broker was told */
    TIMER_HEARTBEAT, /* the watcher outside wants to hear from us */
    TIMER_STATUS,    /* what the service manager shows of us is compared with how it is */
    TIMER_WATCHDOG,  /* the service manager wants to hear from us */
    TIMERS
};

/** What may hold timers, as they are now. */
struct timers_now {
    int64_t wall_ms, monotonic_ms;
    bool store_works, clock_trusted;
};

/** {0}: all are due. */
struct timers {
    int64_t at_ms[TIMERS];
};

/** It is due at an instant of its clock; INT64_MAX: never. */
void timers_set(struct timers *timers, enum timer timer, int64_t at_ms);
/** All that the clock on the wall rules is due now: that clock, the settings or the store changed.
 */
void timers_wake(struct timers *timers);
bool timers_due(const struct timers *timers, enum timer timer, const struct timers_now *now);
/** How long the loop may wait for the first that is not held; never below 0. */
int64_t timers_wait_ms(const struct timers *timers, const struct timers_now *now);

#endif
