/*
 * payload_value: from what a message says to a value in SI that may be stored. Part of payload.
 */
#ifndef MEASURE_PAYLOAD_VALUE_H
#define MEASURE_PAYLOAD_VALUE_H

#include "measure/payload.h"

/** The four blanks of JSON (RFC 8259 section 2): space, tab, line feed, carriage return. */
bool payload_is_blank(char c);

/**
 * Reads a text that is one number, blanks around it allowed, and nothing else. Sets *value on
 * REFUSAL_NONE; else REFUSAL_NOT_A_NUMBER, or REFUSAL_NOT_FINITE for overflow, "NaN", "inf" and
 * "infinity" in any case.
 */
enum refusal payload_value_parse(const char *text, size_t length, double *value);

/** Is the whole text (no blanks around it) a signed or bare "NaN", "inf" or "infinity"? */
bool payload_value_names_no_number(const char *text, size_t length);

/**
 * Brings a value into SI: from the stated unit (NULL: the sensor's own) to the sensor's unit, there
 * scale, then offset, then SI, then the range of the quantity. Sets *si, never -0, and *converted
 * (the stated unit means another number than the sensor's) on REFUSAL_NONE; else
 * REFUSAL_WRONG_UNIT, REFUSAL_NOT_FINITE or REFUSAL_OUT_OF_RANGE, which sets both as well.
 */
enum refusal payload_value_to_si(const struct payload_binding *binding, const struct unit *stated,
                                 double value, double *si, bool *converted);

#endif
