#include "pack/bit_code.h"

#include <assert.h>

/* ---- bits ---- */

static void bit_write(struct bit_writer *writer, uint64_t value, unsigned width) {
    assert(width <= BIT_CODE_WIDTH_MAX);
    writer->bits += width;
    if (!writer->bytes)
        return;
    writer->pending = writer->pending << width | value;
    writer->waiting += width;
    size_t next = (writer->bits - writer->waiting) / 8;
    while (writer->waiting >= 8) {
        writer->waiting -= 8;
        writer->bytes[next++] = (unsigned char)(writer->pending >> writer->waiting);
    }
}

size_t bit_finish(struct bit_writer *writer) {
    if (writer->bits % 8)
        bit_write(writer, 0, 8 - (unsigned)(writer->bits % 8));
    return writer->bits / 8;
}

/* The next 57 bits or more, at the top; zeros behind the end. */
static uint64_t peek(const struct bit_reader *reader) {
    size_t byte = reader->position / 8;
    uint64_t bits = 0;
    for (unsigned i = 0; i < 8; i++)
        bits = bits << 8 | (byte + i < reader->size ? reader->bytes[byte + i] : 0);
    return bits << reader->position % 8;
}

/* The next `width` (0 to 56) bits; zeros behind the end. */
static uint64_t bit_read(struct bit_reader *reader, unsigned width) {
    uint64_t bits = width ? peek(reader) >> (64 - width) : 0;
    reader->position += width;
    return bits;
}

bool bit_reader_is_within(const struct bit_reader *reader) {
    return reader->position <= 8 * reader->size;
}

/* ---- numbers ---- */

static unsigned length_of(uint64_t number) {
    return number ? 64 - (unsigned)__builtin_clzll(number) : 0;
}

void bit_code_begin(struct bit_code *code, unsigned width) {
    assert(width <= BIT_CODE_WIDTH_MAX);
    *code = (struct bit_code){UINT64_C(32) << width, false}; /* mean 2^width */
}

unsigned bit_code_width(const struct bit_code *code) {
    /* For numbers whose frequency falls geometrically the best width is log2(mean x ln 2); the
     * sum of three powers of two, 0.6875, stands for ln 2. */
    uint64_t sum = code->sum - code->sum / 4 - code->sum / 16;
    uint64_t mean = (sum + 31) / 32;
    return mean <= 1 ? 0 : length_of(mean - 1);
}

static void learn(struct bit_code *code, uint64_t folded, bool escaped) {
    const uint64_t most = UINT64_C(1) << BIT_CODE_WIDTH_MAX;
    folded = folded < most ? folded : most;
    if (!escaped)
        code->sum += folded - code->sum / 32;
    else if (code->escaped) /* one is an exception, two are a change */
        code->sum = folded * 32;
    code->escaped = escaped;
}

void bit_code_write(struct bit_code *code, struct bit_writer *writer, int64_t number) {
    uint64_t folded = (uint64_t)number << 1 ^ (number < 0 ? UINT64_MAX : 0);
    unsigned width = bit_code_width(code);
    uint64_t ones = folded >> width;
    bool escaped = ones >= BIT_CODE_ONES_MAX;
    if (escaped) {
        unsigned length = folded ? length_of(folded) : 1;
        bit_write(writer, (UINT64_C(1) << BIT_CODE_ONES_MAX) - 1, BIT_CODE_ONES_MAX);
        bit_write(writer, length - 1, 6);
        bit_write(writer, folded >> 32, length > 32 ? length - 32 : 0);
        bit_write(writer, folded & UINT32_MAX, length > 32 ? 32 : length);
    } else {
        bit_write(writer, (UINT64_C(1) << (ones + 1)) - 2, (unsigned)ones + 1);
        bit_write(writer, folded & ((UINT64_C(1) << width) - 1), width);
    }
    learn(code, folded, escaped);
}

int64_t bit_code_read(struct bit_code *code, struct bit_reader *reader) {
    unsigned width = bit_code_width(code);
    uint64_t above = ~peek(reader), folded;
    unsigned ones = above ? (unsigned)__builtin_clzll(above) : 64;
    bool escaped = ones >= BIT_CODE_ONES_MAX;
    if (escaped) {
        reader->position += BIT_CODE_ONES_MAX;
        unsigned length = (unsigned)bit_read(reader, 6) + 1;
        folded = length > 32 ? bit_read(reader, length - 32) : 0;
        folded = folded << 32 | bit_read(reader, length > 32 ? 32 : length);
    } else {
        reader->position += ones + 1;
        folded = (uint64_t)ones << width | bit_read(reader, width);
    }
    learn(code, folded, escaped);
    uint64_t bits = folded >> 1 ^ (folded & 1 ? UINT64_MAX : 0);
    return bits <= INT64_MAX ? (int64_t)bits : -(int64_t)~bits - 1;
}

/* ---- check sum ---- */

uint32_t bit_code_crc32(uint32_t crc, const unsigned char *bytes, size_t size) {
    /* Remainders of four bits; the polynomial 0x04C11DB7 with its bits reversed is 0xEDB88320. */
    static const uint32_t table[16] = {0x00000000, 0x1DB71064, 0x3B6E20C8, 0x26D930AC,
                                       0x76DC4190, 0x6B6B51F4, 0x4DB26158, 0x5005713C,
                                       0xEDB88320, 0xF00F9344, 0xD6D6A3E8, 0xCB61B38C,
                                       0x9B64C2B0, 0x86D3D2D4, 0xA00AE278, 0xBDBDF21C};
    crc = ~crc;
    for (size_t i = 0; i < size; i++) {
        crc ^= bytes[i];
        crc = crc >> 4 ^ table[crc & 15];
        crc = crc >> 4 ^ table[crc & 15];
    }
    return ~crc;
}
