/*
 * What people write down: baselines from readings, readings by hand, visits.
 */
#include "api/commission.h"
#include "api/routes.h"
#include "api/show.h"
#include "complaints.h"
#include "monitor/proved_field.h"
#include "pipeline/equipment_json.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- a baseline from readings ---- */

void api_learn_period(struct api_call *call) {
    size_t system = api_system(call, call->parts[1]);
    const char *by = system == FLEET_NONE ? NULL : api_needed(call, "by");
    const char *from = by ? api_needed(call, "from") : NULL;
    const char *to = from ? api_needed(call, "to") : NULL;
    int64_t from_ms = 0, to_ms = 0;
    if (!to)
        return;
    const struct time_zone *zone = call->api->fleet->systems[system].zone;
    if (!api_instant(call, "from", from, zone, false, &from_ms) ||
        !api_instant(call, "to", to, zone, false, &to_ms))
        return;
    if (from_ms >= to_ms || to_ms > call->api->now_ms) {
        api_error(call, 400, "allowed is a period that is over, its beginning before its end");
        return;
    }
    json_t *json = api_learn(call->api, system, from_ms, to_ms, by, call->api->now_ms);
    if (json && api_commit(call))
        api_json(call, 200, json);
    else
        json_decref(json);
}

/* ---- a reading by hand ---- */

/* What a person read at a point, as typed; false after the answer, in which it is called `name`. */
static bool take_value(struct api_call *call, const char *name, size_t point, const char *typed,
                       double *value) {
    const struct point_description *about = call->api->fleet->points[point].description;
    enum dimension dimension = about->binding.unit->dimension;
    const char *quantity = quantity_info(about->quantity)->name;
    enum unit_status status = unit_parse(typed, dimension, value);
    if (status == UNIT_WRONG_DIMENSION)
        api_error(call, 400, "%s: " SAY_VALUE_OF_OTHER, name, typed, quantity,
                  unit_list(dimension));
    else if (status != UNIT_OK)
        api_error(call, 400, "%s: " SAY_NO_VALUE, name, typed, quantity, unit_list(dimension));
    else if (!quantity_plausible(about->quantity, dimension, *value))
        api_error(call, 400, "%s: " SAY_OUTSIDE_POSSIBLE, name, typed);
    else
        return true;
    return false;
}

static bool parse_by_hand(struct api_call *call, size_t point, struct reading *reading) {
    const struct point_description *description = call->api->fleet->points[point].description;
    const char *value = api_needed(call, "value"), *at = api_given(call, "at");
    reading->time_ms = call->api->now_ms;
    if (!value)
        return false;
    if (!at && api_clock_doubted(call->api)) {
        api_error(call, 503, "%s; set it, or say when the reading was taken", call->api->clock_why);
        return false;
    }
    if (!take_value(call, "value", point, value, &reading->value))
        return false;
    size_t system = call->api->fleet->points[point].system;
    if (at && !api_instant(call, "at", at, call->api->fleet->systems[system].zone, false,
                           &reading->time_ms))
        return false;
    if (reading->time_ms > call->api->now_ms) {
        api_error(call, 400, "at: allowed is a time that is not in the future");
        return false;
    }
    if (reading->time_ms >= call->api->now_ms - description->binding.keep_ms)
        return true;
    api_error(call, 400, "at: older than readings are kept (store.keep_readings)");
    return false;
}

/* What two people send within one turn of the loop was read at the same moment: both stay, a
   millisecond apart. */
enum pipeline_taken api_take_by_hand(struct api *api, size_t point, struct reading *reading,
                                     const char *by) {
    bool now = reading->time_ms == api->now_ms;
    enum pipeline_taken taken = PIPELINE_CONFLICT;
    for (int times = 0; taken == PIPELINE_CONFLICT && times < (now ? 20 : 1); times++) {
        reading->time_ms += times > 0;
        taken = pipeline_take(api->pipeline, point, reading, SERIES_BY_HAND, api->now_ms);
    }
    if (taken == PIPELINE_CONFLICT || taken == PIPELINE_FAILED)
        return taken;
    const struct record_by_hand record = {reading->time_ms, reading->value, by};
    pipeline_note(api->pipeline, record_by_hand_add(pipeline_store(api->pipeline),
                                                    pipeline_key(api->pipeline, point), &record));
    return taken;
}

void api_record_by_hand(struct api_call *call) {
    size_t system = api_system(call, call->parts[1]);
    if (system == FLEET_NONE)
        return;
    size_t point = fleet_find_point(call->api->fleet, system, call->parts[3]);
    struct reading reading;
    if (point == FLEET_NONE) {
        api_error(call, 404, "%s has no point \"%s\"; see: subslabctl show %s", call->parts[1],
                  call->parts[3], call->parts[1]);
        return;
    }
    const char *by = api_needed(call, "by");
    if (!by || !parse_by_hand(call, point, &reading))
        return;
    enum pipeline_taken taken = api_take_by_hand(call->api, point, &reading, by);
    if (taken == PIPELINE_CONFLICT) {
        api_error(call, 409, "there is another reading of that point at that time");
        return;
    }
    const struct point_description *about = call->api->fleet->points[point].description;
    if (!api_commit(call))
        return;
    json_t *json = json_pack("{s:o,s:f,s:s,s:s}", "time", api_time(reading.time_ms), "value",
                             reading.value, "unit", unit_si_word(about->binding.unit->dimension),
                             "quantity", quantity_info(about->quantity)->name);
    api_zone(json, call->api, call->api->fleet->points[point].system);
    api_json(call, 200, json);
}

/* ---- visits ---- */

static bool take_value_of(struct api_call *call, size_t system, const char *id, const char *text,
                          double *value) {
    const struct fleet *fleet = call->api->fleet;
    size_t point = fleet_find_point(fleet, system, id);
    char name[300];
    snprintf(name, sizeof name, "values.%s", id);
    if (point != FLEET_NONE)
        return take_value(call, name, point, text ? text : "", value);
    api_error(call, 400, "%s: is no point of %s; see: subslabctl show %s", name,
              fleet_system_id(fleet, system), fleet_system_id(fleet, system));
    return false;
}

static bool take_values(struct api_call *call, size_t system, json_t *facts) {
    json_t *given = json_object_get(call->body, "values"), *values = json_object(), *text;
    const char *id;
    json_object_set_new(facts, "values", values);
    json_object_foreach(given, id, text) {
        double value = 0.0;
        if (!take_value_of(call, system, id, json_string_value(text), &value))
            return false;
        json_object_set_new(values, id, json_real(value));
    }
    return true;
}

static bool take_dates(struct api_call *call, size_t system, json_t *facts) {
    const char *next = api_given(call, "next_calibration");
    int64_t next_ms = 0;
    if (!next)
        return true;
    if (!api_instant(call, "next_calibration", next, call->api->fleet->systems[system].zone, false,
                     &next_ms))
        return false;
    json_object_set_new(facts, "next_calibration", json_integer(next_ms));
    return true;
}

static bool take_changes(struct api_call *call, json_t *facts) {
    json_t *given = json_object_get(call->body, "changed"), *word;
    unsigned changes = CHANGE_UNSAID, bit = 0;
    size_t i;
    bool good = !given || json_is_array(given);
    json_array_foreach(given, i, word) {
        good &= json_is_string(word) && change_find(json_string_value(word), &bit);
        changes |= bit;
    }
    if (!good || !change_possible(changes)) {
        api_error(call, 400, "changed: " SAY_CHANGES_ALLOWED, SAY_CHANGE_WORDS);
        return false;
    }
    if (changes != CHANGE_UNSAID)
        json_object_set_new(facts, "changed", commission_changes(changes));
    return true;
}

/* Fans put in: a list, or the text of one as it would stand in a record. */
static bool take_equipment(struct api_call *call, size_t system, json_t *facts) {
    const json_t *given = json_object_get(call->body, "equipment");
    struct settings_errors errors = {0};
    struct equipment_list fans = {0};
    char *dumped = given && !json_is_string(given) ? json_dumps(given, JSON_COMPACT) : NULL;
    const char *text = dumped ? dumped : json_string_value(given); /* JSON is YAML */
    if (!text)
        return true;
    const struct fleet_system *owner = &call->api->fleet->systems[system];
    const struct equipment_place place = system_description_place(
        owner->description, time_zone_local_day(owner->zone, call->api->now_ms));
    bool good = equipment_parse("equipment", text, strlen(text), &place, &errors, &fans);
    if (good)
        json_object_set_new(facts, "equipment", equipment_json(&fans));
    else
        api_errors(call, 400, &errors);
    settings_errors_free(&errors);
    equipment_clear(&fans);
    free(dumped);
    return good;
}

/* A visit whose values are the new normal: the same checks as for a record written by hand. */
static bool take_baseline(struct api_call *call, size_t system, int64_t on_ms,
                          struct commissioning **record) {
    const struct fleet_system *owner = &call->api->fleet->systems[system];
    json_t *values = json_object_get(call->body, "values");
    struct settings_errors errors = {0};
    *record = NULL;
    if (!json_is_true(json_object_get(call->body, "new_baseline")))
        return true;
    if (json_object_size(values) == 0) {
        api_error(call, 400, "new_baseline: " SAY_NORMAL_NEEDS_VALUES);
        return false;
    }
    json_t *json =
        json_pack("{s:o,s:s,s:O,s:s}", "date", api_time(on_ms), "by", api_given(call, "by"),
                  "points", values, "notes", api_given(call, "did"));
    json_t *changed = json_object_get(call->body, "changed");
    if (changed)
        json_object_set(json, "changed", changed);
    char *text = json_dumps(json, JSON_COMPACT); /* JSON is YAML */
    if (text)
        *record = proved_field_record("values", text, strlen(text), owner->description, owner->zone,
                                      call->api->now_ms, &errors);
    if (!*record)
        api_errors(call, 400, &errors);
    settings_errors_free(&errors);
    free(text);
    json_decref(json);
    return *record != NULL;
}

/* What commissioning knows and nobody measured this time. */
static json_t *unmeasured(const struct api_call *call, size_t system, json_t *values) {
    const struct fleet_system *owner = &call->api->fleet->systems[system];
    const struct monitor *monitor = pipeline_monitor(call->api->pipeline);
    json_t *list = json_array();
    for (size_t i = 0; i < owner->point_count; i++) {
        size_t point = owner->first_point + i;
        const char *id = fleet_point_id(call->api->fleet, point);
        if (point_state_baseline(monitor_point(monitor, point), call->api->now_ms) &&
            !json_object_get(values, id))
            json_array_append_new(list, json_string(id));
    }
    return list;
}

static bool keep_visit(struct api_call *call, size_t system, const struct record_visit *visit,
                       const struct commissioning *record) {
    struct api *api = call->api;
    int64_t id = 0;
    if (!pipeline_begin(api->pipeline))
        return api_commit(call);
    enum store_status status = record_visit_add(pipeline_store(api->pipeline), visit, &id);
    THEN(status, pipeline_read_records(api->pipeline, system));
    if (status == STORE_OK && record)
        status = commission_add(api, system, record);
    pipeline_note(api->pipeline, status);
    return api_commit(call);
}

void api_visit_done(struct api_call *call) {
    size_t system = api_system(call, call->parts[1]);
    const char *by = system == FLEET_NONE ? NULL : api_needed(call, "by");
    const char *found = by ? api_needed(call, "found") : NULL;
    const char *did = found ? api_needed(call, "did") : NULL;
    const char *on = did ? api_needed(call, "on") : NULL;
    int64_t on_ms = 0;
    if (!on || !api_instant(call, "on", on, call->api->fleet->systems[system].zone, false, &on_ms))
        return;
    json_t *facts = json_object();
    struct commissioning *record = NULL;
    on_ms = commission_since(call->api, system, on_ms);
    if (on_ms > call->api->now_ms) {
        api_error(call, 400, "on: " SAY_DAY_AHEAD);
    } else if (take_values(call, system, facts) && take_dates(call, system, facts) &&
               take_changes(call, facts) && take_equipment(call, system, facts) &&
               take_baseline(call, system, on_ms, &record)) {
        char *text = json_dumps(facts, JSON_COMPACT);
        const struct record_visit visit = {
            .system = fleet_system_id(call->api->fleet, system),
            .on_ms = on_ms,
            .recorded_ms = call->api->now_ms,
            .by = by,
            .found = found,
            .did = did,
            .text = text,
        };
        if (keep_visit(call, system, &visit, record))
            api_json(call, 200,
                     json_pack("{s:s,s:o,s:s,s:b,s:o}", "system", visit.system, "on",
                               api_time(on_ms), "by", by, "new_baseline", record != NULL,
                               "unmeasured",
                               unmeasured(call, system, json_object_get(facts, "values"))));
        free(text);
        commissioning_free(record);
    }
    json_decref(facts);
}
