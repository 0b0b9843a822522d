/*
 * The list of systems, worst first.
 */
#include "api/systems.h"
#include "api/id_queue.h"
#include "api/list.h"
#include "api/visits.h"
#include "monitor/judge.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct system_rank {
    enum monitor_status status;
    int priority; /* highest of what stands, -1: nothing */
    size_t open, unacknowledged;
};

static struct system_rank look_at(struct monitor *monitor, size_t system) {
    struct system_rank line = {.priority = -1};
    int64_t since_ms = 0;
    line.status = monitor_status(monitor, system, &since_ms);
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

/* Status, then priority of what stands, then how much nobody has taken on; 5 x 4 x 32. */
struct api_system_order api_system_order(const struct api *api, size_t system) {
    const struct system_rank found = look_at(pipeline_monitor(api->pipeline), system);
    unsigned fresh = found.unacknowledged > 31 ? 31 : (unsigned)found.unacknowledged;
    unsigned order =
        ((unsigned)rank(found.status) * 4 + (unsigned)(PRIORITY_HIGH - found.priority));
    return (struct api_system_order){found.status, (uint16_t)(order * 32 + 31 - fresh)};
}

static struct system_line_suction suction_at(const struct api *api, size_t point) {
    struct system_line_suction suction = {point, NAN, NAN, TIMESTAMP_NONE, NULL};
    if (suction.point == FLEET_NONE) {
        suction.why = "no suction point";
        return suction;
    }
    const struct point_state *state = monitor_point(pipeline_monitor(api->pipeline), suction.point);
    if (state->newest_ms == TIMESTAMP_NONE) {
        suction.why = "no reading yet";
        return suction;
    }
    const struct point_baseline *baseline = point_state_baseline(state, state->newest_ms);
    suction.pa = state->newest_value;
    suction.time_ms = state->newest_ms;
    if (!baseline)
        suction.why = "no commissioning value";
    else if (baseline->value > 0)
        suction.of_baseline = suction.pa / baseline->value;
    return suction;
}

/* Of several risers the one that has lost most. */
static struct system_line_suction suction_of(const struct api *api, size_t system) {
    struct system_line_suction worst =
        suction_at(api, fleet_branch_point_of(api->fleet, system, 0, QUANTITY_SUCTION));
    for (size_t b = 1; b < api->fleet->systems[system].description->branch_count; b++) {
        const struct system_line_suction one =
            suction_at(api, fleet_branch_point_of(api->fleet, system, b, QUANTITY_SUCTION));
        if (isnan(worst.of_baseline) || one.of_baseline < worst.of_baseline)
            worst = one;
    }
    return worst;
}

static struct system_line_radon radon_at(const struct api *api, size_t point) {
    struct month_mean month;
    if (!pipeline_store(api->pipeline) ||
        pipeline_month_mean(api->pipeline, point, api->now_ms, &month) != STORE_OK)
        return (struct system_line_radon){point, NAN, 0.0, "the store can't be read"};
    return (struct system_line_radon){point, month.mean, month.coverage,
                                      isnan(month.mean) ? "no reading in the window" : NULL};
}

/* Of all its monitors, the highest first and the silent last. */
static void fill_radons(const struct api *api, size_t system, struct system_line *line) {
    const struct fleet_system *owner = &api->fleet->systems[system];
    for (size_t i = 0; i < owner->point_count && line->radon_count < SYSTEM_LINE_RADONS; i++) {
        if (owner->description->points[i].quantity != QUANTITY_RADON)
            continue;
        const struct system_line_radon radon = radon_at(api, owner->first_point + i);
        size_t at = line->radon_count++;
        for (; at > 0 && isfinite(radon.mean_bq_m3) &&
               !(line->radons[at - 1].mean_bq_m3 >= radon.mean_bq_m3);
             at--)
            line->radons[at] = line->radons[at - 1];
        line->radons[at] = radon;
    }
    if (line->radon_count == 0)
        line->radons[line->radon_count++] =
            (struct system_line_radon){FLEET_NONE, NAN, 0.0, "no radon point"};
}

/* The day of the visit that the list of visits has, else the earliest date that lies ahead. */
static int64_t next_visit_of(const struct api *api, size_t system) {
    int64_t planned_ms = api_visits_due_ms(api, system);
    if (planned_ms != TIMESTAMP_NONE)
        return planned_ms;
    static const enum condition dated[] = {CONDITION_RETEST_DUE, CONDITION_VISIT_DUE,
                                           CONDITION_CALIBRATION_DUE};
    int64_t earliest_ms = INT64_MAX;
    for (size_t i = 0; i < sizeof dated / sizeof dated[0]; i++) {
        int64_t due_ms = monitor_due_ms(pipeline_monitor(api->pipeline), system, dated[i]);
        if (due_ms < earliest_ms)
            earliest_ms = due_ms;
    }
    return earliest_ms == INT64_MAX ? TIMESTAMP_NONE : earliest_ms;
}

struct system_line api_system_line(const struct api *api, size_t system) {
    struct monitor *monitor = pipeline_monitor(api->pipeline);
    const struct system_rank rank = look_at(monitor, system);
    struct system_line line = {
        .open = rank.open,
        .unacknowledged = rank.unacknowledged,
        .suction = suction_of(api, system),
        .last_reading_ms = monitor_system_newest_ms(monitor, system),
        .next_visit_ms = next_visit_of(api, system),
    };
    line.status = monitor_status(monitor, system, &line.since_ms);
    fill_radons(api, system, &line);
    return line;
}

static json_t *radon_json(const struct api *api, const struct system_line_radon *radon) {
    bool has_point = radon->point != FLEET_NONE;
    return json_pack("{s:o,s:s,s:s,s:f,s:s*,s:s*}", "mean", api_number(radon->mean_bq_m3), "unit",
                     "Bq/m3", "window", "30 d", "coverage", radon->coverage, "point",
                     has_point ? fleet_point_id(api->fleet, radon->point) : NULL, "why",
                     radon->why);
}

/* All of them; NULL where there are not several. */
static json_t *radons_json(const struct api *api, const struct system_line *line) {
    json_t *list = line->radon_count < 2 ? NULL : json_array();
    for (size_t i = 0; list && i < line->radon_count; i++)
        json_array_append_new(list, radon_json(api, &line->radons[i]));
    return list;
}

static json_t *line_json(const struct api *api, size_t system) {
    const struct system_description *about = api->fleet->systems[system].description;
    const struct system_line line = api_system_line(api, system);
    json_t *suction = json_pack("{s:o,s:s,s:o,s:o,s:s*}", "value", api_number(line.suction.pa),
                                "unit", "Pa", "time", api_time(line.suction.time_ms), "of_baseline",
                                api_number(line.suction.of_baseline), "why", line.suction.why);
    return json_pack("{s:s,s:s,s:s,s:o,s:I,s:I,s:o,s:o,s:o,s:s,s:o,s:o*}", "id", about->id, "name",
                     about->name, "status", monitor_status_word(line.status), "since",
                     api_time(line.since_ms), "open_alarms", (json_int_t)line.open,
                     "unacknowledged", (json_int_t)line.unacknowledged, "suction", suction,
                     "last_reading", api_time(line.last_reading_ms), "next_visit",
                     api_time(line.next_visit_ms), "time_zone", about->time_zone, "radon",
                     radon_json(api, &line.radons[0]), "radons", radons_json(api, &line));
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

struct system_place {
    uint16_t order;
    size_t system;
};

static int worst_first(const void *a, const void *b) {
    const struct system_place *x = a, *y = b;
    if (x->order != y->order)
        return x->order - y->order;
    return (x->system > y->system) - (x->system < y->system);
}

static bool put_in_order(const struct api *api, struct id_queue *ids) {
    size_t count = api->fleet->system_count;
    struct system_place *places = calloc(count + 1, sizeof *places);
    if (!places)
        return false;
    for (size_t s = 0; s < count; s++)
        places[s] = (struct system_place){api_system_order(api, s).order, s};
    qsort(places, count, sizeof *places, worst_first);
    for (size_t i = 0; i < count; i++)
        id_queue_add(ids, fleet_system_id(api->fleet, places[i].system));
    free(places);
    return !ids->ids.failed;
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
        api_list_add(rows, line_json(api, system));
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
