/*
 * What people write down: commissioning records, readings by hand, visits.
 */
#include "api/routes.h"
#include "api/show.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- commissioning ---- */

static void answer_errors(struct api_call *call, const struct settings_errors *errors) {
    json_t *list = json_array();
    for (size_t i = 0; i < errors->count; i++)
        json_array_append_new(list, json_string(errors->lines[i]));
    api_json(call, 400,
             json_pack("{s:s,s:o}", "error",
                       errors->count ? errors->lines[0] : "the record can't be read", "errors",
                       list));
}

static void set_number(json_t *json, const char *name, double value) {
    if (isfinite(value))
        json_object_set_new(json, name, json_real(value));
}

static void set_text(json_t *json, const char *name, const char *text) {
    if (text)
        json_object_set_new(json, name, json_string(text));
}

/* The record as it is kept: SI, by point. */
static json_t *record_json(const struct commissioning *record) {
    json_t *points = json_object(), *json = json_pack("{s:o}", "points", points);
    for (size_t i = 0; i < record->value_count; i++)
        json_object_set_new(points, record->values[i].point, json_real(record->values[i].value));
    set_text(json, "instruments", record->instruments);
    set_text(json, "notes", record->notes);
    if (record->next_calibration_ms != TIMESTAMP_NONE)
        json_object_set_new(json, "next_calibration", json_integer(record->next_calibration_ms));
    set_number(json, "radon_before", record->radon_before_bq_m3);
    set_number(json, "radon_after", record->radon_after_bq_m3);
    set_number(json, "ground_exponent", record->ground_exponent);
    return json;
}

static json_t *values_with_units(const struct fleet *fleet, size_t system, json_t *points) {
    json_t *answer = json_object(), *value;
    const char *id;
    json_object_foreach(points, id, value) {
        size_t point = fleet_find_point(fleet, system, id);
        const struct point_description *about = fleet->points[point].description;
        json_object_set_new(answer, id,
                            json_pack("{s:O,s:s,s:s}", "value", value, "unit",
                                      unit_si_word(about->binding.unit->dimension), "quantity",
                                      quantity_info(about->quantity)->name));
    }
    return answer;
}

/* From the record's date on readings are judged by the new baseline, also those of the past. */
static void judge_again(struct api *api, size_t system, int64_t from_ms) {
    const struct fleet_system *owner = &api->fleet->systems[system];
    for (size_t i = 0; i < owner->point_count; i++)
        pipeline_judge_again(api->pipeline, owner->first_point + i, from_ms);
}

/* Within the caller's transaction. */
static enum store_status add_record(struct api *api, size_t system,
                                    const struct commissioning *record) {
    json_t *json = record_json(record);
    char *text = json_dumps(json, JSON_COMPACT);
    int64_t id = 0;
    const struct record_commissioning row = {
        .system = fleet_system_id(api->fleet, system),
        .from_ms = record->from_ms,
        .recorded_ms = api->now_ms,
        .by = record->by,
        .origin = "commissioned",
        .text = text,
    };
    enum store_status status = text ? STORE_OK : STORE_OUT_OF_MEMORY;
    if (status == STORE_OK)
        status = record_commissioning_add(pipeline_store(api->pipeline), &row, &id);
    if (status == STORE_OK)
        status = pipeline_read_records(api->pipeline, system);
    if (status == STORE_OK)
        judge_again(api, system, record->from_ms);
    free(text);
    json_decref(json);
    return status;
}

static bool keep_record(struct api_call *call, size_t system, const struct commissioning *record) {
    struct api *api = call->api;
    if (!pipeline_begin(api->pipeline))
        return api_commit(call);
    pipeline_note(api->pipeline, add_record(api, system, record));
    return api_commit(call);
}

void api_commission(struct api_call *call) {
    size_t system = api_system(call, call->parts[1]);
    const char *file = web_query(call->request, "file");
    struct settings_errors errors = {0};
    if (system == FLEET_NONE)
        return;
    const struct fleet_system *owner = &call->api->fleet->systems[system];
    struct commissioning *record =
        commissioning_parse(file ? file : "record", call->request->body, call->request->body_length,
                            owner->description, owner->zone, &errors);
    if (!record) {
        answer_errors(call, &errors);
        settings_errors_free(&errors);
        return;
    }
    json_t *json = record_json(record);
    if (keep_record(call, system, record))
        api_json(call, 200,
                 json_pack(
                     "{s:o,s:s,s:o}", "from", api_time(record->from_ms), "by", record->by, "points",
                     values_with_units(call->api->fleet, system, json_object_get(json, "points"))));
    json_decref(json);
    commissioning_free(record);
}

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

static bool parse_by_hand(struct api_call *call, size_t point, struct reading *reading) {
    const struct point_description *description = call->api->fleet->points[point].description;
    const char *value = api_needed(call, "value"), *at = api_given(call, "at");
    enum dimension dimension = description->binding.unit->dimension;
    reading->time_ms = call->api->now_ms;
    if (!value)
        return false;
    if (!at && api_clock_doubted(call->api)) {
        api_error(call, 503, "%s; set it, or say when the reading was taken", call->api->clock_why);
        return false;
    }
    if (unit_parse(value, dimension, &reading->value) != UNIT_OK) {
        api_error(call, 400,
                  "value: \"%s\" is not a value with a unit; allowed: such as \"0.62 %s\"", value,
                  description->binding.unit->spelling);
        return false;
    }
    if (!quantity_plausible(description->quantity, dimension, reading->value)) {
        api_error(call, 400, "value: \"%s\" is outside what is physically possible", value);
        return false;
    }
    size_t system = call->api->fleet->points[point].system;
    if (at && !api_instant(call, "at", at, call->api->fleet->systems[system].zone, false,
                           &reading->time_ms))
        return false;
    if (reading->time_ms > call->api->now_ms) {
        api_error(call, 400, "at: allowed is a time that is not in the future");
        return false;
    }
    if (reading->time_ms >= call->api->now_ms - call->api->fleet->settings->keep_readings_ms)
        return true;
    api_error(call, 400, "at: older than readings are kept (store.keep_readings)");
    return false;
}

/* The reading, and who took it. */
static enum pipeline_taken take_by_hand(struct api *api, size_t point,
                                        const struct reading *reading, const char *by) {
    enum pipeline_taken taken =
        pipeline_take(api->pipeline, point, reading, SERIES_BY_HAND, api->now_ms);
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
    enum pipeline_taken taken = take_by_hand(call->api, point, &reading, by);
    if (taken == PIPELINE_CONFLICT) {
        api_error(call, 409, "there is another reading of that point at that time");
        return;
    }
    const struct point_description *about = call->api->fleet->points[point].description;
    if (api_commit(call))
        api_json(call, 200,
                 json_pack("{s:o,s:f,s:s,s:s}", "time", api_time(reading.time_ms), "value",
                           reading.value, "unit", unit_si_word(about->binding.unit->dimension),
                           "quantity", quantity_info(about->quantity)->name));
}

/* ---- visits ---- */

static bool take_values(struct api_call *call, size_t system, json_t *facts) {
    json_t *given = json_object_get(call->body, "values"), *values = json_object(), *text;
    const char *id;
    json_object_set_new(facts, "values", values);
    json_object_foreach(given, id, text) {
        size_t point = fleet_find_point(call->api->fleet, system, id);
        double value = 0.0;
        if (point == FLEET_NONE || !json_is_string(text) ||
            unit_parse(json_string_value(text),
                       call->api->fleet->points[point].description->binding.unit->dimension,
                       &value) != UNIT_OK) {
            api_error(call, 400,
                      "values: \"%s\" needs a point of the system and a value with a "
                      "unit, such as \"0.62 inH2O\"",
                      id);
            return false;
        }
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
        api_error(call, 400,
                  "new_baseline: it needs the values measured on the visit, such as "
                  "\"suction=0.62 inH2O\"");
        return false;
    }
    json_t *json =
        json_pack("{s:o,s:s,s:O,s:s}", "date", api_time(on_ms), "by", api_given(call, "by"),
                  "points", values, "notes", api_given(call, "did"));
    char *text = json_dumps(json, JSON_COMPACT); /* JSON is YAML */
    if (text)
        *record = commissioning_parse("values", text, strlen(text), owner->description, owner->zone,
                                      &errors);
    if (!*record)
        answer_errors(call, &errors);
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
    if (status == STORE_OK)
        status = pipeline_read_records(api->pipeline, system);
    if (status == STORE_OK && record)
        status = add_record(api, system, record);
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
    if (on_ms > call->api->now_ms) {
        api_error(call, 400, "on: allowed is a day that is not in the future");
    } else if (take_values(call, system, facts) && take_dates(call, system, facts) &&
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
