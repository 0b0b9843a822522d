/*
 * The transitions of the file are kept in one array, searched by bisection; what the file says of
 * no transition, the rule of its footer answers. Every count and index of the file is checked once,
 * while reading, so that look-ups need no checks. Files that count leap seconds are refused: their
 * instants are not POSIX time.
 */
#include "measure/time_zone.h"

#include "measure/time_zone_rule.h"
#include "measure/timestamp.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define HEADER_BYTES 44
#define DAY_S 86400
#define DAY_LIMIT INT64_C(106751991166) /* further days do not fit into milliseconds */

struct local_time_type {
    int32_t offset_s;
    char abbreviation[TIME_ZONE_ABBREVIATION_SIZE];
};

struct time_zone {
    char *name;
    size_t transition_count, type_count;
    int64_t *transition_s; /* ascending */
    uint8_t *transition_type;
    struct local_time_type *types; /* 0 is in force before the first transition */
    bool has_rule;
    struct time_zone_rule rule;
};

/** One of the two data blocks of a file: the counts of its header and where its parts begin. */
struct block {
    uint32_t ut_count, standard_count, leap_count, transition_count, type_count, character_count;
    size_t time_bytes; /* 4 in the first block, 8 in the second */
    const uint8_t *transitions, *type_indexes, *types, *characters, *end;
};

static uint32_t read_u32(const uint8_t *p) {
    return (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 | p[3];
}

static int64_t read_time(const uint8_t *p, size_t bytes) {
    if (bytes == 4)
        return (int32_t)read_u32(p);
    return (int64_t)((uint64_t)read_u32(p) << 32 | read_u32(p + 4));
}

/** Finds the parts of the block whose header begins at p; false when it reaches beyond the end. */
static bool locate_block(struct block *block, const uint8_t *p, const uint8_t *end,
                         size_t time_bytes) {
    if (end - p < HEADER_BYTES || memcmp(p, "TZif", 4) != 0)
        return false;
    block->ut_count = read_u32(p + 20);
    block->standard_count = read_u32(p + 24);
    block->leap_count = read_u32(p + 28);
    block->transition_count = read_u32(p + 32);
    block->type_count = read_u32(p + 36);
    block->character_count = read_u32(p + 40);
    block->time_bytes = time_bytes;

    /* In 64 bits, so that no sum of 32-bit counts wraps around. */
    uint64_t transitions = (uint64_t)block->transition_count * time_bytes;
    uint64_t types = (uint64_t)block->type_count * 6;
    uint64_t rest =
        (uint64_t)block->leap_count * (time_bytes + 4) + block->standard_count + block->ut_count;
    uint64_t all = transitions + block->transition_count + types + block->character_count + rest;
    if (all > (uint64_t)(end - p - HEADER_BYTES))
        return false;
    block->transitions = p + HEADER_BYTES;
    block->type_indexes = block->transitions + transitions;
    block->types = block->type_indexes + block->transition_count;
    block->characters = block->types + types;
    block->end = block->characters + block->character_count + rest;
    return true;
}

static bool read_types(struct time_zone *zone, const struct block *block) {
    zone->types = calloc(block->type_count, sizeof(*zone->types));
    if (!zone->types)
        return false;
    zone->type_count = block->type_count;
    for (size_t i = 0; i < zone->type_count; i++) {
        const uint8_t *p = block->types + 6 * i;
        struct local_time_type *type = &zone->types[i];
        type->offset_s = (int32_t)read_u32(p);
        if (type->offset_s < -TIME_ZONE_OFFSET_MAX_S || type->offset_s > TIME_ZONE_OFFSET_MAX_S ||
            p[5] >= block->character_count)
            return false;
        const uint8_t *letters = block->characters + p[5];
        size_t room = block->character_count - p[5];
        const uint8_t *stop = memchr(letters, '\0', room);
        if (!stop || (size_t)(stop - letters) >= sizeof(type->abbreviation))
            return false;
        memcpy(type->abbreviation, letters, (size_t)(stop - letters) + 1);
        for (const char *c = type->abbreviation; *c; c++)
            if (*c <= ' ' || *c > '~')
                return false;
    }
    return true;
}

static bool read_transitions(struct time_zone *zone, const struct block *block) {
    size_t count = block->transition_count;
    if (count == 0)
        return true;
    zone->transition_s = calloc(count, sizeof(*zone->transition_s));
    zone->transition_type = calloc(count, sizeof(*zone->transition_type));
    if (!zone->transition_s || !zone->transition_type)
        return false;
    zone->transition_count = count;
    for (size_t i = 0; i < count; i++) {
        zone->transition_s[i] =
            read_time(block->transitions + i * block->time_bytes, block->time_bytes);
        zone->transition_type[i] = block->type_indexes[i];
        if (zone->transition_type[i] >= zone->type_count ||
            (i > 0 && zone->transition_s[i] <= zone->transition_s[i - 1]))
            return false;
    }
    return true;
}

/** The footer "\nTZ\n"; an empty one says nothing of later times. */
static bool read_footer(struct time_zone *zone, const uint8_t *p, const uint8_t *end) {
    if (p == end || *p != '\n')
        return false;
    p++;
    const uint8_t *stop = memchr(p, '\n', (size_t)(end - p));
    if (!stop)
        return false;
    zone->has_rule = stop > p;
    return !zone->has_rule ||
           time_zone_rule_parse(&zone->rule, (const char *)p, (size_t)(stop - p));
}

static bool read_file(struct time_zone *zone, const uint8_t *bytes, size_t length) {
    const uint8_t *end = bytes + length;
    struct block block;
    if (!locate_block(&block, bytes, end, 4))
        return false;
    bool second = bytes[4] >= '2';
    if (second && !locate_block(&block, block.end, end, 8))
        return false;
    if (block.type_count == 0 || block.type_count > 256 || block.leap_count != 0)
        return false;
    return read_types(zone, &block) && read_transitions(zone, &block) &&
           (!second || read_footer(zone, block.end, end));
}

struct time_zone *time_zone_create(const char *name, const void *bytes, size_t length) {
    assert(name && (bytes || length == 0));
    struct time_zone *zone = calloc(1, sizeof(*zone));
    if (!zone)
        return NULL;
    zone->name = strdup(name);
    if (!zone->name || !bytes || !read_file(zone, bytes, length)) {
        time_zone_destroy(zone);
        return NULL;
    }
    return zone;
}

struct time_zone *time_zone_create_utc(void) {
    struct time_zone *zone = calloc(1, sizeof(*zone));
    if (!zone)
        return NULL;
    zone->name = strdup("UTC");
    zone->has_rule = true;
    if (!zone->name || !time_zone_rule_parse(&zone->rule, "UTC0", 4)) {
        time_zone_destroy(zone);
        return NULL;
    }
    return zone;
}

void time_zone_destroy(struct time_zone *zone) {
    if (!zone)
        return;
    free(zone->name);
    free(zone->transition_s);
    free(zone->transition_type);
    free(zone->types);
    free(zone);
}

const char *time_zone_name(const struct time_zone *zone) {
    return zone->name;
}

/** How many transitions are at or before the instant. */
static size_t transitions_until(const struct time_zone *zone, int64_t time_s) {
    size_t low = 0, high = zone->transition_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (zone->transition_s[middle] <= time_s)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static struct time_zone_period period_at(const struct time_zone *zone, int64_t time_s) {
    size_t count = zone->transition_count, passed = transitions_until(zone, time_s);
    int64_t from_s = passed > 0 ? zone->transition_s[passed - 1] : INT64_MIN;
    if (passed == count && zone->has_rule) {
        struct time_zone_period period = time_zone_rule_period(&zone->rule, time_s);
        if (period.from_s < from_s)
            period.from_s = from_s;
        return period;
    }
    const struct local_time_type *type =
        &zone->types[passed > 0 ? zone->transition_type[passed - 1] : 0];
    int64_t until_s = passed < count ? zone->transition_s[passed] : INT64_MAX;
    return (struct time_zone_period){from_s, until_s, type->offset_s, type->abbreviation};
}

int32_t time_zone_offset_s(const struct time_zone *zone, int64_t time_ms) {
    return period_at(zone, timestamp_floor(time_ms, 1000)).offset_s;
}

static int64_t local_s(const struct time_zone *zone, int64_t time_ms) {
    return timestamp_floor(time_ms, 1000) + time_zone_offset_s(zone, time_ms);
}

const char *time_zone_abbreviation(const struct time_zone *zone, int64_t time_ms) {
    return period_at(zone, timestamp_floor(time_ms, 1000)).abbreviation;
}

int64_t time_zone_local_day(const struct time_zone *zone, int64_t time_ms) {
    return timestamp_floor(local_s(zone, time_ms), DAY_S);
}

int64_t time_zone_day_start_ms(const struct time_zone *zone, int64_t local_day) {
    if (local_day > DAY_LIMIT)
        local_day = DAY_LIMIT;
    if (local_day < -DAY_LIMIT)
        local_day = -DAY_LIMIT;
    /* The first instant whose local time is not before midnight; no offset reaches further back. */
    int64_t midnight_s = local_day * DAY_S;
    int64_t time_s = midnight_s - TIME_ZONE_OFFSET_MAX_S - 1;
    for (;;) {
        struct time_zone_period period = period_at(zone, time_s);
        int64_t wanted_s = midnight_s - period.offset_s;
        if (wanted_s <= time_s)
            return time_s * 1000;
        if (wanted_s < period.until_s)
            return wanted_s * 1000;
        time_s = period.until_s;
    }
}

bool time_zone_instants(const struct time_zone *zone, int64_t local_ms, int64_t *first_ms,
                        int64_t *last_ms) {
    int64_t wall_s = timestamp_floor(local_ms, 1000), of_second_ms = local_ms - wall_s * 1000;
    int64_t reach_s = TIME_ZONE_OFFSET_MAX_S + 1;
    bool found = false;
    for (int64_t time_s = wall_s - reach_s; time_s <= wall_s + reach_s;) {
        struct time_zone_period period = period_at(zone, time_s);
        int64_t instant_s = wall_s - period.offset_s;
        if (instant_s >= time_s && instant_s < period.until_s) {
            *last_ms = instant_s * 1000 + of_second_ms;
            if (!found)
                *first_ms = *last_ms;
            found = true;
        }
        time_s = period.until_s;
    }
    return found;
}

int time_zone_minute_of_day(const struct time_zone *zone, int64_t time_ms) {
    int64_t local = local_s(zone, time_ms);
    return (int)((local - timestamp_floor(local, DAY_S) * DAY_S) / 60);
}

char *time_zone_format(char *text, size_t size, const struct time_zone *zone, int64_t time_ms) {
    int64_t local = local_s(zone, time_ms), day = timestamp_floor(local, DAY_S);
    int minute_of_day = (int)((local - day * DAY_S) / 60);
    int year, month, day_of_month;
    timestamp_civil_from_days(day, &year, &month, &day_of_month);
    snprintf(text, size, "%04d-%02d-%02d %02d:%02d %s", year, month, day_of_month,
             minute_of_day / 60, minute_of_day % 60, time_zone_abbreviation(zone, time_ms));
    return text;
}
