/*
 * byte_code: whole numbers and doubles as bytes, for the heads of day_pack and day_hours. Varints
 * are little-endian groups of seven bits, the eighth says that more follow; folded numbers have
 * their sign in the lowest bit; fixed numbers and doubles are little-endian. Pure.
 */
#ifndef PACK_DAY_PACK_BYTES_H
#define PACK_DAY_PACK_BYTES_H

#include "pack/day_pack.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/** Room is the caller's affair. */
struct byte_writer {
    unsigned char *bytes;
    size_t size;
};

void byte_put(struct byte_writer *writer, unsigned byte);
void byte_put_varint(struct byte_writer *writer, uint64_t number);
void byte_put_folded(struct byte_writer *writer, int64_t number);
/** The `size` (1 to 8) lowest bytes. */
void byte_put_fixed(struct byte_writer *writer, uint64_t number, unsigned size);
void byte_put_double(struct byte_writer *writer, double number);

struct byte_reader {
    const unsigned char *bytes;
    size_t size, at;
    bool is_bad; /* went on behind the end, or a number has no sense; then all that follows is 0 */
};

unsigned byte_get(struct byte_reader *reader);
/** 0 to `most`, or the reader is bad. */
uint64_t byte_get_varint(struct byte_reader *reader, uint64_t most);
/** Within plus and minus `most` (below 2^62), or the reader is bad. */
int64_t byte_get_folded(struct byte_reader *reader, int64_t most);
uint64_t byte_get_fixed(struct byte_reader *reader, unsigned size);
/** Finite, or the reader is bad. */
double byte_get_double(struct byte_reader *reader);

#define BYTE_CODE_CHECK_BYTES 4

/** Appends the CRC-32 of point and day (int64_t each) and of all that was written. */
void byte_put_check(struct byte_writer *writer, const struct day_pack_label *label);
/** Do the last bytes say that the others are of this point and day, and whole? */
bool byte_check_is_right(const struct day_pack_label *label, const unsigned char *bytes,
                         size_t size);

#endif
