/*
 * Fuzzer of payload_decode. The first byte picks how the point is bound, the rest is the message.
 * What must hold for any bytes: no crash, finite and plausible values without a negative zero,
 * times in range, counts that add up, and the same answer twice.
 */
#include "measure/payload.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define ARRIVAL_MS INT64_C(1700000000000)
#define CAPACITY 8
#define YEAR_MS INT64_C(31556952000)

static const struct {
    enum quantity quantity;
    enum payload_time_unit time_unit;
    enum payload_time_zone time_zone;
    const char *unit, *value_pointer, *time_pointer, *senml_name;
    double scale, offset;
    int64_t keep_ms;
} bindings[] = {
    {QUANTITY_SUCTION, PAYLOAD_TIME_AUTOMATIC, PAYLOAD_TIME_ZONE_NONE, "Pa", NULL, NULL, NULL, 1, 0,
     10 * YEAR_MS},
    {QUANTITY_SUCTION, PAYLOAD_TIME_SECONDS, PAYLOAD_TIME_ZONE_NONE, "inH2O", "/a/0", "/t", NULL, 2,
     -0.5, 0},
    {QUANTITY_OUTDOOR_TEMPERATURE, PAYLOAD_TIME_MILLISECONDS, PAYLOAD_TIME_ZONE_NONE, "degF",
     "/a~1b", NULL, NULL, 1, 0, 0},
    {QUANTITY_HUMIDITY, PAYLOAD_TIME_AUTOMATIC, PAYLOAD_TIME_ZONE_NONE, "%", NULL, "/ts",
     "humidity", 1, 0, YEAR_MS},
    {QUANTITY_BATTERY, PAYLOAD_TIME_AUTOMATIC, PAYLOAD_TIME_ZONE_NONE, "V", "", NULL, ":b", 0.001,
     0, YEAR_MS},
    {QUANTITY_RADON, PAYLOAD_TIME_SECONDS, PAYLOAD_TIME_ZONE_UTC, "pCi/L", NULL, NULL, NULL, 1, 0,
     0},
};

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check(const struct payload_binding *binding, const struct payload_reading *reading) {
    double value = reading->reading.value;
    assert(quantity_plausible(binding->quantity, binding->unit->dimension, value));
    assert(value != 0 || !signbit(value));
    int64_t time_ms = reading->reading.time_ms;
    assert(time_ms <= ARRIVAL_MS + PAYLOAD_FUTURE_MS);
    assert(binding->keep_ms == 0 || time_ms >= ARRIVAL_MS - binding->keep_ms);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    if (size == 0)
        return 0;
    size_t pick = data[0] % (sizeof bindings / sizeof bindings[0]);
    struct payload_binding binding = {
        .quantity = bindings[pick].quantity,
        .unit = unit_find(bindings[pick].unit, strlen(bindings[pick].unit)),
        .value_pointer = bindings[pick].value_pointer,
        .time_pointer = bindings[pick].time_pointer,
        .senml_name = bindings[pick].senml_name,
        .time_unit = bindings[pick].time_unit,
        .time_zone = bindings[pick].time_zone,
        .scale = bindings[pick].scale,
        .offset = bindings[pick].offset,
        .keep_ms = bindings[pick].keep_ms};
    struct payload_reading readings[CAPACITY], again[CAPACITY];
    struct payload_result result =
        payload_decode(&binding, data + 1, size - 1, ARRIVAL_MS, readings, CAPACITY);
    struct payload_result second =
        payload_decode(&binding, data + 1, size - 1, ARRIVAL_MS, again, CAPACITY);
    assert(result.count <= CAPACITY && result.refusal < REFUSAL_COUNT);
    assert((result.refused > 0) == (result.refusal != REFUSAL_NONE));
    assert(result.count == second.count && result.refused == second.refused &&
           result.refusal == second.refusal);
    for (size_t i = 0; i < result.count; i++) {
        check(&binding, &readings[i]);
        assert(readings[i].reading.value == again[i].reading.value &&
               readings[i].reading.time_ms == again[i].reading.time_ms);
    }
    return 0;
}
