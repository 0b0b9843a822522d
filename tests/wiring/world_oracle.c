#include "world_oracle.h"

#include "measure/timestamp.h"
#include "store/series.h"
#include "world.h"
#include "world_broker.h"
#include "world_receivers.h"

#include "store/verify.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char store_file[] = "subslab.db";
enum {
    PLAIN_SLACK_MS = 6000,  /* a wait for the clock, a burst that is told apart, */
    STEP_SLACK_MS = 245000, /* also where the clock was set back by less than a burst may last */
    UNWATCHED_AFTER_MS = 3600000, /* a disk that fails may hold a reload up */
};

/* ---- readings ---- */

static struct world_reading *reading_of(const struct world_script *script, size_t sensor,
                                        const struct reading *row) {
    for (size_t i = 0; i < script->reading_count; i++) {
        struct world_reading *reading = &script->readings[i];
        if (reading->sensor != sensor || reading->junk)
            continue;
        if (script->sensors[sensor].plain ? reading->value == row->value
                                          : reading->time_ms == row->time_ms)
            return reading;
    }
    return NULL;
}

static bool has_clock_steps(const struct world_script *script) {
    for (size_t i = 0; i < script->fault_count; i++) {
        if (script->faults[i].kind == WORLD_CLOCK_STEP)
            return true;
    }
    return false;
}

/* A bare number that was handed over again is another one, if the first was kept. */
static void judge_plain_row(const struct world_script *script, const struct world_sensor *sensor,
                            const struct world_reading *reading, const struct reading *row) {
    if (reading->rows > reading->handed)
        world_broken("%s/%s: %g is there %u times and came %u times", sensor->system, sensor->point,
                     row->value, reading->rows, reading->handed);
    int64_t slack_ms = has_clock_steps(script) ? STEP_SLACK_MS : PLAIN_SLACK_MS;
    if (row->time_ms < reading->first_ms - slack_ms || row->time_ms > reading->last_ms + slack_ms)
        world_broken("%s/%s: %g came from %lld to %lld and is a reading of %lld", sensor->system,
                     sensor->point, row->value, (long long)reading->first_ms,
                     (long long)reading->last_ms, (long long)row->time_ms);
}

static void judge_row(const struct world_script *script, size_t sensor, const struct reading *row) {
    const struct world_sensor *one = &script->sensors[sensor];
    struct world_reading *reading = reading_of(script, sensor, row);
    if (reading)
        reading->rows++;
    if (!reading)
        world_broken("%s/%s: a reading %g of %lld that nobody sent", one->system, one->point,
                     row->value, (long long)row->time_ms);
    else if (one->plain)
        judge_plain_row(script, one, reading, row);
    else if (reading->rows > 1)
        world_broken("%s/%s: the reading of %lld is there twice", one->system, one->point,
                     (long long)row->time_ms);
    else if (reading->value != row->value)
        world_broken("%s/%s: the reading of %lld is %g, not %g", one->system, one->point,
                     (long long)row->time_ms, row->value, reading->value);
}

static void keep_row(struct world_script *script, size_t sensor, const struct reading *row) {
    size_t room = script->row_count ? script->row_count : 1; /* a power of two: full */
    if ((script->row_count & (script->row_count - 1)) == 0)
        script->rows = realloc(script->rows, 2 * room * sizeof *script->rows);
    script->rows[script->row_count++] =
        (struct world_reading){.sensor = sensor, .time_ms = row->time_ms, .value = row->value};
}

static void read_sensor(struct store *store, struct world_script *script, size_t sensor) {
    enum { PAGE = 256 };
    struct reading rows[PAGE];
    int64_t key, from_ms = 0;
    size_t count = PAGE;
    if (series_find(store, script->sensors[sensor].system, script->sensors[sensor].point, &key) !=
        STORE_OK)
        return; /* no reading at all: said below */
    while (count == PAGE &&
           series_read(store, key, from_ms, INT64_MAX, rows, PAGE, &count) == STORE_OK) {
        for (size_t i = 0; i < count; i++) {
            judge_row(script, sensor, &rows[i]);
            keep_row(script, sensor, &rows[i]);
        }
        from_ms = count > 0 ? rows[count - 1].time_ms + 1 : from_ms;
    }
}

static void judge_readings(struct store *store, struct world_script *script) {
    for (size_t i = 0; i < script->sensor_count; i++)
        read_sensor(store, script, i);
    for (size_t i = 0; i < script->reading_count; i++) {
        const struct world_reading *reading = &script->readings[i];
        const struct world_sensor *sensor = &script->sensors[reading->sensor];
        const char *fate = NULL;
        if (reading->released && !reading->junk && reading->rows == 0 && !reading->excused)
            fate = "acknowledged and is not stored";
        else if (reading->reached && !reading->released && !reading->forgotten)
            fate = "never acknowledged";
        if (fate)
            world_broken("%s/%s: the reading %g of %lld was %s", sensor->system, sensor->point,
                         reading->value, (long long)reading->time_ms, fate);
    }
}

/* ---- the store ---- */

static void on_finding(void *context, const char *text) {
    (void)context;
    world_broken("verify: %s", text);
}

static void judge_store(struct world_script *script) {
    const struct store_options options = {.mode = STORE_READ_ONLY};
    struct store *store = NULL;
    char why[500] = "";
    if (store_open(store_file, &options, &store, why, sizeof why) != STORE_OK) {
        world_broken("the store does not open: %s", why);
        return;
    }
    if (store_verify(store, on_finding, NULL, NULL) != STORE_OK)
        world_broken("verify is not content");
    judge_readings(store, script);
    store_close(store);
}

/* ---- what the tables say ---- */

static sqlite3 *open_tables(void) {
    sqlite3 *db = NULL;
    if (sqlite3_open_v2(store_file, &db, SQLITE_OPEN_READONLY, NULL) != SQLITE_OK)
        world_broken("the tables do not open");
    return db;
}

/* Calls `row` for each row; a question that cannot be asked is a broken promise too. */
static void ask(sqlite3 *db, const char *sql, void (*row)(void *context, sqlite3_stmt *columns),
                void *context) {
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(db, sql, -1, &statement, NULL);
    while (code == SQLITE_OK && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        row(context, statement);
        code = SQLITE_OK;
    }
    if (code != SQLITE_DONE)
        world_broken("%s: %s", sqlite3_errmsg(db), sql);
    sqlite3_finalize(statement);
}

static const char *text_of(sqlite3_stmt *columns, int column) {
    const char *text = (const char *)sqlite3_column_text(columns, column);
    return text ? text : "-";
}

/* The columns of a row that should not be there, behind what is wrong with it. */
static void on_wrong_row(void *context, sqlite3_stmt *columns) {
    char text[300] = "";
    size_t used = 0;
    for (int i = 0; i < sqlite3_column_count(columns) && used < sizeof text; i++)
        used += (size_t)snprintf(text + used, sizeof text - used, " %s", text_of(columns, i));
    world_broken("%s:%s", (const char *)context, text);
}

/* ---- messages ---- */

static const struct world_letter *letter_of(const char *id) {
    for (size_t i = 0; i < world_letter_count(); i++) {
        if (strcmp(world_letter_at(i)->id, id) == 0)
            return world_letter_at(i);
    }
    return NULL;
}

/* id, state, contact, type */
static void on_outbox_row(void *context, sqlite3_stmt *columns) {
    (void)context;
    const char *id = text_of(columns, 0), *type = text_of(columns, 3);
    int state = sqlite3_column_int(columns, 1);
    const struct world_letter *letter = letter_of(id);
    if (state == 0)
        world_broken("message %s (%s) still waits", id, type);
    else if (state == 1 && !(letter && letter->accepted))
        world_broken("message %s (%s) counts as sent and was never accepted", id, type);
    else if (state == 2 && !(letter && letter->refused))
        world_broken("message %s (%s) was given up and never refused", id, type);
}

static void on_count(void *context, sqlite3_stmt *columns) {
    *(int *)context = sqlite3_column_int(columns, 0);
}

static void judge_letters(sqlite3 *db) {
    for (size_t i = 0; i < world_letter_count(); i++) {
        const struct world_letter *letter = world_letter_at(i);
        char sql[120];
        int rows = 0;
        snprintf(sql, sizeof sql, "SELECT count(*) FROM outbox WHERE id = '%s'", letter->id);
        ask(db, sql, on_count, &rows);
        /* Told from memory while the store failed. */
        if (rows == 0 && !strstr(letter->body, "store-failing"))
            world_broken("message %s came and no row knows it: %.200s", letter->id, letter->body);
        if (letter->changed)
            world_broken("message %s came with two bodies", letter->id);
    }
}

/* id of the raise's message, when its return was written, alarm, id of the return's message. Where
   our clock was wrong, when it was written says nothing: then the two were told in their order. */
static void on_raise_and_return(void *context, sqlite3_stmt *columns) {
    const struct world_letter *raise = letter_of(text_of(columns, 0));
    const struct world_letter *back = letter_of(text_of(columns, 3));
    int64_t returned_ms = sqlite3_column_int64(columns, 1);
    if (has_clock_steps(context))
        returned_ms = back ? back->tried_ms : INT64_MAX;
    if (raise && raise->tried_ms > returned_ms)
        world_broken("alarm %s was told %lld s after its return was known", text_of(columns, 2),
                     (long long)(raise->tried_ms - returned_ms) / 1000);
}

static void judge_messages(sqlite3 *db, struct world_script *script) {
    ask(db, "SELECT id, state, contact, type FROM outbox", on_outbox_row, NULL);
    judge_letters(db);
    ask(db,
        "SELECT id, system, condition FROM alarms a WHERE told = 1 AND condition NOT IN "
        "('delivery-failing', 'store-failing') AND NOT EXISTS (SELECT 1 FROM outbox_alarms m JOIN "
        "outbox o ON o.row = m.row WHERE m.alarm = a.id AND o.contact = 'office')"
        /* The third raise within 91 days says that it comes and goes; further ones say nothing. */
        " AND (SELECT count(*) FROM alarms b WHERE b.told = 1 AND b.system = a.system "
        "AND b.point = a.point AND b.condition = a.condition AND b.raised_ms < a.raised_ms "
        "AND b.raised_ms > a.raised_ms - 91 * 86400000) < 3",
        on_wrong_row, "counts as told and has no message");
    ask(db,
        "SELECT m.alarm, o.contact, count(*) FROM outbox_alarms m JOIN outbox o ON o.row = m.row "
        "WHERE o.type = 'subslab.alarm.raised' GROUP BY m.alarm, o.contact HAVING count(*) > 1",
        on_wrong_row, "told under more than one id");
    ask(db,
        "SELECT r.id, t.created_ms, m.alarm, t.id FROM outbox r JOIN outbox_alarms m ON m.row = "
        "r.row "
        "JOIN outbox_alarms n ON n.alarm = m.alarm JOIN outbox t ON t.row = n.row WHERE r.row < "
        "t.row AND r.contact = t.contact AND r.type = 'subslab.alarm.raised' AND t.type = "
        "'subslab.alarm.returned'",
        on_raise_and_return, script);
}

/* ---- settings that change ---- */

static const struct world_fault *retuned(const struct world_script *script) {
    for (size_t i = 0; i < script->fault_count; i++) {
        if (script->faults[i].kind == WORLD_RETUNED)
            return &script->faults[i];
    }
    return NULL;
}

/* system, point, raised */
static void on_unwatched(void *context, sqlite3_stmt *columns) {
    const struct world_script *script = context;
    for (size_t i = 0; i < script->sensor_count; i++) {
        const struct world_sensor *sensor = &script->sensors[i];
        if (sensor->plain && has_clock_steps(script) &&
            strcmp(sensor->system, text_of(columns, 0)) == 0)
            return; /* its times are those of a clock that was wrong */
    }
    on_wrong_row((void *)"nobody watches for " WORLD_UNWATCHED " and it is told", columns);
}

/* Soon after, nothing of it begins, and in the end nothing of it stands. */
static void judge_unwatched(sqlite3 *db, struct world_script *script) {
    const struct world_fault *fault = retuned(script);
    char sql[240];
    if (!fault)
        return;
    snprintf(sql, sizeof sql,
             "SELECT system, point, raised_ms FROM alarms WHERE condition = '" WORLD_UNWATCHED
             "' AND (returned_ms IS NULL OR raised_ms > %lld)",
             (long long)(fault->from_ms + UNWATCHED_AFTER_MS));
    ask(db, sql, on_unwatched, script);
}

/* ---- junk ---- */

struct junk_count {
    unsigned refused, unclaimed;
};

static void on_unsigned(void *context, sqlite3_stmt *columns) {
    *(unsigned *)context = (unsigned)sqlite3_column_int(columns, 0);
}

/* Each message that is no reading is counted, as often as it was taken, and nothing else is. */
static void judge_junk(sqlite3 *db, const struct world_script *script) {
    struct junk_count least = {0, 0}, most = {0, 0}, found = {0, 0};
    for (size_t i = 0; i < script->reading_count; i++) {
        const struct world_reading *reading = &script->readings[i];
        most.refused += reading->excused ? reading->handed : 0;
        if (!reading->junk)
            continue;
        bool unclaimed = world_junk(reading->junk)->elsewhere != NULL;
        *(unclaimed ? &least.unclaimed : &least.refused) += reading->released;
        *(unclaimed ? &most.unclaimed : &most.refused) += reading->handed;
    }
    ask(db, "SELECT coalesce(sum(count), 0) FROM refused", on_unsigned, &found.refused);
    ask(db, "SELECT coalesce(sum(count), 0) FROM unclaimed", on_unsigned, &found.unclaimed);
    if (found.refused < least.refused || found.refused > most.refused)
        world_broken("%u messages count as refused, not %u to %u", found.refused, least.refused,
                     most.refused);
    if (found.unclaimed < least.unclaimed || found.unclaimed > most.unclaimed)
        world_broken("%u messages count as unclaimed, not %u to %u", found.unclaimed,
                     least.unclaimed, most.unclaimed);
}

/* Silence is judged by our clock and only while we hear the broker, so its history may differ from
   a world without faults; but nobody is silent in the end. */
#define SILENCE "('sensor-silent', 'system-silent', 'fleet-silent')"

void world_oracle_judge(struct world_script *script) {
    if (world_broker_waiting() > 0)
        world_broken("the broker still holds %zu messages", world_broker_waiting());
    judge_store(script);
    sqlite3 *db = open_tables();
    if (db) {
        judge_messages(db, script);
        judge_junk(db, script);
        judge_unwatched(db, script);
        ask(db,
            "SELECT system, point, condition, since_ms FROM alarms WHERE returned_ms IS NULL AND "
            "condition IN " SILENCE,
            on_wrong_row, "silent in the end");
    }
    sqlite3_close(db);
}

/* ---- alarms ---- */

static void on_alarm(void *context, sqlite3_stmt *columns) {
    struct world_alarms *alarms = context;
    if (alarms->count == alarms->room) {
        alarms->room = alarms->room ? 2 * alarms->room : 32;
        alarms->items = realloc(alarms->items, alarms->room * sizeof *alarms->items);
    }
    struct world_alarm *alarm = &alarms->items[alarms->count++];
    snprintf(alarm->what, sizeof alarm->what, "%s/%s %s", text_of(columns, 0), text_of(columns, 1),
             text_of(columns, 2));
    alarm->since_ms = sqlite3_column_int64(columns, 3);
    alarm->raised_ms = sqlite3_column_int64(columns, 4);
    alarm->returned_ms = sqlite3_column_int64(columns, 5);
    alarm->told = sqlite3_column_int(columns, 6) != 0;
}

struct world_alarms world_oracle_alarms(void) {
    struct world_alarms alarms = {0};
    sqlite3 *db = open_tables();
    if (db)
        ask(db,
            "SELECT system, point, condition, since_ms, raised_ms, returned_ms, told FROM alarms "
            "WHERE system <> '' AND condition NOT IN " SILENCE " ORDER BY 1, 2, 3, 4, 5, 6",
            on_alarm, &alarms);
    sqlite3_close(db);
    return alarms;
}

void world_alarms_free(struct world_alarms *alarms) {
    free(alarms->items);
    *alarms = (struct world_alarms){0};
}

static bool is_same(const struct world_alarm *a, const struct world_alarm *b) {
    return strcmp(a->what, b->what) == 0 && a->since_ms == b->since_ms &&
           a->raised_ms == b->raised_ms && a->returned_ms == b->returned_ms;
}

static int64_t end_of(const struct world_alarm *alarm) {
    return alarm->returned_ms ? alarm->returned_ms : INT64_MAX;
}

static bool overlaps(const struct world_alarm *a, const struct world_alarm *b) {
    return strcmp(a->what, b->what) == 0 && a->raised_ms <= end_of(b) && b->raised_ms <= end_of(a);
}

static bool has(const struct world_alarms *alarms, const struct world_alarm *wanted) {
    for (size_t i = 0; i < alarms->count; i++) {
        if (is_same(&alarms->items[i], wanted))
            return true;
    }
    return false;
}

static bool was_told_meanwhile(const struct world_alarms *alarms,
                               const struct world_alarm *wanted) {
    for (size_t i = 0; i < alarms->count; i++) {
        if (alarms->items[i].told && overlaps(&alarms->items[i], wanted))
            return true;
    }
    return false;
}

static void say(const char *what, const struct world_alarm *alarm) {
    char since[40], raised[40], returned[40] = "never";
    if (alarm->returned_ms)
        timestamp_format(returned, sizeof returned, alarm->returned_ms);
    world_broken("%s: %s since %s raised %s returned %s%s", what, alarm->what,
                 timestamp_format(since, sizeof since, alarm->since_ms),
                 timestamp_format(raised, sizeof raised, alarm->raised_ms), returned,
                 alarm->told ? ", told" : "");
}

static bool had_late_readings(const struct world_script *script, const struct world_alarm *alarm) {
    for (size_t i = 0; i < script->reading_count; i++) {
        const struct world_reading *reading = &script->readings[i];
        const char *system = script->sensors[reading->sensor].system;
        if (reading->late && strncmp(alarm->what, system, strlen(system)) == 0)
            return true;
    }
    return false;
}

/* The times of bare numbers are those of a clock that was wrong, and what is refused for its time
   says something of its sensor. */
static bool had_wrong_times(const struct world_script *script, const struct world_alarm *alarm) {
    bool plain = false, excused = false;
    for (size_t i = 0; i < script->sensor_count; i++)
        plain |= script->sensors[i].plain && strncmp(alarm->what, script->sensors[i].system,
                                                     strlen(script->sensors[i].system)) == 0;
    for (size_t i = 0; i < script->reading_count; i++)
        excused |= script->readings[i].excused;
    return excused || (plain && has_clock_steps(script));
}

static bool was_unwatched(const struct world_script *script, const struct world_alarm *alarm) {
    return retuned(script) && strstr(alarm->what, " " WORLD_UNWATCHED) != NULL;
}

static void compare_with_faults(const struct world_script *script, const struct world_alarm *alarm,
                                const struct world_alarms *without) {
    if (!has(without, alarm) && !(alarm->told && had_late_readings(script, alarm)) &&
        !had_wrong_times(script, alarm) && !was_unwatched(script, alarm))
        say("an alarm only with faults", alarm);
}

static void compare_without(const struct world_script *script, const struct world_alarm *alarm,
                            const struct world_alarms *with_faults) {
    if (!has(with_faults, alarm) &&
        !(was_told_meanwhile(with_faults, alarm) && had_late_readings(script, alarm)) &&
        !had_wrong_times(script, alarm) && !was_unwatched(script, alarm))
        say("an alarm only without faults", alarm);
}

void world_oracle_compare(const struct world_script *script, const struct world_alarms *with_faults,
                          const struct world_alarms *without) {
    for (size_t i = 0; i < with_faults->count; i++)
        compare_with_faults(script, &with_faults->items[i], without);
    for (size_t i = 0; i < without->count; i++)
        compare_without(script, &without->items[i], with_faults);
}
