#include "pipeline/alarm_rows.h"

#include "measure/array.h"
#include "measure/timestamp.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- reading ---- */

struct alarm_reader {
    struct store *store;
    struct monitor *monitor;
    const struct fleet_change *change; /* not NULL: only of systems that are new with it */
    enum store_status closed;          /* how the last orphan was closed */
    struct alarm *alarms;              /* loaded oldest first, after the list has ended */
    size_t count;
    int64_t *orphans; /* of systems or points that the settings no longer have */
    size_t orphan_count;
    bool failed;
};

static char *copy(struct alarm_reader *reader, const char *text) {
    char *copied = text ? strdup(text) : NULL;
    reader->failed |= text && !copied;
    return copied;
}

static bool find_place(const struct fleet *fleet, const struct record_alarm *row, size_t *system,
                       size_t *point) {
    *system = *point = FLEET_NONE;
    if (*row->system) {
        *system = fleet_find_system(fleet, row->system);
        if (*system == FLEET_NONE)
            return false;
        if (*row->point) {
            *point = fleet_find_point(fleet, *system, row->point);
            return *point != FLEET_NONE;
        }
    }
    return true;
}

static struct alarm from_row(struct alarm_reader *reader, const struct record_alarm *row) {
    struct alarm alarm = {
        .id = row->id,
        .since_ms = row->since_ms,
        .raised_ms = row->raised_ms,
        .returned_ms = row->returned_ms,
        .value = row->value,
        .setpoint = row->setpoint,
        .baseline = NAN,
        .returned_value = NAN,
        .acknowledged = {row->acknowledged_ms, copy(reader, row->acknowledged_by),
                         copy(reader, row->note)},
        .shelved = {row->shelved_until_ms, copy(reader, row->shelved_by),
                    copy(reader, row->shelved_why)},
        .out_of_service = strcmp(row->state, "out of service") == 0,
        .told = row->told,
        .return_told = row->returned_ms != TIMESTAMP_NONE,
        .reminded_ms = row->reminded_ms,
        .escalated_ms = row->escalated_ms,
        .hold_until_ms = INT64_MIN,
        .waits_since_ms = TIMESTAMP_NONE,
        .details = copy(reader, row->details),
    };
    return alarm;
}

/* The daemon's own conditions carry what they are about in the point's column. */
static void place_alarm(struct alarm_reader *reader, struct alarm *alarm,
                        const struct record_alarm *row) {
    const struct monitor *monitor = reader->monitor;
    const struct fleet *fleet = monitor_fleet(monitor);
    condition_find(row->condition, &alarm->condition);
    priority_find(row->priority, &alarm->priority);
    if (!*row->system && *row->point)
        alarm->subject = copy(reader, row->point);
    find_place(fleet, row, &alarm->system, &alarm->point);
    if (alarm->point == FLEET_NONE || condition_info(alarm->condition)->scope != SCOPE_POINT)
        return;
    const struct point_baseline *baseline =
        point_state_baseline(monitor_point(monitor, alarm->point), alarm->raised_ms);
    if (baseline)
        alarm->baseline = baseline->value;
}

static bool add_orphan(struct alarm_reader *reader, int64_t id) {
    int64_t *grown = array_room(reader->orphans, reader->orphan_count, sizeof *grown);
    reader->failed |= !grown;
    if (!grown)
        return false;
    reader->orphans = grown;
    reader->orphans[reader->orphan_count++] = id;
    return true;
}

static bool add_alarm(struct alarm_reader *reader, const struct record_alarm *row) {
    struct alarm *grown = array_room(reader->alarms, reader->count, sizeof *grown);
    reader->failed |= !grown;
    if (!grown)
        return false;
    reader->alarms = grown;
    reader->alarms[reader->count] = from_row(reader, row);
    place_alarm(reader, &reader->alarms[reader->count++], row);
    return true;
}

static bool on_alarm(void *context, const struct record_alarm *row) {
    struct alarm_reader *reader = context;
    const struct fleet *fleet = monitor_fleet(reader->monitor);
    size_t system = 0, point = 0;
    enum condition condition;
    bool known =
        find_place(fleet, row, &system, &point) && condition_find(row->condition, &condition);
    if (reader->change)
        return !known || system == FLEET_NONE ||
               reader->change->systems_were[system] != FLEET_NONE || add_alarm(reader, row);
    return known ? add_alarm(reader, row) : add_orphan(reader, row->id);
}

static bool close_orphan(void *context, const struct record_alarm *row) {
    struct alarm_reader *reader = context;
    struct record_alarm closed = *row;
    closed.open = false;
    closed.state = "normal";
    closed.note = "its system or point is no longer in the settings";
    if (closed.returned_ms == TIMESTAMP_NONE)
        closed.returned_ms = row->raised_ms;
    reader->closed = record_alarm_put(reader->store, &closed);
    return true;
}

static enum store_status close_orphans(struct alarm_reader *reader) {
    if (reader->orphan_count == 0)
        return STORE_OK;
    enum store_status status = store_begin(reader->store);
    for (size_t i = 0; i < reader->orphan_count && status == STORE_OK; i++) {
        status = record_alarm_get(reader->store, reader->orphans[i], close_orphan, reader);
        THEN(status, reader->closed);
    }
    if (status == STORE_OK)
        return store_commit(reader->store);
    store_rollback(reader->store);
    return status;
}

/* Into the book, all or none. */
static enum store_status load_open(struct alarm_reader *reader) {
    struct alarm_book *book = monitor_alarms(reader->monitor);
    const struct record_alarm_filter open = {.only_open = true, .since_ms = TIMESTAMP_NONE};
    enum store_status status = record_alarm_list(reader->store, &open, on_alarm, reader);
    if (status == STORE_OK && reader->failed)
        status = STORE_OUT_OF_MEMORY;
    for (size_t i = reader->count; i > 0; i--) {
        bool taken = status == STORE_OK && alarm_book_load(book, &reader->alarms[i - 1]);
        if (!taken)
            alarm_clear(&reader->alarms[i - 1]);
        if (!taken && status == STORE_OK)
            status = STORE_OUT_OF_MEMORY;
    }
    alarm_book_loaded(book);
    free(reader->alarms);
    return status;
}

enum store_status alarm_rows_load_new(struct store *store, struct monitor *monitor,
                                      const struct fleet_change *change) {
    struct alarm_reader reader = {.store = store, .monitor = monitor, .change = change};
    return load_open(&reader);
}

enum store_status alarm_rows_load(struct store *store, struct monitor *monitor) {
    struct alarm_reader reader = {.store = store, .monitor = monitor};
    int64_t highest = 0;
    enum store_status status = load_open(&reader);
    THEN(status, close_orphans(&reader));
    THEN(status, record_alarm_highest(store, &highest));
    alarm_book_number_from(monitor_alarms(monitor), highest);
    free(reader.orphans);
    return status;
}

/* ---- writing ---- */

static const char *unit_of(const struct fleet *fleet, const struct alarm *alarm) {
    if (alarm->point == FLEET_NONE || condition_info(alarm->condition)->scope != SCOPE_POINT)
        return "";
    return unit_si_word(fleet->points[alarm->point].description->binding.unit->dimension);
}

struct record_alarm alarm_row_of(const struct fleet *fleet, const struct alarm *alarm) {
    return (struct record_alarm){
        .id = alarm->id,
        .system = fleet_system_id(fleet, alarm->system),
        .point = alarm->subject ? alarm->subject : fleet_point_id(fleet, alarm->point),
        .condition = condition_info(alarm->condition)->name,
        .state = alarm_state_word(alarm_state(alarm)),
        .priority = priority_word(alarm->priority),
        .since_ms = alarm->since_ms,
        .raised_ms = alarm->raised_ms,
        .returned_ms = alarm->returned_ms,
        .acknowledged_ms = alarm->acknowledged.time_ms,
        .acknowledged_by = alarm->acknowledged.by,
        .note = alarm->acknowledged.note,
        .shelved_until_ms = alarm->shelved.until_ms,
        .shelved_by = alarm->shelved.by,
        .shelved_why = alarm->shelved.why,
        .value = alarm->value,
        .setpoint = alarm->setpoint,
        .unit = unit_of(fleet, alarm),
        .told = alarm->told,
        .open = alarm_open(alarm),
        .reminded_ms = alarm->reminded_ms,
        .escalated_ms = alarm->escalated_ms,
        .details = alarm->details,
    };
}

enum store_status alarm_rows_put(struct store *store, const struct fleet *fleet,
                                 const struct alarm *alarm) {
    const struct record_alarm row = alarm_row_of(fleet, alarm);
    return record_alarm_put(store, &row);
}
