#include "upkeep/daily_upkeep.h"

#include "host/clock.h"
#include "measure/duration.h"
#include "monitor/history_at_hand.h"
#include "pipeline/pipeline.h"
#include "pipeline/stored_history.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>

enum { NAME_BYTES = 320, NOTE_BYTES = 4096 };
static const int64_t step_ms = 20;
static const int64_t live_ms = 2 * DURATION_DAY_MS; /* a day that ended longer ago is the past */
static const int64_t quiet_ms = 10 * DURATION_SECOND_MS; /* before the past is judged */
static const int64_t patience_ms = 10 * DURATION_MINUTE_MS;
static const int64_t import_pause_ms = 3 * DURATION_SECOND_MS; /* so long none came: it is over */
enum { DAYS_KEPT_AT_ONCE = 64, READINGS_KEPT_AT_ONCE = 1024 };

struct system_days {
    int64_t next_day, next_end_ms; /* the day to judge next; next_end_ms 0: not known yet */
    int64_t waits_since_ms;        /* since when a due day waits; TIMESTAMP_NONE: none does */
    struct daily_outlook *outlook; /* NULL: nothing ahead */
};

struct daily_upkeep {
    const struct fleet *fleet;
    struct system_days *systems;
    struct history_at_hand *hand; /* of the system whose days are judged */
    size_t next_system;           /* where the next step goes on */
    int64_t history_ms;           /* when history last came; TIMESTAMP_NONE: not since the start */
    bool waits;                   /* some day waits for the rest of its readings */
    bool past_judged; /* days of the past have come: what regions had in common is another */
};

struct daily_upkeep *daily_upkeep_create(const struct fleet *fleet) {
    struct daily_upkeep *upkeep = calloc(1, sizeof *upkeep);
    if (!upkeep)
        return NULL;
    upkeep->fleet = fleet;
    upkeep->history_ms = TIMESTAMP_NONE;
    upkeep->systems = calloc(fleet->system_count + 1, sizeof *upkeep->systems);
    for (size_t i = 0; upkeep->systems && i < fleet->system_count; i++)
        upkeep->systems[i].waits_since_ms = TIMESTAMP_NONE;
    upkeep->hand = history_at_hand_create();
    if (upkeep->systems && upkeep->hand)
        return upkeep;
    daily_upkeep_destroy(upkeep);
    return NULL;
}

void daily_upkeep_destroy(struct daily_upkeep *upkeep) {
    if (!upkeep)
        return;
    for (size_t i = 0; upkeep->systems && i < upkeep->fleet->system_count; i++)
        free(upkeep->systems[i].outlook);
    free(upkeep->systems);
    history_at_hand_destroy(upkeep->hand);
    free(upkeep);
}

const struct daily_outlook *daily_upkeep_outlook(const struct daily_upkeep *upkeep, size_t system) {
    static const struct daily_outlook nothing;
    return upkeep->systems[system].outlook ? upkeep->systems[system].outlook : &nothing;
}

static void set_next(struct daily_upkeep *upkeep, size_t system, int64_t day) {
    upkeep->systems[system].next_day = day;
    upkeep->systems[system].next_end_ms =
        time_zone_day_start_ms(upkeep->fleet->systems[system].zone, day + 1);
}

static void place_outlook(struct daily_outlook *outlook, const struct fleet_change *change) {
    size_t kept = 0;
    for (size_t i = 0; i < outlook->count; i++) {
        outlook->projections[kept] = outlook->projections[i];
        outlook->projections[kept].point = change->points_are[outlook->projections[i].point];
        kept += outlook->projections[kept].point != FLEET_NONE;
    }
    outlook->count = kept;
}

void daily_upkeep_take_over(struct daily_upkeep *upkeep, struct daily_upkeep *former,
                            const struct fleet_change *change) {
    for (size_t s = 0; s < upkeep->fleet->system_count; s++) {
        struct system_days *days = &upkeep->systems[s];
        if (change->systems_were[s] == FLEET_NONE)
            continue;
        struct system_days *before = &former->systems[change->systems_were[s]];
        *days = *before;
        before->outlook = NULL;
        if (days->outlook)
            place_outlook(days->outlook, change);
        if (days->next_end_ms != 0)
            set_next(upkeep, s, days->next_day); /* the time zone may be another one */
    }
    upkeep->history_ms = former->history_ms;
    upkeep->waits = former->waits;
    upkeep->past_judged = former->past_judged;
}

/* Nearly every system has nothing ahead and takes no room. False: out of memory. */
static bool set_outlook(struct daily_upkeep *upkeep, size_t system,
                        const struct daily_outlook *outlook) {
    struct system_days *days = &upkeep->systems[system];
    if (outlook->count == 0) {
        free(days->outlook);
        days->outlook = NULL;
        return true;
    }
    if (!days->outlook)
        days->outlook = malloc(sizeof *days->outlook);
    if (days->outlook)
        *days->outlook = *outlook;
    return days->outlook != NULL;
}

bool daily_upkeep_judged(const struct daily_upkeep *upkeep, size_t system, int64_t *local_day) {
    if (upkeep->systems[system].next_end_ms == 0)
        return false;
    *local_day = upkeep->systems[system].next_day - 1;
    return true;
}

/* ---- where a system stands ---- */

static void note_name(const struct fleet *fleet, size_t system, char name[NAME_BYTES]) {
    snprintf(name, NAME_BYTES, "daily %s", fleet_system_id(fleet, system));
}

/* The day of the oldest reading of a system. */
static enum store_status find_first_day(const struct daily_upkeep *upkeep,
                                        struct pipeline *pipeline, size_t system, int64_t *day) {
    const struct fleet_system *owner = &upkeep->fleet->systems[system];
    int64_t oldest_ms = INT64_MAX;
    for (size_t i = 0; i < owner->point_count; i++) {
        struct reading oldest;
        enum store_status status =
            series_after(pipeline_store(pipeline), pipeline_key(pipeline, owner->first_point + i),
                         INT64_MIN, &oldest);
        if (status == STORE_OK && oldest.time_ms < oldest_ms)
            oldest_ms = oldest.time_ms;
        if (status != STORE_OK && status != STORE_NOT_FOUND)
            return status;
    }
    if (oldest_ms == INT64_MAX)
        return STORE_NOT_FOUND;
    *day = time_zone_local_day(owner->zone, oldest_ms);
    return STORE_OK;
}

/* The note: {"day":20410,"ahead":[{"point":"suction","condition":…,"crossing":ms,…}]}. */
static json_t *instant_json(int64_t time_ms) {
    return time_ms == TIMESTAMP_NONE ? json_null() : json_integer(time_ms);
}

static int64_t instant_from(const json_t *json) {
    return json_is_integer(json) ? json_integer_value(json) : TIMESTAMP_NONE;
}

static char *note_write(const struct daily_upkeep *upkeep, size_t system) {
    const struct daily_outlook *outlook = daily_upkeep_outlook(upkeep, system);
    json_t *ahead = json_array();
    json_t *root = json_pack("{s:I, s:o}", "day",
                             (json_int_t)(upkeep->systems[system].next_day - 1), "ahead", ahead);
    for (size_t i = 0; root && i < outlook->count; i++) {
        const struct daily_projection *projection = &outlook->projections[i];
        json_array_append_new(ahead,
                              json_pack("{s:s, s:s, s:o, s:o, s:o}", "point",
                                        fleet_point_id(upkeep->fleet, projection->point),
                                        "condition", condition_info(projection->condition)->name,
                                        "crossing", instant_json(projection->crossing_ms),
                                        "earliest", instant_json(projection->earliest_ms), "latest",
                                        instant_json(projection->latest_ms)));
    }
    char *text = root ? json_dumps(root, JSON_COMPACT) : NULL;
    json_decref(root);
    return text;
}

static bool note_read(struct daily_upkeep *upkeep, size_t system, const char *text, int64_t *day) {
    json_t *root = json_loads(text, 0, NULL), *item, *last = json_object_get(root, "day");
    struct daily_outlook outlook = {.count = 0};
    bool good = json_is_integer(last);
    size_t i;
    json_array_foreach(json_object_get(root, "ahead"), i, item) {
        const char *id = json_string_value(json_object_get(item, "point"));
        const char *condition = json_string_value(json_object_get(item, "condition"));
        struct daily_projection *projection = &outlook.projections[outlook.count];
        if (!id || !condition || outlook.count == DAILY_PROJECTIONS_MAX ||
            !condition_find(condition, &projection->condition))
            continue;
        projection->point = fleet_find_point(upkeep->fleet, system, id);
        projection->crossing_ms = instant_from(json_object_get(item, "crossing"));
        projection->earliest_ms = instant_from(json_object_get(item, "earliest"));
        projection->latest_ms = instant_from(json_object_get(item, "latest"));
        outlook.count += projection->point != FLEET_NONE;
    }
    if (good)
        *day = json_integer_value(last) + 1;
    json_decref(root);
    return good && set_outlook(upkeep, system, &outlook);
}

static enum store_status find_next(struct daily_upkeep *upkeep, struct pipeline *pipeline,
                                   size_t system) {
    char name[NAME_BYTES], note[NOTE_BYTES];
    int64_t day = 0;
    note_name(upkeep->fleet, system, name);
    enum store_status status = record_note_get(pipeline_store(pipeline), name, note, sizeof note);
    if (status == STORE_OK && !note_read(upkeep, system, note, &day))
        status = STORE_NOT_FOUND; /* not a note of ours: begin at the beginning */
    if (status == STORE_NOT_FOUND)
        status = find_first_day(upkeep, pipeline, system, &day);
    if (status == STORE_OK)
        set_next(upkeep, system, day);
    return status;
}

static enum store_status keep_progress(const struct daily_upkeep *upkeep, struct pipeline *pipeline,
                                       size_t system) {
    char name[NAME_BYTES];
    char *note = note_write(upkeep, system);
    note_name(upkeep->fleet, system, name);
    enum store_status status =
        note ? record_note_put(pipeline_store(pipeline), name, note) : STORE_OUT_OF_MEMORY;
    free(note);
    return status;
}

/* ---- is a day due? ---- */

struct arrival {
    int64_t newest_ms, heard_ms; /* of the system */
    bool complete;               /* every point that ever spoke is past the end, or silent */
    bool all;                    /* every point of the system is past the end */
};

static struct arrival look_at(const struct daily_upkeep *upkeep, const struct monitor *monitor,
                              size_t system, int64_t end_ms) {
    const struct fleet_system *owner = &upkeep->fleet->systems[system];
    struct arrival arrival = {TIMESTAMP_NONE, TIMESTAMP_NONE, true, true};
    arrival.newest_ms = monitor_system_newest_ms(monitor, system);
    for (size_t i = 0; i < owner->point_count; i++) {
        const struct point_state *state = monitor_point(monitor, owner->first_point + i);
        if (state->newest_ms != TIMESTAMP_NONE && state->heard_ms > arrival.heard_ms)
            arrival.heard_ms = state->heard_ms;
        if (state->newest_ms >= end_ms)
            continue;
        arrival.all = false;
        arrival.complete &= state->newest_ms == TIMESTAMP_NONE ||
                            arrival.newest_ms - end_ms > state->silent_after_ms;
    }
    return arrival;
}

void daily_upkeep_history_came(struct daily_upkeep *upkeep, int64_t now_ms) {
    upkeep->history_ms = now_ms;
}

bool daily_upkeep_history_comes(const struct daily_upkeep *upkeep, int64_t now_ms) {
    return upkeep->history_ms != TIMESTAMP_NONE &&
           llabs(now_ms - upkeep->history_ms) < import_pause_ms;
}

static bool is_due(struct daily_upkeep *upkeep, const struct monitor *monitor, size_t system,
                   int64_t now_ms) {
    struct system_days *days = &upkeep->systems[system];
    if (monitor_system_newest_ms(monitor, system) < days->next_end_ms)
        return false;
    /* The days of the past would be compared with houses that are not there yet. */
    if (now_ms - days->next_end_ms > live_ms && daily_upkeep_history_comes(upkeep, now_ms)) {
        upkeep->waits = true;
        return false;
    }
    struct arrival arrival = look_at(upkeep, monitor, system, days->next_end_ms);
    bool quiet = arrival.heard_ms == TIMESTAMP_NONE || now_ms - arrival.heard_ms >= quiet_ms;
    bool live = now_ms - days->next_end_ms <= live_ms;
    bool due = arrival.all || (arrival.complete && (live || quiet)) || (quiet && !live);
    if (due) {
        days->waits_since_ms = TIMESTAMP_NONE;
        return true;
    }
    upkeep->waits = true;
    if (days->waits_since_ms == TIMESTAMP_NONE)
        days->waits_since_ms = now_ms;
    return now_ms - days->waits_since_ms >= patience_ms;
}

/* ---- judging ---- */

/* Many days at once, as far as that is some thousands of readings a point. */
static int64_t days_at_once(const struct daily_upkeep *upkeep, size_t system) {
    const struct fleet_system *owner = &upkeep->fleet->systems[system];
    int64_t most = DAYS_KEPT_AT_ONCE;
    for (size_t i = owner->first_point; i < owner->first_point + owner->point_count; i++) {
        int64_t days = READINGS_KEPT_AT_ONCE * upkeep->fleet->points[i].description->every_ms /
                       DURATION_DAY_MS;
        most = days < most ? days : most;
    }
    return most > 1 ? most : 1;
}

/* Daily rows of all points from a day on, also of those that nothing is judged by: trends want
   them. *kept_to is the first that is not there yet. */
static bool keep_days(const struct daily_upkeep *upkeep, const struct history *history,
                      int64_t newest_ms, size_t system, int64_t *kept_to) {
    const struct fleet_system *owner = &upkeep->fleet->systems[system];
    struct history_day rows[DAYS_KEPT_AT_ONCE];
    int64_t day = upkeep->systems[system].next_day;
    int64_t today = time_zone_local_day(owner->zone, newest_ms);
    if (day < *kept_to)
        return true;
    *kept_to = day + days_at_once(upkeep, system);
    if (*kept_to > today)
        *kept_to = today > day ? today : day + 1;
    for (size_t i = 0; i < owner->point_count; i++) {
        if (history_days(history, owner->first_point + i, day, *kept_to, rows, DAYS_KEPT_AT_ONCE) ==
            HISTORY_FAILED)
            return false;
    }
    return true;
}

/* What the houses around did before the day to be judged, as far as the time allows. */
static enum neighbours_progress look_around(const struct daily_upkeep *upkeep,
                                            struct pipeline *pipeline, size_t system,
                                            int64_t until_monotonic_ms) {
    const struct history history = stored_history_view(pipeline_memory(pipeline));
    struct neighbours *neighbours = monitor_neighbours(pipeline_monitor(pipeline));
    enum neighbours_progress progress = NEIGHBOURS_MORE;
    if (!pipeline_begin(pipeline))
        return NEIGHBOURS_FAILED;
    do {
        progress =
            neighbours_advance(neighbours, &history, system, upkeep->systems[system].next_day);
    } while (progress == NEIGHBOURS_MORE && clock_monotonic_ms() < until_monotonic_ms);
    if (progress == NEIGHBOURS_FAILED)
        pipeline_note(pipeline, STORE_FAILING);
    return progress;
}

/* Judges the due days of one system until the time is over. False: the store failed. */
static bool judge_system(struct daily_upkeep *upkeep, struct pipeline *pipeline, size_t system,
                         int64_t now_ms, int64_t until_monotonic_ms) {
    const struct history stored = stored_history_view(pipeline_memory(pipeline));
    const struct fleet_system *owner = &upkeep->fleet->systems[system];
    struct monitor *monitor = pipeline_monitor(pipeline);
    struct daily_outlook outlook;
    int64_t newest_ms = monitor_system_newest_ms(monitor, system), kept_to = INT64_MIN;
    const struct history history = history_at_hand_of(upkeep->hand, &stored, owner->first_point,
                                                      owner->point_count, newest_ms);
    if (!pipeline_begin(pipeline))
        return false;
    do {
        int64_t day = upkeep->systems[system].next_day;
        if (!keep_days(upkeep, &history, newest_ms, system, &kept_to) ||
            !daily_judge(monitor, &history, system, day, &outlook) ||
            !set_outlook(upkeep, system, &outlook)) {
            pipeline_note(pipeline, STORE_FAILING);
            return false;
        }
        upkeep->past_judged |= now_ms - upkeep->systems[system].next_end_ms > live_ms;
        set_next(upkeep, system, day + 1);
    } while (clock_monotonic_ms() < until_monotonic_ms && is_due(upkeep, monitor, system, now_ms));
    return pipeline_note(pipeline, keep_progress(upkeep, pipeline, system));
}

/* Knows where the system stands? False: not yet, or the store failed. *asked: whether the store was
   asked, which costs as much as some looks. */
static bool is_known(struct daily_upkeep *upkeep, struct pipeline *pipeline, size_t system,
                     bool *asked) {
    *asked = false;
    if (upkeep->systems[system].next_end_ms != 0)
        return true;
    if (monitor_system_newest_ms(pipeline_monitor(pipeline), system) == TIMESTAMP_NONE)
        return false;
    *asked = true;
    enum store_status status = find_next(upkeep, pipeline, system);
    if (status != STORE_OK && status != STORE_NOT_FOUND)
        pipeline_note(pipeline, status);
    return status == STORE_OK;
}

bool daily_upkeep_waits(const struct daily_upkeep *upkeep) {
    return upkeep->waits;
}

bool daily_upkeep_step(struct daily_upkeep *upkeep, struct pipeline *pipeline, int64_t now_ms) {
    int64_t until_ms = clock_monotonic_ms() + step_ms;
    upkeep->waits = false;
    size_t count = upkeep->fleet->system_count;
    for (size_t i = 0; i < count; i++) {
        size_t system = upkeep->next_system < count ? upkeep->next_system : 0;
        bool asked;
        bool due = is_known(upkeep, pipeline, system, &asked) &&
                   is_due(upkeep, pipeline_monitor(pipeline), system, now_ms);
        enum neighbours_progress around =
            due ? look_around(upkeep, pipeline, system, until_ms) : NEIGHBOURS_READY;
        if (around != NEIGHBOURS_READY)
            return around == NEIGHBOURS_MORE;
        if (due && !judge_system(upkeep, pipeline, system, now_ms, until_ms))
            return false;
        upkeep->next_system = system + 1;
        if ((due || asked) && clock_monotonic_ms() >= until_ms) /* others: a look */
            return true;
    }
    if (upkeep->past_judged)
        neighbours_forget(monitor_neighbours(pipeline_monitor(pipeline)));
    upkeep->past_judged = false;
    return false;
}
