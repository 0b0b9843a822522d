/*
 * day_hours: the hours of one point and one closed UTC day as few bytes. Either they are computed
 * from the day's packed readings, and kept is only what the pack does not say: how long a reading
 * stands for, and what reaches into the day from outside. Or they are written down, exactly. Pure:
 * bytes in, bytes out; lib/store/series_hours keeps them.
 *
 * The format, version 1. Numbers as in byte_code.h, bits as in bit_code.h.
 *
 *   byte     0xE1: hours of a day, version 1
 *   byte     bit 0: hours are computed from the day's pack
 *            bit 1: the reading after the day reaches back into it
 *            bit 2: hours are written down; beside bit 0 only in older stores: those written down
 *                   count before those computed
 *            others 0
 *   varint   interval, ms                                               (bit 0 set)
 *   varint   interval less what the day's first reading stands for, ms  (bit 0 set)
 *   varint   how far the reading after the day reaches back from its end, ms; double its value
 *            (bit 1 set, only with bit 0)
 *   3 bytes  which hours are written, the day's first in the lowest bit   (bit 2 set)
 *   folded varint, folded varint, for each hour written: readings and ms covered, as difference
 * from the hour before (the first from 0 and 3600000); both 0 is an hour that is not there varint
 * size of a day pack and the pack: sums (value x ms) of the hours written that are there, each as a
 * reading of one ms later, the first at the start of the day rest     the same without size: lowest
 * and highest in turn, of the hours with readings 4 bytes  CRC-32 of point and day and of all above
 *
 * A pack of no readings has no bytes.
 */
#ifndef PACK_DAY_HOURS_H
#define PACK_DAY_HOURS_H

#include "pack/day_pack.h"
#include "pack/hour_rollup.h"

#define DAY_HOURS_COUNT 24
/** No day takes more bytes than this. */
#define DAY_HOURS_BYTES_MAX 4096
/** An interval longer than this (ten years) is not packed. */
#define DAY_HOURS_INTERVAL_MAX INT64_C(315576000000)

/** Hours of a day: bit i of `present` says that hours[i] is there. */
struct day_hours_table {
    uint32_t present;
    struct series_hour hours[DAY_HOURS_COUNT];
};

struct day_hours {
    bool is_computed;
    int64_t interval_ms;          /* a reading stands for this long at most */
    int64_t first_span_ms;        /* the day's first for this long */
    int64_t reach_ms;             /* of the reading after the day, back from its end; 0: none */
    double after_value;           /* of that reading */
    uint32_t written;             /* bit i: hour i is that of `table`, present or not */
    struct day_hours_table table; /* of others means nothing */
};

/** Can the format hold this hour of the day? What series_rollup makes it can. */
bool day_hours_can_hold(const struct day_pack_label *label, const struct series_hour *hour);

/**
 * Writes a day whose written hours can all be held. `bytes` has DAY_HOURS_BYTES_MAX of room.
 * DAY_PACK_OK or DAY_PACK_OUT_OF_MEMORY.
 */
enum day_pack_status day_hours_encode(const struct day_pack_label *label,
                                      const struct day_hours *day, unsigned char *bytes,
                                      size_t *size);

/** Checks the check sum first, then all that encode asks for. On failure *day means nothing. */
enum day_pack_status day_hours_decode(const struct day_pack_label *label,
                                      const unsigned char *bytes, size_t size,
                                      struct day_hours *day);

/** The hours of a day, from its readings (`count` 0 when it is not computed). */
void day_hours_fill(const struct day_hours *day, const struct day_pack_label *label,
                    const struct reading *readings, size_t count, struct day_hours_table *table);

/** Are hours i of both tables the same to the last bit, or both absent? */
bool day_hours_equal(const struct day_hours_table *a, const struct day_hours_table *b, unsigned i);

#endif
