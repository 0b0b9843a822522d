#include "pipeline/second_looks.h"

#include "host/clock.h"
#include "host/log.h"
#include "monitor/second_look.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* So many readings a piece, about 2 ms; where a look may end, few at first. */
enum { READINGS_A_PIECE = 1024, READINGS_AT_THE_END = 64, SPANS_A_POINT = 8 };

struct point_looks {
    size_t count;
    struct record_look spans[SPANS_A_POINT + 1]; /* in order; one more while one is added */
    bool changed;                                /* since it was last written */
    bool stored;                                 /* the store has rows of it */
};

struct second_looks {
    struct monitor_memory *memory;
    struct point_looks **points; /* NULL: nothing to look at */
    size_t *queue;               /* points, a ring of point_count places */
    size_t first, count;
    size_t *changed; /* points to be written; some may be done meanwhile */
    size_t changed_count;
    struct second_look *look; /* at the first span of the first point; NULL: not begun */
    size_t piece;             /* readings a piece, where the look may end */
    struct reading readings[READINGS_A_PIECE];
    bool out_of_memory; /* while rows are handed to the look */
};

/* ---- what is to be done ---- */

static size_t point_count(const struct second_looks *looks) {
    return monitor_fleet(looks->memory->monitor)->point_count;
}

size_t second_looks_waiting(const struct second_looks *looks) {
    return looks->count;
}

static void break_off(struct second_looks *looks) {
    second_look_destroy(looks->look);
    looks->look = NULL;
}

static struct point_looks *looks_of(struct second_looks *looks, size_t point) {
    struct point_looks *own = looks->points[point];
    if (own)
        return own;
    own = calloc(1, sizeof *own);
    if (!own)
        return NULL;
    looks->points[point] = own;
    looks->queue[(looks->first + looks->count++) % point_count(looks)] = point;
    monitor_set_look_waits(looks->memory->monitor, point, true);
    return own;
}

static void mark_changed(struct second_looks *looks, size_t point) {
    struct point_looks *own = looks->points[point];
    if (own->changed)
        return;
    own->changed = true;
    looks->changed[looks->changed_count++] = point;
}

static int64_t lesser(int64_t a, int64_t b) {
    return a < b ? a : b;
}

static int64_t greater(int64_t a, int64_t b) {
    return a > b ? a : b;
}

static void join(struct record_look *into, const struct record_look *other) {
    into->from_ms = lesser(into->from_ms, other->from_ms);
    into->to_ms = greater(into->to_ms, other->to_ms);
    if (other->late_to_ms == TIMESTAMP_NONE)
        return;
    into->late_from_ms = into->late_to_ms == TIMESTAMP_NONE
                             ? other->late_from_ms
                             : lesser(into->late_from_ms, other->late_from_ms);
    into->late_to_ms = greater(into->late_to_ms, other->late_to_ms);
}

/* Joins span i with the one after it. */
static void join_next(struct point_looks *own, size_t i) {
    join(&own->spans[i], &own->spans[i + 1]);
    own->count--;
    memmove(&own->spans[i + 1], &own->spans[i + 2], (own->count - i - 1) * sizeof own->spans[0]);
}

static int64_t gap_after(const struct point_looks *own, size_t i) {
    return own->spans[i + 1].from_ms - own->spans[i].to_ms;
}

/* Spans so near that the look at one comes to the other are one; and so are the two nearest when
   there are too many. */
static void join_near(struct point_looks *own, int64_t near_ms) {
    size_t nearest = 0;
    for (size_t i = 0; i + 1 < own->count;) {
        if (gap_after(own, i) > near_ms)
            i++;
        else
            join_next(own, i);
    }
    for (size_t i = 1; i + 1 < own->count; i++)
        nearest = gap_after(own, i) < gap_after(own, nearest) ? i : nearest;
    if (own->count > SPANS_A_POINT)
        join_next(own, nearest);
}

static bool add_span(struct second_looks *looks, size_t point, const struct record_look *span) {
    struct point_looks *own = looks_of(looks, point);
    if (!own)
        return false;
    size_t place = own->count++;
    for (; place > 0 && own->spans[place - 1].from_ms > span->from_ms; place--)
        own->spans[place] = own->spans[place - 1];
    own->spans[place] = *span;
    join_near(own, second_look_lookback_ms(looks->memory->monitor, point));
    return true;
}

/* What the look under way has behind it, or began with, is not as it was any more. */
static bool is_behind(const struct second_looks *looks, size_t point, int64_t from_ms) {
    return looks->look && looks->queue[looks->first] == point &&
           from_ms <
               greater(second_look_next_ms(looks->look), looks->points[point]->spans[0].from_ms);
}

static bool note(struct second_looks *looks, size_t point, const struct record_look *span) {
    if (is_behind(looks, point, span->from_ms))
        break_off(looks);
    if (!add_span(looks, point, span))
        return false;
    mark_changed(looks, point);
    return true;
}

bool second_looks_note_late(struct second_looks *looks, size_t point, int64_t time_ms) {
    const struct record_look span = {time_ms, time_ms, time_ms, time_ms};
    return note(looks, point, &span);
}

bool second_looks_note_change(struct second_looks *looks, size_t point, int64_t from_ms) {
    int64_t newest_ms = monitor_newest(looks->memory->monitor, point).time_ms;
    const struct record_look span = {from_ms, newest_ms, TIMESTAMP_NONE, TIMESTAMP_NONE};
    return newest_ms == TIMESTAMP_NONE || newest_ms < from_ms || note(looks, point, &span);
}

/* ---- in the store ---- */

static bool on_stored(void *context, const char *system, const char *point,
                      const struct record_look *look) {
    struct second_looks *looks = context;
    const struct fleet *fleet = monitor_fleet(looks->memory->monitor);
    size_t owner = fleet_find_system(fleet, system);
    size_t index = owner == FLEET_NONE ? FLEET_NONE : fleet_find_point(fleet, owner, point);
    if (index == FLEET_NONE)
        return true;
    looks->out_of_memory |= !add_span(looks, index, look);
    if (looks->points[index])
        looks->points[index]->stored = true;
    return !looks->out_of_memory;
}

struct second_looks *second_looks_open(struct monitor_memory *memory, enum store_status *status) {
    struct second_looks *looks = calloc(1, sizeof *looks);
    *status = STORE_OUT_OF_MEMORY;
    if (!looks)
        return NULL;
    looks->memory = memory;
    looks->points = calloc(point_count(looks) + 1, sizeof(struct point_looks *));
    looks->queue = calloc(point_count(looks) + 1, sizeof *looks->queue);
    looks->changed = calloc(point_count(looks) + 1, sizeof *looks->changed);
    if (looks->points && looks->queue && looks->changed)
        *status = record_look_list(memory->store, on_stored, looks);
    if (*status == STORE_OK && looks->out_of_memory)
        *status = STORE_OUT_OF_MEMORY;
    if (*status == STORE_OK)
        return looks;
    second_looks_close(looks);
    return NULL;
}

void second_looks_close(struct second_looks *looks) {
    if (!looks)
        return;
    break_off(looks);
    for (size_t i = 0; looks->points && i < looks->count; i++)
        free(looks->points[looks->queue[(looks->first + i) % point_count(looks)]]);
    free(looks->points);
    free(looks->queue);
    free(looks->changed);
    free(looks);
}

static enum store_status write_spans(struct second_looks *looks, size_t point) {
    struct point_looks *own = looks->points[point];
    int64_t key = looks->memory->keys[point];
    enum store_status status = STORE_OK;
    if (own->stored)
        status = record_look_delete(looks->memory->store, key);
    for (size_t i = 0; i < own->count && status == STORE_OK; i++)
        status = record_look_put(looks->memory->store, key, &own->spans[i]);
    own->stored = own->count > 0;
    own->changed = false;
    return status;
}

enum store_status second_looks_keep(struct second_looks *looks) {
    enum store_status status = STORE_OK;
    for (size_t i = 0; i < looks->changed_count && status == STORE_OK; i++) {
        size_t point = looks->changed[i];
        if (looks->points[point] && looks->points[point]->changed)
            status = write_spans(looks, point);
    }
    looks->changed_count = 0;
    return status;
}

/* ---- one look ---- */

struct look_place {
    struct second_looks *looks;
    size_t point;
    const char *system, *id;
    int64_t key;
    struct record_look *span;
};

static bool to_occurrence(const struct record_alarm *row,
                          struct second_look_occurrence *occurrence) {
    *occurrence = (struct second_look_occurrence){
        .id = row->id,
        .since_ms = row->since_ms,
        .raised_ms = row->raised_ms,
        .returned_ms = row->returned_ms,
        .value = row->value,
        .setpoint = row->setpoint,
        .told = row->told,
    };
    return row->returned_ms != TIMESTAMP_NONE &&
           condition_find(row->condition, &occurrence->condition);
}

static bool on_last(void *context, const struct record_alarm *row) {
    struct second_looks *looks = context;
    struct second_look_occurrence occurrence;
    if (to_occurrence(row, &occurrence))
        second_look_stood(looks->look, &occurrence);
    return false;
}

static bool on_raised(void *context, const struct record_alarm *row) {
    struct second_looks *looks = context;
    struct second_look_occurrence occurrence;
    if (to_occurrence(row, &occurrence))
        looks->out_of_memory |= !second_look_recorded(looks->look, &occurrence);
    return !looks->out_of_memory;
}

static enum store_status begin(const struct look_place *place) {
    struct second_looks *looks = place->looks;
    struct store *store = looks->memory->store;
    struct reading before = {TIMESTAMP_NONE, 0.0};
    looks->piece = READINGS_AT_THE_END;
    enum store_status status = series_before(store, place->key, place->span->from_ms, &before);
    if (status != STORE_OK && status != STORE_NOT_FOUND)
        return status;
    looks->look = second_look_create(looks->memory->monitor, place->point, place->span->from_ms,
                                     before.time_ms);
    if (!looks->look)
        return STORE_OUT_OF_MEMORY;
    status = STORE_OK;
    for (int c = 0; c < CONDITION_COUNT && status == STORE_OK; c++) {
        if (second_look_judges(looks->look, (enum condition)c))
            status = record_alarm_raised(store, place->system, place->id,
                                         condition_info((enum condition)c)->name, INT64_MIN,
                                         before.time_ms, on_last, looks);
    }
    return status;
}

static enum store_status hand_over_record(const struct look_place *place, int64_t until_ms) {
    struct second_looks *looks = place->looks;
    int64_t after_ms = second_look_settled_ms(looks->look);
    enum store_status status = STORE_OK;
    looks->out_of_memory = false;
    for (int c = 0; c < CONDITION_COUNT && status == STORE_OK && until_ms > after_ms; c++) {
        if (second_look_judges(looks->look, (enum condition)c))
            status = record_alarm_raised(looks->memory->store, place->system, place->id,
                                         condition_info((enum condition)c)->name, after_ms,
                                         until_ms, on_raised, looks);
    }
    return status == STORE_OK && looks->out_of_memory ? STORE_OUT_OF_MEMORY : status;
}

/* The next readings: up to where the look may end at the earliest, from there on a few at a time.
 */
static enum store_status read_on(const struct look_place *place, size_t *count, bool *ended) {
    struct second_looks *looks = place->looks;
    int64_t from_ms = second_look_next_ms(looks->look);
    int64_t lookback_ms = second_look_lookback_ms(looks->memory->monitor, place->point);
    int64_t may_end_ms =
        place->span->to_ms < INT64_MAX - lookback_ms ? place->span->to_ms + lookback_ms : INT64_MAX;
    size_t most = READINGS_A_PIECE;
    if (from_ms >= may_end_ms) {
        most = looks->piece;
        looks->piece = 2 * most < READINGS_A_PIECE ? 2 * most : READINGS_A_PIECE;
    }
    enum store_status status =
        series_read(looks->memory->store, place->key, from_ms,
                    from_ms < may_end_ms ? may_end_ms : INT64_MAX, looks->readings, most, count);
    if (status == STORE_OK && *count < most && from_ms < may_end_ms) {
        size_t further = 0;
        status = series_read(looks->memory->store, place->key, may_end_ms, INT64_MAX,
                             looks->readings + *count, 1, &further);
        *ended = further == 0;
        *count += further;
    } else {
        *ended = *count < most;
    }
    return status;
}

/* The look comes to where further readings came late. */
static void take_in_next(const struct look_place *place) {
    struct second_looks *looks = place->looks;
    struct point_looks *own = looks->points[place->point];
    int64_t lookback_ms = second_look_lookback_ms(looks->memory->monitor, place->point);
    while (own->count > 1 &&
           own->spans[1].from_ms - lookback_ms <= second_look_reached_ms(looks->look))
        join_next(own, 0);
}

/* Hours in [from, to] are made anew where late readings lie, whole hours at a time; so the daily
   values, when they are next asked for. */
static enum store_status rebuild(const struct look_place *place, int64_t from_ms, int64_t to_ms) {
    const struct monitor_memory *memory = place->looks->memory;
    const struct fleet *fleet = monitor_fleet(memory->monitor);
    const struct fleet_point *point = &fleet->points[place->point];
    const struct time_zone *zone = fleet->systems[point->system].zone;
    const struct record_look *span = place->span;
    int64_t every_ms = point->description->every_ms;
    if (span->late_to_ms == TIMESTAMP_NONE)
        return STORE_OK;
    int64_t last_ms = rollup_hour_start(span->late_to_ms + every_ms) + ROLLUP_HOUR_MS - 1;
    from_ms = greater(from_ms, span->late_from_ms - every_ms);
    to_ms = lesser(to_ms, last_ms);
    if (from_ms > to_ms)
        return STORE_OK;
    month_means_changed(memory->months, place->point, rollup_hour_start(from_ms));
    enum store_status status =
        series_hours_rebuild(memory->store, place->key, every_ms, from_ms, to_ms);
    if (status != STORE_OK)
        return status;
    return series_days_forget(memory->store, place->key, time_zone_local_day(zone, from_ms),
                              time_zone_local_day(zone, to_ms));
}

static enum store_status forget_alarms(const struct second_looks *looks) {
    size_t count = 0;
    enum store_status status = STORE_OK;
    const int64_t *ids = second_look_forgotten(looks->look, &count);
    for (size_t i = 0; i < count && (status == STORE_OK || status == STORE_NOT_FOUND); i++)
        status = record_alarm_delete(looks->memory->store, ids[i]);
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

/* The first span of the first point is done; the point's other ones wait behind the others'. */
static enum store_status finish(const struct look_place *place) {
    struct second_looks *looks = place->looks;
    struct point_looks *own = looks->points[place->point];
    enum store_status status = STORE_OK;
    break_off(looks);
    own->count--;
    memmove(&own->spans[0], &own->spans[1], own->count * sizeof own->spans[0]);
    looks->first = (looks->first + 1) % point_count(looks);
    if (own->count > 0) {
        looks->queue[(looks->first + looks->count - 1) % point_count(looks)] = place->point;
        mark_changed(looks, place->point);
        return STORE_OK;
    }
    if (own->stored)
        status = record_look_delete(looks->memory->store, place->key);
    looks->count--;
    looks->points[place->point] = NULL;
    free(own);
    monitor_set_look_waits(looks->memory->monitor, place->point, false);
    return status;
}

/* Compares what was judged with the record, up to the last reading or (ended) for good. */
static enum store_status settle(const struct look_place *place, bool ended, bool *done) {
    struct second_looks *looks = place->looks;
    enum store_status status =
        hand_over_record(place, ended ? INT64_MAX : second_look_reached_ms(looks->look));
    if (status != STORE_OK)
        return status;
    enum second_look_progress progress = second_look_settle(looks->look, ended, place->span->to_ms);
    if (progress == SECOND_LOOK_NO_MEMORY)
        return STORE_OUT_OF_MEMORY;
    *done = progress == SECOND_LOOK_DONE;
    status = monitor_memory_write(looks->memory);
    return status == STORE_OK ? forget_alarms(looks) : status;
}

static enum store_status go_on(const struct look_place *place) {
    struct second_looks *looks = place->looks;
    struct store *store = looks->memory->store;
    size_t count = 0;
    bool ended = false, done = false;
    uint64_t met = series_damage_met(store);
    int64_t from_ms = second_look_reached_ms(looks->look);
    enum store_status status = read_on(place, &count, &ended);
    if (status != STORE_OK)
        return status;
    /* A day that cannot be read any more cannot be judged again either. */
    bool unreadable = series_damage_met(store) != met;
    if (unreadable) {
        log_line(LOG_LEVEL_ERROR, "store", "%s; %s/%s keeps its first judgement",
                 store_error(store), place->system, place->id);
    } else {
        second_look_judge(looks->look, looks->readings, count);
        take_in_next(place);
        status = settle(place, ended, &done);
    }
    THEN(status, rebuild(place, from_ms,
                         ended || unreadable ? INT64_MAX : second_look_reached_ms(looks->look)));
    if (status != STORE_OK || done || unreadable)
        return status == STORE_OK ? finish(place) : status;
    if (second_look_again_ms(looks->look) != place->span->from_ms) {
        place->span->from_ms = second_look_again_ms(looks->look);
        mark_changed(looks, place->point);
    }
    return STORE_OK;
}

static bool may_look(const struct look_place *place, struct in_hand *hand) {
    char name[300];
    snprintf(name, sizeof name, "the second look of %s/%s", place->system, place->id);
    if (in_hand_task(hand, name))
        return true;
    log_line(LOG_LEVEL_ERROR, "readings", "%s is left out; its first judgement stays", name);
    return false;
}

static enum store_status step(struct second_looks *looks, struct in_hand *hand) {
    const struct fleet *fleet = monitor_fleet(looks->memory->monitor);
    size_t point = looks->queue[looks->first];
    const struct look_place place = {looks,
                                     point,
                                     fleet_system_id(fleet, fleet->points[point].system),
                                     fleet_point_id(fleet, point),
                                     looks->memory->keys[point],
                                     &looks->points[point]->spans[0]};
    if (!may_look(&place, hand))
        return finish(&place);
    /* What the book has not written yet must be seen by the look at the history. */
    enum store_status status = monitor_memory_write(looks->memory);
    if (looks->look && second_look_is_stale(looks->look))
        break_off(looks);
    if (status == STORE_OK && !looks->look)
        status = begin(&place);
    return status == STORE_OK ? go_on(&place) : status;
}

enum store_status second_looks_step(struct second_looks *looks, struct in_hand *hand,
                                    int64_t until_monotonic_ms) {
    enum store_status status = STORE_OK;
    while (looks->count > 0 && status == STORE_OK) {
        status = step(looks, hand);
        if (clock_monotonic_ms() >= until_monotonic_ms)
            break;
    }
    return status;
}
