/*
 * Health for a watcher, and metrics in OpenMetrics 1.0 text.
 */
#include "api/routes.h"
#include "measure/duration.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *broker_word(const struct api *api) {
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

/* Whom messages do not reach, and in `warning` when they reach nobody. */
static void add_contacts(json_t *json, const struct api *api) {
    const struct settings *settings = api->fleet->settings;
    json_t *failing = json_array();
    for (size_t i = 0; i < settings->contact_count; i++)
        if (dispatch_health(api->dispatch, i) >= DISPATCH_FAILING)
            json_array_append_new(failing, json_string(settings->contacts[i].id));
    if (settings->contact_count == 0)
        json_object_set_new(json, "warning",
                            json_string("no contact is set: nobody will be told of anything"));
    else if (json_array_size(failing) == settings->contact_count)
        json_object_set_new(json, "warning",
                            json_string("no contact can be reached: see subslabctl deliveries"));
    json_object_set_new(json, "contacts", json_integer((json_int_t)settings->contact_count));
    json_object_set_new(json, "contacts_failing", failing);
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
    json_t *json = json_pack("{s:s,s:s,s:s,s:s,s:s,s:o,s:b}", "status", works ? "ok" : "not ok",
                             "broker", broker_word(api), "store", store_works ? "works" : "failing",
                             "loop", loop_works ? "works" : "slow", "clock",
                             clock_works ? "works" : "doubted", "broker_lost_since",
                             api_time(api->lost_since_ms), "settings_refused", api->reload_refused);
    json_object_set_new(json, "units",
                        json_string(api->fleet->settings->units == UNIT_SYSTEM_SI ? "si" : "us"));
    json_object_set_new(json, "backlog", json_boolean(api->backlog));
    json_object_set_new(json, "busy_points", busy_points_json(api));
    add_contacts(json, api);
    if (!store_works)
        json_object_set_new(json, "store_why", json_string(api->store_why));
    if (!clock_works)
        json_object_set_new(json, "clock_why", json_string(api->clock_why));
    if (!broker_works)
        json_object_set_new(json, "broker_why",
                            json_string(clock_works ? intake_why(api->intake) : api->clock_why));
    api_json(call, works ? 200 : 503, json);
}

/* ---- metrics ---- */

struct metrics {
    char text[8192];
    size_t used;
};

static void add(struct metrics *metrics, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
static void add(struct metrics *metrics, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    int wrote = vsnprintf(metrics->text + metrics->used, sizeof metrics->text - metrics->used,
                          format, arguments);
    va_end(arguments);
    if (wrote > 0 && (size_t)wrote < sizeof metrics->text - metrics->used)
        metrics->used += (size_t)wrote;
}

static void counter(struct metrics *metrics, const char *name, const char *help, uint64_t value) {
    add(metrics, "# TYPE %s counter\n# HELP %s %s\n%s_total %llu\n", name, name, help, name,
        (unsigned long long)value);
}

static void gauge(struct metrics *metrics, const char *name, const char *help, double value) {
    add(metrics, "# TYPE %s gauge\n# HELP %s %s\n%s %.17g\n", name, name, help, name, value);
}

static void add_counters(struct metrics *metrics, const struct api *api) {
    struct pipeline_counters in = pipeline_count(api->pipeline);
    struct dispatch_counters out = dispatch_count(api->dispatch);
    counter(metrics, "subslab_messages", "messages from the broker", in.messages);
    counter(metrics, "subslab_readings", "readings stored", in.readings);
    counter(metrics, "subslab_readings_repeated", "readings that were stored already", in.repeats);
    counter(metrics, "subslab_readings_late", "readings older than the newest of their point",
            in.late);
    counter(metrics, "subslab_messages_refused", "messages or records not taken", in.refused);
    counter(metrics, "subslab_messages_unclaimed", "messages on topics without a point",
            in.unclaimed);
    counter(metrics, "subslab_deliveries_sent", "webhook deliveries answered with 2xx", out.sent);
    counter(metrics, "subslab_deliveries_retried", "webhook tries to be repeated", out.retried);
    counter(metrics, "subslab_deliveries_failed", "webhook deliveries given up", out.failed);
    counter(metrics, "subslab_turns", "turns of the loop", api->turns);
}

static void add_gauges(struct metrics *metrics, struct api *api) {
    struct monitor *monitor = pipeline_monitor(api->pipeline);
    struct store *store = pipeline_store(api->pipeline);
    int64_t file_bytes = 0, wal_bytes = 0, waiting[3] = {0, 0, 0};
    size_t by_status[5] = {0};
    gauge(metrics, "subslab_points", "points in the settings", (double)api->fleet->point_count);
    add(metrics, "# TYPE subslab_systems gauge\n# HELP subslab_systems systems by status\n");
    for (size_t s = 0; s < api->fleet->system_count; s++) {
        int64_t since_ms = 0;
        by_status[monitor_status(monitor, s, &since_ms)]++;
    }
    for (size_t i = 0; i < 5; i++)
        add(metrics, "subslab_systems{status=\"%s\"} %zu\n",
            monitor_status_word((enum monitor_status)i), by_status[i]);
    gauge(metrics, "subslab_alarms_open", "open alarms",
          (double)alarm_book_count(monitor_alarms(monitor)));
    gauge(metrics, "subslab_second_looks_waiting",
          "points with late readings whose past is still to be judged again",
          (double)pipeline_looks_waiting(api->pipeline));
    gauge(metrics, "subslab_broker_connected", "1 while connected",
          api->intake && intake_state(api->intake) == INTAKE_CONNECTED ? 1 : 0);
    if (store) {
        store_size(store, &file_bytes, &wal_bytes);
        outbox_counts(store, waiting);
    }
    gauge(metrics, "subslab_store_failing", "1 while the store fails", api->store_failing ? 1 : 0);
    add(metrics,
        "# TYPE subslab_store_size_bytes gauge\n# UNIT subslab_store_size_bytes bytes\n"
        "# HELP subslab_store_size_bytes size of the store\nsubslab_store_size_bytes %lld\n",
        (long long)file_bytes + (long long)wal_bytes);
    gauge(metrics, "subslab_deliveries_waiting", "webhook deliveries that wait",
          (double)waiting[OUTBOX_WAITING]);
    add(metrics,
        "# TYPE subslab_turn_longest_seconds gauge\n# UNIT subslab_turn_longest_seconds seconds\n"
        "# HELP subslab_turn_longest_seconds longest turn of the loop so far\n"
        "subslab_turn_longest_seconds %.3f\n",
        (double)api->longest_turn_ms / 1000.0);
}

void api_metrics(struct api_call *call) {
    struct metrics *metrics = calloc(1, sizeof *metrics);
    if (!metrics) {
        api_error(call, 503, "out of memory");
        return;
    }
    add_counters(metrics, call->api);
    add_gauges(metrics, call->api);
    add(metrics, "# EOF\n");
    api_text(call, 200, "application/openmetrics-text; version=1.0.0; charset=utf-8",
             strdup(metrics->text));
    free(metrics);
}
