/*
 * time_zone_rule: the POSIX TZ text that stands at the end of a TZif file and rules all times after
 * its last transition, such as "CET-1CEST,M3.5.0,M10.5.0/3" (IEEE Std 1003.1 section 8.3, with the
 * wider times of day of RFC 9636 section 3.3.2). Used by time_zone only. Pure.
 */
#ifndef MEASURE_TIME_ZONE_RULE_H
#define MEASURE_TIME_ZONE_RULE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TIME_ZONE_ABBREVIATION_SIZE 16
#define TIME_ZONE_OFFSET_MAX_S 93599 /* RFC 9636 section 3.2: below 26 h either way */

enum time_zone_day_kind {
    DAY_OF_YEAR_FROM_1_NO_LEAP, /* "Jn": 29 February is never counted */
    DAY_OF_YEAR_FROM_0,         /* "n" */
    DAY_OF_MONTH_WEEK           /* "Mm.w.d": weekday d (0 Sunday) of week w (5 last) of month m */
};

struct time_zone_change {
    enum time_zone_day_kind kind;
    int month, week, day;
    int32_t time_s; /* of the wall clock before the change, counted from the midnight of that day */
};

struct time_zone_rule {
    bool has_daylight;
    int32_t standard_offset_s, daylight_offset_s; /* to add to UTC */
    char standard[TIME_ZONE_ABBREVIATION_SIZE], daylight[TIME_ZONE_ABBREVIATION_SIZE];
    struct time_zone_change start, end; /* of daylight time */
};

/** A stretch of time with one offset: from_s <= t < until_s, seconds since 1970 UTC. */
struct time_zone_period {
    int64_t from_s, until_s;
    int32_t offset_s;
    const char *abbreviation; /* borrowed from the zone or rule */
};

/** False when the text is not such a rule (rule may then hold anything). */
bool time_zone_rule_parse(struct time_zone_rule *rule, const char *text, size_t length);

/** The period of an instant; without daylight time it reaches from INT64_MIN to INT64_MAX. */
struct time_zone_period time_zone_rule_period(const struct time_zone_rule *rule, int64_t time_s);

#endif
