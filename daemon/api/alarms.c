/*
 * What people do with alarms.
 */
#include "api/routes.h"
#include "complaints.h"
#include "measure/duration.h"

#include <stdlib.h>
#include <string.h>

static const int64_t longest_shelving_ms = 30 * DURATION_DAY_MS;

/* ---- changes ---- */

static struct alarm *find_alarm(struct api_call *call) {
    char *end = NULL;
    long long id = strtoll(call->parts[1], &end, 10);
    struct alarm_book *book = pipeline_alarms(call->api->pipeline);
    struct alarm *alarm = *end ? NULL : alarm_book_find(book, id);
    if (alarm && alarm_open(alarm))
        return alarm;
    api_error(call, 404, SAY_NO_OPEN_ALARM, call->parts[1]);
    return NULL;
}

static bool acknowledge(struct api_call *call, struct alarm *alarm) {
    const char *by = api_needed(call, "by");
    struct api *api = call->api;
    if (!by)
        return false;
    if (!pipeline_begin(api->pipeline) ||
        !alarm_book_acknowledge(pipeline_alarms(api->pipeline), alarm, by, api_given(call, "note"),
                                api->now_ms) ||
        announce_alarm(pipeline_announce(api->pipeline), alarm, WORDING_ACKNOWLEDGED,
                       api->now_ms) != STORE_OK)
        pipeline_note(api->pipeline, STORE_FAILING);
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
        api_error(call, 400, "until: " SAY_IN_30_DAYS);
        return false;
    }
    return alarm_book_shelve(pipeline_alarms(api->pipeline), alarm, until_ms, by, why);
}

void api_alarm_change(struct api_call *call) {
    struct alarm *alarm = find_alarm(call);
    struct alarm_book *book = pipeline_alarms(call->api->pipeline);
    if (!alarm)
        return;
    bool done = true;
    if (strcmp(call->parts[2], "acknowledge") == 0) {
        done = acknowledge(call, alarm);
    } else if (strcmp(call->parts[2], "shelve") == 0) {
        done = shelve(call, alarm);
    } else if (alarm->shelved.until_ms == TIMESTAMP_NONE) {
        api_error(call, 409, SAY_NOT_SHELVED, call->parts[1]);
        done = false;
    } else {
        alarm_book_unshelve(book, alarm);
    }
    json_t *json = done ? api_alarm_json(call->api, alarm, WORDING_ENGLISH) : NULL;
    if (done && api_commit(call))
        api_json(call, 200, json);
    else
        json_decref(json);
}

/* ---- out of service ---- */

static bool store_service(struct api_call *call, const struct record_service *row, size_t system) {
    struct pipeline *pipeline = call->api->pipeline;
    if (!pipeline_begin(pipeline))
        return api_commit(call);
    enum store_status status = row->until_ms == TIMESTAMP_NONE
                                   ? record_service_delete(pipeline_store(pipeline), row->system)
                                   : record_service_put(pipeline_store(pipeline), row);
    if (status != STORE_OK && status != STORE_NOT_FOUND)
        pipeline_note(pipeline, status);
    monitor_set_out_of_service(pipeline_monitor(pipeline), system, row->until_ms);
    return api_commit(call);
}

static void change_service(struct api_call *call, size_t system, int64_t until_ms, const char *by,
                           const char *why) {
    const struct record_service row = {call->parts[1], call->api->now_ms, until_ms, by, why};
    if (!store_service(call, &row, system))
        return;
    json_t *json = json_pack("{s:s,s:o,s:s?,s:s?}", "system", row.system, "until",
                             api_time(until_ms), "by", by, "why", why);
    api_zone(json, call->api, system);
    api_json(call, 200, json);
}

void api_out_of_service(struct api_call *call) {
    size_t system = api_system(call, call->parts[1]);
    const char *by = system == FLEET_NONE ? NULL : api_needed(call, "by");
    const char *why = by ? api_needed(call, "why") : NULL;
    const char *until = why ? api_needed(call, "until") : NULL;
    int64_t until_ms = TIMESTAMP_NONE;
    if (!until ||
        !api_instant(call, "until", until, call->api->fleet->systems[system].zone, true, &until_ms))
        return;
    if (until_ms <= call->api->now_ms)
        api_error(call, 400, "until: " SAY_IN_FUTURE);
    else
        change_service(call, system, until_ms, by, why);
}

void api_return_to_service(struct api_call *call) {
    size_t system = api_system(call, call->parts[1]);
    if (system == FLEET_NONE)
        return;
    if (monitor_out_of_service_until(pipeline_monitor(call->api->pipeline), system) ==
        TIMESTAMP_NONE)
        api_error(call, 409, SAY_NOT_OUT_OF_SERVICE, call->parts[1]);
    else
        change_service(call, system, TIMESTAMP_NONE, NULL, NULL);
}
