/*
 * Reading has two ways. Nearly every number in a message has at most 15 or so digits and a small
 * exponent: there mantissa and power of ten are both exact doubles, and one multiplication or
 * division rounds correctly (Clinger, "How to read floating point numbers accurately", PLDI 1990).
 * All others start from a guess that is off by some units in the last place, and compare the text,
 * as a big integer, with the midpoints to the neighbouring doubles until the guess is the nearest.
 */
#include "measure/decimal.h"

#include <assert.h>
#include <float.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

/* 767 digits decide any double; what follows only matters as "more than nothing". */
#define DIGITS_MAX 770
#define BIG_WORDS 160            /* 5120 bits; the largest product below has 3762 */
#define EXPONENT_MAX 1000000000L /* far beyond what any text can make up for with digits */

static const double exact_power_of_ten[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                            1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                            1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

struct big {
    uint32_t word[BIG_WORDS]; /* least significant first */
    size_t count;
};

/** What the scanner found: leading * 10^exponent, and where all the digits stand. */
struct scanned {
    const char *first_digit, *end_of_digits; /* from the first digit that is not 0; has the mark */
    uint64_t leading;                        /* the first 19 significant digits */
    int64_t leading_exponent;
    int64_t digits; /* significant digits in all */
    bool negative;
};

static void big_multiply_add(struct big *big, uint32_t factor, uint32_t summand) {
    uint64_t carry = summand;
    for (size_t i = 0; i < big->count; i++) {
        carry += (uint64_t)big->word[i] * factor;
        big->word[i] = (uint32_t)carry;
        carry >>= 32;
    }
    if (carry) {
        assert(big->count < BIG_WORDS);
        big->word[big->count++] = (uint32_t)carry;
    }
}

static void big_multiply_power_of_ten(struct big *big, int exponent) {
    for (; exponent >= 9; exponent -= 9)
        big_multiply_add(big, 1000000000u, 0);
    for (; exponent > 0; exponent--)
        big_multiply_add(big, 10u, 0);
}

static void big_shift_left(struct big *big, int bits) {
    size_t words = (size_t)bits / 32;
    if (big->count == 0)
        return;
    assert(big->count + words < BIG_WORDS);
    memmove(big->word + words, big->word, big->count * sizeof(big->word[0]));
    memset(big->word, 0, words * sizeof(big->word[0]));
    big->count += words;
    big_multiply_add(big, UINT32_C(1) << (bits % 32), 0);
}

static int big_compare(const struct big *a, const struct big *b) {
    if (a->count != b->count)
        return a->count < b->count ? -1 : 1;
    for (size_t i = a->count; i-- > 0;)
        if (a->word[i] != b->word[i])
            return a->word[i] < b->word[i] ? -1 : 1;
    return 0;
}

static struct big big_from(uint64_t value) {
    struct big big = {.count = 0};
    for (; value; value >>= 32)
        big.word[big.count++] = (uint32_t)value;
    return big;
}

/** The digits of the text as one integer; *exponent is the power of ten that belongs to it. */
static struct big big_from_digits(const struct scanned *scanned, int *exponent) {
    struct big big = {.count = 0};
    int taken = 0;
    bool rest = false;
    for (const char *p = scanned->first_digit; p < scanned->end_of_digits; p++) {
        if (*p == '.')
            continue;
        if (taken < DIGITS_MAX) {
            big_multiply_add(&big, 10, (uint32_t)(*p - '0'));
            taken++;
        } else if (*p != '0') {
            rest = true;
        }
    }
    int64_t leading = scanned->digits < 19 ? scanned->digits : 19;
    *exponent = (int)(scanned->leading_exponent + leading - taken);
    if (rest) { /* a digit 1 stands for all that was cut */
        big_multiply_add(&big, 10, 1);
        --*exponent;
    }
    return big;
}

/** digits * 10^exponent compared with whole * 2^binary_exponent. */
static int compare_with_binary(const struct big *digits, int exponent, uint64_t whole,
                               int binary_exponent) {
    struct big left = *digits, right = big_from(whole);
    big_multiply_power_of_ten(exponent >= 0 ? &left : &right, exponent >= 0 ? exponent : -exponent);
    if (binary_exponent >= 0)
        big_shift_left(&right, binary_exponent);
    else
        big_shift_left(&left, -binary_exponent);
    return big_compare(&left, &right);
}

/** Which way from guess does the nearest double lie: -1, 0 or 1. */
static int direction_from(double guess, const struct big *digits, int exponent) {
    int power = 0;
    double fraction = frexp(guess, &power); /* 0 gives 0, 0 */
    int binary_exponent = guess == 0.0 || power - 53 < -1074 ? -1074 : power - 53;
    uint64_t whole = (uint64_t)ldexp(fraction, power - binary_exponent);
    bool odd = whole & 1;

    int above = compare_with_binary(digits, exponent, 2 * whole + 1, binary_exponent - 1);
    if (above > 0 || (above == 0 && odd))
        return 1;
    if (whole == 0)
        return 0;
    /* Below a power of two the neighbour is only half as far away. */
    bool narrow = whole == UINT64_C(1) << 52 && binary_exponent > -1074;
    int below = narrow ? compare_with_binary(digits, exponent, 4 * whole - 1, binary_exponent - 2)
                       : compare_with_binary(digits, exponent, 2 * whole - 1, binary_exponent - 1);
    return below < 0 || (below == 0 && odd) ? -1 : 0;
}

static double guess_of(const struct scanned *scanned) {
    double guess = (double)scanned->leading;
    int exponent = (int)scanned->leading_exponent; /* small: see nearest_double */
    for (; exponent > 22; exponent -= 22)
        guess *= 1e22;
    for (; exponent < -22; exponent += 22)
        guess /= 1e22;
    guess =
        exponent < 0 ? guess / exact_power_of_ten[-exponent] : guess * exact_power_of_ten[exponent];
    return guess > DBL_MAX ? DBL_MAX : guess;
}

static double nearest_double(const struct scanned *scanned) {
    int64_t leading = scanned->digits < 19 ? scanned->digits : 19;
    int64_t magnitude = scanned->leading_exponent + leading; /* value < 10^magnitude */
    if (magnitude > 310)
        return INFINITY;
    if (magnitude < -330)
        return 0.0;
    int exponent = 0;
    struct big digits = big_from_digits(scanned, &exponent);
    double guess = guess_of(scanned);
    for (;;) {
        int direction = direction_from(guess, &digits, exponent);
        if (direction == 0)
            return guess;
        guess = nextafter(guess, direction > 0 ? INFINITY : 0.0);
        if (isinf(guess))
            return guess;
    }
}

static bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

/** Reads [e [+-] digits]; returns behind it, or where it was when there is no whole exponent. */
static const char *scan_exponent(const char *p, const char *end, int64_t *exponent) {
    if (p >= end || (*p != 'e' && *p != 'E'))
        return p;
    const char *q = p + 1;
    bool negative = q < end && *q == '-';
    if (q < end && (*q == '+' || *q == '-'))
        q++;
    if (q >= end || !is_digit(*q))
        return p;
    int64_t value = 0;
    for (; q < end && is_digit(*q); q++)
        if (value < EXPONENT_MAX)
            value = value * 10 + (*q - '0');
    *exponent = negative ? -value : value;
    return q;
}

/** Takes the digits and the mark in; NULL when there is no digit. */
static const char *scan_digits(const char *p, const char *end, struct scanned *scanned) {
    const char *start = p;
    const char *mark = NULL;
    uint64_t leading = 0;
    int64_t digits = 0, behind_mark = 0;
    for (; p < end; p++) {
        if (*p == '.' && !mark) {
            mark = p;
            continue;
        }
        if (!is_digit(*p))
            break;
        behind_mark += mark != NULL;
        if (digits == 0 && *p == '0')
            continue;
        if (digits++ == 0)
            scanned->first_digit = p;
        if (digits <= 19)
            leading = leading * 10 + (uint64_t)(*p - '0');
    }
    if (p - start == (mark != NULL))
        return NULL;
    scanned->leading = leading;
    scanned->digits = digits;
    scanned->leading_exponent = (digits > 19 ? digits - 19 : 0) - behind_mark;
    scanned->end_of_digits = p;
    return p;
}

size_t decimal_read(const char *text, size_t length, double *value) {
    const char *p = text, *end = text + length;
    struct scanned scanned = {.negative = length > 0 && *p == '-'};
    if (length > 0 && (*p == '-' || *p == '+'))
        p++;
    p = scan_digits(p, end, &scanned);
    if (!p)
        return 0;
    int64_t exponent = 0;
    p = scan_exponent(p, end, &exponent);
    exponent = scanned.leading_exponent += exponent;

    double result;
    if (scanned.leading == 0)
        result = 0.0;
    else if (scanned.digits <= 19 && scanned.leading <= UINT64_C(1) << 53 && exponent >= -22 &&
             exponent <= 22)
        result = exponent < 0 ? (double)scanned.leading / exact_power_of_ten[-exponent]
                              : (double)scanned.leading * exact_power_of_ten[exponent];
    else
        result = nearest_double(&scanned);
    *value = scanned.negative && result != 0.0 ? -result : result;
    return (size_t)(p - text);
}

/** Three significant digits of a whole number that has more. */
static size_t write_large(char *text, size_t size, double value) {
    double step = 1.0;
    while (fabs(value) / step >= 999.5)
        step *= 10.0;
    return (size_t)snprintf(text, size, "%.0f", nearbyint(value / step) * step);
}

size_t decimal_write_short(char *text, size_t size, double value) {
    assert(isfinite(value));
    double magnitude = fabs(value);
    if (magnitude >= 999.5)
        return write_large(text, size, value);
    int decimals = magnitude >= 99.95 ? 0 : magnitude >= 9.995 ? 1 : magnitude >= 0.9995 ? 2 : 3;
    unsigned power = (unsigned)exact_power_of_ten[decimals];
    unsigned scaled = (unsigned)nearbyint(magnitude * power);
    for (; decimals > 0 && scaled % 10 == 0; decimals--) {
        scaled /= 10;
        power /= 10;
    }
    const char *sign = value < 0.0 && scaled > 0 ? "-" : "";
    if (decimals == 0)
        return (size_t)snprintf(text, size, "%s%u", sign, scaled);
    return (size_t)snprintf(text, size, "%s%u.%0*u", sign, scaled / power, decimals,
                            scaled % power);
}
