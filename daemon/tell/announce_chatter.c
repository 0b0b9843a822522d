/*
 * What comes and goes (alarm/chatter.h). The changes lately are counted in the history of alarms;
 * which places were told as coming and going is kept in one note of the store.
 *
 * A place is what the alarm book has at most one open alarm of. What one of the daemon's own alarms
 * is about (its subject) is no part of it: the next occurrence may well name another file or
 * reason.
 */
#include "tell/announce_private.h"

#include "measure/array.h"
#include "measure/duration.h"
#include "store/records.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NOTE_SIZE = 1 << 20, PLACES_MOST = 4000 };
static const char note_name[] = "chattering";

char *announce_place_name(const struct fleet *fleet, const struct alarm *alarm) {
    char *name = NULL;
    if (asprintf(&name, "%s/%s/%s", fleet_system_id(fleet, alarm->system),
                 fleet_point_id(fleet, alarm->point), condition_info(alarm->condition)->name) < 0)
        return NULL;
    return name;
}

/* ---- counting ---- */

struct count {
    struct chatter *chatter;
    int64_t alarm;
};

static bool add_row(void *context, const struct record_alarm *row) {
    struct count *count = context;
    if (row->id != count->alarm)
        chatter_add(count->chatter, row->raised_ms, row->returned_ms, row->told);
    return true;
}

enum store_status announce_changes(const struct announce *announce, const struct alarm *alarm,
                                   struct chatter *chatter) {
    *chatter = chatter_begin(alarm->condition, alarm->priority,
                             alarm_stands(alarm) ? alarm->raised_ms : alarm->returned_ms);
    chatter_add(chatter, alarm->raised_ms, alarm->returned_ms, true);
    struct count count = {chatter, alarm->id};
    const struct record_alarm_filter filter = {
        .system = fleet_system_id(announce->fleet, alarm->system),
        .point = alarm->point == FLEET_NONE ? NULL : fleet_point_id(announce->fleet, alarm->point),
        .condition = condition_info(alarm->condition)->name,
        .since_ms = chatter_from_ms(chatter),
        .limit = 64,
    };
    return record_alarm_list(announce->store, &filter, add_row, &count);
}

/* ---- what was told so ---- */

static struct announce_place *find(const struct announce *announce, const char *name) {
    for (size_t i = 0; i < announce->place_count; i++)
        if (strcmp(announce->places[i].name, name) == 0)
            return &announce->places[i];
    return NULL;
}

static bool add(struct announce *announce, const char *name, int64_t last_ms, int64_t calm_ms) {
    if (announce->place_count == PLACES_MOST)
        return false;
    struct announce_place *grown =
        array_room(announce->places, announce->place_count, sizeof *grown);
    if (!grown)
        return false;
    announce->places = grown;
    char *copy = strdup(name);
    if (!copy)
        return false;
    announce->places[announce->place_count++] = (struct announce_place){copy, last_ms, calm_ms};
    return true;
}

bool announce_chatter_load(struct announce *announce) {
    char *text = calloc(1, NOTE_SIZE);
    const char *name;
    json_t *place;
    if (!text)
        return false;
    json_t *places =
        announce->store && record_note_get(announce->store, note_name, text, NOTE_SIZE) == STORE_OK
            ? json_loads(text, 0, NULL)
            : NULL;
    json_object_foreach(places, name, place) {
        json_int_t last_ms = json_integer_value(place), calm_ms = DURATION_HOUR_MS;
        json_unpack(place, "[I, I]", &last_ms, &calm_ms); /* a number alone: an hour */
        add(announce, name, last_ms, calm_ms);
    }
    json_decref(places);
    free(text);
    return true;
}

static enum store_status save(const struct announce *announce) {
    json_t *places = json_object();
    for (size_t i = 0; i < announce->place_count; i++)
        json_object_set_new(places, announce->places[i].name,
                            json_pack("[I, I]", (json_int_t)announce->places[i].last_ms,
                                      (json_int_t)announce->places[i].calm_ms));
    char *text = places ? json_dumps(places, JSON_COMPACT) : NULL;
    enum store_status status =
        text ? record_note_put(announce->store, note_name, text) : STORE_OUT_OF_MEMORY;
    free(text);
    json_decref(places);
    return status;
}

/* What is no longer watched will not be calm: that is said at once. */
static enum announce_chatter forget(struct announce *announce, struct announce_place *place) {
    if (place) {
        free(place->name);
        *place = announce->places[--announce->place_count];
        announce->places_changed = true;
    }
    return CHATTER_NONE;
}

enum announce_chatter announce_chatter_note(struct announce *announce, const struct alarm *alarm,
                                            const struct chatter *chatter, int64_t now_ms) {
    char *name = announce_place_name(announce->fleet, alarm);
    struct announce_place *place = name ? find(announce, name) : NULL;
    int64_t fast_ms = chatter_fast_calm_ms(chatter);
    int64_t slow_ms = chatter_slow_calm_ms(chatter, alarm_stands(alarm));
    enum announce_chatter result = CHATTER_NONE;
    if (alarm->unwatched) {
        result = forget(announce, place);
    } else if (place) {
        place->last_ms = now_ms;
        if (place->calm_ms > DURATION_HOUR_MS && slow_ms)
            place->calm_ms = slow_ms;
        result = CHATTER_GOES_ON;
    } else if (name && fast_ms && add(announce, name, now_ms, fast_ms)) {
        result = CHATTER_BEGINS;
    } else if (name && slow_ms && alarm_stands(alarm) && add(announce, name, now_ms, slow_ms)) {
        result = CHATTER_BEGINS_SLOWLY;
    }
    announce->places_changed |= result != CHATTER_NONE;
    free(name);
    return result;
}

enum store_status announce_chatter_save(struct announce *announce) {
    enum store_status status = announce->places_changed ? save(announce) : STORE_OK;
    if (status == STORE_OK)
        announce->places_changed = false;
    return status;
}

enum store_status announce_forget(struct announce *announce, const char *system) {
    size_t kept = 0, length = strlen(system);
    for (size_t i = 0; i < announce->place_count; i++) {
        struct announce_place *place = &announce->places[i];
        if (strncmp(place->name, system, length) == 0 && place->name[length] == '/')
            free(place->name);
        else
            announce->places[kept++] = *place;
    }
    announce->places_changed |= kept != announce->place_count;
    announce->place_count = kept;
    return announce_chatter_save(announce);
}

enum store_status announce_calm(struct announce *announce, int64_t now_ms,
                                enum store_status (*calm)(void *context, const char *name),
                                void *context) {
    bool changed = false;
    size_t kept = 0, count = announce->place_count;
    struct announce_place *places = announce->places;
    enum store_status status = STORE_OK;
    for (size_t i = 0; i < count; i++) {
        if (status != STORE_OK || now_ms < places[i].last_ms + places[i].calm_ms) {
            places[kept++] = places[i];
            continue;
        }
        status = calm(context, places[i].name);
        free(places[i].name);
        changed = true;
    }
    announce->place_count = kept;
    if (status == STORE_OK && changed)
        status = save(announce);
    return status;
}

/* ---- a clock that was ahead ---- */

static void bring_back(int64_t *time_ms, int64_t by_ms, int64_t now_ms) {
    if (*time_ms > now_ms)
        *time_ms = *time_ms - by_ms < now_ms ? *time_ms - by_ms : now_ms;
}

void announce_clock_back(struct announce *announce, int64_t by_ms, int64_t now_ms) {
    for (size_t c = 0; c < announce->fleet->settings->contact_count; c++)
        for (size_t i = 0; i < 2 * ANNOUNCE_SINGLES; i++)
            bring_back(&announce->contacts[c].recent_ms[i / ANNOUNCE_SINGLES][i % ANNOUNCE_SINGLES],
                       by_ms, now_ms);
    for (size_t i = 0; i < announce->place_count; i++)
        bring_back(&announce->places[i].last_ms, by_ms, now_ms);
}
