/*
 * senml: Sensor Measurement Lists (RFC 8428), their JSON form: an array of records to records with
 * base fields applied. Pure; nothing is allocated or copied, texts are borrowed from the document.
 *
 * A base field holds for its own record and those after it. A record with base fields alone carries
 * them and is no measurement (the example of section 5.1.7 has one). A base field of the wrong type
 * spoils every record that relies on it, until the next one of its label.
 */
#ifndef MEASURE_SENML_H
#define MEASURE_SENML_H

#include "measure/json_node.h"
#include "measure/quantity.h"
#include "measure/refusal.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/** Values of a resolved time below this are seconds from now, others since 1970 (section 4.5.3). */
#define SENML_RELATIVE_BELOW_S 268435456.0 /* 2^28 */

struct senml_text {
    const char *bytes; /* NULL: not there */
    size_t length;
    bool wrong_type; /* there, but not a text */
};

/** One record with base fields applied. */
struct senml_record {
    enum refusal refusal;              /* REFUSAL_NONE, or why it can't be used */
    bool base_fields_only;             /* no measurement: to be passed over */
    struct senml_text base_name, name; /* its name is both, one after the other */
    struct senml_text unit;            /* stated by itself or by a base unit */
    double value;                      /* base value + value, in that unit */
    double time_s;                     /* base time + time; 0: now */
};

/** The state of reading one pack; set up by senml_open, private to senml. */
struct senml_pack {
    const struct json_node *records;
    size_t next;
    struct senml_text base_name, base_unit;
    double base_value, base_time_s; /* NaN: of the wrong type */
    bool base_not_understood;       /* an unknown base field whose label ends in "_" */
};

/**
 * Begins a pack; `records` (an array) must outlive it. REFUSAL_UNKNOWN_SENML when its version is
 * not ours or not the same in all records (section 4.4): then no record may be used. Ours are 10
 * and below, and 26, which is 10 with secondary units (RFC 9100, RFC 8798; from memory).
 */
enum refusal senml_open(struct senml_pack *pack, const struct json_node *records);

/** The next record, or false after the last one. */
bool senml_next(struct senml_pack *pack, struct senml_record *record);

/** Is the record's whole name, or its end, this one? True when the name can't be known. */
bool senml_name_ends_in(const struct senml_record *record, const char *ending);

/**
 * The time of a record. Sets *relative when it was told from now (`arrival_ms`). False (results
 * untouched) when it is not within the years 0 to 9999.
 */
bool senml_time(const struct senml_record *record, int64_t arrival_ms, int64_t *time_ms,
                bool *relative);

/**
 * The unit of a SenML spelling, as unit_find has it. Sets *unit on REFUSAL_NONE; else
 * REFUSAL_UNKNOWN_UNIT, or REFUSAL_WRONG_UNIT for a "%RH" that is not for a humidity point or a
 * "%EL" that is not for a battery.
 */
enum refusal senml_unit(const char *spelling, size_t length, enum quantity quantity,
                        const struct unit **unit);

#endif
