#include "api/api.h"

#include "api/radon_tests.h"
#include "api/routes.h"
#include "api/show.h"
#include "api/visits.h"

#include <string.h>

/* ---- routes ---- */

static void get_system(struct api_call *call) {
    size_t system = api_system(call, call->parts[1]), language;
    if (system != FLEET_NONE && api_store(call) && api_language(call, &language))
        api_json(call, 200, api_show(call->api, system, language));
}

struct route {
    const char *method, *pattern; /* "*" stands for one part */
    void (*handle)(struct api_call *call);
    bool raw_body; /* the body is not JSON */
};

static const struct route routes[] = {
    {"GET", "/health", api_health, false},
    {"GET", "/metrics", api_metrics, false},
    {"GET", "/metrics/systems", api_metrics_of_systems, false},
    {"GET", "/visits.ics", api_visits_calendar, false},
    {"GET", "/api/systems", api_systems, false},
    {"GET", "/api/systems/*", get_system, false},
    {"GET", "/api/alarms", api_alarms_list, false},
    {"GET", "/api/visits", api_visits_list, false},
    {"GET", "/api/fans", api_fans, false},
    {"GET", "/api/systems/*/report", api_report, false},
    {"GET", "/api/radon-tests", api_radon_tests, false},
    {"GET", "/api/systems/*/radon-tests", api_radon_tests_of_system, false},
    {"GET", "/api/readings", api_readings, false},
    {"GET", "/api/deliveries", api_deliveries, false},
    {"GET", "/api/deliveries/*", api_deliveries, false},
    {"GET", "/api/unclaimed", api_unclaimed, false},
    {"GET", "/api/refused", api_refused, false},
    {"POST", "/api/alarms/*/acknowledge", api_alarm_change, false},
    {"POST", "/api/alarms/*/shelve", api_alarm_change, false},
    {"POST", "/api/alarms/*/unshelve", api_alarm_change, false},
    {"POST", "/api/systems/*/out-of-service", api_out_of_service, false},
    {"POST", "/api/systems/*/return-to-service", api_return_to_service, false},
    {"POST", "/api/systems/*/commission", api_commission, true},
    {"POST", "/api/systems/*/learn", api_learn_period, false},
    {"POST", "/api/systems/*/points/*/record", api_record_by_hand, false},
    {"POST", "/api/systems/*/visit-done", api_visit_done, false},
    {"POST", "/api/systems/*/radon-test", api_radon_test, false},
    {"POST", "/api/radon-tests/*/take-back", api_radon_test_take_back, false},
    {"POST", "/api/enrol", api_enrol, false},
    {"POST", "/api/systems/*/forget", api_forget, false},
    {"POST", "/api/systems/*/move-out", api_move_out, false},
    {"POST", "/api/systems/*/move-in", api_move_in, true},
    {"POST", "/api/reload", api_reload, false},
    {"POST", "/api/import", api_import, true},
    {"POST", "/api/backup", api_backup, false},
    {"POST", "/api/deliveries/*/again", api_delivery_again, false},
    {"POST", "/api/contacts/*/test-alert", api_test_alert, false},
};

static bool matches(const char *pattern, const char *path) {
    while (*pattern) {
        if (*pattern == '*') {
            size_t length = strcspn(path, "/");
            if (length == 0)
                return false;
            pattern++;
            path += length;
        } else if (*pattern++ != *path++) {
            return false;
        }
    }
    return *path == '\0';
}

static const struct route *find_route(const struct web_request *request, bool *path_known) {
    *path_known = false;
    for (size_t i = 0; i < sizeof routes / sizeof routes[0]; i++) {
        if (!matches(routes[i].pattern, request->path))
            continue;
        *path_known = true;
        if (strcmp(routes[i].method, request->method) == 0)
            return &routes[i];
    }
    return NULL;
}

/* Cuts "/api/systems/ID/…" into its parts behind "/api/". */
static bool split(struct api_call *call) {
    size_t length = strlen(call->request->path);
    if (length >= sizeof call->path)
        return false;
    memcpy(call->path, call->request->path, length + 1);
    char *rest = strncmp(call->path, "/api/", 5) == 0 ? call->path + 5 : call->path + 1, *save;
    char *part = strtok_r(rest, "/", &save);
    for (size_t i = 0; part && i < API_PARTS; i++) {
        call->parts[i] = part;
        part = strtok_r(NULL, "/", &save);
    }
    return true;
}

static bool parse_body(struct api_call *call) {
    const struct web_request *request = call->request;
    if (request->body_length == 0)
        return true;
    call->body = json_loadb(request->body, request->body_length, 0, NULL);
    return json_is_object(call->body);
}

static void handle(struct api_call *call, const struct route *route, bool may_change) {
    bool changes = strcmp(route->method, "POST") == 0;
    if (changes && !may_change)
        api_error(call, 403,
                  "changes need the operator socket (subslabctl) or a signed-in session");
    else if (!split(call))
        api_error(call, 404, "there is nothing here");
    else if (changes && !route->raw_body && !parse_body(call))
        api_error(call, 400, "the body must be a JSON object");
    else
        route->handle(call);
    json_decref(call->body);
}

void api_handle(struct api *api, const struct web_request *request, bool may_change,
                struct web_answer *answer) {
    struct api_call call = {.api = api, .request = request, .answer = answer};
    bool path_known = false;
    const struct route *route = find_route(request, &path_known);
    if (route)
        handle(&call, route, may_change);
    else if (path_known)
        api_error(&call, 405, "this can't be done with %s", request->method);
    else
        api_error(&call, 404, "there is nothing at %s", request->path);
}
