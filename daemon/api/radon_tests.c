/*
 * Radon tests: results that people write down, each beside what the monitors read in its days.
 */
#include "api/radon_tests.h"

#include "analysis/agreement.h"
#include "api/routes.h"
#include "measure/duration.h"
#include "monitor/history.h"
#include "pipeline/history_store.h"
#include "settings/key_table.h"
#include "store/records.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A test of up to 90 days is a short one: common practice of measurement, no source. */
static const int64_t short_most_ms = 90 * DURATION_DAY_MS;
static const int64_t longest_ms = 400 * DURATION_DAY_MS;
static const double usual_uncertainty = 0.10;

/* ---- beside the monitors ---- */

/* The mean that a monitor read in these days; false: too few readings. */
static bool read_mean(const struct history *history, size_t point,
                      const struct record_radon_test *test, double *mean, double *coverage) {
    size_t capacity = (size_t)((test->to_ms - test->from_ms) / DURATION_HOUR_MS) + 2;
    struct average_bucket *hours = malloc(capacity * sizeof *hours), sum = {0};
    size_t count = HISTORY_FAILED;
    if (hours)
        count = history_hours(history, point, test->from_ms, test->to_ms, hours, capacity);
    bool good = count != HISTORY_FAILED &&
                average_sum(hours, count, test->from_ms, test->to_ms, &sum) == AVERAGE_OK;
    free(hours);
    *coverage = good ? (double)sum.covered_ms / (double)(test->to_ms - test->from_ms) : 0.0;
    *mean = good && sum.covered_ms > 0 ? sum.value_ms / (double)sum.covered_ms : NAN;
    return *coverage >= AVERAGE_LEAST_COVERAGE;
}

/* Both tell of the same days, so the swings of radon are in both; what is left is how well each
   instrument is calibrated. */
static json_t *monitor_json(const struct api *api, const struct history *history, size_t point,
                            const struct record_radon_test *test) {
    const struct point_description *about = api->fleet->points[point].description;
    double mean, coverage;
    bool enough = read_mean(history, point, test, &mean, &coverage);
    double uncertainty = about->calibration_relative * mean;
    bool agrees =
        enough && agreement_holds(test->value_bq_m3, test->uncertainty_relative * test->value_bq_m3,
                                  mean, uncertainty);
    json_t *json =
        json_pack("{s:s, s:s, s:o, s:o, s:o, s:o}", "point", about->id, "name", about->name, "mean",
                  api_number(enough ? mean : NAN), "standard_uncertainty",
                  api_number(enough ? uncertainty : NAN), "coverage", api_number(coverage),
                  "agrees", enough ? json_boolean(agrees) : json_null());
    if (!enough)
        json_object_set_new(json, "why", json_string(average_why(AVERAGE_TOO_FEW)));
    return json;
}

static json_t *monitors_json(struct api *api, size_t system, const struct record_radon_test *test) {
    const struct history history = history_store_view(pipeline_memory(api->pipeline));
    const struct fleet_system *owner = &api->fleet->systems[system];
    json_t *list = json_array();
    for (size_t i = 0; i < owner->point_count; i++) {
        size_t point = owner->first_point + i;
        if (api->fleet->points[point].description->quantity == QUANTITY_RADON)
            json_array_append_new(list, monitor_json(api, &history, point, test));
    }
    return list;
}

static json_t *answer_word(enum record_answer answer) {
    return answer == RECORD_UNKNOWN ? json_null() : json_boolean(answer == RECORD_YES);
}

static json_t *test_json(struct api *api, size_t system, const struct record_radon_test *test) {
    return json_pack(
        "{s:I, s:s, s:o, s:o, s:f, s:s, s:s, s:f, s:f, s:s, s:s, s:s, s:o, s:s, s:o, s:o}", "id",
        (json_int_t)test->id, "system", test->system, "from", api_time(test->from_ms), "to",
        api_time(test->to_ms), "value", test->value_bq_m3, "unit", "Bq/m3", "quantity", "radon",
        "uncertainty", test->uncertainty_relative, "standard_uncertainty",
        test->uncertainty_relative * test->value_bq_m3, "kind", test->kind, "place", test->place,
        "device", test->device, "closed_house", answer_word(test->closed_house), "by", test->by,
        "recorded", api_time(test->recorded_ms), "monitors", monitors_json(api, system, test));
}

/* ---- lists ---- */

struct test_list {
    struct api *api;
    json_t *rows;
};

static bool on_test(void *context, const struct record_radon_test *test) {
    struct test_list *list = context;
    size_t system = fleet_find_system(list->api->fleet, test->system);
    if (system != FLEET_NONE)
        json_array_append_new(list->rows, test_json(list->api, system, test));
    return true;
}

json_t *api_radon_tests_of(struct api *api, const char *system) {
    struct test_list list = {api, json_array()};
    struct store *store = pipeline_store(api->pipeline);
    if (store && record_radon_test_list(store, system, on_test, &list) == STORE_OK)
        return list.rows;
    json_decref(list.rows);
    return NULL;
}

static void answer_list(struct api_call *call, const char *system) {
    if (!api_store(call))
        return;
    json_t *list = api_radon_tests_of(call->api, system);
    if (list)
        api_json(call, 200, list);
    else
        api_error(call, 503, "the store can't be read");
}

void api_radon_tests(struct api_call *call) {
    answer_list(call, NULL);
}

void api_radon_tests_of_system(struct api_call *call) {
    size_t system = api_system(call, call->parts[1]);
    if (system != FLEET_NONE)
        answer_list(call, fleet_system_id(call->api->fleet, system));
}

/* ---- a new one ---- */

static bool take_value(struct api_call *call, struct record_radon_test *test) {
    const char *value = api_needed(call, "value");
    if (!value)
        return false;
    if (unit_parse(value, DIMENSION_RADON, &test->value_bq_m3) == UNIT_OK &&
        quantity_plausible(QUANTITY_RADON, DIMENSION_RADON, test->value_bq_m3))
        return true;
    api_error(call, 400,
              "value: \"%s\" is no radon value with its unit; allowed: such as \"1.2 pCi/L\"",
              value);
    return false;
}

static bool take_uncertainty(struct api_call *call, struct record_radon_test *test) {
    const char *text = api_given(call, "uncertainty");
    test->uncertainty_relative = usual_uncertainty;
    if (!text || (key_percent_parse(text, &test->uncertainty_relative) &&
                  test->uncertainty_relative > 0.0 && test->uncertainty_relative <= 1.0))
        return true;
    api_error(call, 400,
              "uncertainty: \"%s\" is not allowed; allowed: above 0 %% to 100 %%, such "
              "as \"10 %%\"",
              text);
    return false;
}

static bool take_days(struct api_call *call, size_t system, struct record_radon_test *test) {
    const struct time_zone *zone = call->api->fleet->systems[system].zone;
    const char *from = api_needed(call, "from"), *to = from ? api_needed(call, "to") : NULL;
    if (!to || !api_instant(call, "from", from, zone, false, &test->from_ms) ||
        !api_instant(call, "to", to, zone, false, &test->to_ms))
        return false;
    if (test->to_ms > call->api->now_ms)
        api_error(call, 400, "to: allowed is a time that is not in the future");
    else if (test->from_ms >= test->to_ms)
        api_error(call, 400, "from: allowed is a time before \"to\"");
    else if (test->to_ms - test->from_ms > longest_ms)
        api_error(call, 400, "from: allowed are at most 400 days before \"to\"");
    else
        return true;
    return false;
}

static bool take_kind(struct api_call *call, struct record_radon_test *test) {
    const char *kind = api_given(call, "kind");
    bool is_short = test->to_ms - test->from_ms <= short_most_ms;
    test->kind = kind ? kind : is_short ? "short" : "long";
    if (strcmp(test->kind, "short") == 0 || strcmp(test->kind, "long") == 0)
        return true;
    api_error(call, 400, "kind: \"%s\" is not allowed; allowed: short, long", kind);
    return false;
}

static bool take_closed_house(struct api_call *call, struct record_radon_test *test) {
    const json_t *closed = json_object_get(call->body, "closed_house");
    test->closed_house = json_is_true(closed)    ? RECORD_YES
                         : json_is_false(closed) ? RECORD_NO
                                                 : RECORD_UNKNOWN;
    if (!closed || json_is_null(closed) || json_is_boolean(closed))
        return true;
    api_error(call, 400, "closed_house: allowed: true, false");
    return false;
}

static bool keep_test(struct api_call *call, size_t system, struct record_radon_test *test) {
    struct api *api = call->api;
    if (!pipeline_begin(api->pipeline))
        return api_commit(call);
    enum store_status status =
        record_radon_test_add(pipeline_store(api->pipeline), test, &test->id);
    if (status == STORE_OK)
        status = pipeline_read_records(api->pipeline, system);
    pipeline_note(api->pipeline, status);
    return api_commit(call);
}

void api_radon_test(struct api_call *call) {
    size_t system = api_system(call, call->parts[1]);
    struct record_radon_test test = {.recorded_ms = call->api->now_ms};
    if (system == FLEET_NONE)
        return;
    test.system = fleet_system_id(call->api->fleet, system);
    test.by = api_needed(call, "by");
    test.place = test.by ? api_needed(call, "place") : NULL;
    test.device = test.place ? api_needed(call, "device") : NULL;
    if (test.device && take_value(call, &test) && take_uncertainty(call, &test) &&
        take_days(call, system, &test) && take_kind(call, &test) &&
        take_closed_house(call, &test) && keep_test(call, system, &test))
        api_json(call, 200, test_json(call->api, system, &test));
}
