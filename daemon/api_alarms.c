/*
 * Alarms: the list, and what people do with them.
 */
#include "api_private.h"
#include "measure/duration.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const int64_t longest_shelving_ms = 30 * DURATION_DAY_MS;

static void add_people(json_t *json, const struct alarm *alarm) {
    if (alarm->acknowledged_ms != TIMESTAMP_NONE)
        json_object_set_new(json, "acknowledged",
                            json_pack("{s:o,s:s?,s:s?}", "time", api_time(alarm->acknowledged_ms),
                                      "by", alarm->acknowledged_by, "note", alarm->note));
    if (alarm->shelved_until_ms != TIMESTAMP_NONE)
        json_object_set_new(json, "shelved",
                            json_pack("{s:o,s:s?,s:s?}", "until", api_time(alarm->shelved_until_ms),
                                      "by", alarm->shelved_by, "why", alarm->shelved_why));
}

static json_t *alarm_object(const struct api *api, const struct alarm *alarm) {
    char *text = announce_alarm_json(api->fleet, alarm);
    json_t *json = text ? json_loads(text, 0, NULL) : NULL;
    free(text);
    if (json)
        add_people(json, alarm);
    return json;
}

/* ---- the list ---- */

struct lister {
    struct api *api;
    json_t *list;
};

static int newest_first(const void *a, const void *b) {
    const struct alarm *x = *(struct alarm *const *)a, *y = *(struct alarm *const *)b;
    if (x->raised_ms != y->raised_ms)
        return x->raised_ms > y->raised_ms ? -1 : 1;
    return (x->id < y->id) - (x->id > y->id);
}

static json_t *open_alarms(struct api *api, const char *system, int64_t since_ms) {
    struct alarm_book *book = monitor_alarms(pipeline_monitor(api->pipeline));
    size_t count = alarm_book_count(book), kept = 0;
    const struct alarm **alarms = calloc(count + 1, sizeof(struct alarm *));
    json_t *list = json_array();
    for (size_t i = 0; alarms && i < count; i++) {
        const struct alarm *alarm = alarm_book_at(book, i);
        if (alarm_open(alarm) &&
            (!system || strcmp(fleet_system_id(api->fleet, alarm->system), system) == 0) &&
            (since_ms == TIMESTAMP_NONE || alarm->raised_ms >= since_ms))
            alarms[kept++] = alarm;
    }
    if (kept)
        qsort(alarms, kept, sizeof(struct alarm *), newest_first);
    for (size_t i = 0; i < kept; i++)
        json_array_append_new(list, alarm_object(api, alarms[i]));
    free(alarms);
    return list;
}

static json_t *no_diagnosis(void) {
    return json_pack("{s:n,s:n,s:[],s:s}", "cause", "confidence", "evidence", "why",
                     "no cause was looked for");
}

/* A stored row of an occurrence that may belong to a system no longer in the settings. */
static json_t *row_object(const struct record_alarm *row) {
    json_t *details = row->details ? json_loads(row->details, 0, NULL) : NULL;
    json_t *cause = json_object_get(details, "cause");
    json_t *json =
        json_pack("{s:I,s:s,s:s?,s:s,s:s,s:s,s:o,s:o,s:o,s:o,s:o,s:s?}", "id", (json_int_t)row->id,
                  "system", row->system, "point", *row->point ? row->point : NULL, "condition",
                  row->condition, "priority", row->priority, "state", row->state, "since",
                  api_time(row->since_ms), "raised", api_time(row->raised_ms), "returned",
                  api_time(row->returned_ms), "value", api_number(row->value), "setpoint",
                  api_number(row->setpoint), "unit", *row->unit ? row->unit : NULL);
    json_object_set_new(json, "diagnosis", cause ? json_incref(details) : no_diagnosis());
    static const char *const lists[] = {"check", "bring"};
    for (size_t i = 0; i < 2; i++) {
        json_t *list = json_object_get(details, lists[i]);
        json_object_set_new(json, lists[i], list ? json_incref(list) : json_array());
    }
    json_decref(details);
    return json;
}

static bool add_row(void *context, const struct record_alarm *row) {
    struct lister *lister = context;
    struct alarm_book *book = monitor_alarms(pipeline_monitor(lister->api->pipeline));
    const struct alarm *open = row->open ? alarm_book_find(book, row->id) : NULL;
    json_t *json = open ? alarm_object(lister->api, open) : row_object(row);
    if (json && !json_object_get(json, "text"))
        json_object_set_new(json, "text", json_null());
    json_array_append_new(lister->list, json);
    return true;
}

json_t *api_alarms_open(struct api *api, const char *system) {
    return open_alarms(api, system, TIMESTAMP_NONE);
}

json_t *api_alarms_history(struct api *api, const char *system, int64_t limit) {
    struct lister lister = {api, json_array()};
    const struct record_alarm_filter filter = {
        .system = system, .since_ms = TIMESTAMP_NONE, .limit = limit};
    struct store *store = pipeline_store(api->pipeline);
    if (store && record_alarm_list(store, &filter, add_row, &lister) == STORE_OK)
        return lister.list;
    json_decref(lister.list);
    return NULL;
}

void api_alarms_list(struct api_call *call) {
    const char *all = web_query(call->request, "all");
    const char *system = web_query(call->request, "system");
    const char *since = web_query(call->request, "since");
    int64_t since_ms = TIMESTAMP_NONE;
    size_t index = FLEET_NONE;
    if (system && (index = api_system(call, system)) == FLEET_NONE)
        return;
    struct time_zone *utc = time_zone_create_utc();
    const struct time_zone *zone =
        index == FLEET_NONE ? utc : call->api->fleet->systems[index].zone;
    bool good = !since || api_instant(call, "since", since, zone, false, &since_ms);
    time_zone_destroy(utc);
    if (!good)
        return;
    if (!all) {
        api_json(call, 200, open_alarms(call->api, system, since_ms));
        return;
    }
    struct lister lister = {call->api, json_array()};
    const struct record_alarm_filter filter = {.system = system, .since_ms = since_ms};
    struct store *store = api_store(call);
    if (store && record_alarm_list(store, &filter, add_row, &lister) == STORE_OK) {
        api_json(call, 200, lister.list);
        return;
    }
    json_decref(lister.list);
    if (store)
        api_error(call, 503, "the store can't be read: %s", store_error(store));
}

/* ---- changes ---- */

static struct alarm *find_alarm(struct api_call *call) {
    char *end = NULL;
    long long id = strtoll(call->parts[1], &end, 10);
    struct alarm_book *book = monitor_alarms(pipeline_monitor(call->api->pipeline));
    struct alarm *alarm = *end ? NULL : alarm_book_find(book, id);
    if (alarm && alarm_open(alarm))
        return alarm;
    api_error(call, 404, "there is no open alarm %s; see: subslabctl alarms", call->parts[1]);
    return NULL;
}

static bool acknowledge(struct api_call *call, struct alarm *alarm) {
    const char *by = api_needed(call, "by");
    struct api *api = call->api;
    if (!by)
        return false;
    if (!pipeline_begin(api->pipeline) ||
        !alarm_book_acknowledge(monitor_alarms(pipeline_monitor(api->pipeline)), alarm, by,
                                api_given(call, "note"), api->now_ms) ||
        announce_alarm(pipeline_announce(api->pipeline), alarm, WORDING_ACKNOWLEDGED,
                       api->now_ms) != STORE_OK)
        pipeline_fail(api->pipeline, STORE_FAILING);
    return true;
}

static bool shelve(struct api_call *call, struct alarm *alarm) {
    const char *by = api_needed(call, "by");
    const char *why = by ? api_needed(call, "why") : NULL;
    const char *until = why ? api_needed(call, "until") : NULL;
    struct api *api = call->api;
    int64_t until_ms = 0;
    struct time_zone *utc = time_zone_create_utc();
    const struct time_zone *zone =
        alarm->system == FLEET_NONE ? utc : api->fleet->systems[alarm->system].zone;
    bool good = until && utc && api_instant(call, "until", until, zone, true, &until_ms);
    time_zone_destroy(utc);
    if (!good)
        return false;
    if (until_ms <= api->now_ms || until_ms - api->now_ms > longest_shelving_ms) {
        api_error(call, 400, "until: allowed is a time within the next 30 days");
        return false;
    }
    return alarm_book_shelve(monitor_alarms(pipeline_monitor(api->pipeline)), alarm, until_ms, by,
                             why);
}

void api_alarm_change(struct api_call *call) {
    struct alarm *alarm = find_alarm(call);
    struct alarm_book *book = monitor_alarms(pipeline_monitor(call->api->pipeline));
    if (!alarm)
        return;
    bool done = true;
    if (strcmp(call->parts[2], "acknowledge") == 0) {
        done = acknowledge(call, alarm);
    } else if (strcmp(call->parts[2], "shelve") == 0) {
        done = shelve(call, alarm);
    } else if (alarm->shelved_until_ms == TIMESTAMP_NONE) {
        api_error(call, 409, "alarm %s is not shelved", call->parts[1]);
        done = false;
    } else {
        alarm_book_unshelve(book, alarm);
    }
    json_t *json = done ? alarm_object(call->api, alarm) : NULL;
    if (done && api_commit(call))
        api_json(call, 200, json);
    else
        json_decref(json);
}

/* ---- out of service ---- */

static bool store_service(struct api_call *call, size_t system, int64_t until_ms, const char *by,
                          const char *why) {
    struct api *api = call->api;
    const struct record_service row = {fleet_system_id(api->fleet, system), api->now_ms, until_ms,
                                       by, why};
    if (!pipeline_begin(api->pipeline))
        return api_commit(call);
    enum store_status status =
        until_ms == TIMESTAMP_NONE
            ? record_service_delete(pipeline_store(api->pipeline), row.system)
            : record_service_put(pipeline_store(api->pipeline), &row);
    if (status != STORE_OK && status != STORE_NOT_FOUND)
        pipeline_fail(api->pipeline, status);
    monitor_set_out_of_service(pipeline_monitor(api->pipeline), system, until_ms);
    return api_commit(call);
}

void api_service_change(struct api_call *call, bool out) {
    size_t system = api_system(call, call->parts[1]);
    int64_t until_ms = TIMESTAMP_NONE;
    const char *by = NULL, *why = NULL;
    if (system == FLEET_NONE)
        return;
    if (out) {
        by = api_needed(call, "by");
        why = by ? api_needed(call, "why") : NULL;
        const char *until = why ? api_needed(call, "until") : NULL;
        if (!until || !api_instant(call, "until", until, call->api->fleet->systems[system].zone,
                                   true, &until_ms))
            return;
        if (until_ms <= call->api->now_ms) {
            api_error(call, 400, "until: allowed is a time in the future");
            return;
        }
    } else if (monitor_out_of_service_until(pipeline_monitor(call->api->pipeline), system) ==
               TIMESTAMP_NONE) {
        api_error(call, 409, "%s is not out of service", call->parts[1]);
        return;
    }
    if (store_service(call, system, until_ms, by, why))
        api_json(call, 200,
                 json_pack("{s:s,s:o,s:s?,s:s?}", "system", call->parts[1], "until",
                           api_time(until_ms), "by", by, "why", why));
}
