/*
 * chatter: when an alarm that comes and goes is told as such, and when it has become calm. ISA-18.2
 * calls an alarm chattering that changes often in a short time; the numbers here are our own.
 *
 * There are two paces. Five changes within an hour, of any alarm: calm after an hour. And, of a
 * system or a point and below high priority, three raises within three months: calm after a week in
 * one state, beside the off-delay while it stands, or, once it is over, after as long as its last
 * three raises took: a gateway that drops out every three weeks is not calm after one. Pure.
 */
#ifndef ALARM_CHATTER_H
#define ALARM_CHATTER_H

#include "alarm/condition.h"

enum { CHATTER_CHANGES = 5, CHATTER_RAISES = 3 };

/** The last change of an alarm, and how often it has changed before. */
struct chatter {
    bool slow;       /* it has the slow pace */
    int64_t last_ms; /* event time of the last change */
    int changes;     /* within an hour up to then */
    int raises;      /* the newest ones, at most CHATTER_RAISES, within three months up to then */
    int64_t first_raise_ms; /* of these */
    int64_t off_delay_ms;   /* it stands so long beyond what raised it */
};

/** Nothing is counted yet, not even the last change. */
struct chatter chatter_begin(enum condition condition, enum priority priority, int64_t last_ms);
/** Counts an occurrence; the newest first. `told`: people were told of it, or would have been. */
void chatter_add(struct chatter *chatter, int64_t raised_ms, int64_t returned_ms, bool told);
/** Since when occurrences are to be added. */
int64_t chatter_from_ms(const struct chatter *chatter);

/** How long no change makes it calm; 0: it does not come and go at this pace. */
int64_t chatter_fast_calm_ms(const struct chatter *chatter);
int64_t chatter_slow_calm_ms(const struct chatter *chatter, bool stands);

#endif
