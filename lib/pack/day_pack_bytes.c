#include "pack/day_pack_bytes.h"

#include "pack/bit_code.h"

#include <math.h>
#include <string.h>

/* ---- writing ---- */

void byte_put(struct byte_writer *writer, unsigned byte) {
    writer->bytes[writer->size++] = (unsigned char)byte;
}

void byte_put_varint(struct byte_writer *writer, uint64_t number) {
    for (; number >= 128; number >>= 7)
        byte_put(writer, (unsigned)(number & 127) | 128);
    byte_put(writer, (unsigned)number);
}

void byte_put_folded(struct byte_writer *writer, int64_t number) {
    byte_put_varint(writer, (uint64_t)number << 1 ^ (number < 0 ? UINT64_MAX : 0));
}

void byte_put_fixed(struct byte_writer *writer, uint64_t number, unsigned size) {
    for (unsigned i = 0; i < size; i++)
        byte_put(writer, (unsigned)(number >> 8 * i) & 255);
}

void byte_put_double(struct byte_writer *writer, double number) {
    uint64_t bits;
    memcpy(&bits, &number, sizeof bits);
    byte_put_fixed(writer, bits, 8);
}

/* ---- reading ---- */

unsigned byte_get(struct byte_reader *reader) {
    if (reader->is_bad || reader->at >= reader->size) {
        reader->is_bad = true;
        return 0;
    }
    return reader->bytes[reader->at++];
}

uint64_t byte_get_varint(struct byte_reader *reader, uint64_t most) {
    uint64_t number = 0;
    for (unsigned shift = 0; shift < 63; shift += 7) {
        uint64_t byte = byte_get(reader);
        number |= (byte & 127) << shift;
        if (byte < 128) {
            reader->is_bad = reader->is_bad || number > most;
            return reader->is_bad ? 0 : number;
        }
    }
    reader->is_bad = true;
    return 0;
}

int64_t byte_get_folded(struct byte_reader *reader, int64_t most) {
    uint64_t folded = byte_get_varint(reader, 2 * (uint64_t)most);
    int64_t half = (int64_t)(folded >> 1);
    return folded & 1 ? -half - 1 : half;
}

uint64_t byte_get_fixed(struct byte_reader *reader, unsigned size) {
    uint64_t number = 0;
    for (unsigned i = 0; i < size; i++)
        number |= (uint64_t)byte_get(reader) << 8 * i;
    return number;
}

double byte_get_double(struct byte_reader *reader) {
    uint64_t bits = byte_get_fixed(reader, 8);
    double number;
    memcpy(&number, &bits, sizeof number);
    reader->is_bad = reader->is_bad || !isfinite(number);
    return number;
}

/* ---- check sum ---- */

static uint32_t check_sum(const struct day_pack_label *label, const unsigned char *bytes,
                          size_t size) {
    unsigned char words[16];
    struct byte_writer writer = {words, 0};
    byte_put_fixed(&writer, (uint64_t)label->point, 8);
    byte_put_fixed(&writer, (uint64_t)label->day, 8);
    return bit_code_crc32(bit_code_crc32(0, words, sizeof words), bytes, size);
}

void byte_put_check(struct byte_writer *writer, const struct day_pack_label *label) {
    byte_put_fixed(writer, check_sum(label, writer->bytes, writer->size), BYTE_CODE_CHECK_BYTES);
}

bool byte_check_is_right(const struct day_pack_label *label, const unsigned char *bytes,
                         size_t size) {
    if (size < BYTE_CODE_CHECK_BYTES)
        return false;
    size -= BYTE_CODE_CHECK_BYTES;
    struct byte_reader check = {.bytes = bytes + size, .size = BYTE_CODE_CHECK_BYTES};
    return byte_get_fixed(&check, BYTE_CODE_CHECK_BYTES) == check_sum(label, bytes, size);
}
