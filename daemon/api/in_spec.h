/*
 * in_spec: for which share of a span a system was as it should be, and when it was not, by its
 * alarms.
 *
 * Out of order is the time in which an alarm stood that puts its system out of spec; of `suction`,
 * `field`, `fan` and `radon` those that are judged on points of that kind. Time that no
 * reading of such a point covers counts for nothing. Nothing is held against the time before the
 * first commissioning.
 */
#ifndef DAEMON_API_IN_SPEC_H
#define DAEMON_API_IN_SPEC_H

#include "analysis/outages.h"
#include "api/context.h"

#include <jansson.h>

enum in_spec_kind {
    IN_SPEC_SYSTEM,
    IN_SPEC_SUCTION,
    IN_SPEC_FIELD,
    IN_SPEC_FAN,
    IN_SPEC_RADON,
    IN_SPEC_COUNT
};

/** Of one kind. */
struct in_spec_part {
    struct outage *outages; /* merged, in order */
    size_t count;
    double covered; /* by readings, of the span */
    double share;   /* of the time that is covered; NaN: none is */
};

struct in_spec {
    int64_t from_ms, to_ms; /* from the first commissioning on at the earliest */
    bool commissioned;      /* else nothing is known */
    bool by_hand;           /* only people read: nobody knows what was between two readings */
    struct in_spec_part parts[IN_SPEC_COUNT];
};

/** False when the store can't be read or memory is short; clear in any case. */
bool in_spec_read(struct in_spec *result, struct api *api, size_t system, int64_t from_ms,
                  int64_t to_ms);
void in_spec_clear(struct in_spec *result);

/** `in_spec` of a system: an array with a row for each kind that it has points of. */
json_t *in_spec_json(struct api *api, size_t system, int64_t from_ms, int64_t to_ms,
                     const char *window);

#endif
