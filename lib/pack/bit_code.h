/*
 * bit_code: whole numbers as few bits, for day_pack. Pure: memory in, memory out.
 *
 * Numbers that are mostly small are written with Rice codes (R. F. Rice, JPL Publication 79-22,
 * 1979): sign folded in, the low `width` bits plainly, what is above in ones ended by a zero. The
 * width follows a running mean of what was written, which the reader knows as well. A number far
 * above it escapes: BIT_CODE_ONES_MAX ones, six bits of its length - 1, its bits.
 */
#ifndef PACK_BIT_CODE_H
#define PACK_BIT_CODE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define BIT_CODE_ONES_MAX 20
#define BIT_CODE_WIDTH_MAX 56
/** No number takes more bits than this. */
#define BIT_CODE_BITS_MAX (BIT_CODE_ONES_MAX + 6 + 64)

/** Writes from the highest bit of each byte down. Without `bytes` it only counts. */
struct bit_writer {
    unsigned char *bytes; /* room is the caller's affair; NULL: count */
    size_t bits;          /* written so far */
    uint64_t pending;     /* the lowest `waiting` bits are not in `bytes` yet */
    unsigned waiting;
};

/** Fills the last byte with zeros; returns the number of bytes. */
size_t bit_finish(struct bit_writer *writer);

struct bit_reader {
    const unsigned char *bytes;
    size_t size;     /* bytes */
    size_t position; /* bits; beyond 8 x size when more was asked for than there is */
};

/** Has nothing been read from behind the end? */
bool bit_reader_is_within(const struct bit_reader *reader);

/** What the next number is likely to be: one for each kind of number in a stream. */
struct bit_code {
    uint64_t sum; /* running mean x 32 */
    bool escaped; /* the last one did */
};

/** Begins with this width: 0 to BIT_CODE_WIDTH_MAX. */
void bit_code_begin(struct bit_code *code, unsigned width);
/** The width it would use next. */
unsigned bit_code_width(const struct bit_code *code);
/** Writes one number; code->escaped tells how. Any int64_t. */
void bit_code_write(struct bit_code *code, struct bit_writer *writer, int64_t number);
/** Reads one number; the same codes in the same order as written. Never fails: see the reader. */
int64_t bit_code_read(struct bit_code *code, struct bit_reader *reader);

/** CRC-32 of IEEE 802.3 (reflected, as in zip files), continued from `crc`; begin with 0. */
uint32_t bit_code_crc32(uint32_t crc, const unsigned char *bytes, size_t size);

#endif
