/*
 * Health for a watcher.
 */
#include "api/routes.h"
#include "measure/duration.h"

#include <stdlib.h>
#include <string.h>

const char *api_broker_word(const struct api *api) {
    if (!api->intake)
        return "none";
    switch (intake_state(api->intake)) {
    case INTAKE_CONNECTED:
        return "connected";
    case INTAKE_CONNECTING:
        return "connecting";
    case INTAKE_DISCONNECTED:
        break;
    }
    return "lost";
}

/* Whom messages do not reach. */
static json_t *failing_contacts(const struct api *api) {
    const struct settings *settings = api->fleet->settings;
    json_t *failing = json_array();
    for (size_t i = 0; i < settings->contact_count; i++)
        if (dispatch_health(api->dispatch, i) >= DISPATCH_FAILING)
            json_array_append_new(failing, json_string(settings->contacts[i].id));
    return failing;
}

/* When they reach nobody; NULL: they do. */
static const char *warning_of(size_t contacts, size_t failing) {
    if (contacts == 0)
        return "no contact is set: nobody will be told of anything";
    return failing == contacts ? "no contact can be reached: see subslabctl deliveries" : NULL;
}

/* Those that send far more than they should. */
static json_t *busy_points_json(const struct api *api) {
    enum { MOST = 10 };
    struct busy_point worst[MOST];
    json_t *list = json_array();
    size_t count =
        busy_points_worst(pipeline_busy(api->pipeline), api->fleet, api->now_ms, worst, MOST);
    for (size_t i = 0; i < count; i++)
        json_array_append_new(
            list, json_pack("{s:s,s:s,s:I,s:f}", "system",
                            fleet_system_id(api->fleet, api->fleet->points[worst[i].point].system),
                            "point", fleet_point_id(api->fleet, worst[i].point), "readings",
                            (json_int_t)worst[i].readings, "expected", worst[i].expected));
    return list;
}

void api_health_word(struct api_call *call) {
    api_health(call);
    int status = call->answer->status;
    free(call->answer->body);
    call->answer->body = NULL;
    api_json(call, status, json_pack("{s:s}", "status", status == 200 ? "ok" : "not ok"));
}

void api_health(struct api_call *call) {
    static const int64_t turn_bad_ms = 10 * DURATION_SECOND_MS;
    const struct api *api = call->api;
    struct store *store = pipeline_store(api->pipeline);
    bool store_works = !api->store_failing && store && store_probe(store) == STORE_OK;
    bool broker_works = !api->intake || intake_state(api->intake) == INTAKE_CONNECTED;
    bool loop_works = api->recent_turn_ms < turn_bad_ms;
    bool clock_works = !api_clock_doubted(api);
    bool works = store_works && broker_works && loop_works && clock_works;
    const char *broker_why = broker_works  ? NULL
                             : clock_works ? intake_why(api->intake)
                                           : api->clock_why;
    const struct settings *settings = api->fleet->settings;
    json_t *failing = failing_contacts(api);
    json_t *json =
        json_pack("{s:s,s:s,s:s,s:s,s:s,s:o,s:b,s:s,s:b,s:o,s:s*,s:I,s:o,s:s*,s:s*,s:s*}", "status",
                  works ? "ok" : "not ok", "broker", api_broker_word(api), "store",
                  store_works ? "works" : "failing", "loop", loop_works ? "works" : "slow", "clock",
                  clock_works ? "works" : "doubted", "broker_lost_since",
                  api_time(api->lost_since_ms), "settings_refused", api->reload_refused, "units",
                  settings->units == UNIT_SYSTEM_SI ? "si" : "us", "backlog", api->backlog,
                  "busy_points", busy_points_json(api), "warning",
                  warning_of(settings->contact_count, json_array_size(failing)), "contacts",
                  (json_int_t)settings->contact_count, "contacts_failing", failing, "store_why",
                  store_works ? NULL : api->store_why, "clock_why",
                  clock_works ? NULL : api->clock_why, "broker_why", broker_why);
    api_json(call, works ? 200 : 503, json);
}
