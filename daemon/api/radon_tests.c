/*
 * Radon tests: results that people write down, each beside what the monitors read in its days.
 */
#include "api/radon_tests.h"

#include "analysis/agreement.h"
#include "api/period_mean.h"
#include "api/routes.h"
#include "complaints.h"
#include "host/log.h"
#include "store/records.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- beside the monitors ---- */

/* Both tell of the same days, so the swings of radon are in both; what is left is how well each
   instrument is calibrated. */
struct radon_test_monitor radon_test_monitor(const struct api *api, size_t point,
                                             const struct record_radon_test *test) {
    struct radon_test_monitor monitor = {.mean_bq_m3 = NAN, .standard_uncertainty = NAN};
    double mean;
    monitor.enough = period_mean(api, point, test->from_ms, test->to_ms, &mean, &monitor.coverage);
    if (!monitor.enough)
        return monitor;
    monitor.mean_bq_m3 = mean;
    monitor.standard_uncertainty = point_calibration(api->fleet->points[point].description, mean);
    monitor.agrees =
        agreement_holds(test->value_bq_m3, test->uncertainty_relative * test->value_bq_m3, mean,
                        monitor.standard_uncertainty);
    return monitor;
}

static json_t *monitor_json(const struct api *api, size_t point,
                            const struct record_radon_test *test) {
    const struct point_description *about = api->fleet->points[point].description;
    const struct radon_test_monitor monitor = radon_test_monitor(api, point, test);
    return json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:s*}", "point", about->id, "name",
                     about->name, "mean", api_number(monitor.mean_bq_m3), "standard_uncertainty",
                     api_number(monitor.standard_uncertainty), "coverage",
                     api_number(monitor.coverage), "agrees",
                     monitor.enough ? json_boolean(monitor.agrees) : json_null(), "why",
                     monitor.enough ? NULL : average_why(AVERAGE_TOO_FEW));
}

static json_t *monitors_json(struct api *api, size_t system, const struct record_radon_test *test) {
    const struct fleet_system *owner = &api->fleet->systems[system];
    json_t *list = json_array();
    for (size_t i = 0; i < owner->point_count; i++) {
        size_t point = owner->first_point + i;
        if (api->fleet->points[point].description->quantity == QUANTITY_RADON)
            json_array_append_new(list, monitor_json(api, point, test));
    }
    return list;
}

static json_t *answer_word(enum record_answer answer) {
    return answer == RECORD_UNKNOWN ? json_null() : json_boolean(answer == RECORD_YES);
}

static json_t *test_json(struct api *api, size_t system, const struct record_radon_test *test) {
    json_t *json = json_pack(
        "{s:I, s:s, s:o, s:o, s:f, s:s, s:s, s:f, s:f, s:s, s:s, s:s, s:o, s:s, s:o, s:o}", "id",
        (json_int_t)test->id, "system", test->system, "from", api_time(test->from_ms), "to",
        api_time(test->to_ms), "value", test->value_bq_m3, "unit", "Bq/m3", "quantity", "radon",
        "uncertainty", test->uncertainty_relative, "standard_uncertainty",
        test->uncertainty_relative * test->value_bq_m3, "kind", test->kind, "place", test->place,
        "device", test->device, "closed_house", answer_word(test->closed_house), "by", test->by,
        "recorded", api_time(test->recorded_ms), "monitors", monitors_json(api, system, test));
    api_zone(json, api, system);
    return json;
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
    if (store &&
        record_radon_test_list(store, system, RECORD_OLDEST_FIRST, on_test, &list) == STORE_OK)
        return list.rows;
    json_decref(list.rows);
    return NULL;
}

/* One as it stands; NULL: none of a system that there is. The caller releases. */
static json_t *stored(struct api *api, int64_t id) {
    struct test_list list = {api, json_array()};
    struct store *store = pipeline_store(api->pipeline);
    if (store)
        record_radon_test_get(store, id, on_test, &list);
    json_t *test = json_incref(json_array_get(list.rows, 0));
    json_decref(list.rows);
    return test;
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

/* The first field that is wrong, in the tool's words. */
static void answer_wrong(struct api_call *call, const struct radon_test_entry *entry,
                         const enum radon_test_wrong wrong[RADON_TEST_FIELDS]) {
    static const char *const allowed[] = {
        [RADON_TEST_NO_VALUE] = "is no radon value with its unit; allowed: such as \"1.2 pCi/L\"",
        [RADON_TEST_IMPOSSIBLE] = "is no radon a house can have; allowed: 0 to 1 000 000 Bq/m3",
        [RADON_TEST_NO_UNCERTAINTY] =
            "is not allowed; allowed: above 0 % to 100 %, such as \"10 %\"",
        [RADON_TEST_NO_TIME] = "is not a time; allowed: 2026-03-12, 2026-03-12T08:00:00Z",
        [RADON_TEST_AHEAD] = "allowed is a time that is not in the future",
        [RADON_TEST_TURNED] = "allowed is a time before \"to\"",
        [RADON_TEST_BRIEF] = "allowed are at least 48 hours before \"to\"",
        [RADON_TEST_LONG] = "allowed are at most 400 days before \"to\"",
        [RADON_TEST_NOT_SHORT] = "a test of more than 90 days is long; allowed: long",
        [RADON_TEST_NOT_LONG] = "a test of up to 90 days is short; allowed: short",
    };
    int i = 0;
    while (wrong[i] == RADON_TEST_RIGHT)
        i++;
    const char *name = radon_test_field_names[i];
    if (wrong[i] == RADON_TEST_MISSING)
        api_error(call, 400, "\"%s\" is missing; say it as a text", name);
    else if (wrong[i] == RADON_TEST_NO_WORD)
        api_error(call, 400, "%s: \"%s\" is not allowed; allowed: %s", name, entry->fields[i],
                  i == RADON_TEST_KIND ? "short, long" : "true, false");
    else if (wrong[i] >= RADON_TEST_AHEAD)
        api_error(call, 400, "%s: %s", name, allowed[wrong[i]]);
    else
        api_error(call, 400, "%s: \"%s\" %s", name, entry->fields[i], allowed[wrong[i]]);
}

/* JSON says whether the house was kept closed by true and false. */
static const char *closed_word(const json_t *closed) {
    if (!closed || json_is_null(closed))
        return NULL;
    return json_is_true(closed) ? "yes" : json_is_false(closed) ? "no" : "neither";
}

bool radon_test_stands(struct api *api, size_t system, struct record_radon_test *test) {
    struct store *store = pipeline_store(api->pipeline);
    test->system = fleet_system_id(api->fleet, system);
    return store && record_radon_test_find(store, test, &test->id) == STORE_OK;
}

enum store_status radon_test_keep(struct api *api, size_t system, struct record_radon_test *test) {
    if (radon_test_stands(api, system, test))
        return STORE_OK;
    test->recorded_ms = api->now_ms;
    enum store_status status =
        record_radon_test_add(pipeline_store(api->pipeline), test, &test->id);
    return status == STORE_OK ? pipeline_read_records(api->pipeline, system) : status;
}

void api_radon_test(struct api_call *call) {
    size_t system = api_system(call, call->parts[1]);
    struct api *api = call->api;
    struct radon_test_entry entry;
    enum radon_test_wrong wrong[RADON_TEST_FIELDS];
    struct record_radon_test test = {.by = system == FLEET_NONE ? NULL : api_needed(call, "by")};
    if (!test.by)
        return;
    for (int i = 0; i < RADON_TEST_FIELDS; i++)
        entry.fields[i] = api_given(call, radon_test_field_names[i]);
    entry.fields[RADON_TEST_CLOSED_HOUSE] =
        closed_word(json_object_get(call->body, "closed_house"));
    if (!radon_test_entry_read(&entry, api->fleet->systems[system].zone, api->now_ms, &test,
                               wrong)) {
        answer_wrong(call, &entry, wrong);
        return;
    }
    if (pipeline_begin(api->pipeline))
        pipeline_note(api->pipeline, radon_test_keep(api, system, &test));
    if (api_commit(call))
        api_json(call, 200, stored(api, test.id));
}

/* ---- a wrong one ---- */

/* Who took back what; the store has it no more. */
static void log_taken_back(const char *by, const char *why, const json_t *test) {
    log_line(LOG_LEVEL_NOTICE, "record",
             "%s took back radon test %lld of %s, %.4g Bq/m3 from %s to %s, %s, %s, by %s: %s", by,
             (long long)json_integer_value(json_object_get(test, "id")),
             json_string_value(json_object_get(test, "system")),
             json_number_value(json_object_get(test, "value")),
             json_string_value(json_object_get(test, "from")),
             json_string_value(json_object_get(test, "to")),
             json_string_value(json_object_get(test, "place")),
             json_string_value(json_object_get(test, "device")),
             json_string_value(json_object_get(test, "by")), why);
}

static enum store_status take_back(struct api *api, const json_t *test) {
    const char *id = json_string_value(json_object_get(test, "system"));
    size_t system = fleet_find_system(api->fleet, id);
    enum store_status status = record_radon_test_delete(
        pipeline_store(api->pipeline), json_integer_value(json_object_get(test, "id")));
    return status == STORE_OK ? pipeline_read_records(api->pipeline, system) : status;
}

void api_radon_test_take_back(struct api_call *call) {
    struct api *api = call->api;
    const char *by = api_needed(call, "by"), *why = by ? api_needed(call, "why") : NULL;
    if (!why || !api_store(call))
        return;
    json_t *test = stored(api, strtoll(call->parts[1], NULL, 10));
    if (!test) {
        api_error(call, 404, SAY_NO_RADON_TEST, call->parts[1]);
        return;
    }
    if (pipeline_begin(api->pipeline))
        pipeline_note(api->pipeline, take_back(api, test));
    if (api_commit(call)) {
        log_taken_back(by, why, test);
        api_json(call, 200, test);
    } else {
        json_decref(test);
    }
}
