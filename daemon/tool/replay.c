/*
 * One pass over the readings in order of time. Before the readings of an instant are judged, the
 * clock is brought up to it minute by minute, as the daemon's own clock would have been: delays end
 * without a further reading, silence is noticed, dates come. Where a delay or a silence ends
 * between two minutes and a reading would undo it in the same breath, the clock looks once more
 * just before that reading, so that nothing told live goes untold here. A gap in which nothing can
 * happen is passed in one step.
 */
#include "tool/replay.h"

#include "host/csv_reader.h"
#include "host/csv_readings.h"
#include "measure/array.h"
#include "measure/duration.h"
#include "monitor/daily.h"
#include "monitor/history_memory.h"
#include "monitor/system_diagnosis.h"
#include "pipeline/explain.h"
#include "tool/replay_alarms.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FLUSH_READINGS = 4096, PROGRESS_READINGS = 1 << 16 };
static const int64_t tick_ms = DURATION_MINUTE_MS;
static const int64_t settling_ms = 2 * DURATION_HOUR_MS; /* after the last silence, amply */

/* 24 bytes a reading; sorting takes as many again where the machine has them to spare. */
struct replay_entry {
    int64_t time_ms;
    double value; /* SI; NaN: an impossible value was refused */
    uint32_t point;
    uint32_t line; /* order among equal times; the count begins anew after 2^32 lines */
};

struct system_day {
    int64_t day, start_ms, end_ms;
};

struct replay {
    const struct fleet *fleet;
    struct replay_listener listener;
    struct monitor *monitor;
    struct history_memory *memory; /* the past, for what is decided once a day and for causes */
    struct history history;
    struct judge deadlines; /* only to ask when delays end */
    struct replay_entry *entries;
    size_t count;
    bool sorted;
    struct replay_alarms alarms;
    struct replay_counts counts;
    struct system_day *days;
    int64_t next_day_ms;  /* earliest end of a running day */
    int64_t clock_ms;     /* newest instant the monitor's clock was brought to */
    int64_t next_tick_ms; /* next full minute */
    int64_t quiet_ms;     /* longest silence that can still change anything */
    int64_t newest_ms;
    size_t told_at_count; /* alarms in the book when all were told */
    bool waits;           /* a raise waits to be told */
    bool compares;        /* the houses of each region */
    bool out_of_memory;
};

/* ---- making and ending ---- */

static int64_t longest_quiet_ms(const struct fleet *fleet) {
    int64_t longest_ms = 0;
    for (size_t i = 0; i < fleet->point_count; i++) {
        int64_t silent_ms = fleet_sensor_silent_after_ms(fleet, i);
        if (silent_ms > longest_ms)
            longest_ms = silent_ms;
    }
    int64_t delay_ms = 0;
    for (size_t s = 0; s < fleet->system_count; s++) {
        struct condition_rule rule = fleet_rule(fleet, s, CONDITION_SYSTEM_SILENT);
        if (rule.on_delay_ms > delay_ms)
            delay_ms = rule.on_delay_ms;
    }
    struct condition_rule rule = fleet_rule(fleet, FLEET_NONE, CONDITION_FLEET_SILENT);
    return longest_ms + delay_ms + (int64_t)rule.setpoint.number + settling_ms;
}

struct replay *replay_create(const struct fleet *fleet, const struct replay_listener *listener) {
    struct replay *replay = calloc(1, sizeof *replay);
    if (!replay)
        return NULL;
    replay->fleet = fleet;
    replay->listener = *listener;
    replay->deadlines.fleet = fleet;
    replay->sorted = true;
    replay->quiet_ms = longest_quiet_ms(fleet);
    replay->counts.first_ms = replay->counts.last_ms = TIMESTAMP_NONE;
    replay->monitor = monitor_create(fleet);
    replay->memory = history_memory_create(fleet, 0);
    replay->days = calloc(fleet->system_count + 1, sizeof *replay->days);
    if (replay->memory)
        replay->history = history_memory_view(replay->memory);
    if (replay->monitor && replay->memory && replay->days)
        return replay;
    replay_destroy(replay);
    return NULL;
}

void replay_compare_regions(struct replay *replay) {
    replay->compares = true;
}

void replay_destroy(struct replay *replay) {
    if (!replay)
        return;
    monitor_destroy(replay->monitor);
    history_memory_destroy(replay->memory);
    replay_alarms_clear(&replay->alarms);
    free(replay->entries);
    free(replay->days);
    free(replay);
}

struct monitor *replay_monitor(struct replay *replay) {
    return replay->monitor;
}

const struct replay_alarm *replay_alarms(const struct replay *replay, size_t *count) {
    *count = replay->alarms.count;
    return replay->alarms.alarms;
}

struct replay_counts replay_counts(const struct replay *replay) {
    return replay->counts;
}

/* ---- what it works on ---- */

static int64_t later(int64_t a, int64_t b) {
    return a > b ? a : b;
}

bool replay_commission(struct replay *replay, size_t system, const struct commissioning *record) {
    for (size_t i = 0; i < record->value_count; i++) {
        const struct commissioning_value *value = &record->values[i];
        size_t point = fleet_find_point(replay->fleet, system, value->point);
        if (point != FLEET_NONE && !monitor_load_baseline(replay->monitor, point, record->from_ms,
                                                          value->value, record->by, false))
            return false;
    }
    if (!monitor_load_renewal(replay->monitor, system, record->from_ms, record->changed))
        return false;
    for (size_t i = 0; i < record->equipment.count; i++) {
        const struct equipment *fan = &record->equipment.items[i];
        if (!monitor_load_fan(
                replay->monitor, system,
                equipment_since_ms(fan, replay->fleet->systems[system].zone, record->from_ms), fan))
            return false;
    }
    if (isfinite(record->ground_exponent)) /* else what an older record says holds on */
        history_memory_set_exponent(replay->memory, system, record->from_ms,
                                    record->ground_exponent);
    struct monitor_dates dates = *monitor_dates(replay->monitor, system);
    dates.visited_ms = later(dates.visited_ms, record->from_ms);
    if (isfinite(record->radon_after_bq_m3))
        dates.tested_ms = later(dates.tested_ms, record->from_ms);
    if (dates.commissioned_ms == TIMESTAMP_NONE || record->from_ms < dates.commissioned_ms)
        dates.commissioned_ms = record->from_ms;
    dates.next_calibration_ms = later(dates.next_calibration_ms, record->next_calibration_ms);
    monitor_set_dates(replay->monitor, system, &dates);
    return true;
}

bool replay_add(struct replay *replay, size_t point, int64_t time_ms, double value, int64_t line) {
    struct replay_entry *entries = array_room(replay->entries, replay->count, sizeof *entries);
    if (!entries)
        return false;
    replay->entries = entries;
    replay->sorted &= replay->count == 0 || entries[replay->count - 1].time_ms <= time_ms;
    entries[replay->count++] =
        (struct replay_entry){time_ms, value, (uint32_t)point, (uint32_t)line};
    return true;
}

/* Adds an impossible value. */
static bool add_refused(struct replay *replay, size_t point, int64_t time_ms, int64_t line) {
    return replay_add(replay, point, time_ms, NAN, line);
}

static void count_bad(struct replay *replay, int64_t line, const char *why) {
    replay->counts.bad++;
    if (replay->listener.bad)
        replay->listener.bad(replay->listener.context, line, why);
}

static void show_progress(const struct replay *replay, double done) {
    if (replay->listener.progress && done >= 0.0)
        replay->listener.progress(replay->listener.context, done);
}

static bool add_record(struct replay *replay, struct csv_readings *rows,
                       const struct csv_record *record) {
    char why[200];
    struct csv_reading row;
    enum refusal refusal =
        csv_readings_read(rows, record->text, record->length, &row, why, sizeof why);
    if (refusal == REFUSAL_NONE)
        return replay_add(replay, row.point, row.time_ms, row.value, record->line);
    count_bad(replay, record->line, why);
    return refusal != REFUSAL_OUT_OF_RANGE ||
           add_refused(replay, row.point, row.time_ms, record->line);
}

static enum csv_result read_records(struct replay *replay, struct csv_readings *rows,
                                    struct csv_reader *reader) {
    struct csv_record record;
    for (uint64_t records = 1;; records++) {
        enum csv_result result = csv_reader_next(reader, &record);
        if (result == CSV_TOO_LONG)
            count_bad(replay, record.line, "the line is longer than 64 KiB");
        else if (result != CSV_RECORD)
            return result;
        else if (!add_record(replay, rows, &record))
            return CSV_FAILED;
        if (records % PROGRESS_READINGS == 0)
            show_progress(replay, csv_reader_done(reader) / 2.0);
    }
}

static bool read_header(struct csv_readings *rows, struct csv_reader *reader, const char *path,
                        char *why, size_t why_size) {
    char reason[160];
    struct csv_record header;
    enum csv_result result = csv_reader_next(reader, &header);
    if (result == CSV_RECORD &&
        csv_readings_header(rows, header.text, header.length, reason, sizeof reason))
        return true;
    if (result == CSV_FAILED)
        snprintf(why, why_size, "%s: %s", path, strerror(errno));
    else if (result == CSV_RECORD)
        snprintf(why, why_size, "%s:%lld: %s", path, (long long)header.line, reason);
    else
        snprintf(why, why_size,
                 "%s:1: there is no header; the first line must name time,system,point,value,unit "
                 "in any order",
                 path);
    return false;
}

bool replay_read(struct replay *replay, const char *path, char *why, size_t why_size) {
    struct csv_reader *reader = csv_reader_open(path);
    struct csv_readings *rows = reader ? csv_readings_create(replay->fleet) : NULL;
    bool good = rows && read_header(rows, reader, path, why, why_size);
    if (!rows || (good && read_records(replay, rows, reader) != CSV_END)) {
        snprintf(why, why_size, "%s: %s", path, strerror(errno));
        good = false;
    }
    csv_readings_destroy(rows);
    csv_reader_close(reader);
    return good;
}

/* ---- telling and forgetting ---- */

/* As the daemon explains an alarm before it tells anybody. */
static void explain(struct replay *replay, struct alarm *alarm) {
    struct diagnosis diagnosis;
    if (alarm->details || alarm->system == ALARM_NO_INDEX)
        return;
    int64_t newest_ms = monitor_system_newest_ms(replay->monitor, alarm->system);
    if (newest_ms != TIMESTAMP_NONE &&
        system_diagnosis_make(replay->monitor, &replay->history, alarm, newest_ms + 1, &diagnosis))
        alarm->details = explain_json(&diagnosis);
}

static void on_told(void *context, struct alarm *alarm, enum alarm_notice notice) {
    struct replay *replay = context;
    if (notice != ALARM_NOTICE_RAISED)
        return;
    explain(replay, alarm);
    if (!replay_alarms_told(&replay->alarms, alarm) ||
        !alarm_book_acknowledge(monitor_alarms(replay->monitor), alarm, "replay", NULL,
                                replay->clock_ms))
        replay->out_of_memory = true;
}

static void tell(struct replay *replay) {
    replay->waits = monitor_tell(replay->monitor, replay->clock_ms, replay, on_told);
    replay->told_at_count = alarm_book_count(monitor_alarms(replay->monitor));
}

static bool drop_hour(void *context, size_t point, const struct rollup_hour *hour) {
    (void)context, (void)point, (void)hour;
    return true;
}

static bool drop_tracker(void *context, const struct monitor_tracker *tracker) {
    (void)context, (void)tracker;
    return true;
}

static bool keep_alarm(void *context, const struct alarm *alarm) {
    struct replay *replay = context;
    return replay_alarms_update(&replay->alarms, alarm);
}

static void flush(struct replay *replay) {
    const struct monitor_sink sink = {replay, drop_hour, keep_alarm, drop_tracker};
    if (!monitor_flush(replay->monitor, &sink))
        replay->out_of_memory = true;
    replay->told_at_count = alarm_book_count(monitor_alarms(replay->monitor));
}

/* ---- the clock ---- */

static void begin_day(struct replay *replay, size_t system, int64_t day) {
    const struct time_zone *zone = replay->fleet->systems[system].zone;
    replay->days[system] = (struct system_day){day, time_zone_day_start_ms(zone, day),
                                               time_zone_day_start_ms(zone, day + 1)};
}

static void end_day(struct replay *replay, size_t system) {
    const struct system_day *today = &replay->days[system];
    if (!daily_judge(replay->monitor, &replay->history, system, today->day, NULL))
        replay->out_of_memory = true;
    if (replay->listener.day)
        replay->listener.day(replay->listener.context, replay->monitor, system, today->day,
                             today->start_ms, today->end_ms);
}

/* The one place where local days end. */
static void end_days(struct replay *replay, int64_t now_ms) {
    if (now_ms < replay->next_day_ms)
        return;
    int64_t next_ms = INT64_MAX;
    for (size_t s = 0; s < replay->fleet->system_count; s++) {
        struct system_day *today = &replay->days[s];
        while (today->end_ms <= now_ms) {
            end_day(replay, s);
            begin_day(replay, s, today->day + 1);
        }
        if (today->end_ms < next_ms)
            next_ms = today->end_ms;
    }
    replay->next_day_ms = next_ms;
}

static void bring_clock(struct replay *replay, int64_t now_ms) {
    end_days(replay, now_ms);
    replay->clock_ms = now_ms;
    monitor_advance(replay->monitor, now_ms);
    tell(replay);
}

static int64_t full_minute(int64_t time_ms) {
    int64_t rest = time_ms % tick_ms;
    return time_ms - (rest < 0 ? rest + tick_ms : rest);
}

/* All minutes before `time_ms`. */
static void run_clock(struct replay *replay, int64_t time_ms) {
    while (replay->next_tick_ms < time_ms) {
        bool nothing_left =
            replay->next_tick_ms - replay->newest_ms > replay->quiet_ms && !replay->waits;
        if (nothing_left) {
            int64_t jump_ms = full_minute(time_ms - 1);
            if (replay->next_day_ms < jump_ms)
                jump_ms = full_minute(replay->next_day_ms + tick_ms - 1);
            replay->next_tick_ms = later(replay->next_tick_ms, jump_ms);
        }
        bring_clock(replay, replay->next_tick_ms);
        replay->next_tick_ms += tick_ms;
    }
}

/* ---- the readings of one instant ---- */

/* Would this reading hide the end of a delay, or a silence, that came before it? */
static bool hides_something(const struct replay *replay, const struct replay_entry *entry) {
    const struct point_state *state = monitor_point(replay->monitor, entry->point);
    if (state->newest_ms == TIMESTAMP_NONE)
        return false;
    return entry->time_ms - state->newest_ms > state->silent_after_ms ||
           judge_deadline_ms(&replay->deadlines, entry->point, state) < entry->time_ms;
}

static void take(struct replay *replay, const struct replay_entry *entry) {
    const struct point_state *state = monitor_point(replay->monitor, entry->point);
    if (isnan(entry->value)) {
        monitor_refused(replay->monitor, entry->point, REFUSAL_OUT_OF_RANGE, NAN, entry->time_ms);
        return;
    }
    if (state->newest_ms == entry->time_ms) {
        if (state->newest_value == entry->value)
            replay->counts.same++;
        else
            count_bad(replay, entry->line,
                      "conflict: another value for a time that is taken; the first line counts");
        return;
    }
    const struct reading reading = {entry->time_ms, entry->value};
    monitor_reading(replay->monitor, entry->point, &reading, entry->time_ms);
    if (!history_memory_add(replay->memory, entry->point, &reading))
        replay->out_of_memory = true;
    replay->counts.taken++;
    if (replay->listener.taken)
        replay->listener.taken(replay->listener.context, entry->point, &reading);
}

static void take_instant(struct replay *replay, const struct replay_entry *entries, size_t count) {
    int64_t time_ms = entries[0].time_ms;
    run_clock(replay, time_ms);
    bool look_first = false;
    for (size_t i = 0; i < count && !look_first; i++)
        look_first = hides_something(replay, &entries[i]);
    if (look_first && replay->clock_ms < time_ms - 1)
        bring_clock(replay, time_ms - 1);
    end_days(replay, time_ms);
    replay->clock_ms = replay->newest_ms = time_ms;
    for (size_t i = 0; i < count; i++)
        take(replay, &entries[i]);
    if (alarm_book_count(monitor_alarms(replay->monitor)) != replay->told_at_count)
        tell(replay);
}

/* ---- all ---- */

static void begin(struct replay *replay) {
    if (!replay->compares)
        neighbours_set_apart(monitor_neighbours(replay->monitor));
    int64_t first_ms = replay->entries[0].time_ms;
    replay->counts.first_ms = first_ms;
    replay->counts.last_ms = replay->entries[replay->count - 1].time_ms;
    replay->newest_ms = first_ms;
    replay->next_tick_ms = full_minute(first_ms);
    replay->clock_ms = full_minute(first_ms) - tick_ms;
    replay->next_day_ms = INT64_MAX;
    for (size_t s = 0; s < replay->fleet->system_count; s++) {
        begin_day(replay, s, time_zone_local_day(replay->fleet->systems[s].zone, first_ms));
        if (replay->days[s].end_ms < replay->next_day_ms)
            replay->next_day_ms = replay->days[s].end_ms;
    }
}

static size_t instant_length(const struct replay *replay, size_t at) {
    size_t end = at + 1;
    while (end < replay->count && replay->entries[end].time_ms == replay->entries[at].time_ms)
        end++;
    return end - at;
}

static int by_time_and_line(const void *a, const void *b) {
    const struct replay_entry *x = a, *y = b;
    if (x->time_ms != y->time_ms)
        return x->time_ms < y->time_ms ? -1 : 1;
    return (x->line > y->line) - (x->line < y->line);
}

bool replay_run(struct replay *replay) {
    if (replay->count == 0)
        return true;
    if (!replay->sorted)
        qsort(replay->entries, replay->count, sizeof *replay->entries, by_time_and_line);
    begin(replay);
    size_t since_flush = 0, since_progress = 0;
    for (size_t i = 0, length; i < replay->count && !replay->out_of_memory; i += length) {
        length = instant_length(replay, i);
        take_instant(replay, &replay->entries[i], length);
        since_flush += length;
        since_progress += length;
        if (since_flush >= FLUSH_READINGS) {
            flush(replay);
            since_flush = 0;
        }
        if (since_progress >= PROGRESS_READINGS) {
            show_progress(replay, 0.5 + 0.5 * (double)i / (double)replay->count);
            since_progress = 0;
        }
    }
    bring_clock(replay, replay->counts.last_ms);
    flush(replay);
    replay_alarms_leave_out_repeats(&replay->alarms, replay->counts.last_ms);
    replay_alarms_sort(&replay->alarms);
    return !replay->out_of_memory;
}
