#include "api/in_spec.h"

#include "api/answer.h"
#include "api/period_mean.h"
#include "measure/array.h"
#include "store/records.h"

#include <math.h>
#include <stdlib.h>

static const char *const names[IN_SPEC_COUNT] = {"system", "suction", "field", "fan", "radon"};

static uint32_t quantities_of(enum in_spec_kind kind) {
    static const uint32_t bits[IN_SPEC_COUNT] = {
        [IN_SPEC_SUCTION] = 1U << QUANTITY_SUCTION,
        [IN_SPEC_FIELD] = 1U << QUANTITY_FIELD,
        [IN_SPEC_FAN] = 1U << QUANTITY_FAN_POWER | 1U << QUANTITY_FAN_CURRENT,
        [IN_SPEC_RADON] = 1U << QUANTITY_RADON,
    };
    return bits[kind];
}

struct standing_reader {
    struct in_spec *result;
    bool failed;
};

static void add(struct standing_reader *reader, struct outage **list, size_t *count,
                const struct outage *outage) {
    struct outage *grown = array_room(*list, *count, sizeof *grown);
    if (!grown) {
        reader->failed = true;
        return;
    }
    *list = grown;
    grown[(*count)++] = *outage;
}

static bool on_alarm(void *context, const struct record_alarm *row) {
    struct standing_reader *reader = context;
    struct in_spec *result = reader->result;
    enum condition condition;
    if (!condition_find(row->condition, &condition))
        return true;
    const struct condition_info *info = condition_info(condition);
    const struct outage outage = {row->since_ms == TIMESTAMP_NONE ? row->raised_ms : row->since_ms,
                                  row->returned_ms == TIMESTAMP_NONE ? result->to_ms
                                                                     : row->returned_ms};
    for (size_t k = 0; info->says == SAYS_OUT_OF_SPEC && k < IN_SPEC_COUNT; k++) {
        struct in_spec_part *part = &result->parts[k];
        if (k == IN_SPEC_SYSTEM || info->quantities & quantities_of((enum in_spec_kind)k))
            add(reader, &part->outages, &part->count, &outage);
    }
    return !reader->failed;
}

static bool is_of(enum in_spec_kind kind, const struct point_description *point) {
    return !point->by_hand &&
           (kind == IN_SPEC_SYSTEM || (quantities_of(kind) >> point->quantity & 1U) != 0);
}

/* By the point that is heard most: another of its kind that is silent hides nothing. */
static void find_covered(struct in_spec *result, const struct api *api, size_t system) {
    const struct fleet_system *owner = &api->fleet->systems[system];
    for (size_t i = 0; i < owner->point_count; i++) {
        double mean, coverage;
        period_mean(api, owner->first_point + i, result->from_ms, result->to_ms, &mean, &coverage);
        for (size_t k = 0; k < IN_SPEC_COUNT; k++) {
            if (is_of((enum in_spec_kind)k, &owner->description->points[i]))
                result->parts[k].covered = fmax(result->parts[k].covered, fmin(coverage, 1.0));
        }
    }
}

static bool only_people_read(const struct system_description *about) {
    for (size_t i = 0; i < about->point_count; i++)
        if (!about->points[i].by_hand)
            return false;
    return true;
}

static void compute(struct in_spec *result) {
    double span_ms = (double)(result->to_ms - result->from_ms);
    for (size_t k = 0; k < IN_SPEC_COUNT; k++) {
        struct in_spec_part *part = &result->parts[k];
        int64_t out_ms = 0;
        part->count =
            outages_merge(part->outages, part->count, result->from_ms, result->to_ms, &out_ms);
        double known_ms = fmax(part->covered * span_ms, (double)out_ms);
        part->share = part->covered > 0.0 ? 1.0 - (double)out_ms / known_ms : NAN;
    }
}

bool in_spec_read(struct in_spec *result, struct api *api, size_t system, int64_t from_ms,
                  int64_t to_ms) {
    struct standing_reader reader = {.result = result};
    struct store *store = pipeline_store(api->pipeline);
    int64_t commissioned_ms =
        monitor_dates(pipeline_monitor(api->pipeline), system)->commissioned_ms;
    *result = (struct in_spec){
        .from_ms = from_ms < commissioned_ms ? commissioned_ms : from_ms,
        .to_ms = to_ms,
        .commissioned = commissioned_ms != TIMESTAMP_NONE && commissioned_ms < to_ms,
        .by_hand = only_people_read(api->fleet->systems[system].description)};
    for (size_t k = 0; k < IN_SPEC_COUNT; k++)
        result->parts[k].share = NAN;
    if (!result->commissioned)
        return true;
    const struct record_alarm_filter filter = {.system = fleet_system_id(api->fleet, system),
                                               .since_ms = result->from_ms};
    if (!store || record_alarm_list(store, &filter, on_alarm, &reader) != STORE_OK || reader.failed)
        return false;
    find_covered(result, api, system);
    compute(result);
    return true;
}

void in_spec_clear(struct in_spec *result) {
    for (size_t k = 0; k < IN_SPEC_COUNT; k++)
        free(result->parts[k].outages);
}

/* ---- as JSON ---- */

static bool has_points(const struct api *api, size_t system, enum in_spec_kind kind) {
    const struct system_description *about = api->fleet->systems[system].description;
    bool found = kind == IN_SPEC_SYSTEM;
    for (size_t i = 0; i < about->point_count; i++)
        found |= (quantities_of(kind) >> about->points[i].quantity & 1U) != 0;
    return found;
}

static json_t *part_json(const struct in_spec *result, size_t kind, const char *window) {
    const struct in_spec_part *part = &result->parts[kind];
    json_t *outages = json_array();
    for (size_t i = 0; i < part->count; i++)
        json_array_append_new(outages,
                              json_pack("{s:o, s:o}", "from", api_time(part->outages[i].from_ms),
                                        "to", api_time(part->outages[i].to_ms)));
    const char *why = NULL;
    if (!result->commissioned)
        why = "not commissioned: there is nothing to hold it against";
    else if (!isfinite(part->share))
        why = result->by_hand ? "read by hand: nobody knows what was between two readings"
                              : "no readings in this time";
    return json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:s*}", "what", names[kind], "window", window,
                     "from", api_time(result->commissioned ? result->from_ms : TIMESTAMP_NONE),
                     "share", api_number(part->share), "without_readings",
                     api_number(result->commissioned ? 1.0 - part->covered : NAN), "outages",
                     outages, "why", why);
}

json_t *in_spec_json(struct api *api, size_t system, int64_t from_ms, int64_t to_ms,
                     const char *window) {
    struct in_spec result;
    json_t *list = json_array();
    if (in_spec_read(&result, api, system, from_ms, to_ms)) {
        for (size_t k = 0; k < IN_SPEC_COUNT; k++)
            if (has_points(api, system, (enum in_spec_kind)k))
                json_array_append_new(list, part_json(&result, k, window));
    }
    in_spec_clear(&result);
    return list;
}
