#include "host/log.h"
#include "measure/duration.h"
#include "pipeline/news.h"
#include "pipeline/pipeline_private.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- opening ---- */

static const char *failure(enum store_status status, const struct store *store) {
    return status == STORE_OUT_OF_MEMORY ? "out of memory" : store_error(store);
}

/* All but the monitor's memory. NULL when out of memory. */
static struct pipeline *create(const struct fleet *fleet, struct store *store,
                               struct monitor *monitor) {
    struct pipeline *pipeline = calloc(1, sizeof *pipeline);
    if (!pipeline) {
        monitor_destroy(monitor);
        return NULL;
    }
    pipeline->fleet = fleet;
    pipeline->turn.store = store;
    pipeline->moved_ms = TIMESTAMP_NONE;
    pipeline->monitor = monitor;
    if (pipeline->monitor && announce_open(&pipeline->announce, fleet, store) &&
        away_open(&pipeline->away, fleet->point_count) &&
        busy_points_open(&pipeline->busy, fleet->point_count))
        return pipeline;
    pipeline_close(pipeline);
    return NULL;
}

struct pipeline *pipeline_open(const struct fleet *fleet, struct store *store, int64_t now_ms,
                               char *why, size_t why_size) {
    struct pipeline *pipeline = create(fleet, store, monitor_create(fleet));
    enum store_status status = STORE_OUT_OF_MEMORY;
    if (pipeline)
        status = monitor_memory_open(&pipeline->memory, store, pipeline->monitor);
    if (status == STORE_OK)
        pipeline->looks = second_looks_open(&pipeline->memory, &status);
    if (status == STORE_OK) {
        pipeline->refused_from_ms = now_ms;
        monitor_end_unwatched(pipeline->monitor, fleet, now_ms);
        return pipeline;
    }
    snprintf(why, why_size, "%s", failure(status, store));
    pipeline_close(pipeline);
    return NULL;
}

/* ---- new settings ---- */

struct pipeline *pipeline_open_beside(const struct pipeline *former,
                                      const struct fleet_change *change, char *why,
                                      size_t why_size) {
    struct pipeline *pipeline =
        create(change->fleet, former->turn.store, monitor_create_beside(change));
    enum store_status status = STORE_OUT_OF_MEMORY;
    if (pipeline)
        status = monitor_memory_open_beside(&pipeline->memory, &former->memory, pipeline->monitor,
                                            change);
    if (status == STORE_OK)
        return pipeline;
    snprintf(why, why_size, "%s", failure(status, former->turn.store));
    pipeline_close(pipeline);
    return NULL;
}

enum store_status pipeline_read_beside(struct pipeline *pipeline, const struct fleet_change *change,
                                       int64_t until_monotonic_ms, bool *more) {
    return monitor_memory_read_some(&pipeline->memory, change, until_monotonic_ms, more);
}

enum store_status pipeline_hand_over(struct pipeline *former, struct pipeline *pipeline,
                                     const struct fleet_change *change, int64_t now_ms) {
    monitor_end_unwatched(former->monitor, change->fleet, now_ms);
    enum store_status status = pipeline_settle(former, now_ms);
    if (status == STORE_OK &&
        !alarm_book_reserve(monitor_alarms(former->monitor),
                            alarm_book_count(monitor_alarms(pipeline->monitor))))
        status = STORE_OUT_OF_MEMORY;
    THEN(status, monitor_memory_catch_up(&pipeline->memory, former->monitor, change));
    /* The looks still to be made are in the store. */
    if (status == STORE_OK)
        pipeline->looks = second_looks_open(&pipeline->memory, &status);
    return status;
}

void pipeline_take_over(struct pipeline *pipeline, struct pipeline *former,
                        const struct fleet_change *change, int64_t now_ms) {
    monitor_take_over(pipeline->monitor, former->monitor, change, now_ms);
    month_means_take_over(pipeline->memory.months, former->memory.months, change);
    announce_take_over(&pipeline->announce, &former->announce, change);
    away_take_over(&pipeline->away, &former->away, change);
    busy_points_take_over(&pipeline->busy, &former->busy, change);
    pipeline->hand = former->hand;
    pipeline->counters = former->counters;
    pipeline->book_kept = former->book_kept;
    pipeline->refused_from_ms = former->refused_from_ms;
    pipeline->refused_in_window = former->refused_in_window;
    pipeline->moved_ms = former->moved_ms;
    pipeline->quiet = former->quiet;
}

void pipeline_close(struct pipeline *pipeline) {
    if (!pipeline)
        return;
    if (pipeline->turn.store && store_in_transaction(pipeline->turn.store))
        store_rollback(pipeline->turn.store);
    second_looks_close(pipeline->looks);
    monitor_memory_close(&pipeline->memory);
    announce_close(&pipeline->announce);
    away_close(&pipeline->away);
    busy_points_close(&pipeline->busy);
    monitor_destroy(pipeline->monitor);
    free(pipeline);
}

struct monitor *pipeline_monitor(struct pipeline *pipeline) {
    return pipeline->monitor;
}

struct alarm_book *pipeline_alarms(struct pipeline *pipeline) {
    return monitor_alarms(pipeline->monitor);
}

struct announce *pipeline_announce(struct pipeline *pipeline) {
    return &pipeline->announce;
}

struct store *pipeline_store(const struct pipeline *pipeline) {
    return pipeline->turn.store;
}

const struct busy_points *pipeline_busy(const struct pipeline *pipeline) {
    return &pipeline->busy;
}

void pipeline_set_in_hand(struct pipeline *pipeline, struct in_hand *hand) {
    pipeline->hand = hand;
}

void pipeline_forget(struct pipeline *pipeline, const struct forget *what) {
    if (!pipeline_begin(pipeline))
        return;
    pipeline_note(pipeline, announce_forget(pipeline_announce(pipeline), what->system));
    pipeline_note(pipeline, forget_system(pipeline->turn.store, what));
    in_hand_forget(pipeline->hand, what->system);
}

int64_t pipeline_key(const struct pipeline *pipeline, size_t point) {
    return pipeline->memory.keys[point];
}

enum store_status pipeline_month_mean(struct pipeline *pipeline, size_t point, int64_t now_ms,
                                      struct month_mean *mean) {
    const struct monitor_memory *memory = &pipeline->memory;
    return month_means_read(memory->months, memory->store, point, memory->keys[point],
                            &monitor_point(memory->monitor, point)->hour, now_ms, mean);
}

struct monitor_memory *pipeline_memory(struct pipeline *pipeline) {
    return &pipeline->memory;
}

struct pipeline_counters pipeline_count(const struct pipeline *pipeline) {
    return pipeline->counters;
}

void pipeline_forget_store(struct pipeline *pipeline) {
    pipeline->turn.store = pipeline->memory.store = pipeline->announce.store = NULL;
    pipeline->turn.open = false;
    pipeline_note(pipeline, STORE_FAILING);
}

/* ---- the turn's transaction ---- */

struct store_turn *pipeline_turn(struct pipeline *pipeline) {
    return &pipeline->turn;
}

bool pipeline_begin(struct pipeline *pipeline) {
    return store_turn_begin(&pipeline->turn);
}

bool pipeline_note(struct pipeline *pipeline, enum store_status status) {
    return store_turn_note(&pipeline->turn, status);
}

bool pipeline_begin_task(struct pipeline *pipeline, const char *name) {
    return in_hand_task(pipeline->hand, name) && pipeline_begin(pipeline);
}

bool pipeline_uncommitted(const struct pipeline *pipeline) {
    return pipeline->turn.open || pipeline->turn.failed != STORE_OK;
}

/* ---- readings ---- */

enum pipeline_taken pipeline_count_taken(struct pipeline *pipeline, enum series_append result) {
    switch (result) {
    case SERIES_NEW:
        pipeline->counters.readings++;
        return PIPELINE_NEW;
    case SERIES_SAME:
        pipeline->counters.repeats++;
        return PIPELINE_SAME;
    case SERIES_CONFLICT:
        pipeline->counters.conflicts++;
        return PIPELINE_CONFLICT;
    }
    return PIPELINE_FAILED;
}

/* An import of years can open and end thousands of alarms in one turn: written early, the ended
   ones leave the book, so that looking things up in it stays quick. */
bool pipeline_book_has_grown(const struct pipeline *pipeline) {
    enum { BOOK_GROWTH = 500 };
    return alarm_book_count(monitor_alarms(pipeline->monitor)) >= pipeline->book_kept + BOOK_GROWTH;
}

void pipeline_write_early(struct pipeline *pipeline) {
    pipeline_note(pipeline, monitor_memory_write(&pipeline->memory));
    pipeline->book_kept = alarm_book_count(monitor_alarms(pipeline->monitor));
}

enum pipeline_taken pipeline_take(struct pipeline *pipeline, size_t point,
                                  const struct reading *reading, enum series_origin origin,
                                  int64_t now_ms) {
    enum series_append result = SERIES_NEW;
    bool newest = monitor_is_newest(pipeline->monitor, point, reading->time_ms);
    if (origin == SERIES_FROM_SENSOR)
        busy_points_count(&pipeline->busy, point, reading->time_ms, now_ms);
    if (!pipeline_begin(pipeline))
        return PIPELINE_FAILED;
    enum store_status status = series_append(pipeline->turn.store, pipeline->memory.keys[point],
                                             reading, origin, newest, &result);
    if (status != STORE_OK) {
        pipeline_note(pipeline, status);
        return PIPELINE_FAILED;
    }
    if (result == SERIES_NEW && newest) {
        if (origin == SERIES_FROM_SENSOR)
            away_reading(&pipeline->away, pipeline->monitor, point, reading->time_ms);
        monitor_reading(pipeline->monitor, point, reading, now_ms);
        if (pipeline_book_has_grown(pipeline))
            pipeline_write_early(pipeline);
    } else if (result == SERIES_NEW) {
        pipeline->counters.late++;
        if (!second_looks_note_late(pipeline->looks, point, reading->time_ms))
            pipeline_note(pipeline, STORE_OUT_OF_MEMORY);
    }
    return pipeline_count_taken(pipeline, result);
}

int64_t pipeline_pack_before_ms(int64_t now_ms) {
    return now_ms - 2 * DURATION_DAY_MS;
}

/* ---- the end of a turn ---- */

void pipeline_look_again(struct pipeline *pipeline, int64_t until_monotonic_ms) {
    if (second_looks_waiting(pipeline->looks) == 0 || !pipeline_begin(pipeline))
        return;
    pipeline_note(pipeline, second_looks_step(pipeline->looks, pipeline->hand, until_monotonic_ms));
}

size_t pipeline_looks_waiting(const struct pipeline *pipeline) {
    return second_looks_waiting(pipeline->looks);
}

static void tell_news(struct pipeline *pipeline, int64_t now_ms) {
    struct news news;
    if (pipeline_note(pipeline, news_collect(&news, pipeline->monitor, now_ms)) && news.count > 0 &&
        pipeline_begin(pipeline))
        pipeline_note(pipeline,
                      news_announce(&news, &pipeline->memory, &pipeline->announce, now_ms));
    news_close(&news);
    if (pipeline->turn.open && pipeline_begin(pipeline))
        pipeline_note(pipeline, announce_settle(&pipeline->announce, now_ms));
}

void pipeline_write(struct pipeline *pipeline, int64_t now_ms) {
    if (pipeline->turn.failed != STORE_OK)
        return;
    in_hand_turn(pipeline->hand);
    if (!pipeline->quiet)
        tell_news(pipeline, now_ms);
    if (monitor_has_changes(pipeline->monitor) && pipeline_begin(pipeline))
        pipeline_note(pipeline, monitor_memory_write(&pipeline->memory));
    if (pipeline->turn.failed == STORE_OK)
        in_hand_put_down(pipeline->hand);
}

enum store_status pipeline_commit(struct pipeline *pipeline) {
    if (pipeline->turn.open && pipeline_begin(pipeline))
        pipeline_note(pipeline, second_looks_keep(pipeline->looks));
    enum store_status status = store_turn_end(&pipeline->turn);
    if (status == STORE_OK)
        in_hand_done(pipeline->hand);
    return status;
}

enum store_status pipeline_settle(struct pipeline *pipeline, int64_t now_ms) {
    pipeline_write(pipeline, now_ms);
    return pipeline_commit(pipeline);
}

void pipeline_judge_again(struct pipeline *pipeline, size_t point, int64_t from_ms) {
    if (!second_looks_note_change(pipeline->looks, point, from_ms))
        pipeline_note(pipeline, STORE_OUT_OF_MEMORY);
}

enum store_status pipeline_read_records(struct pipeline *pipeline, size_t system) {
    return monitor_memory_read_records(&pipeline->memory, system);
}

void pipeline_set_backlog(struct pipeline *pipeline, bool backlog, int64_t now_ms) {
    monitor_set_backlog(pipeline->monitor, backlog, now_ms);
    if (pipeline->turn.store)
        series_gather(pipeline->turn.store, backlog);
}

void pipeline_was_away(struct pipeline *pipeline, int64_t from_ms, int64_t to_ms) {
    away_begin(&pipeline->away, from_ms, to_ms);
}

static void judge_absence(struct pipeline *pipeline, int64_t now_ms) {
    char subject[160], from[40], to[40];
    struct away *away = &pipeline->away;
    if (!away_judge(away, now_ms))
        return;
    snprintf(subject, sizeof subject, "%zu points, %s to %s", away->hole_count,
             timestamp_format(from, sizeof from, away->hole_from_ms),
             timestamp_format(to, sizeof to, away->hole_to_ms));
    monitor_daemon(pipeline->monitor, CONDITION_READINGS_GAP, true, subject,
                   (double)away->hole_count, now_ms);
    monitor_daemon(pipeline->monitor, CONDITION_READINGS_GAP, false, NULL, NAN, now_ms);
}

/* Days of the store that a reader came upon and could not read: gaps until a backup is back. */
static void tell_damage(struct pipeline *pipeline, int64_t now_ms) {
    int64_t key, day_ms;
    char when[40], subject[400];
    while (pipeline->turn.store && series_damage_next(pipeline->turn.store, &key, &day_ms)) {
        size_t point = 0;
        while (point < pipeline->fleet->point_count && pipeline->memory.keys[point] != key)
            point++;
        bool is_known = point < pipeline->fleet->point_count;
        timestamp_format(when, sizeof when, day_ms);
        snprintf(subject, sizeof subject, "%.10s (UTC) of %s/%s", when,
                 is_known ? fleet_system_id(pipeline->fleet, pipeline->fleet->points[point].system)
                          : "a system that is gone",
                 is_known ? fleet_point_id(pipeline->fleet, point) : "its point");
        log_line(LOG_LEVEL_ERROR, "store",
                 "readings of %s are damaged and left out; bring back a backup", subject);
        monitor_daemon(pipeline->monitor, CONDITION_STORE_DAMAGED, true, subject, NAN, now_ms);
    }
}

/* When people are reminded is asked anew of what they were told. */
static void forget_reminders(struct pipeline *pipeline) {
    struct alarm_book *book = monitor_alarms(pipeline->monitor);
    for (size_t i = 0; i < alarm_book_count(book); i++)
        alarm_book_get(book, i)->next_reminder_ms = 0;
}

void pipeline_clock_back(struct pipeline *pipeline, int64_t by_ms, int64_t now_ms) {
    announce_clock_back(&pipeline->announce, by_ms, now_ms);
    forget_reminders(pipeline);
    if (!pipeline_begin(pipeline))
        return;
    pipeline_note(pipeline, outbox_clock_back(pipeline->turn.store, now_ms, by_ms));
}

void pipeline_clock_moved(struct pipeline *pipeline, int64_t by_ms, int64_t now_ms) {
    if (by_ms < 0)
        pipeline_clock_back(pipeline, -by_ms, now_ms);
    busy_points_forget(&pipeline->busy);
    monitor_clock_moved(pipeline->monitor, by_ms);
    monitor_daemon(pipeline->monitor, CONDITION_CLOCK_JUMPED, true, NULL, (double)by_ms, now_ms);
    monitor_daemon(pipeline->monitor, CONDITION_CLOCK_JUMPED, false, NULL, (double)by_ms, now_ms);
    pipeline->moved_ms = now_ms;
}

void pipeline_set_quiet(struct pipeline *pipeline, bool quiet) {
    pipeline->quiet = quiet;
}

/* A clock that is ahead must not age what is kept: no further than the newest reading, and not
   within a day after the clock was moved. */
int64_t pipeline_keep_from_ms(const struct pipeline *pipeline, int64_t now_ms) {
    int64_t newest_ms = monitor_newest_ms(pipeline->monitor);
    if (pipeline->moved_ms != TIMESTAMP_NONE && now_ms - pipeline->moved_ms < DURATION_DAY_MS)
        return TIMESTAMP_NONE;
    return newest_ms < now_ms ? newest_ms : now_ms;
}

int64_t pipeline_tick(struct pipeline *pipeline, int64_t now_ms) {
    pipeline_expire_refusals(pipeline, now_ms);
    tell_damage(pipeline, now_ms);
    judge_absence(pipeline, now_ms);
    return monitor_advance(pipeline->monitor, now_ms);
}
