#include "pipeline/monitor_memory.h"
#include "pipeline/equipment_json.h"

#include "host/clock.h"
#include "measure/duration.h"
#include "monitor/rests.h"
#include "pipeline/alarm_rows.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

enum { UNCHANGED_HOURS = 72, HOUR_READINGS = 4000, REST_HOURS = 60 * 24 };
static const int64_t notable_rest_ms = 6 * DURATION_HOUR_MS;

/* ---- points ---- */

static enum store_status make_key(struct monitor_memory *memory, size_t point) {
    const struct fleet *fleet = monitor_fleet(memory->monitor);
    int64_t known_ms = 0, covers_ms = fleet_covers_ms(fleet, point);
    enum store_status status =
        series_key(memory->store, fleet_system_id(fleet, fleet->points[point].system),
                   fleet_point_id(fleet, point), &memory->keys[point]);
    THEN(status, series_interval(memory->store, memory->keys[point], &known_ms));
    if (status == STORE_OK && known_ms != covers_ms)
        status = series_set_interval(memory->store, memory->keys[point], covers_ms);
    return status;
}

static struct rollup_hour from_series(const struct series_hour *hour) {
    return (struct rollup_hour){hour->hour_ms,    hour->count,  hour->value_ms,
                                hour->covered_ms, hour->lowest, hour->highest};
}

/* Within one hour: the first of the readings at its end that all equal the newest. */
static enum store_status last_change_in_hour(struct monitor_memory *memory, int64_t key,
                                             int64_t hour_ms, const struct reading *newest,
                                             int64_t *since_ms) {
    struct reading *readings = malloc(HOUR_READINGS * sizeof *readings);
    size_t count = 0;
    if (!readings)
        return STORE_OUT_OF_MEMORY;
    enum store_status status = series_read(memory->store, key, hour_ms, hour_ms + ROLLUP_HOUR_MS,
                                           readings, HOUR_READINGS, &count);
    while (status == STORE_OK && count > 0 && readings[count - 1].value == newest->value)
        *since_ms = readings[--count].time_ms;
    free(readings);
    return status;
}

static int64_t longest_gap_ms(const struct monitor_memory *memory, size_t point) {
    return rests_longest_gap_ms(
        monitor_fleet(memory->monitor)->points[point].description->every_ms);
}

/* Since when the newest value has not moved, as far as these hours know: those whose lowest and
   highest equal it are skipped whole. *found: no older hour is needed. */
static enum store_status look_for_change(struct monitor_memory *memory, size_t point,
                                         const struct series_hour *hours, size_t count,
                                         const struct reading *newest, int64_t *since_ms,
                                         bool *found) {
    int64_t gap_ms = longest_gap_ms(memory, point);
    for (size_t i = count; i > 0; i--) {
        const struct series_hour *hour = &hours[i - 1];
        if (hour->count == 0)
            continue;
        *found = true;
        if (*since_ms - hour->hour_ms > gap_ms || newest->value < hour->lowest ||
            newest->value > hour->highest)
            return STORE_OK;
        if (hour->lowest != newest->value || hour->highest != newest->value)
            return last_change_in_hour(memory, memory->keys[point], hour->hour_ms, newest,
                                       since_ms);
        *found = false;
        *since_ms = hour->hour_ms;
    }
    return STORE_OK;
}

/* The same in the hours before `to_ms`, more of them at a time the longer it stood still. */
static enum store_status look_further_back(struct monitor_memory *memory, size_t point,
                                           int64_t to_ms, const struct reading *newest,
                                           int64_t *since_ms) {
    struct series_hour hours[UNCHANGED_HOURS];
    int64_t oldest_ms = to_ms - REST_HOURS * ROLLUP_HOUR_MS, step_ms = 9 * ROLLUP_HOUR_MS;
    enum store_status status = STORE_OK;
    bool found = false;
    while (status == STORE_OK && !found && to_ms > oldest_ms &&
           *since_ms - to_ms <= longest_gap_ms(memory, point)) {
        int64_t from_ms = to_ms - step_ms > oldest_ms ? to_ms - step_ms : oldest_ms;
        size_t count = 0;
        status = series_hours(memory->store, memory->keys[point], from_ms, to_ms, hours,
                              UNCHANGED_HOURS, &count);
        THEN(status, look_for_change(memory, point, hours, count, newest, since_ms, &found));
        to_ms = from_ms;
        step_ms = 3 * step_ms < UNCHANGED_HOURS * ROLLUP_HOUR_MS ? 3 * step_ms
                                                                 : UNCHANGED_HOURS * ROLLUP_HOUR_MS;
    }
    return status;
}

/* Only few points stand still, so only few are looked at. */
static enum store_status load_rests(struct monitor_memory *memory, size_t point,
                                    int64_t newest_ms) {
    struct series_hour *hours = malloc(REST_HOURS * sizeof *hours);
    struct rollup_hour *rollups = malloc(REST_HOURS * sizeof *rollups);
    size_t count = 0;
    enum store_status status = STORE_OUT_OF_MEMORY;
    int64_t hour_ms = rollup_hour_start(newest_ms);
    if (hours && rollups)
        status = series_hours(memory->store, memory->keys[point],
                              hour_ms - (REST_HOURS - 1) * ROLLUP_HOUR_MS, hour_ms + ROLLUP_HOUR_MS,
                              hours, REST_HOURS, &count);
    for (size_t i = 0; status == STORE_OK && i < count; i++)
        rollups[i] = from_series(&hours[i]);
    if (status == STORE_OK)
        monitor_load_rests(memory->monitor, point, rollups, count);
    free(hours);
    free(rollups);
    return status;
}

/* The newest hours of a point serve three: the running hour, the window of 24 h where one is
   wanted, and since when the newest value has not moved, which most have lately. */
static enum store_status load_point(struct monitor_memory *memory, size_t point) {
    struct series_hour hours[ROLLUP_WINDOW_HOURS];
    struct reading newest;
    size_t count = 0;
    bool found = false, is_wanted = monitor_wants_hours(memory->monitor, point);
    int64_t key = memory->keys[point];
    enum store_status status = series_newest(memory->store, key, &newest);
    if (status != STORE_OK)
        return status == STORE_NOT_FOUND ? STORE_OK : status;
    int64_t since_ms = newest.time_ms, hour_ms = rollup_hour_start(newest.time_ms);
    int64_t from_ms = hour_ms - (is_wanted ? ROLLUP_WINDOW_HOURS - 1 : 2) * ROLLUP_HOUR_MS;
    status = series_hours(memory->store, key, from_ms, hour_ms + ROLLUP_HOUR_MS, hours,
                          ROLLUP_WINDOW_HOURS, &count);
    THEN(status, look_for_change(memory, point, hours, count, &newest, &since_ms, &found));
    if (status == STORE_OK && !found)
        status = look_further_back(memory, point, from_ms, &newest, &since_ms);
    if (status != STORE_OK)
        return status;
    bool runs = count > 0 && hours[count - 1].hour_ms == hour_ms;
    const struct rollup_hour hour =
        runs ? from_series(&hours[count - 1]) : rollup_hour_empty(hour_ms);
    monitor_load_newest(memory->monitor, point, &newest, since_ms, &hour);
    for (size_t i = 0; i < count && is_wanted; i++) {
        const struct rollup_hour kept = from_series(&hours[i]);
        monitor_load_hour(memory->monitor, point, &kept);
    }
    return newest.time_ms - since_ms >= notable_rest_ms ? load_rests(memory, point, newest.time_ms)
                                                        : STORE_OK;
}

/* ---- records ---- */

struct record_reader {
    struct monitor_memory *memory;
    struct monitor_dates *dates; /* from the first system asked for on */
    size_t first_system;
    bool failed;
};

static int64_t later(int64_t a, int64_t b) {
    return a > b ? a : b;
}

static bool load_values(struct record_reader *reader, size_t system,
                        const struct record_commissioning *record, json_t *root) {
    const struct fleet *fleet = monitor_fleet(reader->memory->monitor);
    const char *id;
    json_t *value;
    json_object_foreach(json_object_get(root, "points"), id, value) {
        size_t point = fleet_find_point(fleet, system, id);
        if (point != FLEET_NONE && json_is_number(value) &&
            !monitor_load_baseline(reader->memory->monitor, point, record->from_ms,
                                   json_number_value(value), record->by,
                                   strcmp(record->origin, "learned") == 0))
            return false;
    }
    return true;
}

static unsigned changes_of(const json_t *facts) {
    unsigned changes = CHANGE_UNSAID;
    const json_t *list = json_object_get(facts, "changed"), *word;
    size_t i;
    json_array_foreach((json_t *)list, i, word) {
        unsigned bit = 0;
        if (json_is_string(word) && change_find(json_string_value(word), &bit))
            changes |= bit;
    }
    return changes;
}

/* The fans that a record or a visit of this time names. */
static bool load_fans(struct record_reader *reader, size_t system, int64_t record_ms,
                      const json_t *root) {
    const json_t *list = json_object_get(root, "equipment");
    const struct time_zone *zone = monitor_fleet(reader->memory->monitor)->systems[system].zone;
    struct equipment fan;
    for (size_t i = 0; i < json_array_size(list); i++) {
        if (equipment_json_read(json_array_get(list, i), &fan) &&
            !monitor_load_fan(reader->memory->monitor, system,
                              equipment_since_ms(&fan, zone, record_ms), &fan))
            return false;
    }
    return true;
}

static bool on_commissioning(void *context, const struct record_commissioning *record) {
    struct record_reader *reader = context;
    const struct fleet *fleet = monitor_fleet(reader->memory->monitor);
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
    reader->failed |=
        !load_values(reader, system, record, root) ||
        !monitor_load_renewal(reader->memory->monitor, system, record->from_ms, changes_of(root)) ||
        !load_fans(reader, system, record->from_ms, root);
    json_decref(root);
    return true;
}

static bool on_visit(void *context, const struct record_visit *visit) {
    struct record_reader *reader = context;
    const struct fleet *fleet = monitor_fleet(reader->memory->monitor);
    size_t system = fleet_find_system(fleet, visit->system);
    if (system == FLEET_NONE)
        return true;
    struct monitor_dates *dates = &reader->dates[system - reader->first_system];
    dates->visited_ms = later(dates->visited_ms, visit->on_ms);
    json_t *facts = visit->text ? json_loads(visit->text, 0, NULL) : NULL;
    json_t *calibrated = json_object_get(facts, "next_calibration");
    if (json_is_integer(calibrated))
        dates->next_calibration_ms = json_integer_value(calibrated);
    unsigned changes = changes_of(facts);
    if (changes != CHANGE_UNSAID)
        reader->failed |=
            !monitor_load_renewal(reader->memory->monitor, system, visit->on_ms, changes);
    reader->failed |= !load_fans(reader, system, visit->on_ms, facts);
    json_decref(facts);
    return true;
}

static bool on_radon_test(void *context, const struct record_radon_test *test) {
    struct record_reader *reader = context;
    size_t system = fleet_find_system(monitor_fleet(reader->memory->monitor), test->system);
    if (system == FLEET_NONE)
        return true;
    struct monitor_dates *dates = &reader->dates[system - reader->first_system];
    dates->tested_ms = later(dates->tested_ms, test->to_ms);
    return true;
}

enum store_status monitor_memory_read_records(struct monitor_memory *memory, size_t only_system) {
    const struct fleet *fleet = monitor_fleet(memory->monitor);
    bool all = only_system == FLEET_NONE;
    size_t count = all ? fleet->system_count : 1;
    struct record_reader reader = {.memory = memory, .first_system = all ? 0 : only_system};
    reader.dates = malloc((count + 1) * sizeof *reader.dates);
    if (!reader.dates)
        return STORE_OUT_OF_MEMORY;
    const struct monitor_dates none = MONITOR_NO_DATES;
    for (size_t i = 0; i < count; i++)
        reader.dates[i] = none;
    const char *id = all ? NULL : fleet_system_id(fleet, only_system);
    for (size_t i = 0; i < count; i++)
        monitor_forget_fans(memory->monitor, reader.first_system + i);
    enum store_status status = record_commissioning_list(memory->store, id, RECORD_OLDEST_FIRST,
                                                         on_commissioning, &reader);
    THEN(status, record_visit_list(memory->store, id, RECORD_OLDEST_FIRST, on_visit, &reader));
    THEN(status,
         record_radon_test_list(memory->store, id, RECORD_OLDEST_FIRST, on_radon_test, &reader));
    for (size_t i = 0; i < count && status == STORE_OK; i++)
        monitor_set_dates(memory->monitor, reader.first_system + i, &reader.dates[i]);
    free(reader.dates);
    return status == STORE_OK && reader.failed ? STORE_OUT_OF_MEMORY : status;
}

/* ---- trackers and services ---- */

static bool on_tracker(void *context, const struct record_tracker *row) {
    struct monitor_memory *memory = context;
    const struct fleet *fleet = monitor_fleet(memory->monitor);
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
    const struct alarm *alarm = alarm_book_standing(monitor_alarms(memory->monitor), tracker.system,
                                                    tracker.point, tracker.condition);
    /* What came back from silence is still listened for, but its alarm is over. */
    bool ended = condition_info(tracker.condition)->measure == MEASURE_AGE;
    bool has_alarm = row->phase == TRACKER_STANDING || (row->phase == TRACKER_CLEARING && !ended);
    if (has_alarm && !alarm)
        return true; /* closed when the settings did not know its place: it begins anew */
    if (alarm)
        tracker.tracker.began_ms = alarm->since_ms;
    monitor_load_tracker(memory->monitor, &tracker);
    return true;
}

static bool on_service(void *context, const struct record_service *row) {
    struct monitor_memory *memory = context;
    size_t system = fleet_find_system(monitor_fleet(memory->monitor), row->system);
    if (system != FLEET_NONE)
        monitor_set_out_of_service(memory->monitor, system, row->until_ms);
    return true;
}

static enum store_status prepare(struct monitor_memory *memory, struct store *store,
                                 struct monitor *monitor) {
    size_t point_count = monitor_fleet(monitor)->point_count;
    *memory = (struct monitor_memory){.store = store, .monitor = monitor};
    memory->keys = calloc(point_count + 1, sizeof *memory->keys);
    memory->months = month_means_open(point_count);
    return memory->keys && memory->months ? STORE_OK : STORE_OUT_OF_MEMORY;
}

static enum store_status read_all(struct monitor_memory *memory) {
    size_t point_count = monitor_fleet(memory->monitor)->point_count;
    enum store_status status = STORE_OK;
    for (size_t i = 0; i < point_count && status == STORE_OK; i++) {
        status = make_key(memory, i);
        THEN(status, load_point(memory, i));
    }
    THEN(status, monitor_memory_read_records(memory, FLEET_NONE));
    THEN(status, alarm_rows_load(memory->store, memory->monitor));
    THEN(status, record_tracker_list(memory->store, on_tracker, memory));
    THEN(status, record_service_list(memory->store, on_service, memory));
    return status;
}

/* In one transaction: SQLite takes and leaves its locks once, not with each statement. */
enum store_status monitor_memory_open(struct monitor_memory *memory, struct store *store,
                                      struct monitor *monitor) {
    enum store_status status = prepare(memory, store, monitor);
    THEN(status, store_begin(store));
    if (status != STORE_OK)
        return status;
    status = read_all(memory);
    if (status == STORE_OK)
        return store_commit(store);
    store_rollback(store);
    return status;
}

void monitor_memory_close(struct monitor_memory *memory) {
    free(memory->keys);
    month_means_close(memory->months);
    memory->keys = NULL;
    memory->months = NULL;
}

/* ---- beside the memory at work ---- */

enum store_status monitor_memory_open_beside(struct monitor_memory *memory,
                                             const struct monitor_memory *former,
                                             struct monitor *monitor,
                                             const struct fleet_change *change) {
    enum store_status status = prepare(memory, former->store, monitor);
    for (size_t i = 0; i < change->fleet->point_count && status == STORE_OK; i++) {
        if (change->points_were[i] != FLEET_NONE)
            memory->keys[i] = former->keys[change->points_were[i]];
    }
    return status;
}

static bool has_new_branch(const struct fleet_change *change, size_t system) {
    const struct system_description *now = change->fleet->systems[system].description;
    const struct system_description *before =
        change->former->systems[change->systems_were[system]].description;
    for (size_t b = 0; b < now->branch_count; b++) {
        if (branch_description_find(before->branches, before->branch_count, now->branches[b].id) ==
            BRANCH_NONE)
            return true;
    }
    return false;
}

static enum store_status read_system(struct monitor_memory *memory,
                                     const struct fleet_change *change, size_t system) {
    const struct fleet_system *owner = &change->fleet->systems[system];
    bool has_new = change->systems_were[system] == FLEET_NONE || has_new_branch(change, system);
    enum store_status status = STORE_OK;
    for (size_t i = owner->first_point;
         i < owner->first_point + owner->point_count && status == STORE_OK; i++) {
        if (change->unchanged[i])
            continue;
        has_new |= change->points_were[i] == FLEET_NONE;
        status = make_key(memory, i);
        THEN(status, load_point(memory, i));
    }
    return status == STORE_OK && has_new ? monitor_memory_read_records(memory, system) : status;
}

enum store_status monitor_memory_read_some(struct monitor_memory *memory,
                                           const struct fleet_change *change,
                                           int64_t until_monotonic_ms, bool *more) {
    enum store_status status = store_begin(memory->store);
    if (status != STORE_OK)
        return status;
    while (status == STORE_OK && memory->next_system < change->fleet->system_count &&
           clock_monotonic_ms() < until_monotonic_ms)
        status = read_system(memory, change, memory->next_system++);
    *more = memory->next_system < change->fleet->system_count;
    if (status == STORE_OK && !*more)
        status = alarm_rows_load_new(memory->store, memory->monitor, change);
    if (status == STORE_OK && !*more)
        status = record_tracker_list(memory->store, on_tracker, memory);
    if (status == STORE_OK && !*more)
        status = record_service_list(memory->store, on_service, memory);
    if (status == STORE_OK)
        return store_commit(memory->store);
    store_rollback(memory->store);
    return status;
}

enum store_status monitor_memory_catch_up(struct monitor_memory *memory,
                                          const struct monitor *former,
                                          const struct fleet_change *change) {
    enum store_status status = STORE_OK;
    for (size_t i = 0; i < change->fleet->point_count && status == STORE_OK; i++) {
        size_t was = change->points_were[i];
        if (was != FLEET_NONE && !change->unchanged[i] &&
            monitor_newest(memory->monitor, i).time_ms != monitor_newest(former, was).time_ms)
            status = load_point(memory, i);
    }
    return status;
}
