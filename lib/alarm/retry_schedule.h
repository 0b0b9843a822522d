/*
 * retry_schedule: what an answer to a delivery means, and when the next try comes. Pure.
 *
 * Waits after the 1st, 2nd, … try: 5 s, 30 s, 2 min, 10 min, 1 h, then 6 h again and again for
 * 3 days; each with a jitter of ± 25 %, so that many messages to one endpoint that comes back do
 * not arrive at the same moment. Retry-After (RFC 9110 section 10.2.3) goes before the table.
 */
#ifndef ALARM_RETRY_SCHEDULE_H
#define ALARM_RETRY_SCHEDULE_H

#include <stdbool.h>
#include <stdint.h>

enum retry_verdict {
    RETRY_DONE,   /* 2xx */
    RETRY_AGAIN,  /* no answer (0), 408, 425, 429, 5xx */
    RETRY_DENIED, /* 401, 403, 404, 405, 421: what one bad deployment answers; for six hours */
    RETRY_NEVER   /* redirects and every other answer: failed at once, shown, counted */
};

enum retry_verdict retry_verdict(int http_status);

struct retry_situation {
    int tries;             /* made so far, at least 1 */
    int64_t created_ms;    /* when the message was written */
    int64_t now_ms;        /* when the last try ended */
    int64_t retry_after_s; /* -1: none */
    double random;         /* in [0, 1) */
    bool denied;           /* the last answer was RETRY_DENIED: waits of an hour at most */
};

/**
 * When to try again; false: give up. It gives up 3 days after the message was written, and on a
 * denial after 6 hours; in either case not before it was tried as often as the waits above and, on
 * a denial, five hourly ones make: a message that quiet hours held back, or that waited behind
 * another, has its tries too, and an endpoint that keeps asking for a try in a second cannot use
 * them up. With Retry-After the next try comes at that time (24 h at most) or up to 5 s later.
 */
bool retry_schedule_next(const struct retry_situation *situation, int64_t *next_ms);

#endif
