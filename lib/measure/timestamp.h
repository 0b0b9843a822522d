/*
 * timestamp: instants as int64_t milliseconds since 1970-01-01T00:00:00Z, to and from RFC 3339.
 * Pure; proleptic Gregorian calendar; no leap seconds (":60" folds to the next second).
 */
#ifndef MEASURE_TIMESTAMP_H
#define MEASURE_TIMESTAMP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TIMESTAMP_NONE INT64_MIN

/**
 * RFC 3339 section 5.6 date-time with an offset or Z, years 0000 to 9999, a blank allowed for the
 * T; digits beyond milliseconds are cut. ":60" only at the end of a day of UTC. False (result
 * untouched) for anything else.
 */
bool timestamp_parse(const char *text, size_t length, int64_t *time_ms);

/**
 * The same without an offset, "2026-03-12T08:15:00": what a clock on a wall shows, in milliseconds
 * since it showed 1970-01-01T00:00. Without ":60", for who knows whether it ends a day of UTC.
 */
bool timestamp_parse_local(const char *text, size_t length, int64_t *local_ms);

/** "2026-03-12" to year, month, day; false when there is no such day. */
bool timestamp_parse_date(const char *text, size_t length, int *year, int *month, int *day);

/** "2026-03-12T08:15:00Z"; milliseconds only where there are any. Needs 32 bytes. Returns text. */
char *timestamp_format(char *text, size_t size, int64_t time_ms);

/** "2026-03-12" of days since 1970-01-01. Needs 16 bytes. Returns text. */
char *timestamp_format_day(char *text, size_t size, int64_t day);

/** Divides and rounds down, also below 0: the day of an instant. */
int64_t timestamp_floor(int64_t a, int64_t b);

/** Days since 1970-01-01 of a civil date, and back. Valid for all years of int. */
int64_t timestamp_days_from_civil(int year, int month, int day);
void timestamp_civil_from_days(int64_t days, int *year, int *month, int *day);

#endif
