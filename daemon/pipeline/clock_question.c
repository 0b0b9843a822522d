#include "pipeline/clock_question.h"

#include "measure/duration.h"

static const int64_t any_clock_ms = 10 * 365 * DURATION_DAY_MS; /* nothing is later than this */

static void hear(const struct monitor *monitor, size_t point,
                 const struct payload_reading *readings, size_t count,
                 struct clock_sensors *sensors, int64_t now_ms) {
    int64_t every_ms = monitor_fleet(monitor)->points[point].description->every_ms;
    for (size_t i = 0; i < count; i++) {
        if (readings[i].has_own_time)
            clock_sensors_time(sensors, point, readings[i].reading.time_ms, every_ms, now_ms);
    }
}

/* Times that lie in our future are asked for once more, so that a message is known again when the
   clock has caught up with it. */
static void hear_future(const struct monitor *monitor, size_t point,
                        const struct intake_message *message, struct clock_sensors *sensors,
                        int64_t now_ms) {
    enum { SOME = 8 };
    struct payload_binding any_time = fleet_binding(monitor_fleet(monitor), point);
    struct payload_reading readings[SOME];
    any_time.keep_ms = 0;
    struct payload_result result = payload_decode(&any_time, message->payload, message->length,
                                                  now_ms + any_clock_ms, readings, SOME);
    hear(monitor, point, readings, result.count, sensors, now_ms);
    clock_sensors_ahead(sensors, point);
}

void clock_question_ask(const struct monitor *monitor, const struct intake_message *message,
                        struct clock_sensors *sensors, struct clock_answer *answer,
                        int64_t now_ms) {
    const struct fleet *fleet = monitor_fleet(monitor);
    struct payload_reading readings[READINGS_A_MESSAGE];
    struct payload_result result = {0};
    size_t first = fleet_topic(fleet, message->topic);
    *answer = (struct clock_answer){.now_ms = now_ms, .point = FLEET_NONE};
    for (size_t point = first; point != FLEET_NONE; point = fleet->points[point].next_same_topic) {
        struct payload_binding binding = fleet_binding(fleet, point);
        result = payload_decode(&binding, message->payload, message->length, now_ms, readings,
                                READINGS_A_MESSAGE);
        if (monitor_holds(monitor, point, CONDITION_SENSOR_CLOCK))
            continue;
        hear(monitor, point, readings, result.count, sensors, now_ms);
        if (result.in_future > 0)
            hear_future(monitor, point, message, sensors, now_ms);
    }
    if (first == FLEET_NONE || fleet->points[first].next_same_topic != FLEET_NONE ||
        result.count > 1)
        return;
    answer->point = first;
    answer->result = result;
    if (result.count == 1)
        answer->reading = readings[0];
}
