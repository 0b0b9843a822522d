/*
 * Seconds and milliseconds can't be mixed up: seconds of the years 2000 to 2106 are 9.5e8 to 4.3e9,
 * milliseconds of the same years 9.5e11 to 4.3e12, and the same numbers in the other unit are 1970
 * or far ahead. A time between now + 1 day and 2106 is not a likely one, but it is told as a time
 * in the future, which helps more than "malformed".
 */
#include "measure/payload_time.h"

#include "measure/payload_value.h"
#include "measure/timestamp.h"

#include <math.h>

#define YEAR_0_MS (-62167219200000.0)   /* 0000-01-01T00:00:00Z */
#define YEAR_10000_MS 253402300800000.0 /* 10000-01-01T00:00:00Z */
#define YEAR_2000_MS 946684800000.0     /* 2000-01-01T00:00:00Z */
#define YEAR_2106_MS 4294967296000.0    /* 2^32 s: 2106-02-07T06:28:16Z */

static bool plausible(double ms) {
    return ms >= YEAR_2000_MS && ms < YEAR_2106_MS;
}

static bool number_to_time(enum payload_time_unit unit, double number, int64_t *time_ms) {
    double ms = number;
    if (unit == PAYLOAD_TIME_SECONDS ||
        (unit == PAYLOAD_TIME_AUTOMATIC && plausible(number * 1000)))
        ms = number * 1000.0;
    else if (unit == PAYLOAD_TIME_AUTOMATIC && !plausible(number))
        return false;
    if (!(ms >= YEAR_0_MS && ms < YEAR_10000_MS))
        return false;
    *time_ms = llround(ms);
    return true;
}

/* Where the clock was set back its times come twice. Who sends at once is in the second hour when
   the message comes in that hour, and was in the first when the second is still to come. Of what
   comes later than half of that shift after the second nobody can tell. */
static enum refusal place_in_zone(const struct time_zone *zone, int64_t local_ms,
                                  int64_t arrival_ms, int64_t *time_ms) {
    int64_t first_ms, last_ms;
    if (!zone || !time_zone_instants(zone, local_ms, &first_ms, &last_ms))
        return REFUSAL_TIME_MALFORMED;
    if (last_ms > arrival_ms + PAYLOAD_FUTURE_MS)
        *time_ms = first_ms;
    else if (first_ms == last_ms || arrival_ms - last_ms < (last_ms - first_ms) / 2)
        *time_ms = last_ms;
    else
        return REFUSAL_TIME_AMBIGUOUS;
    return REFUSAL_NONE;
}

static enum refusal text_to_time(const struct payload_binding *binding, const char *text,
                                 size_t length, int64_t arrival_ms, int64_t *time_ms) {
    int64_t local_ms;
    if (timestamp_parse(text, length, time_ms))
        return REFUSAL_NONE;
    if (binding->time_zone == PAYLOAD_TIME_ZONE_NONE ||
        !timestamp_parse_local(text, length, &local_ms))
        return REFUSAL_TIME_MALFORMED;
    if (binding->time_zone == PAYLOAD_TIME_ZONE_LOCAL)
        return place_in_zone(binding->local, local_ms, arrival_ms, time_ms);
    *time_ms = local_ms;
    return REFUSAL_NONE;
}

enum refusal payload_time_read(const struct payload_binding *binding, const struct json_node *node,
                               int64_t arrival_ms, int64_t *time_ms) {
    if (!node)
        return REFUSAL_TIME_MALFORMED;
    int64_t read_ms;
    double number;
    size_t length = 0;
    const char *text = json_node_text(node, &length);
    bool is_number = text ? payload_value_parse(text, length, &number) == REFUSAL_NONE
                          : json_node_number(node, &number);
    enum refusal refusal = REFUSAL_TIME_MALFORMED;
    if (is_number && number_to_time(binding->time_unit, number, &read_ms))
        refusal = REFUSAL_NONE;
    else if (!is_number && text)
        refusal = text_to_time(binding, text, length, arrival_ms, &read_ms);
    if (refusal == REFUSAL_NONE)
        refusal = payload_time_check(binding, read_ms, arrival_ms);
    if (refusal == REFUSAL_NONE)
        *time_ms = read_ms;
    return refusal;
}

enum refusal payload_time_check(const struct payload_binding *binding, int64_t time_ms,
                                int64_t arrival_ms) {
    if (time_ms > arrival_ms + PAYLOAD_FUTURE_MS)
        return REFUSAL_TIME_IN_FUTURE;
    if (binding->keep_ms > 0 && time_ms < arrival_ms - binding->keep_ms)
        return REFUSAL_TOO_OLD;
    return REFUSAL_NONE;
}
