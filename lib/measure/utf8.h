/*
 * utf8: is this text UTF-8? Pure.
 */
#ifndef MEASURE_UTF8_H
#define MEASURE_UTF8_H

#include <stdbool.h>
#include <stddef.h>

/**
 * True for well-formed UTF-8 by table 3-7 of the Unicode Standard (RFC 3629 section 4): no overlong
 * forms, no surrogates, nothing above U+10FFFF, nothing cut short. A null byte is valid UTF-8.
 */
bool utf8_valid(const void *bytes, size_t length);

/** Length of the well-formed character at the start of a null-terminated text; 0: there is none. */
size_t utf8_character(const char *text);

#endif
