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
    return store_do(
        store,
        "INSERT OR REPLACE INTO alarms (" ALARM_COLUMNS ") VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, "
        "?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22, ?23)",
        VALUES(INT(alarm->id), TEXT(alarm->system ? alarm->system : ""),
               TEXT(alarm->point ? alarm->point : ""), TEXT(alarm->condition), TEXT(alarm->state),
               TEXT(alarm->priority), TIME(alarm->since_ms), TIME(alarm->raised_ms),
               TIME(alarm->returned_ms), TIME(alarm->acknowledged_ms), TEXT(alarm->acknowledged_by),
               TEXT(alarm->note), TIME(alarm->shelved_until_ms), TEXT(alarm->shelved_by),
               TEXT(alarm->shelved_why), NUMBER(alarm->value), NUMBER(alarm->setpoint),
               TEXT(alarm->unit), INT(alarm->told), INT(alarm->open), TIME(alarm->reminded_ms),
               TIME(alarm->escalated_ms), TEXT(alarm->details)));
}

enum store_status record_alarm_delete(struct store *store, int64_t id) {
    return store_do(store, "DELETE FROM alarms WHERE id = ?1", VALUES(INT(id)));
}

enum store_status record_alarm_highest(struct store *store, int64_t *id) {
    return store_get_integer(store, "SELECT coalesce(max(id), 0) FROM alarms", NO_VALUES, id);
}

/* The first part picks the index, the second serves every filter. */
#define ALARM_LIST(first)                                                                          \
    "SELECT " ALARM_COLUMNS " FROM alarms WHERE " first                                            \
    " AND (?2 IS NULL OR point = ?2) AND (?3 IS NULL OR condition = ?3) AND (?4 IS NULL OR "       \
    "raised_ms >= ?4 OR returned_ms IS NULL OR returned_ms >= ?4) "                                \
    "AND (raised_ms, id) < (?6, ?7) "                                                              \
    "ORDER BY raised_ms DESC, id DESC LIMIT ?5"

static const char *list_sql(const struct record_alarm_filter *filter) {
    if (filter->only_open && filter->system)
        return ALARM_LIST("open = 1 AND system = ?1");
    if (filter->only_open)
        return ALARM_LIST("open = 1");
    return filter->system ? ALARM_LIST("system = ?1") : ALARM_LIST("1");
}

static enum store_status hand_out_alarms(struct store *store, sqlite3_stmt *list,
                                         record_alarm_row *row, void *context) {
    enum store_status status;
    while ((status = store_row(store, list)) == STORE_OK) {
        struct record_alarm alarm = alarm_of(list);
        if (!row(context, &alarm))
            break;
    }
    return store_listed(list, status);
}

enum store_status record_alarm_list(struct store *store, const struct record_alarm_filter *filter,
                                    record_alarm_row *row, void *context) {
    sqlite3_stmt *list;
    enum store_status status =
        store_ask(store, list_sql(filter),
                  VALUES(TEXT(filter->system), TEXT(filter->point), TEXT(filter->condition),
                         TIME(filter->since_ms), INT(filter->limit > 0 ? filter->limit : -1),
                         INT(filter->before_id ? filter->before_raised_ms : INT64_MAX),
                         INT(filter->before_id ? filter->before_id : INT64_MAX)),
                  &list);
    return status == STORE_OK ? hand_out_alarms(store, list, row, context) : status;
}

enum store_status record_alarm_get(struct store *store, int64_t id, record_alarm_row *row,
                                   void *context) {
    sqlite3_stmt *get;
    enum store_status status = store_first(
        store, "SELECT " ALARM_COLUMNS " FROM alarms WHERE id = ?1", VALUES(INT(id)), &get);
    if (status != STORE_OK)
        return status;
    struct record_alarm alarm = alarm_of(get);
    row(context, &alarm);
    sqlite3_reset(get);
    return STORE_OK;
}

enum store_status record_alarm_raised(struct store *store, const char *system, const char *point,
                                      const char *condition, int64_t after_ms, int64_t until_ms,
                                      record_alarm_row *row, void *context) {
    sqlite3_stmt *list;
    enum store_status status = store_ask(
        store,
        "SELECT " ALARM_COLUMNS " FROM alarms WHERE system = ?1 AND point = ?2 AND condition = ?3 "
        "AND raised_ms > ?4 AND raised_ms <= ?5 ORDER BY raised_ms DESC",
        VALUES(TEXT(system), TEXT(point), TEXT(condition), INT(after_ms), INT(until_ms)), &list);
    return status == STORE_OK ? hand_out_alarms(store, list, row, context) : status;
}

/* ---- second looks ---- */

enum store_status record_look_put(struct store *store, int64_t key,
                                  const struct record_look *look) {
    return store_do(store, "INSERT OR REPLACE INTO second_looks VALUES (?1, ?2, ?3, ?4, ?5)",
                    VALUES(INT(key), INT(look->from_ms), INT(look->to_ms), TIME(look->late_from_ms),
                           TIME(look->late_to_ms)));
}

enum store_status record_look_delete(struct store *store, int64_t key) {
    return store_do(store, "DELETE FROM second_looks WHERE point = ?1", VALUES(INT(key)));
}

enum store_status record_look_list(struct store *store, record_look_row *row, void *context) {
    sqlite3_stmt *list;
    enum store_status status = store_ask(
        store,
        "SELECT system, points.point, from_ms, to_ms, late_from_ms, late_to_ms FROM second_looks "
        "JOIN points ON points.key = second_looks.point ORDER BY points.key, from_ms",
        NO_VALUES, &list);
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        const struct record_look look = {sqlite3_column_int64(list, 2),
                                         sqlite3_column_int64(list, 3), store_column_time(list, 4),
                                         store_column_time(list, 5)};
        if (!row(context, store_column_text(list, 0), store_column_text(list, 1), &look))
            break;
    }
    return store_listed(list, status);
}

/* ---- trackers ---- */

enum store_status record_tracker_put(struct store *store, const struct record_tracker *tracker) {
    return store_do(store, "INSERT OR REPLACE INTO trackers VALUES (?1, ?2, ?3, ?4, ?5)",
                    VALUES(TEXT(tracker->system), TEXT(tracker->point), TEXT(tracker->condition),
                           INT(tracker->phase), TIME(tracker->since_ms)));
}

enum store_status record_tracker_delete(struct store *store, const char *system, const char *point,
                                        const char *condition) {
    return store_do(store,
                    "DELETE FROM trackers WHERE system = ?1 AND point = ?2 AND condition = ?3",
                    VALUES(TEXT(system), TEXT(point), TEXT(condition)));
}

enum store_status record_tracker_list(struct store *store, record_tracker_row *row, void *context) {
    sqlite3_stmt *list;
    enum store_status status =
        store_ask(store,
                  "SELECT system, point, condition, phase, since_ms FROM trackers "
                  "ORDER BY system, point, condition",
                  NO_VALUES, &list);
    while (status == STORE_OK && (status = store_row(store, list)) == STORE_OK) {
        struct record_tracker tracker = {store_column_text(list, 0), store_column_text(list, 1),
                                         store_column_text(list, 2), sqlite3_column_int(list, 3),
                                         store_column_time(list, 4)};
        if (!row(context, &tracker))
            break;
    }
    return store_listed(list, status);
}
