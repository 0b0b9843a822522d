/*
 * Fuzzer of day_hours_decode. The bytes are hours of point 7, day 20000. The check sum is put right
 * first, also those of the packs inside when the first byte is odd, so that what lies behind them
 * is reached: no crash, written hours of that day that the format can hold, the same bytes' meaning
 * again after encoding, and hours computed from any readings that are in order.
 */
#include "pack/bit_code.h"
#include "pack/day_hours.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const struct day_pack_label label = {7, 20000};

static void put_check_sum(unsigned char *bytes, size_t size) {
    const unsigned char words[16] = {7, [8] = 20000 & 255, 20000 >> 8};
    uint32_t crc = bit_code_crc32(bit_code_crc32(0, words, sizeof words), bytes, size - 4);
    for (unsigned i = 0; i < 4; i++)
        bytes[size - 4 + i] = (unsigned char)(crc >> 8 * i);
}

/* The last pack ends before the outer check sum; a pack begins with 0xD1. */
static void put_inner_check_sum(unsigned char *bytes, size_t size) {
    for (size_t at = size > 8 ? size - 9 : 0; at > 2; at--) {
        if (bytes[at] == 0xD1) {
            put_check_sum(bytes + at, size - 4 - at);
            return;
        }
    }
}

static void check(const struct day_hours *day) {
    assert(day->interval_ms >= day->first_span_ms && day->first_span_ms >= 0);
    assert(day->reach_ms >= 0 && day->reach_ms <= DAY_PACK_DAY_MS && isfinite(day->after_value));
    assert(day->written >> DAY_HOURS_COUNT == 0 && (day->table.present & ~day->written) == 0);
    for (unsigned i = 0; i < DAY_HOURS_COUNT; i++)
        assert(!(day->table.present >> i & 1) || day_hours_can_hold(&label, &day->table.hours[i]));
}

static void encode_again(const struct day_hours *day) {
    unsigned char bytes[DAY_HOURS_BYTES_MAX];
    struct day_hours again;
    size_t size;
    assert(day_hours_encode(&label, day, bytes, &size) == DAY_PACK_OK);
    assert(day_hours_decode(&label, bytes, size, &again) == DAY_PACK_OK);
    assert(again.is_computed == day->is_computed && again.interval_ms == day->interval_ms);
    assert(again.first_span_ms == day->first_span_ms && again.reach_ms == day->reach_ms);
    assert(again.written == day->written && again.table.present == day->table.present);
    for (unsigned i = 0; i < DAY_HOURS_COUNT; i++)
        assert(!(day->written >> i & 1) || day_hours_equal(&again.table, &day->table, i));
}

static void compute(const struct day_hours *day, const uint8_t *data, size_t size) {
    struct reading readings[64];
    struct day_hours_table table;
    int64_t time_ms = label.day * DAY_PACK_DAY_MS;
    size_t count = 0;
    for (; count < 64 && count < size; count++) {
        time_ms += 1 + data[count] * INT64_C(5000);
        if (day_pack_day(time_ms) != label.day)
            break;
        readings[count] = (struct reading){time_ms, data[count] - 100.0};
    }
    day_hours_fill(day, &label, readings, count, &table);
    for (unsigned i = 0; i < DAY_HOURS_COUNT; i++)
        assert(!(table.present >> i & 1) || day_pack_day(table.hours[i].hour_ms) == label.day);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    struct day_hours day;
    if (size == 0)
        return 0;
    bool inner = data[0] & 1;
    data++;
    size--;
    unsigned char *bytes = malloc(size + 1); /* exact but for nothing at all */
    assert(bytes);
    memcpy(bytes, data, size);
    if (inner)
        put_inner_check_sum(bytes, size);
    if (size >= 4)
        put_check_sum(bytes, size);
    if (day_hours_decode(&label, bytes, size, &day) == DAY_PACK_OK) {
        check(&day);
        encode_again(&day);
        compute(&day, data, size);
    }
    free(bytes);
    return 0;
}
