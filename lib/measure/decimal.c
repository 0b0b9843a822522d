#include "measure/decimal.h"

#include <assert.h>
#include <inttypes.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

/* 767 digits decide any double; what follows only matters as "more than nothing". */
#define DIGITS_MAX 770
#define EXPONENT_MAX 1000000000L /* far beyond what any text can make up for with digits */

/** A number as digits * 10^exponent: without a mark, strtod reads it alike in every locale. */
struct scanned {
    char text[DIGITS_MAX + sizeof("1e-9223372036854775808")]; /* leading zeros are left out */
    size_t digits;
    int64_t exponent;
};

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
    *exponent += negative ? -value : value;
    return q;
}

/** Takes the digits and the mark in; NULL when there is no digit. */
static const char *scan_digits(const char *p, const char *end, struct scanned *scanned) {
    const char *start = p;
    bool mark = false, rest = false;
    for (; p < end && (is_digit(*p) || (*p == '.' && !mark)); p++) {
        if (*p == '.') {
            mark = true;
            continue;
        }
        scanned->exponent -= mark;
        if (scanned->digits == DIGITS_MAX) {
            scanned->exponent++;
            rest = rest || *p != '0';
        } else if (scanned->digits > 0 || *p != '0') {
            scanned->text[scanned->digits++] = *p;
        }
    }
    if (p - start == mark)
        return NULL;
    if (rest) { /* a digit 1 stands for all that was cut */
        scanned->text[scanned->digits++] = '1';
        scanned->exponent--;
    }
    return p;
}

/* Up to 15 digits and 10^22 are exact as doubles, so one operation on them rounds correctly
   (W. D. Clinger, How to read floating point numbers accurately, 1990). The rest is strtod's. */
static double value_of(struct scanned *scanned) {
    static const double powers[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                    1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                    1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
    int64_t whole = 0;
    if (scanned->digits == 0)
        return 0.0;
    if (scanned->digits <= 15 && scanned->exponent >= -22 && scanned->exponent <= 22) {
        for (size_t i = 0; i < scanned->digits; i++)
            whole = 10 * whole + (scanned->text[i] - '0');
        return scanned->exponent < 0 ? (double)whole / powers[-scanned->exponent]
                                     : (double)whole * powers[scanned->exponent];
    }
    snprintf(scanned->text + scanned->digits, sizeof(scanned->text) - scanned->digits, "e%" PRId64,
             scanned->exponent);
    return strtod(scanned->text, NULL);
}

size_t decimal_read(const char *text, size_t length, double *value) {
    const char *p = text, *end = text + length;
    bool negative = length > 0 && *p == '-';
    if (length > 0 && (*p == '-' || *p == '+'))
        p++;
    struct scanned scanned;
    scanned.digits = 0;
    scanned.exponent = 0;
    p = scan_digits(p, end, &scanned);
    if (!p)
        return 0;
    p = scan_exponent(p, end, &scanned.exponent);

    double result = value_of(&scanned);
    *value = negative && result != 0.0 ? -result : result;
    return (size_t)(p - text);
}

/** Three significant digits of a whole number that has more. */
static size_t write_large(char *text, size_t size, double value) {
    double step = 1.0;
    while (fabs(value) / step >= 999.5)
        step *= 10.0;
    double rounded = nearbyint(value / step) * step;
    return (size_t)snprintf(text, size, "%.0f", isfinite(rounded) ? rounded : value);
}

size_t decimal_write_short(char *text, size_t size, double value) {
    static const unsigned powers_of_ten[] = {1, 10, 100, 1000};
    assert(isfinite(value));
    double magnitude = fabs(value);
    if (magnitude >= 999.5)
        return write_large(text, size, value);
    int decimals = magnitude >= 99.95 ? 0 : magnitude >= 9.995 ? 1 : magnitude >= 0.9995 ? 2 : 3;
    unsigned power = powers_of_ten[decimals];
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
