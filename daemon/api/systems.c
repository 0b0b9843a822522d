/*
 * The list of systems, worst first.
 */
#include "api/id_queue.h"
#include "api/list.h"
#include "api/visits.h"
#include "monitor/judge.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MEAN_DAYS = 30 };

struct system_line {
    size_t system;
    enum monitor_status status;
    int64_t since_ms;
    int priority; /* highest of what stands, -1: nothing */
    size_t open, unacknowledged;
};

static struct system_line look_at(struct monitor *monitor, size_t system) {
    struct system_line line = {.system = system, .priority = -1};
    line.status = monitor_status(monitor, system, &line.since_ms);
    for (const struct alarm *alarm = alarm_book_of_system(monitor_alarms(monitor), system); alarm;
         alarm = alarm->next_of_system) {
        enum alarm_state state = alarm_state(alarm);
        if (state == ALARM_NORMAL)
            continue;
        line.open++;
        line.unacknowledged +=
            state == ALARM_UNACKNOWLEDGED || state == ALARM_RETURNED_UNACKNOWLEDGED;
        if (alarm_stands(alarm) && (int)alarm->priority > line.priority)
            line.priority = (int)alarm->priority;
    }
    return line;
}

static int rank(enum monitor_status status) {
    static const int ranks[] = {[MONITOR_OUT_OF_SPEC] = 0,
                                [MONITOR_SILENT] = 1,
                                [MONITOR_DRIFTING] = 2,
                                [MONITOR_OUT_OF_SERVICE] = 3,
                                [MONITOR_IN_SPEC] = 4};
    return ranks[status];
}

static int worst_first(const void *a, const void *b) {
    const struct system_line *x = a, *y = b;
    if (rank(x->status) != rank(y->status))
        return rank(x->status) - rank(y->status);
    if (x->priority != y->priority)
        return y->priority - x->priority;
    if (x->unacknowledged != y->unacknowledged)
        return x->unacknowledged > y->unacknowledged ? -1 : 1;
    return (x->system > y->system) - (x->system < y->system);
}

static json_t *suction_of(const struct api *api, size_t system) {
    size_t point = fleet_point_of(api->fleet, system, QUANTITY_SUCTION);
    if (point == FLEET_NONE)
        return json_pack("{s:n,s:s,s:n,s:n,s:s}", "value", "unit", "Pa", "time", "of_baseline",
                         "why", "no suction point");
    const struct point_state *state = monitor_point(pipeline_monitor(api->pipeline), point);
    if (state->newest_ms == TIMESTAMP_NONE)
        return json_pack("{s:n,s:s,s:n,s:n,s:s}", "value", "unit", "Pa", "time", "of_baseline",
                         "why", "no reading yet");
    const struct point_baseline *baseline = point_state_baseline(state, state->newest_ms);
    double share = baseline && baseline->value > 0 ? state->newest_value / baseline->value : NAN;
    json_t *json = json_pack("{s:f,s:s,s:o,s:o}", "value", state->newest_value, "unit", "Pa",
                             "time", api_time(state->newest_ms), "of_baseline", api_number(share));
    if (!baseline)
        json_object_set_new(json, "why", json_string("no commissioning value"));
    return json;
}

/* Mean of the last 30 days from the hourly sums; coverage beside it. */
static json_t *radon_of(const struct api *api, size_t system) {
    enum { HOURS = MEAN_DAYS * 24 + 1 };
    size_t point = fleet_point_of(api->fleet, system, QUANTITY_RADON), count = 0;
    struct store *store = pipeline_store(api->pipeline);
    if (point == FLEET_NONE || !store)
        return json_pack("{s:n,s:s,s:s,s:f,s:s}", "mean", "unit", "Bq/m3", "window", "30 d",
                         "coverage", 0.0, "why",
                         store ? "no radon point" : "the store can't be read");
    struct series_hour *hours = malloc(HOURS * sizeof *hours);
    int64_t window_ms = MEAN_DAYS * 24 * ROLLUP_HOUR_MS, from_ms = api->now_ms - window_ms;
    double value_ms = 0.0, covered_ms = 0.0;
    if (!hours ||
        series_hours(store, pipeline_key(api->pipeline, point), rollup_hour_start(from_ms),
                     api->now_ms, hours, HOURS, &count) != STORE_OK)
        count = 0;
    for (size_t i = 0; i < count; i++) {
        double part = hours[i].hour_ms < from_ms
                          ? (double)(hours[i].hour_ms + ROLLUP_HOUR_MS - from_ms) / ROLLUP_HOUR_MS
                          : 1.0;
        value_ms += part * hours[i].value_ms;
        covered_ms += part * (double)hours[i].covered_ms;
    }
    free(hours);
    double mean = covered_ms > 0 ? value_ms / covered_ms : NAN;
    json_t *json = json_pack("{s:o,s:s,s:s,s:f}", "mean", api_number(mean), "unit", "Bq/m3",
                             "window", "30 d", "coverage", covered_ms / (double)window_ms);
    if (isnan(mean))
        json_object_set_new(json, "why", json_string("no reading in the window"));
    return json;
}

/* The day of the visit that the list of visits has, else the earliest date that lies ahead. */
static json_t *next_visit_of(const struct api *api, size_t system) {
    int64_t planned_ms = api_visits_due_ms(api, system);
    if (planned_ms != TIMESTAMP_NONE)
        return api_time(planned_ms);
    static const enum condition dated[] = {CONDITION_RETEST_DUE, CONDITION_VISIT_DUE,
                                           CONDITION_CALIBRATION_DUE};
    int64_t earliest_ms = INT64_MAX;
    for (size_t i = 0; i < sizeof dated / sizeof dated[0]; i++) {
        int64_t due_ms = monitor_due_ms(pipeline_monitor(api->pipeline), system, dated[i]);
        if (due_ms < earliest_ms)
            earliest_ms = due_ms;
    }
    return earliest_ms == INT64_MAX ? json_null() : api_time(earliest_ms);
}

static json_t *line_json(const struct api *api, const struct system_line *line) {
    const struct system_description *system = api->fleet->systems[line->system].description;
    const struct monitor *monitor = pipeline_monitor(api->pipeline);
    return json_pack("{s:s,s:s,s:s,s:o,s:I,s:I,s:o,s:o,s:o,s:o}", "id", system->id, "name",
                     system->name, "status", monitor_status_word(line->status), "since",
                     api_time(line->since_ms), "open_alarms", (json_int_t)line->open,
                     "unacknowledged", (json_int_t)line->unacknowledged, "suction",
                     suction_of(api, line->system), "radon", radon_of(api, line->system),
                     "last_reading", api_time(monitor_system_newest_ms(monitor, line->system)),
                     "next_visit", next_visit_of(api, line->system));
}

size_t *api_systems_worst_first(const struct api *api, size_t *count) {
    size_t total = api->fleet->system_count;
    struct system_line *lines = calloc(total + 1, sizeof *lines);
    size_t *order = calloc(total + 1, sizeof *order);
    *count = 0;
    if (lines && order) {
        for (size_t s = 0; s < total; s++)
            lines[s] = look_at(pipeline_monitor(api->pipeline), s);
        qsort(lines, total, sizeof *lines, worst_first);
        for (size_t s = 0; s < total; s++)
            order[s] = lines[s].system;
        *count = total;
    }
    free(lines);
    return order;
}

json_t *api_system_line(const struct api *api, size_t system) {
    const struct system_line line = look_at(pipeline_monitor(api->pipeline), system);
    return line_json(api, &line);
}

/* ---- the list ---- */

enum { LOOKS_A_STEP = 100 };

struct system_list {
    char *status; /* only these; NULL: all */
    bool in_order;
    struct id_queue order;
};

static void free_list(void *context) {
    struct system_list *list = context;
    free(list->status);
    id_queue_clear(&list->order);
    free(list);
}

static bool is_asked_for(const struct api *api, size_t system, const char *status) {
    int64_t since_ms = 0;
    return !status || strcmp(status, monitor_status_word(monitor_status(
                                         pipeline_monitor(api->pipeline), system, &since_ms))) == 0;
}

static bool put_in_order(const struct api *api, struct id_queue *ids) {
    size_t count = 0;
    size_t *order = api_systems_worst_first(api, &count);
    for (size_t i = 0; i < count; i++)
        id_queue_add(ids, fleet_system_id(api->fleet, order[i]));
    bool good = order && !ids->ids.failed;
    free(order);
    return good;
}

/* First the order, then one line a step: the mean of radon is read from the store. A system that
   new settings have taken away is left out. */
static enum api_list_step step_list(void *context, struct api *api, struct api_list *rows) {
    struct system_list *list = context;
    const char *id;
    if (!list->in_order) {
        list->in_order = put_in_order(api, &list->order);
        return list->in_order ? API_LIST_MORE : API_LIST_FAILED;
    }
    for (size_t looks = 0; looks < LOOKS_A_STEP && (id = id_queue_next(&list->order)); looks++) {
        size_t system = fleet_find_system(api->fleet, id);
        if (system == FLEET_NONE || !is_asked_for(api, system, list->status))
            continue;
        api_list_add(rows, api_system_line(api, system));
        break;
    }
    return list->order.left ? API_LIST_MORE : API_LIST_END;
}

void api_systems(struct api_call *call) {
    static const struct api_list_source source = {step_list, free_list};
    const char *status = web_query(call->request, "status");
    struct system_list *list = calloc(1, sizeof *list);
    if (list && status && !(list->status = strdup(status))) {
        free(list);
        list = NULL;
    }
    api_list_answer(call, &source, list);
}
