/*
 * Fuzzer of day_pack_decode. The bytes are a pack of point 7, day 20000. A random check sum would
 * stop nearly all, so the right one is put in its place: what lies behind it must hold for any
 * bytes: no crash, as many readings as counted, of that day, in order, finite, known origins, the
 * same answer twice, and what was read can be packed and read again.
 */
#include "pack/bit_code.h"
#include "pack/day_pack.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MOST_READINGS 5000 /* more only costs time */

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const struct day_pack_label label = {7, 20000};

static void put_check_sum(unsigned char *bytes, size_t size) {
    const unsigned char words[16] = {7, [8] = 20000 & 255, 20000 >> 8};
    uint32_t crc = bit_code_crc32(bit_code_crc32(0, words, sizeof words), bytes, size - 4);
    for (unsigned i = 0; i < 4; i++)
        bytes[size - 4 + i] = (unsigned char)(crc >> 8 * i);
}

static void check(const struct reading *readings, const unsigned char *origins, size_t count) {
    for (size_t i = 0; i < count; i++) {
        assert(day_pack_day(readings[i].time_ms) == label.day);
        assert(i == 0 || readings[i].time_ms > readings[i - 1].time_ms);
        assert(isfinite(readings[i].value));
        assert(origins[i] <= DAY_PACK_ORIGIN_MAX);
    }
}

static void pack_again(const struct reading *readings, const unsigned char *origins, size_t count) {
    unsigned char *bytes = malloc(day_pack_bound(count)), *origins_again = malloc(count);
    struct reading *again = malloc(count * sizeof *again);
    size_t size, count_again;
    assert(bytes && origins_again && again);
    assert(day_pack_encode(&label, readings, origins, count, bytes, &size) == DAY_PACK_OK);
    assert(size <= day_pack_bound(count));
    assert(day_pack_count(bytes, size, &count_again) == DAY_PACK_OK && count_again == count);
    assert(day_pack_decode(&label, bytes, size, again, origins_again) == DAY_PACK_OK);
    assert(memcmp(origins, origins_again, count) == 0);
    for (size_t i = 0; i < count; i++) {
        assert(again[i].time_ms == readings[i].time_ms);
        assert(memcmp(&again[i].value, &readings[i].value, sizeof(double)) == 0);
    }
    free(bytes);
    free(origins_again);
    free(again);
}

static void decode(const unsigned char *bytes, size_t size, size_t count) {
    struct reading *readings = malloc(count * sizeof *readings);
    struct reading *twice = malloc(count * sizeof *twice);
    unsigned char *origins = malloc(count);
    assert(readings && twice && origins);
    enum day_pack_status status = day_pack_decode(&label, bytes, size, readings, origins);
    assert(status == day_pack_decode(&label, bytes, size, twice, NULL));
    if (status == DAY_PACK_OK) {
        for (size_t i = 0; i < count; i++)
            assert(readings[i].time_ms == twice[i].time_ms && readings[i].value == twice[i].value);
        check(readings, origins, count);
        pack_again(readings, origins, count);
    }
    free(readings);
    free(twice);
    free(origins);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    size_t count;
    unsigned char *bytes = malloc(size + 1); /* exact but for nothing at all */
    assert(bytes);
    memcpy(bytes, data, size);
    if (size >= 4 && data[0] != 0)
        put_check_sum(bytes, size);
    enum day_pack_status status = day_pack_count(bytes, size, &count);
    assert(status == DAY_PACK_OK || status == DAY_PACK_DAMAGED || status == DAY_PACK_NEWER);
    if (status == DAY_PACK_OK && count <= MOST_READINGS)
        decode(bytes, size, count);
    free(bytes);
    return 0;
}
