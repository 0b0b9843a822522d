/*
 * Metrics for whoever keeps time series of programs: OpenMetrics 1.0, or the older text format
 * 0.0.4 for who asks for that.
 *
 * Of the whole on /metrics; of each system on /metrics/systems, which is as long as the fleet and
 * so is asked for on its own, and less often.
 */
#include "api/list.h"
#include "words/accept.h"
#include "words/text_buffer.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct metrics {
    struct text_buffer *text;
    bool open; /* OpenMetrics; else text 0.0.4 */
};

static bool wants_open(const struct api_call *call) {
    static const char *const types[] = {"application/openmetrics-text", "text/plain"};
    return accept_choose(web_header(call->request, "Accept"), types, 2) == 0;
}

static const char *content_type(bool open) {
    return open ? "application/openmetrics-text; version=1.0.0; charset=utf-8"
                : "text/plain; version=0.0.4; charset=utf-8";
}

/* ---- families ---- */

/* The name of a family has its unit at the end; only OpenMetrics says it again. */
static void family(const struct metrics *metrics, const char *name, const char *type,
                   const char *unit, const char *help) {
    text_buffer_format(metrics->text, "# TYPE %s %s\n", name, type);
    if (metrics->open && unit)
        text_buffer_format(metrics->text, "# UNIT %s %s\n", name, unit);
    text_buffer_format(metrics->text, "# HELP %s %s\n", name, help);
}

static void counter(const struct metrics *metrics, const char *name, const char *help,
                    uint64_t value) {
    /* In the older format the family is called as its sample is. */
    text_buffer_format(metrics->text, "# TYPE %s%s counter\n# HELP %s%s %s\n%s_total %llu\n", name,
                       metrics->open ? "" : "_total", name, metrics->open ? "" : "_total", help,
                       name, (unsigned long long)value);
}

static void gauge(const struct metrics *metrics, const char *name, const char *unit,
                  const char *help, double value) {
    family(metrics, name, "gauge", unit, help);
    text_buffer_format(metrics->text, "%s %.17g\n", name, value);
}

/* ---- of the whole ---- */

static void add_build(const struct metrics *metrics) {
    if (metrics->open)
        family(metrics, "subslab_build", "info", NULL, "the program");
    else
        family(metrics, "subslab_build_info", "gauge", NULL, "the program");
    text_buffer_format(metrics->text, "subslab_build_info{version=\"%s\"} 1\n", SUBSLAB_VERSION);
}

static void add_counters(const struct metrics *metrics, const struct api *api) {
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

static void add_systems(const struct metrics *metrics, const struct api *api) {
    size_t tally[MONITOR_STATUSES];
    gauge(metrics, "subslab_points", NULL, "points in the settings",
          (double)api->fleet->point_count);
    family(metrics, "subslab_systems", "gauge", NULL, "systems by status");
    monitor_tally(pipeline_monitor(api->pipeline), tally);
    for (size_t i = 0; i < MONITOR_STATUSES; i++)
        text_buffer_format(metrics->text, "subslab_systems{status=\"%s\"} %zu\n",
                           monitor_status_word((enum monitor_status)i), tally[i]);
}

/* Those that stand and of which people are told, in pairs that there are. */
static void add_alarms(const struct metrics *metrics, const struct api *api) {
    size_t standing[CONDITION_COUNT][PRIORITY_HIGH + 1] = {{0}};
    const struct alarm_book *book = pipeline_alarms(api->pipeline);
    size_t count = alarm_book_count(book);
    for (size_t i = 0; i < count; i++) {
        const struct alarm *alarm = alarm_book_at(book, i);
        if (alarm_stands(alarm) && alarm_annunciates(alarm))
            standing[alarm->condition][alarm->priority]++;
    }
    gauge(metrics, "subslab_alarms_open", NULL, "open alarms", (double)count);
    family(metrics, "subslab_alarms_standing", "gauge", NULL,
           "alarms that stand, by condition and priority");
    for (int c = 0; c < CONDITION_COUNT; c++) {
        for (int p = PRIORITY_LOW; p <= PRIORITY_HIGH; p++) {
            if (standing[c][p])
                text_buffer_format(
                    metrics->text,
                    "subslab_alarms_standing{condition=\"%s\",priority=\"%s\"} %zu\n",
                    condition_info((enum condition)c)->name, priority_word((enum priority)p),
                    standing[c][p]);
        }
    }
}

static void add_parts(const struct metrics *metrics, struct api *api) {
    struct store *store = pipeline_store(api->pipeline);
    int64_t file_bytes = 0, wal_bytes = 0, waiting[3] = {0, 0, 0};
    if (store) {
        store_size(store, &file_bytes, &wal_bytes);
        outbox_counts(store, waiting);
    }
    gauge(metrics, "subslab_second_looks_waiting", NULL,
          "points with late readings whose past is still to be judged again",
          (double)pipeline_looks_waiting(api->pipeline));
    gauge(metrics, "subslab_broker_connected", NULL, "1 while connected",
          api->intake && intake_state(api->intake) == INTAKE_CONNECTED ? 1 : 0);
    gauge(metrics, "subslab_clock_doubted", NULL,
          "1 while the clock of this machine is not trusted and nothing is taken",
          api_clock_doubted(api) ? 1 : 0);
    gauge(metrics, "subslab_settings_refused", NULL,
          "1 while the settings on disk are not those in force", api->reload_refused ? 1 : 0);
    gauge(metrics, "subslab_store_failing", NULL, "1 while the store fails",
          api->store_failing ? 1 : 0);
    gauge(metrics, "subslab_store_size_bytes", "bytes", "size of the store",
          (double)(file_bytes + wal_bytes));
    gauge(metrics, "subslab_deliveries_waiting", NULL, "webhook deliveries that wait",
          (double)waiting[OUTBOX_WAITING]);
    gauge(metrics, "subslab_turn_longest_seconds", "seconds", "longest turn of the loop so far",
          (double)api->longest_turn_ms / 1000.0);
}

void api_metrics(struct api_call *call) {
    struct text_buffer text = {0};
    const struct metrics metrics = {&text, wants_open(call)};
    add_build(&metrics);
    add_counters(&metrics, call->api);
    add_systems(&metrics, call->api);
    add_alarms(&metrics, call->api);
    add_parts(&metrics, call->api);
    if (metrics.open)
        text_buffer_add(&text, "# EOF\n");
    api_text(call, 200, content_type(metrics.open), text_buffer_take(&text));
}

/* ---- of each system ---- */

/* All samples of a family stand together, so the fleet is gone through once for each. */
struct systems_list {
    bool open;
    size_t family, system; /* the next */
};

/* Ids and quantities hold no character that the formats would escape (checked_text_id). */
static void add_status(const struct metrics *metrics, const struct api *api, size_t system) {
    int64_t since_ms = 0;
    enum monitor_status status = monitor_status(pipeline_monitor(api->pipeline), system, &since_ms);
    text_buffer_format(metrics->text, "subslab_system_status{system=\"%s\",status=\"%s\"} 1\n",
                       fleet_system_id(api->fleet, system), monitor_status_word(status));
}

static void add_points(const struct metrics *metrics, const struct api *api, size_t system,
                       const char *name, bool times) {
    const struct fleet_system *all = &api->fleet->systems[system];
    for (size_t p = all->first_point; p < all->first_point + all->point_count; p++) {
        const struct point_state *state = monitor_point(pipeline_monitor(api->pipeline), p);
        const struct quantity_info *quantity =
            quantity_info(api->fleet->points[p].description->quantity);
        if (state->newest_ms == TIMESTAMP_NONE || !isfinite(state->newest_value))
            continue;
        text_buffer_format(metrics->text, "%s{system=\"%s\",point=\"%s\",quantity=\"%s\"", name,
                           fleet_system_id(api->fleet, system), fleet_point_id(api->fleet, p),
                           quantity->name);
        if (times)
            text_buffer_format(metrics->text, "} %.3f\n", (double)state->newest_ms / 1000.0);
        else
            text_buffer_format(metrics->text, ",unit=\"%s\"} %.17g\n",
                               unit_si_word(quantity->dimension), state->newest_value);
    }
}

static void add_values(const struct metrics *metrics, const struct api *api, size_t system) {
    add_points(metrics, api, system, "subslab_point_value", false);
}

static void add_times(const struct metrics *metrics, const struct api *api, size_t system) {
    add_points(metrics, api, system, "subslab_point_time_seconds", true);
}

static const struct {
    const char *name, *unit, *help;
    void (*add)(const struct metrics *metrics, const struct api *api, size_t system);
} families[] = {
    {"subslab_system_status", NULL, "1 for the status that a system has", add_status},
    {"subslab_point_value", NULL, "newest reading of a point, in SI", add_values},
    {"subslab_point_time_seconds", "seconds", "when that was read, since 1970", add_times},
};
enum { FAMILIES = sizeof families / sizeof families[0] };

static enum api_list_step step_systems(void *context, struct api *api, struct api_list *rows) {
    enum { SYSTEMS_A_STEP = 100 };
    struct systems_list *list = context;
    const struct metrics metrics = {api_list_text(rows), list->open};
    if (list->system == 0)
        family(&metrics, families[list->family].name, "gauge", families[list->family].unit,
               families[list->family].help);
    for (int i = 0; i < SYSTEMS_A_STEP && list->system < api->fleet->system_count; i++)
        families[list->family].add(&metrics, api, list->system++);
    if (list->system < api->fleet->system_count)
        return API_LIST_MORE;
    list->system = 0;
    if (++list->family < FAMILIES)
        return API_LIST_MORE;
    if (list->open)
        text_buffer_add(metrics.text, "# EOF\n");
    return API_LIST_END;
}

void api_metrics_of_systems(struct api_call *call) {
    static const struct api_list_source source = {step_systems, free};
    struct systems_list *list = calloc(1, sizeof *list);
    if (list)
        list->open = wants_open(call);
    api_list_answer_text(call, content_type(list && list->open), &source, list);
}
