/*
 * proposal: what a message on a topic that nobody claims may be: each number in it with the
 * quantity and unit that its topic, its name, a unit stated beside it and its size suggest. A guess
 * to be confirmed by a person, never taken without one: that a suction below 10 is in inches of
 * water is a habit of the trade (common practice, no source), not knowledge.
 *
 * Pure. Memory: as payload.h.
 */
#ifndef MEASURE_PROPOSAL_H
#define MEASURE_PROPOSAL_H

#include "measure/quantity.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PROPOSALS_MAX 32
#define PROPOSAL_TEXT 200

struct proposal {
    char value_pointer[PROPOSAL_TEXT]; /* JSON Pointer to the number; "": none is needed */
    char time_pointer[PROPOSAL_TEXT];  /* to its time; "": none is needed */
    char senml_name[PROPOSAL_TEXT];    /* of its record, in a SenML message; else "" */
    double value;                      /* as sent */
    bool known;                        /* are quantity and unit proposed? */
    enum quantity quantity;
    const struct unit *unit;
};

/**
 * The numbers of a message, at most `capacity`, in the order of their places; 0 for one that holds
 * none, or is not whole. `units`: what the people there use where the value does not tell.
 */
size_t proposal_list(const char *topic, const void *payload, size_t length, enum unit_system units,
                     struct proposal *list, size_t capacity);

/**
 * How often a topic sends, as text of a setting ("10 min", "1 h"): of the intervals that are usual
 * the one nearest, as a ratio, to the mean of what came; those of a minute to a day. "10 min" where
 * less than ten minutes were seen. Lent for good.
 */
const char *proposal_every(int64_t message_count, int64_t first_ms, int64_t last_ms);

#endif
