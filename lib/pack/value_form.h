/*
 * value_form: how the values of one day come out of whole numbers, for day_pack. Sensors report
 * few digits; the stored SI value has many only because it was multiplied by a unit's factor. Where
 * the whole number and the arithmetic behind the value are found again, the number is all that need
 * be kept. Pure.
 *
 * A form gives for every number a double; what a value differs from it is a "correction", counted
 * in doubles: 0 the same, 1 the next larger double. So any form is exact for any value, and good
 * when numbers change little and corrections are mostly 0.
 */
#ifndef PACK_VALUE_FORM_H
#define PACK_VALUE_FORM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum value_form_kind {
    VALUE_FORM_PLAIN,   /* corrections only, each from the value before; the first from 0.0 */
    VALUE_FORM_DECIMAL, /* (base + number x divisor) / 10^decimals x scale + offset of a unit */
    VALUE_FORM_LATTICE, /* start + number x step: whatever else moves in equal steps */
    VALUE_FORM_COUNT
};

#define VALUE_FORM_DECIMALS_MAX 9
/** Numbers lie within plus and minus this: doubles hold them exactly. */
#define VALUE_FORM_NUMBER_MAX (INT64_C(1) << 50)

struct value_form {
    enum value_form_kind kind;
    unsigned unit;      /* DECIMAL: row of the table of units, below value_form_units() */
    unsigned decimals;  /* DECIMAL: 0 to VALUE_FORM_DECIMALS_MAX */
    int64_t base;       /* DECIMAL: within plus and minus VALUE_FORM_NUMBER_MAX */
    int64_t divisor;    /* DECIMAL: 1 to VALUE_FORM_NUMBER_MAX */
    double start, step; /* LATTICE: finite, step above 0 */
};

/** Number of rows of the table of units. A row never changes: packs on disk name it. */
unsigned value_form_units(void);

/**
 * The decimal form that most of `values` (finite) follow; false when there is none. Exceptions
 * become corrections.
 */
bool value_form_find_decimal(const double *values, size_t count, struct value_form *form);
/** The lattice that the values lie on but for rounding; false when there is none. */
bool value_form_find_lattice(const double *values, size_t count, struct value_form *form);

/** The number (not of PLAIN) whose value is nearest; within VALUE_FORM_NUMBER_MAX. */
int64_t value_form_number(const struct value_form *form, double value);
/** The double of a number (not of PLAIN); may be infinite or NaN for numbers never made here. */
double value_form_value(const struct value_form *form, int64_t number);

/** Doubles between two, -0.0 and 0.0 being two; wraps around for what no correction is made of. */
int64_t value_form_correction(double from, double to);
double value_form_corrected(double from, int64_t correction);

#endif
