/*
 * reconnect: how long to wait before the next try to connect. Waits double from 1 s to 60 s with a
 * jitter of a quarter, so that a fleet does not return to its broker all at once. Two clients with
 * one client id throw each other out for ever: three such losses within a minute are recognised,
 * and then the waits are long at once. Pure: time and chance are arguments.
 */
#ifndef LINK_RECONNECT_H
#define LINK_RECONNECT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define RECONNECT_WAIT_MIN_MS 1000
#define RECONNECT_WAIT_MAX_MS 60000
#define RECONNECT_TAKEOVERS 3

enum reconnect_cause {
    RECONNECT_FAILED,     /* no connection came about, or it broke */
    RECONNECT_REFUSED,    /* the broker or its certificate said no: a fast retry cannot help */
    RECONNECT_CLOSED,     /* the broker closed a working connection without a word */
    RECONNECT_TAKEN_OVER, /* the broker says that another client took the id (MQTT 5 only) */
};

struct reconnect { /* all zero to begin with */
    unsigned failures;
    int64_t takeover_ms[RECONNECT_TAKEOVERS]; /* the latest, oldest first */
    size_t takeover_count;
    bool contested;
};

/**
 * Milliseconds to wait after a connection that was up for `up_ms` (-1: never) ended at `now_ms`;
 * `chance` is uniform in [0, 1). Between RECONNECT_WAIT_MIN_MS and RECONNECT_WAIT_MAX_MS.
 */
int64_t reconnect_wait_ms(struct reconnect *reconnect, enum reconnect_cause cause, int64_t up_ms,
                          int64_t now_ms, double chance);

/** Does another client seem to use our id? True until a connection has lasted. */
bool reconnect_contested(const struct reconnect *reconnect);

#endif
