/*
 * api_learn: baselines from the readings of a period. Refused for a point whose period is short,
 * badly covered or drifting (analysis/baseline), and for all points of a system that was in alarm:
 * an ailing system must not become its own yardstick.
 */
#include "analysis/baseline.h"
#include "api/routes.h"
#include "api/show.h"
#include "pipeline/stored_history.h"

#include <stdlib.h>
#include <string.h>

/* ---- was the system well? ---- */

struct alarm_search {
    int64_t from_ms, to_ms;
    char found[80]; /* the condition, "" while none is found */
};

/* Sensor and date conditions say nothing of the system's performance. */
static bool says_ailing(enum condition condition) {
    switch (condition) {
    case CONDITION_SENSOR_SILENT:
    case CONDITION_SYSTEM_SILENT:
    case CONDITION_SENSOR_CLOCK:
    case CONDITION_READING_DUE:
    case CONDITION_BATTERY_LOW:
    case CONDITION_RETEST_DUE:
    case CONDITION_VISIT_DUE:
    case CONDITION_CALIBRATION_DUE:
        return false;
    default:
        return true;
    }
}

static bool on_alarm(void *context, const struct record_alarm *row) {
    struct alarm_search *search = context;
    enum condition condition;
    if (!condition_find(row->condition, &condition) || !says_ailing(condition) ||
        row->since_ms >= search->to_ms ||
        (row->returned_ms != TIMESTAMP_NONE && row->returned_ms <= search->from_ms))
        return true;
    strncpy(search->found, row->condition, sizeof search->found - 1);
    return false;
}

/* In the store, or raised in this turn and not written yet. */
static enum store_status find_alarm(struct api *api, size_t system, struct alarm_search *search) {
    const struct record_alarm_filter filter = {
        .system = fleet_system_id(api->fleet, system),
        .since_ms = search->from_ms,
    };
    for (const struct alarm *alarm = alarm_book_of_system(pipeline_alarms(api->pipeline), system);
         alarm; alarm = alarm->next_of_system) {
        if (says_ailing(alarm->condition) && alarm->since_ms < search->to_ms &&
            (alarm_stands(alarm) || alarm->returned_ms > search->from_ms))
            strncpy(search->found, condition_info(alarm->condition)->name,
                    sizeof search->found - 1);
    }
    return record_alarm_list(pipeline_store(api->pipeline), &filter, on_alarm, search);
}

/* ---- one point ---- */

static enum baseline_status learn(struct api *api, size_t point, int64_t from_ms, int64_t to_ms,
                                  struct baseline *baseline) {
    const struct history history = stored_history_view(pipeline_memory(api->pipeline));
    const struct time_zone *zone = api->fleet->systems[api->fleet->points[point].system].zone;
    int64_t first = time_zone_local_day(zone, from_ms), end = time_zone_local_day(zone, to_ms);
    if (time_zone_day_start_ms(zone, first) < from_ms)
        first++;
    struct history_day *days = NULL;
    size_t count = 0;
    if (first >= end)
        return BASELINE_TOO_SHORT;
    if (!history_all_days(&history, point, first, end, &days, &count))
        return BASELINE_NO_MEMORY;
    struct baseline_day *values = malloc((count + 1) * sizeof *values);
    enum baseline_status status = BASELINE_NO_MEMORY;
    for (size_t i = 0; values && i < count; i++)
        values[i] =
            (struct baseline_day){(double)days[i].local_day, days[i].median, days[i].covered_ms};
    if (values)
        status = baseline_learn(values, count, time_zone_day_start_ms(zone, first),
                                time_zone_day_start_ms(zone, end), NULL, baseline);
    free(values);
    free(days);
    return status;
}

static void learn_point(struct api *api, size_t point, int64_t from_ms, int64_t to_ms,
                        json_t *values, json_t *points, json_t *refused) {
    const struct point_description *description = api->fleet->points[point].description;
    struct baseline baseline;
    enum baseline_status status = learn(api, point, from_ms, to_ms, &baseline);
    if (status != BASELINE_OK) {
        json_object_set_new(refused, description->id, json_string(baseline_why(status)));
        return;
    }
    if (!quantity_can_be_baseline(description->quantity, baseline.value)) {
        json_object_set_new(refused, description->id, json_string("it was not clearly above 0"));
        return;
    }
    json_object_set_new(values, description->id, api_number(baseline.value));
    json_object_set_new(points, description->id,
                        json_pack("{s:o, s:s, s:I}", "value", api_number(baseline.value), "unit",
                                  unit_si_word(description->binding.unit->dimension), "days",
                                  (json_int_t)baseline.days));
}

/* ---- keeping ---- */

static void keep(struct api *api, size_t system, int64_t from_ms, const char *by, int64_t now_ms,
                 json_t *values) {
    json_t *root = json_pack("{s:O}", "points", values);
    char *text = root ? json_dumps(root, JSON_COMPACT) : NULL;
    int64_t id = 0;
    const struct record_commissioning record = {
        .system = fleet_system_id(api->fleet, system),
        .from_ms = from_ms,
        .recorded_ms = now_ms,
        .by = by,
        .origin = "learned",
        .text = text,
    };
    enum store_status status = STORE_OUT_OF_MEMORY;
    if (text)
        status = record_commissioning_add(pipeline_store(api->pipeline), &record, &id);
    THEN(status, pipeline_read_records(api->pipeline, system));
    pipeline_note(api->pipeline, status);
    free(text);
    json_decref(root);
}

static void refuse_all(const struct api *api, size_t system, const char *condition,
                       json_t *refused) {
    const struct fleet_system *owner = &api->fleet->systems[system];
    char why[160];
    snprintf(why, sizeof why, "the system was in alarm in this period (%s)", condition);
    for (size_t i = 0; i < owner->point_count; i++)
        json_object_set_new(refused, owner->description->points[i].id, json_string(why));
}

json_t *api_learn(struct api *api, size_t system, int64_t from_ms, int64_t to_ms, const char *by,
                  int64_t now_ms) {
    const struct fleet_system *owner = &api->fleet->systems[system];
    json_t *points = json_object(), *refused = json_object(), *values = json_object();
    struct alarm_search search = {.from_ms = from_ms, .to_ms = to_ms};
    if (pipeline_begin(api->pipeline)) {
        bool searched = pipeline_note(api->pipeline, find_alarm(api, system, &search));
        if (searched && *search.found)
            refuse_all(api, system, search.found, refused);
        for (size_t i = 0; searched && !*search.found && i < owner->point_count; i++)
            learn_point(api, owner->first_point + i, from_ms, to_ms, values, points, refused);
        if (json_object_size(values) > 0)
            keep(api, system, from_ms, by, now_ms, values);
    }
    json_decref(values);
    return json_pack("{s:o, s:o}", "points", points, "refused", refused);
}
