#include "tell/state_topic.h"

#include "measure/array.h"
#include "measure/hash.h"
#include "tell/announce.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void state_topic_close(struct state_topic *state) {
    array_free_texts(state->gone, state->gone_count);
    free(state->said);
    *state = (struct state_topic){0};
}

void state_topic_connected(struct state_topic *state, int64_t now_ms) {
    if (state->said)
        memset(state->said, 0, state->count * sizeof *state->said);
    state->online_ms = now_ms;
    state->greeted = false;
    state->next = 0;
}

void state_topic_take_over(struct state_topic *state, const struct fleet_change *change) {
    uint64_t *said = calloc(change->fleet->system_count + 1, sizeof *said);
    for (size_t was = 0; was < state->count; was++) {
        size_t is = change->systems_are[was];
        if (is == FLEET_NONE && state->said[was])
            array_add_text(&state->gone, &state->gone_count, fleet_system_id(change->former, was));
        else if (is != FLEET_NONE && said)
            said[is] = state->said[was];
    }
    free(state->said);
    state->said = said;
    state->count = said ? change->fleet->system_count : 0;
    state->next = 0;
}

/* ---- what is said of a system ---- */

static bool is_said(const struct alarm *alarm) {
    return alarm_stands(alarm) && alarm_annunciates(alarm);
}

/* Never 0. Cheap: every system is looked at each second. */
static uint64_t digest_of(const struct fleet *fleet, struct monitor *monitor, size_t system) {
    int64_t since_ms = 0;
    enum monitor_status status = monitor_status(monitor, system, &since_ms);
    uint64_t digest = HASH_START;
    digest = hash_bytes(digest, &status, sizeof status);
    digest = hash_bytes(digest, &since_ms, sizeof since_ms);
    const char *name = fleet->systems[system].description->name;
    digest = hash_bytes(digest, name, strlen(name));
    for (const struct alarm *alarm = alarm_book_of_system(monitor_alarms(monitor), system); alarm;
         alarm = alarm->next_of_system) {
        if (is_said(alarm))
            digest = hash_bytes(digest, &alarm->id, sizeof alarm->id);
    }
    return digest | 1;
}

static json_t *alarms_of(const struct fleet *fleet, struct monitor *monitor, size_t system) {
    static const char *const keys[] = {"id", "condition", "priority", "since", "text"};
    json_t *list = json_array();
    for (const struct alarm *alarm = alarm_book_of_system(monitor_alarms(monitor), system); alarm;
         alarm = alarm->next_of_system) {
        json_t *whole =
            is_said(alarm) ? announce_alarm_object(fleet, alarm, WORDING_ENGLISH) : NULL;
        json_t *brief = whole ? json_object() : NULL;
        for (size_t k = 0; brief && k < sizeof keys / sizeof keys[0]; k++)
            json_object_set(brief, keys[k], json_object_get(whole, keys[k]));
        if (brief)
            json_array_append_new(list, brief);
        json_decref(whole);
    }
    return list;
}

static char *text_of(const struct fleet *fleet, struct monitor *monitor, size_t system) {
    char since[40];
    int64_t since_ms = 0;
    enum monitor_status status = monitor_status(monitor, system, &since_ms);
    json_t *json = json_pack(
        "{s:s,s:s,s:s,s:s?,s:o}", "id", fleet_system_id(fleet, system), "name",
        fleet->systems[system].description->name, "status", monitor_status_word(status), "since",
        since_ms == TIMESTAMP_NONE ? NULL : timestamp_format(since, sizeof since, since_ms),
        "alarms", alarms_of(fleet, monitor, system));
    char *text = json ? json_dumps(json, JSON_COMPACT) : NULL;
    json_decref(json);
    return text;
}

/* ---- saying it ---- */

static bool say(struct intake *intake, const char *topic, const char *system, const char *text) {
    char whole[512];
    size_t length =
        (size_t)snprintf(whole, sizeof whole, "%s%s%s", topic, *system ? "/" : "", system);
    /* A topic that is too long is never said: nothing to try again. */
    return length >= sizeof whole || intake_publish(intake, whole, text);
}

static bool greet(struct state_topic *state, struct intake *intake, const char *topic) {
    char text[96], since[40];
    if (state->greeted)
        return true;
    snprintf(text, sizeof text, "{\"state\": \"online\", \"since\": \"%s\"}",
             timestamp_format(since, sizeof since, state->online_ms));
    state->greeted = say(intake, topic, "", text);
    return state->greeted;
}

static bool take_back(struct state_topic *state, struct intake *intake, const char *topic) {
    while (state->gone_count > 0) {
        char *id = state->gone[state->gone_count - 1];
        if (!say(intake, topic, id, ""))
            return false;
        free(id);
        state->gone_count--;
    }
    return true;
}

static bool say_system(struct state_topic *state, struct intake *intake, const struct fleet *fleet,
                       struct monitor *monitor, size_t system) {
    uint64_t digest = digest_of(fleet, monitor, system);
    if (digest == state->said[system])
        return true;
    char *text = text_of(fleet, monitor, system);
    bool said = text && say(intake, fleet->settings->broker.state_topic,
                            fleet_system_id(fleet, system), text);
    free(text);
    if (said)
        state->said[system] = digest;
    return said;
}

bool state_topic_turn(struct state_topic *state, struct intake *intake, const struct fleet *fleet,
                      struct monitor *monitor) {
    const char *topic = fleet->settings->broker.state_topic;
    if (!topic || intake_state(intake) != INTAKE_CONNECTED)
        return false;
    if (!state->said) {
        state->said = calloc(fleet->system_count + 1, sizeof *state->said);
        state->count = state->said ? fleet->system_count : 0;
    }
    if (!greet(state, intake, topic) || !take_back(state, intake, topic))
        return true;
    for (size_t looked = 0; looked < state->count; looked++) {
        if (!say_system(state, intake, fleet, monitor, state->next))
            return true;
        state->next = (state->next + 1) % state->count;
    }
    return false;
}
