#include "pipeline/alarm_rows.h"
#include "pipeline/monitor_memory.h"

/* How a flush fares: the sink's answers are only yes and no. */
struct writer {
    struct monitor_memory *memory;
    enum store_status status;
    const struct monitor_memory_rolled *rolled;
    size_t rolled_count;
};

static bool is_rolled(const struct writer *writer, size_t point, int64_t hour_ms) {
    size_t low = 0, high = writer->rolled_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (writer->rolled[middle].point < point)
            low = middle + 1;
        else
            high = middle;
    }
    return low < writer->rolled_count && writer->rolled[low].point == point &&
           hour_ms >= writer->rolled[low].hours.from_ms &&
           hour_ms < writer->rolled[low].hours.to_ms;
}

static bool put_hour(void *context, size_t point, const struct rollup_hour *hour) {
    struct writer *writer = context;
    const struct monitor_memory *memory = writer->memory;
    month_means_changed(memory->months, point, hour->hour_ms);
    if (is_rolled(writer, point, hour->hour_ms))
        return true;
    const struct series_hour row = {hour->hour_ms,    hour->count,  hour->value_ms,
                                    hour->covered_ms, hour->lowest, hour->highest};
    writer->status = series_hour_put(memory->store, memory->keys[point], &row);
    return writer->status == STORE_OK;
}

static bool put_alarm(void *context, const struct alarm *alarm) {
    struct writer *writer = context;
    const struct monitor_memory *memory = writer->memory;
    writer->status = alarm_rows_put(memory->store, monitor_fleet(memory->monitor), alarm);
    return writer->status == STORE_OK;
}

static bool put_tracker(void *context, const struct monitor_tracker *tracker) {
    struct writer *writer = context;
    const struct monitor_memory *memory = writer->memory;
    const struct fleet *fleet = monitor_fleet(memory->monitor);
    const struct record_tracker row = {
        .system = fleet_system_id(fleet, tracker->system),
        .point = fleet_point_id(fleet, tracker->point),
        .condition = condition_info(tracker->condition)->name,
        .phase = (int)tracker->tracker.phase,
        .since_ms = tracker->tracker.since_ms,
    };
    writer->status =
        tracker->tracker.phase == TRACKER_REST
            ? record_tracker_delete(memory->store, row.system, row.point, row.condition)
            : record_tracker_put(memory->store, &row);
    return writer->status == STORE_OK;
}

static enum store_status outcome(const struct writer *writer, bool done) {
    if (done)
        return STORE_OK;
    return writer->status == STORE_OK ? STORE_OUT_OF_MEMORY : writer->status;
}

enum store_status monitor_memory_write(struct monitor_memory *memory) {
    struct writer writer = {.memory = memory, .status = STORE_OK};
    const struct monitor_sink sink = {&writer, put_hour, put_alarm, put_tracker};
    bool done = monitor_flush(memory->monitor, &sink);
    return outcome(&writer, done);
}

enum store_status monitor_memory_write_hours(struct monitor_memory *memory,
                                             const struct monitor_memory_rolled *rolled,
                                             size_t count) {
    struct writer writer = {memory, STORE_OK, rolled, count};
    const struct monitor_sink sink = {&writer, put_hour, put_alarm, put_tracker};
    bool done = monitor_flush_hours(memory->monitor, &sink);
    return outcome(&writer, done);
}
