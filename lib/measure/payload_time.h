/*
 * payload_time: when a message says it was measured, and whether that can be. Part of payload.
 */
#ifndef MEASURE_PAYLOAD_TIME_H
#define MEASURE_PAYLOAD_TIME_H

#include "measure/json_node.h"
#include "measure/payload.h"

/**
 * Reads a time: RFC 3339 text with an offset or Z, or a number (also as text) in the binding's time
 * unit. With PAYLOAD_TIME_AUTOMATIC a number is seconds or milliseconds, whichever gives a time
 * from the year 2000 on. A text without an offset is read by the binding's time zone; in the hour
 * that comes twice it is the one that fits its arrival, and REFUSAL_TIME_AMBIGUOUS when the message
 * comes so late that both do. NULL, and all else, is REFUSAL_TIME_MALFORMED; a good time is then
 * checked with payload_time_check. Sets *time_ms on REFUSAL_NONE.
 */
enum refusal payload_time_read(const struct payload_binding *binding, const struct json_node *node,
                               int64_t arrival_ms, int64_t *time_ms);

/** REFUSAL_NONE, REFUSAL_TIME_IN_FUTURE or REFUSAL_TOO_OLD, as seen from the time of arrival. */
enum refusal payload_time_check(const struct payload_binding *binding, int64_t time_ms,
                                int64_t arrival_ms);

#endif
