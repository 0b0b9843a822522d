/*
 * time_zone: local time of a place from the bytes of a TZif file (RFC 8536/9636), versions 1 to 4
 * with the POSIX rule in the footer for times after the last transition. The bytes come from
 * outside (the daemon reads the file); this module is pure.
 */
#ifndef MEASURE_TIME_ZONE_H
#define MEASURE_TIME_ZONE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct time_zone;

/** Parses a TZif file; NULL when it is none. The caller destroys. `name` is copied. */
struct time_zone *time_zone_create(const char *name, const void *bytes, size_t length);
/** UTC, for fleets without a zone. */
struct time_zone *time_zone_create_utc(void);
void time_zone_destroy(struct time_zone *zone); /* NULL does nothing */
const char *time_zone_name(const struct time_zone *zone);

/** Seconds to add to UTC to get local time at that instant. */
int32_t time_zone_offset_s(const struct time_zone *zone, int64_t time_ms);
/** The abbreviation in force ("MST", "CET"), owned by the zone. */
const char *time_zone_abbreviation(const struct time_zone *zone, int64_t time_ms);

/** Local calendar day of an instant, as days since 1970-01-01. */
int64_t time_zone_local_day(const struct time_zone *zone, int64_t time_ms);
/**
 * First instant of a local day. Where midnight does not exist (a clock set forward at midnight) the
 * first instant that does; where it exists twice, the earlier one.
 */
int64_t time_zone_day_start_ms(const struct time_zone *zone, int64_t local_day);
/**
 * The first and the last instant at which the clock on the wall shows a local time, given as
 * milliseconds since a local 1970-01-01T00:00: two where it was set back over that time, else the
 * same. False (results untouched) where there is none, for it was set forward over it.
 */
bool time_zone_instants(const struct time_zone *zone, int64_t local_ms, int64_t *first_ms,
                        int64_t *last_ms);
/** Minutes since local midnight shown by the clock on the wall, 0..1439. */
int time_zone_minute_of_day(const struct time_zone *zone, int64_t time_ms);

/** Local "2026-03-12 08:15 MST" for a person. Needs 40 bytes. Returns text. */
char *time_zone_format(char *text, size_t size, const struct time_zone *zone, int64_t time_ms);

#endif
