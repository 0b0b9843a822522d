/*
 * patience: for how long the silence of a house is a line of history only, after what this house
 * has shown. A gateway or a sensor that has come back by itself after a day will most likely do so
 * again, and silence says nothing of the fan. So people are told of a silence once it has lasted
 * longer than any other of the same house that ended within the last year, and after a week in any
 * case; the first one at once. The list of alarms shows it at once, too.
 *
 * Of n + 1 lengths drawn from one distribution, whatever it is, the last is the longest with
 * probability 1 / (n + 1) (records of independent draws; Renyi 1962, from memory): twenty outages a
 * year are 1 + 1/2 + ... + 1/20 = 3.6 messages. The week is our own number: what lasted longer was
 * most likely mended by somebody, and is not learned from. High priority is told at once. Pure.
 */
#ifndef ALARM_PATIENCE_H
#define ALARM_PATIENCE_H

#include "alarm/alarm.h"
#include "measure/duration.h"

enum { PATIENCE_PAST = 4 };
#define PATIENCE_WINDOW_MS (365 * DURATION_DAY_MS)

/** The silences of a house that are over, as far as they say something: each longer than those
   after it. All zero: none. Where there are more than have room the shortest is forgotten, which
   makes it less patient. */
struct past_silence {
    int64_t ended_ms, lasted_ms;
};
struct patience {
    struct past_silence past[PATIENCE_PAST];
};

/** Learns from an alarm that is over; from other conditions than silence nothing. */
void patience_learn(struct patience *patience, const struct alarm *over);
/** Event time before which a silence is not told; INT64_MIN: at once, as all else. */
int64_t patience_until_ms(const struct patience *patience, const struct alarm *alarm);

#endif
