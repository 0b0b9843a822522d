/*
 * records_alarms: alarms, second looks at them, and the trackers of delays that run. See records.h.
 */
#include "store/records.h"

#include "measure/timestamp.h"
#include "store/store_sqlite.h"

/* ---- alarms ---- */

#define ALARM_COLUMNS                                                                              \
    "id, system, point, condition, state, priority, since_ms, raised_ms, returned_ms, "            \
    "acknowledged_ms, acknowledged_by, note, shelved_until_ms, shelved_by, shelved_why, value, "   \
    "setpoint, unit, told, open, reminded_ms, escalated_ms, details"

static void bind_alarm(sqlite3_stmt *put, const struct record_alarm *alarm) {
    sqlite3_bind_int64(put, 1, alarm->id);
    store_bind_text(put, 2, alarm->system ? alarm->system : "");
    store_bind_text(put, 3, alarm->point ? alarm->point : "");
    store_bind_text(put, 4, alarm->condition);
    store_bind_text(put, 5, alarm->state);
    store_bind_text(put, 6, alarm->priority);
    store_bind_time(put, 7, alarm->since_ms);
    store_bind_time(put, 8, alarm->raised_ms);
    store_bind_time(put, 9, alarm->returned_ms);
    store_bind_time(put, 10, alarm->acknowledged_ms);
    store_bind_text(put, 11, alarm->acknowledged_by);
    store_bind_text(put, 12, alarm->note);
    store_bind_time(put, 13, alarm->shelved_until_ms);
    store_bind_text(put, 14, alarm->shelved_by);
    store_bind_text(put, 15, alarm->shelved_why);
    store_bind_number(put, 16, alarm->value);
    store_bind_number(put, 17, alarm->setpoint);
    store_bind_text(put, 18, alarm->unit);
    sqlite3_bind_int(put, 19, alarm->told);
    sqlite3_bind_int(put, 20, alarm->open);
    store_bind_time(put, 21, alarm->reminded_ms);
    store_bind_time(put, 22, alarm->escalated_ms);
    store_bind_text(put, 23, alarm->details);
}

static struct record_alarm alarm_of(sqlite3_stmt *row) {
    return (struct record_alarm){
        .id = sqlite3_column_int64(row, 0),
        .system = store_column_text(row, 1),
        .point = store_column_text(row, 2),
        .condition = store_column_text(row, 3),
        .state = store_column_text(row, 4),
        .priority = store_column_text(row, 5),
        .since_ms = store_column_time(row, 6),
        .raised_ms = store_column_time(row, 7),
        .returned_ms = store_column_time(row, 8),
        .acknowledged_ms = store_column_time(row, 9),
        .acknowledged_by = store_column_text(row, 10),
        .note = store_column_text(row, 11),
        .shelved_until_ms = store_column_time(row, 12),
        .shelved_by = store_column_text(row, 13),
        .shelved_why = store_column_text(row, 14),
        .value = store_column_number(row, 15),
        .setpoint = store_column_number(row, 16),
        .unit = store_column_text(row, 17),
        .told = sqlite3_column_int(row, 18) != 0,
        .open = sqlite3_column_int(row, 19) != 0,
        .reminded_ms = store_column_time(row, 20),
        .escalated_ms = store_column_time(row, 21),
        .details = store_column_text(row, 22),
    };
}

enum store_status record_alarm_put(struct store *store, const struct record_alarm *alarm) {
    sqlite3_stmt *put;
    enum store_status status = store_statement(
        store, STATEMENT_ALARM_PUT,
        "INSERT OR REPLACE INTO alarms (" ALARM_COLUMNS ") VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, "
        "?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22, ?23)",
        &put);
    if (status != STORE_OK)
        return status;
    bind_alarm(put, alarm);
    return store_run(store, put);
}

enum store_status record_alarm_delete(struct store *store, int64_t id) {
    sqlite3_stmt *delete;
    enum store_status status =
        store_statement(store, STATEMENT_ALARM_DELETE, "DELETE FROM alarms WHERE id = ?1", &delete);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(delete, 1, id);
    return store_run(store, delete);
}

enum store_status record_alarm_highest(struct store *store, int64_t *id) {
    sqlite3_stmt *highest;
    enum store_status status = store_statement(store, STATEMENT_ALARM_HIGHEST,
                                               "SELECT coalesce(max(id), 0) FROM alarms", &highest);
    if (status == STORE_OK)
        status = store_row(store, highest);
    if (status != STORE_OK)
        return status;
    *id = sqlite3_column_int64(highest, 0);
    sqlite3_reset(highest);
    return STORE_OK;
}

/* The first part picks the index, the second serves every filter. */
#define ALARM_LIST(first)                                                                          \
    "SELECT " ALARM_COLUMNS " FROM alarms WHERE " first                                            \
    " AND (?2 IS NULL OR point = ?2) AND (?3 IS NULL OR condition = ?3) AND (?4 IS NULL OR "       \
    "raised_ms >= ?4 OR returned_ms IS NULL OR returned_ms >= ?4) "                                \
    "AND (raised_ms, id) < (?6, ?7) "                                                              \
    "ORDER BY raised_ms DESC, id DESC LIMIT ?5"

static enum store_status
list_statement(struct store *store, const struct record_alarm_filter *filter, sqlite3_stmt **list) {
    if (filter->only_open && filter->system)
        return store_statement(store, STATEMENT_ALARM_LIST_OPEN_SYSTEM,
                               ALARM_LIST("open = 1 AND system = ?1"), list);
    if (filter->only_open)
        return store_statement(store, STATEMENT_ALARM_LIST_OPEN, ALARM_LIST("open = 1"), list);
    if (filter->system)
        return store_statement(store, STATEMENT_ALARM_LIST_SYSTEM, ALARM_LIST("system = ?1"), list);
    return store_statement(store, STATEMENT_ALARM_LIST, ALARM_LIST("1"), list);
}

static enum store_status
hand_out_alarms(struct store *store, sqlite3_stmt *list,
                bool (*row)(void *context, const struct record_alarm *alarm), void *context) {
    enum store_status status;
    while ((status = store_row(store, list)) == STORE_OK) {
        struct record_alarm alarm = alarm_of(list);
        if (!row(context, &alarm)) {
            sqlite3_reset(list);
            break;
        }
    }
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

enum store_status record_alarm_list(struct store *store, const struct record_alarm_filter *filter,
                                    bool (*row)(void *context, const struct record_alarm *alarm),
                                    void *context) {
    sqlite3_stmt *list;
    enum store_status status = list_statement(store, filter, &list);
    if (status != STORE_OK)
        return status;
    if (filter->system)
        store_bind_text(list, 1, filter->system);
    store_bind_text(list, 2, filter->point);
    store_bind_text(list, 3, filter->condition);
    store_bind_time(list, 4, filter->since_ms);
    sqlite3_bind_int64(list, 5, filter->limit > 0 ? filter->limit : -1);
    sqlite3_bind_int64(list, 6, filter->before_id ? filter->before_raised_ms : INT64_MAX);
    sqlite3_bind_int64(list, 7, filter->before_id ? filter->before_id : INT64_MAX);
    return hand_out_alarms(store, list, row, context);
}

enum store_status record_alarm_get(struct store *store, int64_t id,
                                   bool (*row)(void *context, const struct record_alarm *alarm),
                                   void *context) {
    sqlite3_stmt *get;
    enum store_status status = store_statement(
        store, STATEMENT_ALARM_GET, "SELECT " ALARM_COLUMNS " FROM alarms WHERE id = ?1", &get);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(get, 1, id);
    status = store_row(store, get);
    if (status != STORE_OK)
        return status;
    struct record_alarm alarm = alarm_of(get);
    row(context, &alarm);
    sqlite3_reset(get);
    return STORE_OK;
}

static enum store_status
hand_out_occurrences(struct store *store, sqlite3_stmt *list, const char *system, const char *point,
                     const char *condition,
                     bool (*row)(void *context, const struct record_alarm *alarm), void *context) {
    store_bind_text(list, 1, system);
    store_bind_text(list, 2, point);
    store_bind_text(list, 3, condition);
    return hand_out_alarms(store, list, row, context);
}

enum store_status record_alarm_last(struct store *store, const char *system, const char *point,
                                    const char *condition, int64_t until_ms,
                                    bool (*row)(void *context, const struct record_alarm *alarm),
                                    void *context) {
    sqlite3_stmt *list;
    enum store_status status = store_statement(
        store, STATEMENT_ALARM_LAST,
        "SELECT " ALARM_COLUMNS " FROM alarms WHERE system = ?1 AND point = ?2 AND condition = ?3 "
        "AND raised_ms <= ?4 ORDER BY raised_ms DESC LIMIT 1",
        &list);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(list, 4, until_ms);
    return hand_out_occurrences(store, list, system, point, condition, row, context);
}

enum store_status record_alarm_raised(struct store *store, const char *system, const char *point,
                                      const char *condition, int64_t after_ms, int64_t until_ms,
                                      bool (*row)(void *context, const struct record_alarm *alarm),
                                      void *context) {
    sqlite3_stmt *list;
    enum store_status status = store_statement(
        store, STATEMENT_ALARM_RAISED,
        "SELECT " ALARM_COLUMNS " FROM alarms WHERE system = ?1 AND point = ?2 AND condition = ?3 "
        "AND raised_ms > ?4 AND raised_ms <= ?5 ORDER BY raised_ms",
        &list);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(list, 4, after_ms);
    sqlite3_bind_int64(list, 5, until_ms);
    return hand_out_occurrences(store, list, system, point, condition, row, context);
}

/* ---- second looks ---- */

enum store_status record_look_put(struct store *store, int64_t key,
                                  const struct record_look *look) {
    sqlite3_stmt *put;
    enum store_status status =
        store_statement(store, STATEMENT_LOOK_PUT,
                        "INSERT OR REPLACE INTO second_looks VALUES (?1, ?2, ?3, ?4, ?5)", &put);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(put, 1, key);
    sqlite3_bind_int64(put, 2, look->from_ms);
    sqlite3_bind_int64(put, 3, look->to_ms);
    store_bind_time(put, 4, look->late_from_ms);
    store_bind_time(put, 5, look->late_to_ms);
    return store_run(store, put);
}

enum store_status record_look_delete(struct store *store, int64_t key) {
    sqlite3_stmt *delete;
    enum store_status status = store_statement(
        store, STATEMENT_LOOK_DELETE, "DELETE FROM second_looks WHERE point = ?1", &delete);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(delete, 1, key);
    return store_run(store, delete);
}

enum store_status record_look_list(struct store *store,
                                   bool (*row)(void *context, const char *system, const char *point,
                                               const struct record_look *look),
                                   void *context) {
    sqlite3_stmt *list;
    enum store_status status = store_statement(
        store, STATEMENT_LOOK_LIST,
        "SELECT system, points.point, from_ms, to_ms, late_from_ms, late_to_ms FROM second_looks "
        "JOIN points ON points.key = second_looks.point ORDER BY points.key, from_ms",
        &list);
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        const struct record_look look = {sqlite3_column_int64(list, 2),
                                         sqlite3_column_int64(list, 3), store_column_time(list, 4),
                                         store_column_time(list, 5)};
        if (!row(context, store_column_text(list, 0), store_column_text(list, 1), &look)) {
            sqlite3_reset(list);
            break;
        }
    }
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

/* ---- trackers ---- */

enum store_status record_tracker_put(struct store *store, const struct record_tracker *tracker) {
    sqlite3_stmt *put;
    enum store_status status =
        store_statement(store, STATEMENT_TRACKER_PUT,
                        "INSERT OR REPLACE INTO trackers VALUES (?1, ?2, ?3, ?4, ?5, ?6)", &put);
    if (status != STORE_OK)
        return status;
    store_bind_text(put, 1, tracker->system);
    store_bind_text(put, 2, tracker->point);
    store_bind_text(put, 3, tracker->condition);
    sqlite3_bind_int(put, 4, tracker->phase);
    store_bind_time(put, 5, tracker->since_ms);
    sqlite3_bind_int64(put, 6, tracker->alarm);
    return store_run(store, put);
}

enum store_status record_tracker_delete(struct store *store, const char *system, const char *point,
                                        const char *condition) {
    sqlite3_stmt *delete;
    enum store_status status = store_statement(
        store, STATEMENT_TRACKER_DELETE,
        "DELETE FROM trackers WHERE system = ?1 AND point = ?2 AND condition = ?3", &delete);
    if (status != STORE_OK)
        return status;
    store_bind_text(delete, 1, system);
    store_bind_text(delete, 2, point);
    store_bind_text(delete, 3, condition);
    return store_run(store, delete);
}

enum store_status record_tracker_list(struct store *store,
                                      bool (*row)(void *context,
                                                  const struct record_tracker *tracker),
                                      void *context) {
    sqlite3_stmt *list;
    enum store_status status =
        store_statement(store, STATEMENT_TRACKER_LIST,
                        "SELECT system, point, condition, phase, since_ms, alarm FROM trackers "
                        "ORDER BY system, point, condition",
                        &list);
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        struct record_tracker tracker = {store_column_text(list, 0), store_column_text(list, 1),
                                         store_column_text(list, 2), sqlite3_column_int(list, 3),
                                         store_column_time(list, 4), sqlite3_column_int64(list, 5)};
        if (!row(context, &tracker)) {
            sqlite3_reset(list);
            break;
        }
    }
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}
