/*
 * tracker: the delays of one condition on one point (ISA-18.2: on-delay, off-delay, deadband).
 *
 *   at rest ──beyond──► pending ──on-delay over: RAISE──► standing ──cleared──► clearing
 *      ▲                   │ not beyond                       ▲                   │ not cleared
 *      └───────────────────┘                                  └───────────────────┘
 *      ▲                                                      off-delay over: RETURN │
 *      └──────────────────────────────────────────────────────────────────────────────┘
 *
 * `beyond` compares with the setpoint, `cleared` with the setpoint and its deadband. All times are
 * event times: a delay ends at its own instant, whenever it is noticed, so a backlog gives the same
 * result as live readings. Pure.
 */
#ifndef ALARM_TRACKER_H
#define ALARM_TRACKER_H

#include <stdbool.h>
#include <stdint.h>

enum tracker_phase { TRACKER_REST, TRACKER_PENDING, TRACKER_STANDING, TRACKER_CLEARING };

struct tracker {
    int64_t since_ms; /* when the phase began (PENDING, CLEARING), or the condition (STANDING) */
    int64_t began_ms; /* when the condition began; kept while CLEARING */
    enum tracker_phase phase;
};

enum tracker_event { TRACKER_NOTHING, TRACKER_RAISE, TRACKER_RETURN };

/**
 * Lets a running delay end if it is over at `time_ms`. On an event *at_ms is its instant, not
 * `time_ms`.
 */
enum tracker_event tracker_expire(struct tracker *tracker, int64_t on_delay_ms,
                                  int64_t off_delay_ms, int64_t time_ms, int64_t *at_ms);

/** Instant at which the running delay ends; INT64_MAX when none runs. */
int64_t tracker_deadline_ms(const struct tracker *tracker, int64_t on_delay_ms,
                            int64_t off_delay_ms);

/**
 * A new finding at `time_ms`; call tracker_expire for the same instant before it. With a delay of 0
 * the event comes at once.
 */
enum tracker_event tracker_step(struct tracker *tracker, int64_t on_delay_ms, int64_t off_delay_ms,
                                bool beyond, bool cleared, int64_t time_ms, int64_t *at_ms);

#endif
