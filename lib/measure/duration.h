/*
 * duration: a time span as a person writes it: "10 min", "24 h", "30 d", "10 y", "500 ms".
 * A year is 365.2425 days. Pure.
 */
#ifndef MEASURE_DURATION_H
#define MEASURE_DURATION_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DURATION_SECOND_MS INT64_C(1000)
#define DURATION_MINUTE_MS (60 * DURATION_SECOND_MS)
#define DURATION_HOUR_MS (60 * DURATION_MINUTE_MS)
#define DURATION_DAY_MS (24 * DURATION_HOUR_MS)
#define DURATION_YEAR_MS INT64_C(31556952000) /* 365.2425 days */

/**
 * Reads a span of at least 0 in ms, s, min, h, d, w or y (or the English words), also in parts from
 * large to small, "1 h 30 min"; false (result untouched) otherwise. A number alone is no span.
 */
bool duration_parse(const char *text, int64_t *span_ms);

/** "12 min", "3 h", "1 d 6 h", "1.5 y": two parts at most, rounded. 32 bytes do. Returns text. */
char *duration_format(char *text, size_t size, int64_t span_ms);

#endif
