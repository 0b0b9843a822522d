/*
 * judged_house: one system fed hour by hour through monitor and memory history, each local day
 * judged at its end, for tests of what is decided once a day. Header only.
 */
#ifndef JUDGED_HOUSE_H
#define JUDGED_HOUSE_H

#include "measure/duration.h"
#include "monitor/daily.h"
#include "monitor/history_memory.h"
#include "monitor/monitor.h"
#include "small_fleet.h"

#include <math.h>

enum { JUDGED_HOUSE_EVENTS = 64 };

struct judged_event {
    enum condition condition;
    bool raised;      /* else returned */
    int64_t since_ms; /* when the condition began */
    int64_t at_ms;
    double day; /* days since the start */
    double value, setpoint;
};

struct judged_house {
    struct fleet *fleet;
    struct monitor *monitor;
    struct history_memory *memory;
    struct history history;
    int64_t start_ms; /* a local midnight */
    int64_t first_day, next_day;
    double days; /* fed so far */
    struct daily_outlook outlook;
    struct judged_event events[JUDGED_HOUSE_EVENTS];
    size_t event_count;
};

/** Value of a point at a time in days since the start; NaN: the sensor is silent. */
typedef double judged_house_value(void *context, size_t point, double day);

static inline void judged_house_open(struct judged_house *house, const char *system,
                                     int64_t first_day) {
    *house = (struct judged_house){.first_day = first_day, .next_day = first_day};
    house->fleet = small_fleet(NULL, &system, 1);
    house->monitor = monitor_create(house->fleet);
    house->memory = history_memory_create(house->fleet, 0);
    ck_assert_ptr_nonnull(house->monitor);
    ck_assert_ptr_nonnull(house->memory);
    house->history = history_memory_view(house->memory);
    house->start_ms = time_zone_day_start_ms(house->fleet->systems[0].zone, first_day);
}

static inline void judged_house_close(struct judged_house *house) {
    history_memory_destroy(house->memory);
    monitor_destroy(house->monitor);
    fleet_destroy(house->fleet);
}

static inline void judged_house_told(void *context, struct alarm *alarm, enum alarm_notice notice) {
    struct judged_house *house = context;
    if (house->event_count == JUDGED_HOUSE_EVENTS)
        return;
    bool raised = notice == ALARM_NOTICE_RAISED;
    int64_t at_ms = raised ? alarm->raised_ms : alarm->returned_ms;
    house->events[house->event_count++] = (struct judged_event){
        .condition = alarm->condition,
        .raised = raised,
        .since_ms = alarm->since_ms,
        .at_ms = at_ms,
        .day = (double)(at_ms - house->start_ms) / DURATION_DAY_MS,
        .value = alarm->value,
        .setpoint = alarm->setpoint,
    };
}

static inline void judged_house_clock(struct judged_house *house, int64_t now_ms) {
    const struct time_zone *zone = house->fleet->systems[0].zone;
    while (time_zone_day_start_ms(zone, house->next_day + 1) <= now_ms)
        ck_assert(
            daily_judge(house->monitor, &house->history, 0, house->next_day++, &house->outlook));
    monitor_advance(house->monitor, now_ms);
    monitor_tell(house->monitor, now_ms, house, judged_house_told);
}

/** Feeds hourly readings up to `until` days after the start. */
static inline void judged_house_live(struct judged_house *house, double until,
                                     judged_house_value *value, void *context) {
    for (; house->days < until - 1e-9; house->days += 1.0 / 24.0) {
        int64_t hour = (int64_t)llround(house->days * 24.0);
        int64_t now_ms = house->start_ms + hour * DURATION_HOUR_MS;
        for (size_t point = 0; point < house->fleet->point_count; point++) {
            const struct reading reading = {now_ms, value(context, point, house->days)};
            if (isnan(reading.value))
                continue;
            monitor_reading(house->monitor, point, &reading, now_ms);
            ck_assert(history_memory_add(house->memory, point, &reading));
        }
        judged_house_clock(house, now_ms);
    }
}

/** First event of a condition from index *from on; NULL: none. *from is set behind it. */
static inline const struct judged_event *judged_house_event(const struct judged_house *house,
                                                            enum condition condition, bool raised,
                                                            size_t *from) {
    for (; *from < house->event_count; (*from)++) {
        const struct judged_event *event = &house->events[*from];
        if (event->condition == condition && event->raised == raised) {
            (*from)++;
            return event;
        }
    }
    return NULL;
}

static inline const struct judged_event *judged_house_raised(const struct judged_house *house,
                                                             enum condition condition) {
    size_t from = 0;
    return judged_house_event(house, condition, true, &from);
}

#endif
