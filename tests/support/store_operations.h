/*
 * store_operations: all that the daemon does with its store, as a table, for tests that let it fail
 * at every call. Each writing one is one transaction, or some of its own; each reading one writes
 * what it read as text.
 * Functions in a header, because only programs that link the store can use them.
 */
#ifndef STORE_OPERATIONS_H
#define STORE_OPERATIONS_H

#include "measure/timestamp.h"
#include "store/outbox.h"
#include "store/outbox_bundle.h"
#include "store/records.h"
#include "store_support.h"

#include "store/verify.h"

#include <inttypes.h>
#include <math.h>
#include <sqlite3.h>

#define PREPARED_BATCHES 6
#define FIRST_DAY_END_MS INT64_C(1700006400000) /* 2023-11-15, within the batches */
#define DAYS_LATER_MS (FIRST_DAY_END_MS + 5 * INT64_C(86400000))

struct store_operation {
    const char *name;
    enum store_status (*run)(struct store *store, FILE *answer);
    bool writes;
};

/* ---- writing ---- */

static inline enum store_status store_test_end(struct store *store, enum store_status status) {
    if (status == STORE_OK)
        return store_commit(store);
    store_rollback(store);
    return status;
}

static inline enum store_status store_test_message(struct store *store, int number,
                                                   const char *contact, int64_t *row) {
    struct outbox_message message = {.contact = contact,
                                     .system = number % 2 ? "elm-3" : "elm-4",
                                     .type = "subslab.alarm.raised",
                                     .content_type = "application/json",
                                     .body = "{\"text\":\"suction low\"}",
                                     .alarm = number,
                                     .priority = number % 3,
                                     .created_ms = 1000 + number,
                                     .not_before_ms = 1000 + number};
    snprintf(message.id, sizeof message.id, "event-%s-%d", contact, number);
    return outbox_insert(store, &message, row);
}

static inline enum store_status store_test_alarm(struct store *store, int64_t id) {
    const struct record_alarm alarm = {.id = id,
                                       .system = "elm-3",
                                       .point = "suction",
                                       .condition = "suction-low",
                                       .state = "unacknowledged",
                                       .priority = "high",
                                       .since_ms = 1000 * id,
                                       .raised_ms = 2000 * id,
                                       .returned_ms = TIMESTAMP_NONE,
                                       .acknowledged_ms = TIMESTAMP_NONE,
                                       .shelved_until_ms = TIMESTAMP_NONE,
                                       .acknowledged_by = "somebody on the roof",
                                       .value = 12.5,
                                       .setpoint = NAN,
                                       .unit = "Pa",
                                       .told = true,
                                       .open = true,
                                       .reminded_ms = TIMESTAMP_NONE,
                                       .escalated_ms = TIMESTAMP_NONE,
                                       .details = "{\"cause\":null}"};
    return record_alarm_put(store, &alarm);
}

/* What one turn of the loop commits: readings, rollups, an alarm, its delay, its messages. */
static inline enum store_status operation_turn(struct store *store, FILE *answer) {
    int64_t row;
    (void)answer;
    enum store_status status = store_begin(store);
    if (status != STORE_OK)
        return status;
    const struct record_tracker tracker = {"elm-3", "radon", "radon-high", 1, 5000};
    THEN(status, store_test_append_batch(store, PREPARED_BATCHES));
    THEN(status, store_test_alarm(store, 7));
    THEN(status, record_tracker_put(store, &tracker));
    THEN(status, record_tracker_delete(store, "elm-3", "suction", "suction-low"));
    const struct record_look look = {1000, 2000, 1000, TIMESTAMP_NONE};
    THEN(status, record_look_put(store, 1, &look));
    THEN(status, record_look_delete(store, 2));
    THEN(status, store_test_message(store, 7, "office", &row));
    THEN(status, store_test_message(store, 7, "van", &row));
    const struct outbox_member member = {7, "a line", "{}"};
    THEN(status, outbox_member_put(store, row, &member));
    THEN(status, record_refused_add(store, "a/b", "not-json", 9000, 1, "{x", 2));
    THEN(status, record_unclaimed_add(store, "c/d", 9000, 1, "5", 1));
    THEN(status, record_note_put(store, "broker session", "seen again"));
    THEN(status, record_note_delete(store, "undelivered office"));
    return store_test_end(store, status);
}

static inline enum store_status operation_deliveries(struct store *store, FILE *answer) {
    (void)answer;
    enum store_status status = store_begin(store);
    if (status != STORE_OK)
        return status;
    THEN(status, outbox_begun(store, 1));
    THEN(status, outbox_sent(store, 1, 5000, "204"));
    THEN(status, outbox_retry(store, 2, 6000, "503"));
    THEN(status, outbox_failed(store, 3, 5000, "410"));
    return store_test_end(store, status);
}

static inline enum store_status operation_pack(struct store *store, FILE *answer) {
    int packed = 0;
    (void)answer;
    enum store_status status = store_begin(store);
    if (status != STORE_OK)
        return status;
    THEN(status, series_pack(store, DAYS_LATER_MS, 1000, &packed));
    return store_test_end(store, status);
}

/* A backlog comes and goes into its place. */
static inline enum store_status operation_backlog(struct store *store, FILE *answer) {
    int64_t keys[3];
    bool more = false;
    enum series_append result;
    (void)answer;
    enum store_status status = store_begin(store);
    if (status != STORE_OK)
        return status;
    THEN(status, store_test_keys(store, keys));
    series_gather(store, true);
    for (int i = 0; i < 30; i++) {
        const struct reading reading = {DAYS_LATER_MS + i * INT64_C(60000), 200.0 + i % 7};
        THEN(status,
             series_append(store, keys[i % 3], &reading, SERIES_FROM_SENSOR, true, &result));
    }
    const struct series_hour hour = {DAYS_LATER_MS, 10, 1e8, 600000, 200.0, 206.0};
    THEN(status, series_hour_put(store, keys[0], &hour));
    series_gather(store, false);
    THEN(status, series_place(store, 1000, false, &more));
    for (int k = 0; k < 3; k++)
        THEN(status, series_hours_rebuild(store, keys[k], STORE_TEST_INTERVAL_MS,
                                          DAYS_LATER_MS - STORE_TEST_INTERVAL_MS,
                                          DAYS_LATER_MS + INT64_C(1800000)));
    return store_test_end(store, status);
}

/* Three days of history at once: two of them are packed. */
static inline enum store_status operation_load(struct store *store, FILE *answer) {
    struct reading readings[3 * 24];
    struct series_span rolled;
    int64_t keys[3];
    (void)answer;
    for (int i = 0; i < 3 * 24; i++)
        readings[i] = (struct reading){DAYS_LATER_MS + i * INT64_C(3600000), 200.0 + i % 7};
    enum store_status status = store_begin(store);
    if (status != STORE_OK)
        return status;
    THEN(status, store_test_keys(store, keys));
    THEN(status, series_load(store, keys[0], readings, 3 * 24, SERIES_FROM_IMPORT,
                             DAYS_LATER_MS + 9 * INT64_C(86400000), &rolled));
    THEN(status, series_hours_rebuild(store, keys[0], STORE_TEST_INTERVAL_MS,
                                      DAYS_LATER_MS - STORE_TEST_INTERVAL_MS, DAYS_LATER_MS - 1));
    THEN(status, series_hours_rebuild(store, keys[0], STORE_TEST_INTERVAL_MS, rolled.to_ms,
                                      readings[3 * 24 - 1].time_ms));
    return store_test_end(store, status);
}

static inline enum store_status operation_retention(struct store *store, FILE *answer) {
    int deleted = 0;
    (void)answer;
    enum store_status status = store_begin(store);
    if (status != STORE_OK)
        return status;
    THEN(status, series_expire(store, FIRST_DAY_END_MS + 7200000, 1000, &deleted));
    THEN(status, outbox_expire(store, 10000, 100, &deleted));
    THEN(status, outbox_outdate(store, "office", 10000, 100, 20000, "too old", &deleted));
    return store_test_end(store, status);
}

static inline enum store_status operation_people(struct store *store, FILE *answer) {
    int64_t id;
    (void)answer;
    enum store_status status = store_begin(store);
    if (status != STORE_OK)
        return status;
    const struct record_commissioning record = {0,          "elm-3",        100, 200,
                                                "somebody", "commissioned", "{}"};
    const struct record_visit visit = {0, "elm-3", 100, 200, "somebody", "found", "did", NULL};
    const struct record_service service = {"elm-4", 100, 200, "somebody", "painting"};
    THEN(status, record_commissioning_add(store, &record, &id));
    THEN(status, record_visit_add(store, &visit, &id));
    THEN(status, record_service_put(store, &service));
    const struct record_home_report report = {.system = "elm-3",
                                              .sent_ms = 300,
                                              .time_ms = 100,
                                              .kind = "u-tube",
                                              .value = 250.0,
                                              .note = "as always"};
    THEN(status, record_home_report_add(store, &report));
    THEN(status, record_service_delete(store, "elm-3"));
    THEN(status, record_alarm_delete(store, 2));
    return store_test_end(store, status);
}

static inline enum store_status operation_late_reading(struct store *store, FILE *answer) {
    int64_t key;
    enum series_append result;
    (void)answer;
    enum store_status status = store_begin(store);
    if (status != STORE_OK)
        return status;
    const struct reading late = {FIRST_DAY_END_MS - 60001, 7.5};
    THEN(status, series_key(store, "elm-3", "suction", &key));
    THEN(status, series_append(store, key, &late, SERIES_BY_HAND, false, &result));
    THEN(status, series_hours_rebuild(store, key, STORE_TEST_INTERVAL_MS,
                                      late.time_ms - STORE_TEST_INTERVAL_MS,
                                      late.time_ms + STORE_TEST_INTERVAL_MS));
    THEN(status, series_days_forget(store, key, 19675, 19675));
    return store_test_end(store, status);
}

/* ---- reading ---- */

static inline enum store_status operation_read_series(struct store *store, FILE *answer) {
    int64_t keys[3], interval_ms, day;
    struct reading readings[400];
    struct series_hour hours[100];
    struct series_day days[10];
    size_t count = 0;
    enum store_status status = STORE_OK;
    static const char *const points[] = {"suction", "radon", "hole-1"};
    for (int k = 0; k < 3 && status == STORE_OK; k++) {
        THEN(status, series_find(store, "elm-3", points[k], &keys[k]));
        THEN(status, series_interval(store, keys[k], &interval_ms));
        THEN(status, series_read(store, keys[k], 0, INT64_MAX, readings, 400, &count));
        for (size_t i = 0; i < count && status == STORE_OK; i++)
            fprintf(answer, "%" PRId64 " %.17g\n", readings[i].time_ms, readings[i].value);
        THEN(status, series_hours(store, keys[k], 0, INT64_MAX, hours, 100, &count));
        for (size_t i = 0; i < count && status == STORE_OK; i++)
            fprintf(answer, "%" PRId64 " %.17g\n", hours[i].hour_ms, hours[i].value_ms);
        THEN(status, series_newest(store, keys[k], &readings[0]));
        THEN(status, series_before(store, keys[k], FIRST_DAY_END_MS, &readings[1]));
        THEN(status, series_after(store, keys[k], FIRST_DAY_END_MS - 3600000, &readings[2]));
        for (size_t i = 0; i < 3 && status == STORE_OK; i++)
            fprintf(answer, "%" PRId64 "\n", readings[i].time_ms);
    }
    THEN(status, series_days(store, keys[0], 0, 100000, days, 10, &count));
    for (size_t i = 0; i < count && status == STORE_OK; i++)
        fprintf(answer, "%" PRId64 " %.17g\n", days[i].local_day, days[i].median);
    THEN(status, series_newest_day(store, keys[0], &day));
    return status;
}

static inline bool store_test_print_alarm(void *context, const struct record_alarm *alarm) {
    fprintf(context, "%" PRId64 " %s %s %s %s %s %s %s\n", alarm->id, alarm->system, alarm->point,
            alarm->condition, alarm->state, alarm->acknowledged_by, alarm->unit, alarm->details);
    return true;
}
static inline bool store_test_print_tracker(void *context, const struct record_tracker *tracker) {
    fprintf(context, "%s %s %s %d\n", tracker->system, tracker->point, tracker->condition,
            tracker->phase);
    return true;
}
static inline bool store_test_print_refused(void *context, const struct record_refused *row) {
    fprintf(context, "%s %s %" PRId64 " %.*s\n", row->topic, row->reason, row->count,
            (int)row->example_length, (const char *)row->example);
    return true;
}
static inline bool store_test_print_service(void *context, const struct record_service *service) {
    fprintf(context, "%s %s %s\n", service->system, service->by, service->why);
    return true;
}
static inline bool store_test_print_commissioning(void *context,
                                                  const struct record_commissioning *record) {
    fprintf(context, "%s %s %s %s\n", record->system, record->by, record->origin, record->text);
    return true;
}
static inline bool store_test_print_visit(void *context, const struct record_visit *visit) {
    fprintf(context, "%s %s %s\n", visit->system, visit->by, visit->found);
    return true;
}

static inline bool store_test_print_home_report(void *context,
                                                const struct record_home_report *report) {
    fprintf(context, "%s %s %g %s\n", report->system, report->kind, report->value, report->note);
    return true;
}

static inline enum store_status operation_read_records(struct store *store, FILE *answer) {
    const struct record_alarm_filter all = {.since_ms = TIMESTAMP_NONE};
    char note[40] = "";
    int64_t highest = 0, reports = 0;
    enum store_status status = record_alarm_list(store, &all, store_test_print_alarm, answer);
    THEN(status, record_alarm_get(store, 2, store_test_print_alarm, answer));
    THEN(status, record_alarm_highest(store, &highest));
    THEN(status, record_tracker_list(store, store_test_print_tracker, answer));
    THEN(status, record_refused_list(store, store_test_print_refused, answer));
    THEN(status, record_unclaimed_list(store, store_test_print_refused, answer));
    THEN(status, record_service_list(store, store_test_print_service, answer));
    THEN(status, record_commissioning_list(store, NULL, RECORD_OLDEST_FIRST,
                                           store_test_print_commissioning, answer));
    THEN(status,
         record_visit_list(store, NULL, RECORD_OLDEST_FIRST, store_test_print_visit, answer));
    THEN(status,
         record_home_report_newest(store, "elm-3", 5, store_test_print_home_report, answer));
    THEN(status, record_home_report_count(store, "elm-3", 0, &reports));
    THEN(status, record_note_get(store, "broker session", note, sizeof note));
    fprintf(answer, "%" PRId64 " %s\n", highest, note);
    return status;
}

static inline void store_test_print_messages(FILE *answer, struct outbox_message **messages,
                                             size_t count) {
    for (size_t i = 0; i < count; i++) {
        fprintf(answer, "%" PRId64 " %s %s %s %s %s %s\n", messages[i]->row, messages[i]->id,
                messages[i]->contact, messages[i]->system, messages[i]->type,
                messages[i]->content_type, messages[i]->body);
        outbox_message_free(messages[i]);
    }
}

static inline enum store_status operation_read_outbox(struct store *store, FILE *answer) {
    struct outbox_message *messages[20];
    size_t count = 0;
    int64_t counts[3] = {0}, next_ms = 0, waiting = 0, oldest_ms = 0;
    enum store_status status = outbox_due(store, 9000, NULL, 0, messages, 20, &count);
    if (status == STORE_OK)
        store_test_print_messages(answer, messages, count);
    THEN(status, outbox_list(store, false, 0, messages, 20, &count));
    if (status == STORE_OK)
        store_test_print_messages(answer, messages, count);
    THEN(status, outbox_get(store, 2, &messages[0]));
    if (status == STORE_OK)
        store_test_print_messages(answer, messages, 1);
    THEN(status, outbox_counts(store, counts));
    THEN(status, outbox_next(store, &next_ms));
    THEN(status, outbox_waiting(store, "office", &waiting, &oldest_ms));
    fprintf(answer, "%" PRId64 " %" PRId64 " %" PRId64 " %" PRId64 "\n", counts[0], counts[1],
            next_ms, waiting);
    return status;
}

static inline void store_test_print_finding(void *context, const char *text) {
    fprintf(context, "finding: %s\n", text);
}

static inline enum store_status operation_verify(struct store *store, FILE *answer) {
    return store_verify(store, store_test_print_finding, NULL, answer);
}

static inline enum store_status operation_nothing(struct store *store, FILE *answer) {
    (void)answer;
    return store_probe(store);
}

static const struct store_operation store_operations[] = {
    {"a turn", operation_turn, true},
    {"deliveries", operation_deliveries, true},
    {"packing", operation_pack, true},
    {"a backlog", operation_backlog, true},
    {"history", operation_load, true},
    {"retention", operation_retention, true},
    {"what people enter", operation_people, true},
    {"a late reading", operation_late_reading, true},
    {"reading series", operation_read_series, false},
    {"reading records", operation_read_records, false},
    {"reading the outbox", operation_read_outbox, false},
    {"verify", operation_verify, false},
    {"opening", operation_nothing, false}, /* last: what fails is store_open */
};
#define STORE_OPERATIONS ((int)(sizeof store_operations / sizeof store_operations[0]))

/* ---- a store to begin with, and what it holds ---- */

/** Makes a store that has something of everything. */
static inline void store_test_prepare(const char *path) {
    struct store *store = store_test_open(path, NULL);
    const struct series_day day = {19675, 0, 86400000, 9, 1.5, 1.25, 5000};
    const struct record_tracker tracker = {"elm-3", "suction", "suction-low", 1, 5000};
    const struct record_service service = {"elm-3", 100, 200, "somebody", "painting"};
    int64_t keys[3], row;
    int packed;
    for (int64_t i = 0; i < PREPARED_BATCHES; i++)
        ck_assert_int_eq(store_test_write_batch(store, i), STORE_OK);
    ck_assert_int_eq(store_test_keys(store, keys), STORE_OK);
    ck_assert_int_eq(series_pack(store, FIRST_DAY_END_MS, 1000, &packed), STORE_OK);
    ck_assert_int_gt(packed, 0);
    ck_assert_int_eq(series_day_put(store, keys[0], &day), STORE_OK);
    for (int i = 1; i <= 4; i++) {
        ck_assert_int_eq(store_test_alarm(store, i), STORE_OK);
        ck_assert_int_eq(store_test_message(store, i, i % 2 ? "office" : "van", &row), STORE_OK);
    }
    ck_assert_int_eq(record_tracker_put(store, &tracker), STORE_OK);
    ck_assert_int_eq(record_service_put(store, &service), STORE_OK);
    ck_assert_int_eq(record_refused_add(store, "a/b", "not-json", 1, 2, "{y", 2), STORE_OK);
    ck_assert_int_eq(record_note_put(store, "broker session", "seen"), STORE_OK);
    store_close(store);
}

/** A sum over every row of every table, read by SQLite alone. */
static inline uint64_t store_test_sum(const char *path) {
    sqlite3 *db = NULL;
    sqlite3_stmt *tables = NULL, *rows = NULL;
    uint64_t sum = 14695981039346656037U; /* FNV-1a, 64 bits */
    ck_assert_int_eq(sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE, NULL), SQLITE_OK);
    ck_assert_int_eq(sqlite3_exec(db, "PRAGMA synchronous=OFF", NULL, NULL, NULL), SQLITE_OK);
    ck_assert_int_eq(sqlite3_prepare_v2(db,
                                        "SELECT name FROM sqlite_master WHERE type = 'table' "
                                        "AND name NOT LIKE 'sqlite%' ORDER BY name",
                                        -1, &tables, NULL),
                     SQLITE_OK);
    while (sqlite3_step(tables) == SQLITE_ROW) {
        char sql[200];
        snprintf(sql, sizeof sql, "SELECT * FROM \"%s\"", sqlite3_column_text(tables, 0));
        ck_assert_int_eq(sqlite3_prepare_v2(db, sql, -1, &rows, NULL), SQLITE_OK);
        while (sqlite3_step(rows) == SQLITE_ROW) {
            for (int c = 0; c < sqlite3_column_count(rows); c++) {
                const unsigned char *bytes = sqlite3_column_blob(rows, c);
                int size = sqlite3_column_bytes(rows, c);
                for (int i = 0; i < size; i++)
                    sum = (sum ^ bytes[i]) * 1099511628211U;
                sum = (sum ^ 0x100) * 1099511628211U;
            }
        }
        sqlite3_finalize(rows);
    }
    sqlite3_finalize(tables);
    ck_assert_int_eq(sqlite3_close(db), SQLITE_OK);
    return sum;
}

static inline void store_test_copy(const char *from, const char *to) {
    static const char *const suffixes[] = {"-wal", "-shm", "-journal"};
    char name[400];
    size_t length;
    for (size_t i = 0; i < sizeof suffixes / sizeof suffixes[0]; i++) {
        snprintf(name, sizeof name, "%s%s", to, suffixes[i]);
        unlink(name);
    }
    char *bytes = test_read_file(from, &length);
    FILE *file = fopen(to, "wb");
    ck_assert_ptr_nonnull(file);
    ck_assert_uint_eq(fwrite(bytes, 1, length, file), length);
    fclose(file);
    free(bytes);
}

#endif
