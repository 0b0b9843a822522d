#include "pipeline/monitor_store.h"

#include "host/clock.h"
#include "measure/duration.h"
#include "monitor/rests.h"
#include "pipeline/alarm_rows.h"

#include <assert.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

enum { UNCHANGED_HOURS = 72, HOUR_READINGS = 4000, REST_HOURS = 60 * 24 };
static const int64_t notable_rest_ms = 6 * DURATION_HOUR_MS;

/* ---- points ---- */

static enum store_status make_key(struct monitor_store *link, size_t point) {
    const struct fleet *fleet = monitor_fleet(link->monitor);
    int64_t known_ms = 0, every_ms = fleet->points[point].description->every_ms;
    enum store_status status =
        series_key(link->store, fleet_system_id(fleet, fleet->points[point].system),
                   fleet_point_id(fleet, point), &link->keys[point]);
    if (status == STORE_OK)
        status = series_interval(link->store, link->keys[point], &known_ms);
    if (status == STORE_OK && known_ms != every_ms)
        status = series_set_interval(link->store, link->keys[point], every_ms);
    return status;
}

static enum store_status make_keys(struct monitor_store *link) {
    const struct fleet *fleet = monitor_fleet(link->monitor);
    enum store_status status = store_begin(link->store);
    for (size_t i = 0; i < fleet->point_count && status == STORE_OK; i++)
        status = make_key(link, i);
    if (status == STORE_OK)
        return store_commit(link->store);
    store_rollback(link->store);
    return status;
}

static struct rollup_hour from_series(const struct series_hour *hour) {
    return (struct rollup_hour){hour->hour_ms,    hour->count,  hour->value_ms,
                                hour->covered_ms, hour->lowest, hour->highest};
}

/* Within one hour: the first of the readings at its end that all equal the newest. */
static enum store_status last_change_in_hour(struct monitor_store *link, int64_t key,
                                             int64_t hour_ms, const struct reading *newest,
                                             int64_t *since_ms) {
    struct reading *readings = malloc(HOUR_READINGS * sizeof *readings);
    size_t count = 0;
    if (!readings)
        return STORE_OUT_OF_MEMORY;
    enum store_status status = series_read(link->store, key, hour_ms, hour_ms + ROLLUP_HOUR_MS,
                                           readings, HOUR_READINGS, &count);
    while (status == STORE_OK && count > 0 && readings[count - 1].value == newest->value)
        *since_ms = readings[--count].time_ms;
    free(readings);
    return status;
}

/* Since when the newest value has not moved: hours whose lowest and highest equal it are skipped
   whole, some days at a time as long as it stood still. */
static enum store_status find_unchanged(struct monitor_store *link, int64_t key,
                                        const struct reading *newest, int64_t *since_ms) {
    struct series_hour hours[UNCHANGED_HOURS];
    int64_t to_ms = rollup_hour_start(newest->time_ms) + ROLLUP_HOUR_MS;
    int64_t oldest_ms = to_ms - REST_HOURS * ROLLUP_HOUR_MS;
    enum store_status status = STORE_OK;
    *since_ms = newest->time_ms;
    for (size_t count = 1; count > 0 && to_ms > oldest_ms && status == STORE_OK;
         to_ms -= UNCHANGED_HOURS * ROLLUP_HOUR_MS) {
        status = series_hours(link->store, key, to_ms - UNCHANGED_HOURS * ROLLUP_HOUR_MS, to_ms,
                              hours, UNCHANGED_HOURS, &count);
        for (size_t i = status == STORE_OK ? count : 0; i > 0; i--) {
            const struct series_hour *hour = &hours[i - 1];
            if (hour->count == 0)
                continue;
            if (*since_ms - hour->hour_ms > RESTS_LONGEST_GAP_MS)
                return STORE_OK;
            if (hour->lowest != newest->value || hour->highest != newest->value)
                return last_change_in_hour(link, key, hour->hour_ms, newest, since_ms);
            *since_ms = hour->hour_ms;
        }
    }
    return status;
}

static enum store_status load_window(struct monitor_store *link, size_t point, int64_t newest_ms) {
    struct series_hour hours[ROLLUP_WINDOW_HOURS];
    size_t count = 0;
    int64_t hour_ms = rollup_hour_start(newest_ms);
    enum store_status status = series_hours(
        link->store, link->keys[point], hour_ms - (ROLLUP_WINDOW_HOURS - 1) * ROLLUP_HOUR_MS,
        hour_ms + ROLLUP_HOUR_MS, hours, ROLLUP_WINDOW_HOURS, &count);
    for (size_t i = 0; i < count && status == STORE_OK; i++) {
        const struct rollup_hour hour = from_series(&hours[i]);
        monitor_load_hour(link->monitor, point, &hour);
    }
    return status;
}

/* Only few points stand still, so only few are looked at. */
static enum store_status load_rests(struct monitor_store *link, size_t point, int64_t newest_ms) {
    struct series_hour *hours = malloc(REST_HOURS * sizeof *hours);
    struct rollup_hour *rollups = malloc(REST_HOURS * sizeof *rollups);
    size_t count = 0;
    enum store_status status = STORE_OUT_OF_MEMORY;
    int64_t hour_ms = rollup_hour_start(newest_ms);
    if (hours && rollups)
        status = series_hours(link->store, link->keys[point],
                              hour_ms - (REST_HOURS - 1) * ROLLUP_HOUR_MS, hour_ms + ROLLUP_HOUR_MS,
                              hours, REST_HOURS, &count);
    for (size_t i = 0; status == STORE_OK && i < count; i++)
        rollups[i] = from_series(&hours[i]);
    if (status == STORE_OK)
        monitor_load_rests(link->monitor, point, rollups, count);
    free(hours);
    free(rollups);
    return status;
}

static enum store_status load_point(struct monitor_store *link, size_t point) {
    struct reading newest;
    int64_t key = link->keys[point], since_ms = 0;
    enum store_status status = series_newest(link->store, key, &newest);
    if (status == STORE_NOT_FOUND)
        return STORE_OK;
    if (status == STORE_OK)
        status = find_unchanged(link, key, &newest, &since_ms);
    if (status != STORE_OK)
        return status;
    struct series_hour running;
    size_t count = 0;
    int64_t hour_ms = rollup_hour_start(newest.time_ms);
    status = series_hours(link->store, key, hour_ms, hour_ms + 1, &running, 1, &count);
    if (status != STORE_OK)
        return status;
    const struct rollup_hour hour = count ? from_series(&running) : rollup_hour_empty(hour_ms);
    monitor_load_newest(link->monitor, point, &newest, since_ms, &hour);
    if (newest.time_ms - since_ms >= notable_rest_ms)
        status = load_rests(link, point, newest.time_ms);
    if (status != STORE_OK)
        return status;
    return monitor_wants_hours(link->monitor, point) ? load_window(link, point, newest.time_ms)
                                                     : STORE_OK;
}

/* ---- records ---- */

struct record_reader {
    struct monitor_store *link;
    struct monitor_dates *dates; /* from the first system asked for on */
    size_t first_system;
    bool failed;
};

static int64_t later(int64_t a, int64_t b) {
    return a > b ? a : b;
}

static bool load_values(struct record_reader *reader, size_t system,
                        const struct record_commissioning *record, json_t *root) {
    const struct fleet *fleet = monitor_fleet(reader->link->monitor);
    const char *id;
    json_t *value;
    json_object_foreach(json_object_get(root, "points"), id, value) {
        size_t point = fleet_find_point(fleet, system, id);
        if (point != FLEET_NONE && json_is_number(value) &&
            !monitor_load_baseline(reader->link->monitor, point, record->from_ms,
                                   json_number_value(value), record->by,
                                   strcmp(record->origin, "learned") == 0))
            return false;
    }
    return true;
}

static bool on_commissioning(void *context, const struct record_commissioning *record) {
    struct record_reader *reader = context;
    const struct fleet *fleet = monitor_fleet(reader->link->monitor);
    size_t system = fleet_find_system(fleet, record->system);
    if (system == FLEET_NONE)
        return true;
    json_t *root = json_loads(record->text, 0, NULL);
    struct monitor_dates *dates = &reader->dates[system - reader->first_system];
    if (strcmp(record->origin, "learned") != 0) {
        dates->visited_ms = later(dates->visited_ms, record->from_ms);
        if (dates->commissioned_ms == TIMESTAMP_NONE)
            dates->commissioned_ms = record->from_ms; /* the oldest comes first */
        if (json_is_number(json_object_get(root, "radon_after")))
            dates->tested_ms = later(dates->tested_ms, record->from_ms);
        json_t *next = json_object_get(root, "next_calibration");
        if (json_is_integer(next)) /* else what an older record says holds on */
            dates->next_calibration_ms = json_integer_value(next);
    }
    reader->failed |= !load_values(reader, system, record, root);
    json_decref(root);
    return true;
}

static bool on_visit(void *context, const struct record_visit *visit) {
    struct record_reader *reader = context;
    const struct fleet *fleet = monitor_fleet(reader->link->monitor);
    size_t system = fleet_find_system(fleet, visit->system);
    if (system == FLEET_NONE)
        return true;
    struct monitor_dates *dates = &reader->dates[system - reader->first_system];
    dates->visited_ms = later(dates->visited_ms, visit->on_ms);
    json_t *facts = visit->text ? json_loads(visit->text, 0, NULL) : NULL;
    json_t *calibrated = json_object_get(facts, "next_calibration");
    if (json_is_integer(calibrated))
        dates->next_calibration_ms = json_integer_value(calibrated);
    json_decref(facts);
    return true;
}

static bool on_radon_test(void *context, const struct record_radon_test *test) {
    struct record_reader *reader = context;
    size_t system = fleet_find_system(monitor_fleet(reader->link->monitor), test->system);
    if (system == FLEET_NONE)
        return true;
    struct monitor_dates *dates = &reader->dates[system - reader->first_system];
    dates->tested_ms = later(dates->tested_ms, test->to_ms);
    return true;
}

static enum store_status read_records(struct monitor_store *link, size_t only_system) {
    const struct fleet *fleet = monitor_fleet(link->monitor);
    bool all = only_system == FLEET_NONE;
    size_t count = all ? fleet->system_count : 1;
    struct record_reader reader = {.link = link, .first_system = all ? 0 : only_system};
    reader.dates = malloc((count + 1) * sizeof *reader.dates);
    if (!reader.dates)
        return STORE_OUT_OF_MEMORY;
    const struct monitor_dates none = MONITOR_NO_DATES;
    for (size_t i = 0; i < count; i++)
        reader.dates[i] = none;
    const char *id = all ? NULL : fleet_system_id(fleet, only_system);
    enum store_status status =
        record_commissioning_list(link->store, id, on_commissioning, &reader);
    if (status == STORE_OK)
        status = record_visit_list(link->store, id, on_visit, &reader);
    if (status == STORE_OK)
        status = record_radon_test_list(link->store, id, on_radon_test, &reader);
    for (size_t i = 0; i < count && status == STORE_OK; i++)
        monitor_set_dates(link->monitor, reader.first_system + i, &reader.dates[i]);
    free(reader.dates);
    return status == STORE_OK && reader.failed ? STORE_OUT_OF_MEMORY : status;
}

enum store_status monitor_store_read_records(struct monitor_store *link, size_t system) {
    return read_records(link, system);
}

/* ---- trackers and services ---- */

static bool on_tracker(void *context, const struct record_tracker *row) {
    struct monitor_store *link = context;
    const struct fleet *fleet = monitor_fleet(link->monitor);
    struct monitor_tracker tracker = {.system = FLEET_NONE, .point = FLEET_NONE};
    if (*row->system && (tracker.system = fleet_find_system(fleet, row->system)) == FLEET_NONE)
        return true;
    if (*row->point &&
        (tracker.point = fleet_find_point(fleet, tracker.system, row->point)) == FLEET_NONE)
        return true;
    if (!condition_find(row->condition, &tracker.condition) || row->phase < TRACKER_REST ||
        row->phase > TRACKER_CLEARING)
        return true;
    tracker.tracker =
        (struct tracker){row->since_ms, row->since_ms, (enum tracker_phase)row->phase};
    const struct alarm *alarm = alarm_book_standing(monitor_alarms(link->monitor), tracker.system,
                                                    tracker.point, tracker.condition);
    /* What came back from silence is still listened for, but its alarm is over. */
    bool ended = condition_info(tracker.condition)->measure == MEASURE_AGE;
    bool has_alarm = row->phase == TRACKER_STANDING || (row->phase == TRACKER_CLEARING && !ended);
    if (has_alarm && !alarm)
        return true; /* closed when the settings did not know its place: it begins anew */
    if (alarm)
        tracker.tracker.began_ms = alarm->since_ms;
    monitor_load_tracker(link->monitor, &tracker);
    return true;
}

static bool on_service(void *context, const struct record_service *row) {
    struct monitor_store *link = context;
    size_t system = fleet_find_system(monitor_fleet(link->monitor), row->system);
    if (system != FLEET_NONE)
        monitor_set_out_of_service(link->monitor, system, row->until_ms);
    return true;
}

enum store_status monitor_store_open(struct monitor_store *link, struct store *store,
                                     struct monitor *monitor) {
    const struct fleet *fleet = monitor_fleet(monitor);
    *link = (struct monitor_store){.store = store, .monitor = monitor};
    link->keys = calloc(fleet->point_count + 1, sizeof *link->keys);
    if (!link->keys)
        return STORE_OUT_OF_MEMORY;
    enum store_status status = make_keys(link);
    for (size_t i = 0; i < fleet->point_count && status == STORE_OK; i++)
        status = load_point(link, i);
    if (status == STORE_OK)
        status = read_records(link, FLEET_NONE);
    if (status == STORE_OK)
        status = alarm_rows_load(link->store, link->monitor);
    if (status == STORE_OK)
        status = record_tracker_list(store, on_tracker, link);
    if (status == STORE_OK)
        status = record_service_list(store, on_service, link);
    return status;
}

void monitor_store_close(struct monitor_store *link) {
    free(link->keys);
    link->keys = NULL;
}

/* ---- beside the memory at work ---- */

enum store_status monitor_store_open_beside(struct monitor_store *link,
                                            const struct monitor_store *former,
                                            struct monitor *monitor,
                                            const struct fleet_change *change) {
    *link = (struct monitor_store){.store = former->store, .monitor = monitor};
    link->keys = calloc(change->fleet->point_count + 1, sizeof *link->keys);
    if (!link->keys)
        return STORE_OUT_OF_MEMORY;
    for (size_t i = 0; i < change->fleet->point_count; i++) {
        if (change->points_were[i] != FLEET_NONE)
            link->keys[i] = former->keys[change->points_were[i]];
    }
    return STORE_OK;
}

static enum store_status read_system(struct monitor_store *link, const struct fleet_change *change,
                                     size_t system) {
    const struct fleet_system *owner = &change->fleet->systems[system];
    bool has_new = change->systems_were[system] == FLEET_NONE;
    enum store_status status = STORE_OK;
    for (size_t i = owner->first_point;
         i < owner->first_point + owner->point_count && status == STORE_OK; i++) {
        if (change->unchanged[i])
            continue;
        has_new |= change->points_were[i] == FLEET_NONE;
        status = make_key(link, i);
        if (status == STORE_OK)
            status = load_point(link, i);
    }
    return status == STORE_OK && has_new ? read_records(link, system) : status;
}

enum store_status monitor_store_read_some(struct monitor_store *link,
                                          const struct fleet_change *change,
                                          int64_t until_monotonic_ms, bool *more) {
    enum store_status status = store_begin(link->store);
    if (status != STORE_OK)
        return status;
    while (status == STORE_OK && link->next_system < change->fleet->system_count &&
           clock_monotonic_ms() < until_monotonic_ms)
        status = read_system(link, change, link->next_system++);
    *more = link->next_system < change->fleet->system_count;
    if (status == STORE_OK && !*more)
        status = record_tracker_list(link->store, on_tracker, link);
    if (status == STORE_OK && !*more)
        status = record_service_list(link->store, on_service, link);
    if (status == STORE_OK)
        return store_commit(link->store);
    store_rollback(link->store);
    return status;
}

enum store_status monitor_store_catch_up(struct monitor_store *link, const struct monitor *former,
                                         const struct fleet_change *change) {
    enum store_status status = STORE_OK;
    for (size_t i = 0; i < change->fleet->point_count && status == STORE_OK; i++) {
        size_t was = change->points_were[i];
        if (was != FLEET_NONE && !change->unchanged[i] &&
            monitor_newest(link->monitor, i).time_ms != monitor_newest(former, was).time_ms)
            status = load_point(link, i);
    }
    return status;
}

/* ---- writing ---- */

static bool put_hour(void *context, size_t point, const struct rollup_hour *hour) {
    struct monitor_store *link = context;
    const struct series_hour row = {hour->hour_ms,    hour->count,  hour->value_ms,
                                    hour->covered_ms, hour->lowest, hour->highest};
    link->failed = series_hour_put(link->store, link->keys[point], &row);
    return link->failed == STORE_OK;
}

static bool put_alarm(void *context, const struct alarm *alarm) {
    struct monitor_store *link = context;
    link->failed = alarm_rows_put(link->store, monitor_fleet(link->monitor), alarm);
    return link->failed == STORE_OK;
}

static bool put_tracker(void *context, const struct monitor_tracker *tracker) {
    struct monitor_store *link = context;
    const struct fleet *fleet = monitor_fleet(link->monitor);
    const struct record_tracker row = {
        .system = fleet_system_id(fleet, tracker->system),
        .point = fleet_point_id(fleet, tracker->point),
        .condition = condition_info(tracker->condition)->name,
        .phase = (int)tracker->tracker.phase,
        .since_ms = tracker->tracker.since_ms,
    };
    link->failed = tracker->tracker.phase == TRACKER_REST
                       ? record_tracker_delete(link->store, row.system, row.point, row.condition)
                       : record_tracker_put(link->store, &row);
    return link->failed == STORE_OK;
}

enum store_status monitor_store_write(struct monitor_store *link) {
    const struct monitor_sink sink = {link, put_hour, put_alarm, put_tracker};
    link->failed = STORE_OK;
    if (monitor_flush(link->monitor, &sink))
        return STORE_OK;
    return link->failed == STORE_OK ? STORE_OUT_OF_MEMORY : link->failed;
}
