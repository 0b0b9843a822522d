/*
 * The arithmetic here is part of the file format: one rounded operation after the other, never
 * contracted into a fused one. So a pack written on one kind of machine is read exactly on another.
 */
#include "pack/value_form.h"

#include <assert.h>
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

_Static_assert(FLT_EVAL_METHOD == 0, "packed days need double arithmetic that rounds to double");
_Static_assert(DBL_MANT_DIG == 53, "packed days need IEEE 754 binary64");

#define SAMPLES 24
#define SAMPLE_EXCEPTIONS 3
#define COUNTED_MAX 512 /* values that forms are compared by */

/* The factors of lib/measure/unit as they stood when the format was made. Append only. */
static const struct {
    double scale, offset;
} units[] = {
    {1.0, 0.0},
    {100.0, 0.0},                     /* hPa, ratio */
    {1000.0, 0.0},                    /* k- */
    {1e-3, 0.0},                      /* m-, L/s */
    {249.08891, 0.0},                 /* inH2O */
    {37.0, 0.0},                      /* pCi/L */
    {4.719474432e-4, 0.0},            /* cfm */
    {5.0 / 9.0, -32.0 * (5.0 / 9.0)}, /* degF */
    {1.0, -273.15},                   /* K */
    {25.4 * 133.322387415, 0.0},      /* inHg */
    {9.80665, 0.0},                   /* mmH2O */
    {98.0665, 0.0},                   /* cmH2O */
    {1.0 / 3600.0, 0.0},              /* m3/h */
    {1e-3 / 60.0, 0.0},               /* L/min */
    {1.0 / 60.0, 0.0},                /* m3/min */
    {133.322387415, 0.0},             /* mmHg */
    {6894.757293168, 0.0},            /* psi */
    {12.0 * 249.08891, 0.0},          /* ftH2O */
    {1e5, 0.0},                       /* bar */
    {1e6, 0.0},                       /* MW */
    {1e-2, 0.0},                      /* cm */
    {0.0254, 0.0},                    /* in */
    {0.3048, 0.0},                    /* ft */
};
#define UNITS (sizeof units / sizeof units[0])

static const double powers[VALUE_FORM_DECIMALS_MAX + 1] = {1e0, 1e1, 1e2, 1e3, 1e4,
                                                           1e5, 1e6, 1e7, 1e8, 1e9};

unsigned value_form_units(void) {
    return UNITS;
}

/* ---- doubles counted in their order ---- */

static uint64_t rank_of(double value) {
    uint64_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits >> 63 ? ~bits : bits | UINT64_C(1) << 63;
}

static double of_rank(uint64_t rank) {
    uint64_t bits = rank >> 63 ? rank & ~(UINT64_C(1) << 63) : ~rank;
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

int64_t value_form_correction(double from, double to) {
    uint64_t difference = rank_of(to) - rank_of(from);
    int64_t correction;
    memcpy(&correction, &difference, sizeof correction);
    return correction;
}

double value_form_corrected(double from, int64_t correction) {
    return of_rank(rank_of(from) + (uint64_t)correction);
}

/* ---- numbers and values ---- */

static double decimal_value(unsigned unit, unsigned decimals, int64_t number) {
    volatile double product = (double)number / powers[decimals] * units[unit].scale;
    return product + units[unit].offset;
}

static int64_t bounded(double number) {
    const double most = (double)VALUE_FORM_NUMBER_MAX;
    if (!(number > -most))
        return -VALUE_FORM_NUMBER_MAX;
    return number < most ? llrint(number) : VALUE_FORM_NUMBER_MAX;
}

static int64_t decimal_number(unsigned unit, unsigned decimals, double value) {
    return bounded((value - units[unit].offset) / units[unit].scale * powers[decimals]);
}

double value_form_value(const struct value_form *form, int64_t number) {
    if (form->kind == VALUE_FORM_LATTICE) {
        volatile double product = (double)number * form->step;
        return form->start + product;
    }
    uint64_t whole = (uint64_t)form->base + (uint64_t)number * (uint64_t)form->divisor;
    int64_t wrapped;
    memcpy(&wrapped, &whole, sizeof wrapped);
    return decimal_value(form->unit, form->decimals, wrapped);
}

int64_t value_form_number(const struct value_form *form, double value) {
    if (form->kind == VALUE_FORM_LATTICE)
        return bounded((value - form->start) / form->step);
    int64_t whole = decimal_number(form->unit, form->decimals, value);
    return bounded((double)(whole - form->base) / (double)form->divisor);
}

/* ---- decimals ---- */

static bool is_exact(unsigned unit, unsigned decimals, double value) {
    double made = decimal_value(unit, decimals, decimal_number(unit, decimals, value));
    return rank_of(made) == rank_of(value); /* -0.0 is not 0.0 */
}

static size_t take_samples(const double *values, size_t count, double samples[SAMPLES]) {
    size_t taken = count < SAMPLES ? count : SAMPLES;
    for (size_t i = 0; i < taken; i++)
        samples[i] = values[i * count / taken];
    return taken;
}

static bool samples_follow(unsigned unit, unsigned decimals, const double *samples, size_t count) {
    size_t exceptions = 0, allowed = count < SAMPLES ? count / 8 : SAMPLE_EXCEPTIONS;
    for (size_t i = 0; i < count; i++)
        if (!is_exact(unit, decimals, samples[i]) && ++exceptions > allowed)
            return false;
    return true;
}

static int64_t common_divisor(int64_t a, int64_t b) {
    while (b != 0) {
        int64_t rest = a % b;
        a = b;
        b = rest;
    }
    return a < 0 ? -a : a;
}

/* Numbers may all be multiples of something: 0.05 steps, or a unit that is a multiple of ours. */
static void find_divisor(const double *values, size_t count, struct value_form *form) {
    bool begun = false;
    form->base = 0;
    form->divisor = 0;
    for (size_t i = 0; i < count && form->divisor != 1; i++) {
        if (!is_exact(form->unit, form->decimals, values[i]))
            continue;
        int64_t number = decimal_number(form->unit, form->decimals, values[i]);
        if (begun)
            form->divisor = common_divisor(form->divisor, number - form->base);
        else
            form->base = number;
        begun = true;
    }
    if (form->divisor == 0 || form->divisor > VALUE_FORM_NUMBER_MAX)
        form->divisor = 1;
}

static size_t count_exceptions(unsigned unit, unsigned decimals, const double *values,
                               size_t count) {
    size_t exceptions = 0;
    for (size_t i = 0; i < count && i < COUNTED_MAX; i++)
        exceptions += !is_exact(unit, decimals, values[i]);
    return exceptions;
}

/* Fewest exceptions, then fewest decimals. Some factors are nearly others: 0.01 and 10^-2. */
bool value_form_find_decimal(const double *values, size_t count, struct value_form *form) {
    double samples[SAMPLES];
    size_t taken = take_samples(values, count, samples), fewest = SIZE_MAX;
    struct value_form found = {.kind = VALUE_FORM_DECIMAL};
    for (unsigned decimals = 0; decimals <= VALUE_FORM_DECIMALS_MAX && fewest > 0; decimals++) {
        for (unsigned unit = 0; unit < UNITS && fewest > 0; unit++) {
            if (!samples_follow(unit, decimals, samples, taken))
                continue;
            size_t exceptions = count_exceptions(unit, decimals, values, count);
            if (exceptions >= fewest)
                continue;
            fewest = exceptions;
            found.unit = unit;
            found.decimals = decimals;
        }
    }
    if (fewest == SIZE_MAX)
        return false;
    find_divisor(values, count, &found);
    *form = found;
    return true;
}

/* ---- lattices ---- */

static int by_value(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/*
 * Largest step that all differences are multiples of, but for `error`; 0 when there is none. Those
 * of neighbours are the smallest, so that errors are multiplied least.
 */
static double common_step(const double *sorted, size_t count, double error) {
    double step = 0;
    for (size_t i = 1; i < count; i++) {
        double rest = sorted[i] - sorted[i - 1], other = step;
        while (rest > error) { /* each turn at least halves it */
            double next = fabs(other - rest * round(other / rest));
            other = rest;
            rest = next;
        }
        step = other;
    }
    return step;
}

/* Better known the further apart two values lie: walk outwards. */
static double refine_step(const double *sorted, size_t count, double step) {
    for (size_t i = 1; i < count; i++) {
        double steps = round((sorted[i] - sorted[0]) / step);
        if (steps >= 1)
            step = (sorted[i] - sorted[0]) / steps;
    }
    return step;
}

bool value_form_find_lattice(const double *values, size_t count, struct value_form *form) {
    double samples[SAMPLES];
    size_t taken = take_samples(values, count, samples);
    if (taken < 3)
        return false;
    qsort(samples, taken, sizeof samples[0], by_value);
    double range = samples[taken - 1] - samples[0];
    double largest = fmax(fabs(samples[0]), fabs(samples[taken - 1]));
    double error = largest * 0x1p-34; /* conversions round a few times, and dividing adds up */
    if (!(range > error) || !isfinite(range))
        return false;
    double step = common_step(samples, taken, error);
    if (!(step > 4 * error) || range / step > 0x1p30)
        return false;
    step = refine_step(samples, taken, step);
    if (!isfinite(step) || step <= 0)
        return false;
    *form = (struct value_form){.kind = VALUE_FORM_LATTICE, .start = samples[0], .step = step};
    return true;
}
