/*
 * payload: the bytes of one message to readings, or the reason for refusing them.
 *
 * Three shapes, told apart by the binding and the first byte: a plain number; a JSON document with
 * JSON Pointers (RFC 6901) to value and time; SenML JSON (RFC 8428), an array of records. Without a
 * pointer: a number stands for itself, an object is read at "/value" (and "/time" when present and
 * the binding names none), an array is SenML. Several SenML records are several readings.
 *
 * A number may have a unit behind it ("0.62 inH2O", plain text alone) and may be a JSON text
 * ("0.62"). Of members with the same name the last one counts. A SenML pack has its own times, so a
 * time pointer is not looked at there. A SenML record with base fields alone is no reading.
 *
 * Pure: no I/O, no clock (time of arrival is an argument). Memory: the JSON parser allocates within
 * the 64 KiB bound of its input; nesting is checked before parsing, so the stack is bounded.
 */
#ifndef MEASURE_PAYLOAD_H
#define MEASURE_PAYLOAD_H

#include "measure/quantity.h"
#include "measure/reading.h"
#include "measure/refusal.h"
#include "measure/time_zone.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PAYLOAD_BYTES_MAX 65536
#define PAYLOAD_DEPTH_MAX 32
#define PAYLOAD_FUTURE_MS (5 * 60 * 1000)

enum payload_time_unit {
    PAYLOAD_TIME_AUTOMATIC, /* RFC 3339 text; a number by its plausible range as s or ms */
    PAYLOAD_TIME_SECONDS,
    PAYLOAD_TIME_MILLISECONDS
};

/* What a time without an offset means. */
enum payload_time_zone {
    PAYLOAD_TIME_ZONE_NONE, /* nothing: it is refused */
    PAYLOAD_TIME_ZONE_LOCAL,
    PAYLOAD_TIME_ZONE_UTC
};

/** How the messages of one point are to be read. Strings are borrowed, NULL where not set. */
struct payload_binding {
    enum quantity quantity;
    const struct unit *unit;   /* what the sensor sends; never NULL */
    const char *value_pointer; /* JSON Pointer */
    const char *time_pointer;  /* JSON Pointer */
    const char *senml_name;    /* take only SenML records whose resolved name is or ends in this */
    enum payload_time_unit time_unit;
    enum payload_time_zone time_zone;
    const struct time_zone *local; /* of PAYLOAD_TIME_ZONE_LOCAL; fleet_binding sets it */
    double scale, offset;          /* scale first, then offset, both in the sensor's unit */
    int64_t keep_ms;               /* older than this is REFUSAL_TOO_OLD; 0: any age */
};

struct payload_reading {
    struct reading reading; /* SI; time of arrival where the message has none of its own */
    bool has_own_time;   /* false also for a SenML time told from "now": it moves with each copy */
    bool unit_converted; /* SenML or plain text stated another unit than the point's */
};

struct payload_result {
    size_t count;         /* readings written */
    enum refusal refusal; /* REFUSAL_NONE, or the first reason when some or all were refused */
    size_t refused;       /* how many records were refused */
    size_t in_future;     /* how many of them because of REFUSAL_TIME_IN_FUTURE */
    double impossible;    /* SI: the last value refused as out of range; NaN: none */
};

/**
 * Decodes one message. Writes at most `capacity` readings (records beyond it count as refused,
 * REFUSAL_TOO_LARGE). Good records of a SenML pack are kept when others are refused.
 */
struct payload_result payload_decode(const struct payload_binding *binding, const void *bytes,
                                     size_t length, int64_t arrival_ms,
                                     struct payload_reading *readings, size_t capacity);

#endif
