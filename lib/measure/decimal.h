/*
 * decimal: decimal text to double and back, with '.' as the decimal mark whatever the locale.
 * Pure: no allocation, no locale, no global state. Reading is correctly rounded (to nearest, ties
 * to even, as IEEE 754-2019 section 5.12 asks, and as strtod does), so that a value written by one
 * program with 17 digits is the same bits here.
 */
#ifndef MEASURE_DECIMAL_H
#define MEASURE_DECIMAL_H

#include <stddef.h>

/**
 * Reads [+-] digits [. digits] [e [+-] digits] at the start of text; one digit before or after the
 * mark is enough (".5", "5."). Hex, NaN and infinity are no numbers. Returns how many bytes were
 * used, 0 when there is no number (value untouched). Overflow gives infinity with its sign; a
 * negative zero becomes 0.
 */
size_t decimal_read(const char *text, size_t length, double *value);

/**
 * Writes a finite value with three significant digits at most and three decimals at most, trailing
 * zeros dropped, no exponent, never "-0". Returns the length it has or would have, as snprintf.
 */
size_t decimal_write_short(char *text, size_t size, double value);

#endif
