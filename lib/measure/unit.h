/*
 * unit: what a number with a unit means. One table of spellings; storage is SI throughout.
 * Pure: no I/O, no clock, no allocation, no global state, no locale.
 * Conversions and their sources: NIST SP 811 (2008) appendix B; the inch of water is the
 * conventional one, 249.08891 Pa.
 */
#ifndef MEASURE_UNIT_H
#define MEASURE_UNIT_H

#include <stddef.h>

enum dimension {
    DIMENSION_PRESSURE,    /* Pa */
    DIMENSION_RADON,       /* Bq/m3 */
    DIMENSION_FLOW,        /* m3/s */
    DIMENSION_POWER,       /* W */
    DIMENSION_CURRENT,     /* A */
    DIMENSION_TEMPERATURE, /* degC */
    DIMENSION_RATIO,       /* % */
    DIMENSION_VOLTAGE,     /* V */
    DIMENSION_LENGTH,      /* m */
    DIMENSION_COUNT
};

enum unit_system { UNIT_SYSTEM_US, UNIT_SYSTEM_SI };

/** One spelling. si = value * scale + offset. */
struct unit {
    const char *spelling;
    enum dimension dimension;
    double scale;
    double offset; /* not zero only for degF and K */
};

enum unit_status {
    UNIT_OK = 0,
    UNIT_NOT_A_NUMBER,   /* the text does not begin with a number */
    UNIT_NOT_FINITE,     /* overflow, NaN or infinity */
    UNIT_UNKNOWN,        /* no such spelling */
    UNIT_WRONG_DIMENSION /* a known unit of another kind */
};

/**
 * The unit of a spelling, or NULL. Never to be freed. Case matters only where SI needs it; blanks,
 * dots behind letters and signs such as the degree are understood: "in. w.c.", "m³/h", "°F".
 */
const struct unit *unit_find(const char *spelling, size_t length);

double unit_to_si(const struct unit *unit, double value);
double unit_from_si(const struct unit *unit, double si);
/** A difference such as a deadband: scale only, no offset. */
double unit_difference_to_si(const struct unit *unit, double difference);

/**
 * Reads "0.6 inH2O" or "4pCi/L" into SI; result written only on UNIT_OK. Everything behind the
 * number is the unit: none, or trailing text that is no part of one, is UNIT_UNKNOWN.
 */
enum unit_status unit_parse(const char *text, enum dimension dimension, double *si);

/** The contract's SI word of a dimension: "Pa", "Bq/m3", "m3/s", "W", "A", "degC", "%", "V", "m".
 */
const char *unit_si_word(enum dimension dimension);

/** The units of a dimension that are in use, for who wrote another: "Bq/m3, pCi/L". */
const char *unit_list(enum dimension dimension);

/**
 * The spelling shown to a person and used by unit_format: US "inH2O" (riser suction), "pCi/L",
 * "cfm", "degF"; SI "Pa", "Bq/m3", "L/s", "degC".
 */
const struct unit *unit_shown(enum dimension dimension, enum unit_system system);

/**
 * Writes a number a person would write, with its unit: "0.62 inH2O", "154 Pa", "1.3 pCi/L".
 * Three significant digits and three decimals at most, trailing zeros dropped, no exponent, never
 * "-0". A barometric pressure (50 kPa or more) is written in inHg or kPa. NaN and infinity give
 * "unknown". Returns text, null-terminated within `size`.
 */
char *unit_format(char *text, size_t size, double si, enum dimension dimension,
                  enum unit_system system);

/**
 * A plain decimal number at the start of text (no hex, no NaN, no infinity, '.' as decimal mark
 * whatever the locale), correctly rounded. "+5", ".5" and "5." are numbers, "-0" is 0. Sets *end
 * behind it (end may be NULL). UNIT_OK, UNIT_NOT_A_NUMBER (nothing written) or UNIT_NOT_FINITE.
 */
enum unit_status unit_parse_number(const char *text, size_t length, double *value,
                                   const char **end);

#endif
