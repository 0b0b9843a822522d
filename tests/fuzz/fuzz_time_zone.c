/* A TZif file of any bytes; whatever is read must answer every question without harm. */
#include "measure/time_zone.h"
#include "measure/time_zone_rule.h"

#include <assert.h>
#include <stdint.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void ask(const struct time_zone *zone, int64_t time_ms) {
    char text[40];
    int32_t offset_s = time_zone_offset_s(zone, time_ms);
    assert(offset_s >= -TIME_ZONE_OFFSET_MAX_S && offset_s <= TIME_ZONE_OFFSET_MAX_S);
    int minute = time_zone_minute_of_day(zone, time_ms);
    assert(minute >= 0 && minute < 1440);
    time_zone_format(text, sizeof(text), zone, time_ms);
    assert(strlen(text) < sizeof(text));
    assert(strlen(time_zone_abbreviation(zone, time_ms)) < TIME_ZONE_ABBREVIATION_SIZE);
    int64_t day = time_zone_local_day(zone, time_ms);
    int64_t start_ms = time_zone_day_start_ms(zone, day);
    if (time_ms > INT64_MIN / 2 && time_ms < INT64_MAX / 2) {
        assert(start_ms <= time_ms);
        assert(time_zone_local_day(zone, start_ms) >= day);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    struct time_zone_rule rule;
    if (time_zone_rule_parse(&rule, (const char *)data, size)) {
        struct time_zone_period period = time_zone_rule_period(&rule, 1773303300);
        assert(period.from_s <= 1773303300 && period.until_s > 1773303300);
    }
    struct time_zone *zone = time_zone_create("fuzz", data, size);
    if (!zone)
        return 0;
    static const int64_t times_ms[] = {INT64_MIN, INT64_C(-2208988800000), -1,
                                       0,         INT64_C(1773303300000),  INT64_C(4102444800000),
                                       INT64_MAX};
    for (size_t i = 0; i < sizeof(times_ms) / sizeof(times_ms[0]); i++)
        ask(zone, times_ms[i]);
    int64_t time_ms = 0;
    memcpy(&time_ms, data + size - 8, 8); /* a TZif file has at least 44 bytes */
    ask(zone, time_ms);
    time_zone_destroy(zone);
    return 0;
}
