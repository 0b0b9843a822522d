/*
 * clock_question: what a message's own times say of our clock, asked before anything of it is
 * taken.
 */
#ifndef DAEMON_PIPELINE_CLOCK_QUESTION_H
#define DAEMON_PIPELINE_CLOCK_QUESTION_H

#include "link/intake.h"
#include "measure/payload.h"
#include "monitor/clock_trust.h"
#include "monitor/monitor.h"

/** So many readings a message holds at most. */
enum { READINGS_A_MESSAGE = 256 };

/** A message that was decoded when it was asked for its time, so that it need not be again. */
struct clock_answer {
    int64_t now_ms; /* with which it was decoded */
    size_t point;   /* the only one that its topic feeds; FLEET_NONE: decode it again */
    struct payload_result result;
    struct payload_reading reading; /* when result.count is 1; it is never more here */
};

/** Tells the sensors' times of a message. A point whose clock is known to be wrong is not heard. */
void clock_question_ask(const struct monitor *monitor, const struct intake_message *message,
                        struct clock_sensors *sensors, struct clock_answer *answer, int64_t now_ms);

#endif
