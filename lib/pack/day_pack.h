/*
 * day_pack: the readings of one point and one UTC day as few bytes, exactly. Pure: bytes in, bytes
 * out; lib/store/series_packed keeps them.
 *
 * The format, version 1. Varints are little-endian groups of seven bits, the eighth says that more
 * follow; "folded" numbers have their sign in the lowest bit (0, -1, 1, -2 … are 0, 1, 2, 3 …).
 *
 *   byte     0xD1: a day pack, version 1
 *   varint   count of readings, 1 to DAY_PACK_READINGS_MAX
 *   varint   time of the first, ms from the start of the day
 *   byte     bits 0-1: origin of all, or 3: origins come as runs
 *            bit 2:    every reading comes exactly one step after the one before
 *            bits 3-5: gain of times
 *            bits 6-7: 0
 *   varint   step, in sixteenths of a millisecond            (count above 1)
 *   byte     first width of times                            (count above 1, bit 2 not set)
 *   varint, byte, …  length and origin of each run           (origins as runs)
 *   byte     bits 0-1: form of values (enum value_form_kind)
 *            bit 2:    every number is as foretold
 *            bit 3:    no value is corrected
 *            bits 4-6: gain of numbers
 *            bit 7:    0
 *   DECIMAL: byte row of the table of units, byte decimals, folded varint base, varint divisor
 *   LATTICE: start and step, IEEE 754 binary64, little-endian
 *   folded varint  foretold first number                     (not PLAIN)
 *   byte     first width of numbers                          (not PLAIN, bit 2 not set)
 *   byte     first width of corrections                      (bit 3 not set)
 *   bits     differences of times (from the second on), then of numbers, then corrections, each in
 *            codes of bit_code.h; zeros up to the next byte
 *   4 bytes  CRC-32, little-endian, of point and day (int64_t, little-endian each) and of all above
 *
 * Times and numbers are foretold: the next is `at` + step, and `at` follows what came by 1/2^gain
 * of the difference (gain 0: is what came), in sixteenths, halves rounded up, shifts rounded down.
 * After a difference that escaped (bit_code.h), `at` is what came. The step of numbers is 0. So
 * gain 0 suits times a device keeps and numbers that drift; a higher gain suits times of arrival
 * around a regular beat and noise around a level.
 *
 * The arithmetic from number to value is in value_form.h.
 */
#ifndef PACK_DAY_PACK_H
#define PACK_DAY_PACK_H

#include "measure/reading.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DAY_PACK_DAY_MS INT64_C(86400000)
/** A day with more readings is not packed whole. */
#define DAY_PACK_READINGS_MAX ((size_t)1 << 20)
/** Origins are 0 to this. */
#define DAY_PACK_ORIGIN_MAX 2

enum day_pack_status {
    DAY_PACK_OK = 0,
    DAY_PACK_DAMAGED, /* not bytes that day_pack_encode made for this point and day */
    DAY_PACK_NEWER,   /* a later version of the format */
    DAY_PACK_OUT_OF_MEMORY
};

/** Whose readings: part of the check sum, so that a pack in the wrong place is noticed. */
struct day_pack_label {
    int64_t point;
    int64_t day; /* days since 1970-01-01 UTC */
};

/** The UTC day an instant lies in. */
int64_t day_pack_day(int64_t time_ms);

/** Bytes that `count` readings take at most. */
size_t day_pack_bound(size_t count);

/**
 * Packs 1 to DAY_PACK_READINGS_MAX readings of the label's day, their times ascending strictly and
 * their values finite (asserted), with the origin of each. `bytes` has day_pack_bound(count) of
 * room. DAY_PACK_OK or DAY_PACK_OUT_OF_MEMORY.
 */
enum day_pack_status day_pack_encode(const struct day_pack_label *label,
                                     const struct reading *readings, const unsigned char *origins,
                                     size_t count, unsigned char *bytes, size_t *size);

/** How many readings the bytes say they hold, at most DAY_PACK_READINGS_MAX; reads no further. */
enum day_pack_status day_pack_count(const unsigned char *bytes, size_t size, size_t *count);

/**
 * Unpacks into `readings` and `origins` (may be NULL), each with room for day_pack_count(). Checks
 * the check sum first, then all that encode asks for. On failure what the room holds means nothing.
 */
enum day_pack_status day_pack_decode(const struct day_pack_label *label, const unsigned char *bytes,
                                     size_t size, struct reading *readings, unsigned char *origins);

#endif
