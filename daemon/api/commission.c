#include "api/commission.h"

#include "api/routes.h"
#include "monitor/proved_field.h"
#include "pipeline/equipment_json.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- as JSON ---- */

/* NULL, which is left out, for what is not known. */
static json_t *known(double value) {
    return isfinite(value) ? json_real(value) : NULL;
}

json_t *commission_changes(unsigned changes) {
    json_t *list = json_array();
    for (unsigned n = 0; change_word(n); n++) {
        if (changes & 1U << n)
            json_array_append_new(list, json_string(change_word(n)));
    }
    return list;
}

static json_t *setting_json(const struct test_setting *setting) {
    json_t *holes = json_object();
    for (size_t i = 0; i < setting->hole_count; i++) {
        if (isfinite(setting->holes[i].field_pa))
            json_object_set_new(holes, setting->holes[i].name,
                                json_real(setting->holes[i].field_pa));
    }
    return json_pack("{s:s*, s:o*, s:o*, s:o}", "setting", setting->setting, "suction",
                     known(setting->suction_pa), "flow", known(setting->flow_m3_s), "holes", holes);
}

static json_t *settings_json(const struct test_holes *holes) {
    json_t *list = holes->count ? json_array() : NULL;
    for (size_t i = 0; i < holes->count; i++)
        json_array_append_new(list, setting_json(&holes->settings[i]));
    return list;
}

/* The record as it is kept: SI, by point. */
static json_t *record_json(const struct commissioning *record) {
    json_t *points = json_object();
    for (size_t i = 0; i < record->value_count; i++)
        json_object_set_new(points, record->values[i].point, json_real(record->values[i].value));
    return json_pack(
        "{s:o, s:s*, s:s*, s:o*, s:o*, s:o*, s:o*, s:o*, s:o*, s:o*, s:s*}", "points", points,
        "instruments", record->instruments, "notes", record->notes, "next_calibration",
        record->next_calibration_ms == TIMESTAMP_NONE ? NULL
                                                      : json_integer(record->next_calibration_ms),
        "radon_before", known(record->radon_before_bq_m3), "radon_after",
        known(record->radon_after_bq_m3), "ground_exponent", known(record->ground_exponent),
        "changed", record->changed == CHANGE_UNSAID ? NULL : commission_changes(record->changed),
        "equipment", equipment_json(&record->equipment), "test_holes",
        settings_json(&record->test_holes), "back_draft", back_draft_word(record->back_draft));
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

/* ---- keeping it ---- */

struct day_records {
    int64_t end_ms, newest_ms;
};

static bool take_record_of_day(void *context, const struct record_commissioning *record) {
    struct day_records *day = context;
    if (record->from_ms < day->end_ms && record->from_ms > day->newest_ms)
        day->newest_ms = record->from_ms;
    return record->from_ms >= day->end_ms;
}

int64_t commission_since(const struct api *api, size_t system, int64_t on_ms) {
    const struct time_zone *zone = api->fleet->systems[system].zone;
    int64_t local_day = time_zone_local_day(zone, on_ms);
    struct day_records day = {time_zone_day_start_ms(zone, local_day + 1), on_ms};
    struct store *store = pipeline_store(api->pipeline);
    if (store && on_ms == time_zone_day_start_ms(zone, local_day))
        record_commissioning_list(store, fleet_system_id(api->fleet, system), RECORD_NEWEST_FIRST,
                                  take_record_of_day, &day);
    return day.newest_ms;
}

/* From the record's date on readings are judged by the new baseline, also those of the past. */
static void judge_again(struct api *api, size_t system, int64_t from_ms) {
    const struct fleet_system *owner = &api->fleet->systems[system];
    for (size_t i = 0; i < owner->point_count; i++)
        pipeline_judge_again(api->pipeline, owner->first_point + i, from_ms);
}

enum store_status commission_add(struct api *api, size_t system,
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
    THEN(status, record_commissioning_add(pipeline_store(api->pipeline), &row, &id));
    THEN(status, pipeline_read_records(api->pipeline, system));
    if (status == STORE_OK)
        judge_again(api, system, record->from_ms);
    free(text);
    json_decref(json);
    return status;
}

static bool keep(struct api_call *call, size_t system, const struct commissioning *record) {
    struct api *api = call->api;
    if (!pipeline_begin(api->pipeline))
        return api_commit(call);
    pipeline_note(api->pipeline, commission_add(api, system, record));
    return api_commit(call);
}

void commission_text(struct api_call *call, size_t system, const char *file, const char *text,
                     size_t length) {
    const struct fleet_system *owner = &call->api->fleet->systems[system];
    struct settings_errors errors = {0};
    struct commissioning *record = proved_field_record(file, text, length, owner->description,
                                                       owner->zone, call->api->now_ms, &errors);
    if (!record) {
        api_errors(call, 400, &errors);
        settings_errors_free(&errors);
        return;
    }
    record->from_ms = commission_since(call->api, system, record->from_ms);
    json_t *json = record_json(record);
    if (keep(call, system, record)) {
        json_t *kept = json_pack(
            "{s:o,s:s,s:o,s:o}", "from", api_time(record->from_ms), "by", record->by, "points",
            values_with_units(call->api->fleet, system, json_object_get(json, "points")),
            "ground_exponent", api_number(record->ground_exponent));
        api_zone(kept, call->api, system);
        api_json(call, 200, kept);
    }
    json_decref(json);
    commissioning_free(record);
}

void api_commission(struct api_call *call) {
    size_t system = api_system(call, call->parts[1]);
    const char *file = web_query(call->request, "file");
    if (system != FLEET_NONE)
        commission_text(call, system, file ? file : "record", call->request->body,
                        call->request->body_length);
}
