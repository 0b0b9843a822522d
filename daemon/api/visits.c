/*
 * What calls for a visit comes from memory: standing alarms, what the last judged day said of the
 * time ahead, and dates. So a fleet of ten thousand is listed without reading its past.
 */
#include "api/visits.h"

#include "api/private.h"
#include "measure/duration.h"
#include "monitor/assessment.h"
#include "pipeline/explain.h"
#include "upkeep/daily_upkeep.h"
#include "words/calendar.h"
#include "words/visit.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ALARMS_MAX = 24, LIST_MAX = 32, TEXT_BYTES = 200, BASELINES_MAX = 32 };

/* One planned visit with all that its texts point into. */
struct plan {
    size_t system;
    bool brief; /* only the day is asked for: alarms need no explanation */
    struct visit visit;
    json_t *details[ALARMS_MAX];
    size_t detail_count;
    char projection_texts[DAILY_PROJECTIONS_MAX][TEXT_BYTES];
    struct visit_baseline baselines[BASELINES_MAX];
    size_t baseline_count;
};

/* What is gathered for one system. */
struct reasons {
    struct visit_alarm alarms[ALARMS_MAX];
    const char *checks[ALARMS_MAX][LIST_MAX], *brings[ALARMS_MAX][LIST_MAX];
    size_t alarm_count;
    struct visit_projection projections[DAILY_PROJECTIONS_MAX];
    size_t projection_count;
    struct visit_date dates[3];
    size_t date_count;
    int64_t changed_ms;
};

static void plan_free(struct plan *plan) {
    for (size_t i = 0; plan && i < plan->detail_count; i++)
        json_decref(plan->details[i]);
    free(plan);
}

/* ---- alarms ---- */

static struct text_list list_of(const json_t *root, const char *name, const char **items) {
    struct text_list list = {items, 0};
    size_t i;
    json_t *item;
    json_array_foreach(json_object_get(root, name), i, item) {
        if (list.count < LIST_MAX && json_is_string(item))
            items[list.count++] = json_string_value(item);
    }
    return list;
}

static void note_change(struct reasons *reasons, int64_t time_ms) {
    if (time_ms != TIMESTAMP_NONE && time_ms > reasons->changed_ms)
        reasons->changed_ms = time_ms;
}

static void add_alarm(const struct api *api, const struct alarm *alarm, struct plan *plan,
                      struct reasons *reasons) {
    enum alarm_state state = alarm_state(alarm);
    note_change(reasons, alarm->raised_ms);
    note_change(reasons, alarm->returned_ms);
    /* Dates are reasons of their own, from before their alarm on. */
    if ((state != ALARM_UNACKNOWLEDGED && state != ALARM_ACKNOWLEDGED) ||
        condition_info(alarm->condition)->measure == MEASURE_DATE ||
        reasons->alarm_count == ALARMS_MAX)
        return;
    struct alarm *open =
        alarm_book_find(monitor_alarms(pipeline_monitor(api->pipeline)), alarm->id);
    if (open && !open->details && !plan->brief)
        explain_alarm(api->pipeline, open);
    size_t i = reasons->alarm_count++;
    json_t *details = alarm->details ? json_loads(alarm->details, 0, NULL) : NULL;
    if (details)
        plan->details[plan->detail_count++] = details;
    reasons->alarms[i] = (struct visit_alarm){
        .condition = alarm->condition,
        .priority = alarm->priority,
        .raised_ms = alarm->raised_ms,
        .check = list_of(details, "check", reasons->checks[i]),
        .bring = list_of(details, "bring", reasons->brings[i]),
    };
}

/* ---- what lies ahead ---- */

static bool stands(const struct api *api, size_t system, size_t point, enum condition condition) {
    return alarm_book_standing(monitor_alarms(pipeline_monitor(api->pipeline)), system, point,
                               condition) != NULL;
}

static const char *date_text(char *text, size_t size, const struct time_zone *zone,
                             int64_t time_ms) {
    int year = 0, month = 0, day = 0;
    if (time_ms == TIMESTAMP_NONE)
        return "perhaps never";
    timestamp_civil_from_days(time_zone_local_day(zone, time_ms), &year, &month, &day);
    snprintf(text, size, "%04d-%02d-%02d", year, month, day);
    return text;
}

static void describe(const struct api *api, const struct daily_projection *projection,
                     char text[TEXT_BYTES]) {
    const struct fleet_point *point = &api->fleet->points[projection->point];
    const struct time_zone *zone = api->fleet->systems[point->system].zone;
    char limit[40], day[16], earliest[16], latest[16];
    unit_format(
        limit, sizeof limit,
        assessment_low_limit(pipeline_monitor(api->pipeline), projection->point, api->now_ms),
        point->description->binding.unit->dimension,
        quantity_units(point->description->quantity, api->fleet->settings->units));
    snprintf(
        text, TEXT_BYTES, "%.60s is falling and will reach its limit of %s about %s (%s to %s)",
        point->description->name, limit, date_text(day, sizeof day, zone, projection->crossing_ms),
        date_text(earliest, sizeof earliest, zone, projection->earliest_ms),
        date_text(latest, sizeof latest, zone, projection->latest_ms));
}

static void add_projections(const struct api *api, struct plan *plan, struct reasons *reasons) {
    const struct daily_outlook *outlook =
        daily_upkeep_outlook(pipeline_daily(api->pipeline), plan->system);
    for (size_t i = 0; i < outlook->count; i++) {
        const struct daily_projection *ahead = &outlook->projections[i];
        /* An alarm that stands says it already. */
        if (stands(api, plan->system, ahead->point, ahead->condition) ||
            stands(api, plan->system, ahead->point, CONDITION_SUCTION_LOW) ||
            stands(api, plan->system, ahead->point, CONDITION_SUCTION_LOST))
            continue;
        describe(api, ahead, plan->projection_texts[i]);
        reasons->projections[reasons->projection_count++] = (struct visit_projection){
            .condition = ahead->condition,
            .crossing_ms = ahead->crossing_ms,
            .earliest_ms = ahead->earliest_ms,
            .latest_ms = ahead->latest_ms,
            .text = plan->projection_texts[i],
        };
    }
}

static void add_dates(const struct api *api, size_t system, struct reasons *reasons) {
    static const enum condition dated[] = {CONDITION_RETEST_DUE, CONDITION_VISIT_DUE,
                                           CONDITION_CALIBRATION_DUE};
    for (size_t i = 0; i < sizeof dated / sizeof dated[0]; i++) {
        int64_t due_ms = monitor_due_ms(pipeline_monitor(api->pipeline), system, dated[i]);
        if (due_ms != INT64_MAX)
            reasons->dates[reasons->date_count++] =
                (struct visit_date){.condition = dated[i], .due_ms = due_ms};
    }
}

/* ---- one system ---- */

static void add_baselines(const struct api *api, struct plan *plan) {
    const struct fleet_system *owner = &api->fleet->systems[plan->system];
    for (size_t i = 0; i < owner->point_count && plan->baseline_count < BASELINES_MAX; i++) {
        size_t point = owner->first_point + i;
        const struct point_baseline *baseline = point_state_baseline(
            monitor_point(pipeline_monitor(api->pipeline), point), api->now_ms);
        if (baseline)
            plan->baselines[plan->baseline_count++] = (struct visit_baseline){
                fleet_point_id(api->fleet, point), baseline->value,
                unit_si_word(api->fleet->points[point].description->binding.unit->dimension)};
    }
}

/* NULL when nothing calls for a visit (or memory is out: *failed). */
static struct plan *plan_system(const struct api *api, size_t system, bool brief, bool *failed) {
    struct alarm_book *book = monitor_alarms(pipeline_monitor(api->pipeline));
    const struct fleet_system *owner = &api->fleet->systems[system];
    struct plan *plan = calloc(1, sizeof *plan);
    struct reasons *reasons = calloc(1, sizeof *reasons);
    bool planned = false;
    if (plan && reasons) {
        plan->system = system;
        plan->brief = brief;
        reasons->changed_ms = TIMESTAMP_NONE;
        for (const struct alarm *alarm = alarm_book_of_system(book, system); alarm;
             alarm = alarm->next_of_system)
            add_alarm(api, alarm, plan, reasons);
        add_projections(api, plan, reasons);
        add_dates(api, system, reasons);
        add_baselines(api, plan);
        const struct visit_input input = {
            .system = owner->description->id,
            .name = owner->description->name,
            .address = owner->description->address,
            .zone = owner->zone,
            .alarms = reasons->alarms,
            .alarm_count = reasons->alarm_count,
            .projections = reasons->projections,
            .projection_count = reasons->projection_count,
            .dates = reasons->dates,
            .date_count = reasons->date_count,
            .baseline = plan->baselines,
            .baseline_count = plan->baseline_count,
            .last_visit_ms = monitor_dates(pipeline_monitor(api->pipeline), system)->visited_ms,
            .changed_ms = reasons->changed_ms,
        };
        planned = visit_plan(&input, api->now_ms, &plan->visit);
    } else {
        *failed = true;
    }
    free(reasons);
    if (planned)
        return plan;
    plan_free(plan);
    return NULL;
}

int64_t api_visits_due_ms(const struct api *api, size_t system) {
    bool failed = false;
    struct plan *plan = plan_system(api, system, true, &failed);
    int64_t due_ms = plan ? plan->visit.due_ms : TIMESTAMP_NONE;
    plan_free(plan);
    return due_ms;
}

/* ---- all ---- */

static int most_urgent_first(const void *a, const void *b) {
    const struct plan *x = *(struct plan *const *)a, *y = *(struct plan *const *)b;
    return visit_compare(&x->visit, &y->visit);
}

static void plans_free(struct plan **plans, size_t count) {
    for (size_t i = 0; i < count; i++)
        plan_free(plans[i]);
    free(plans);
}

/* Allocated list, sorted; NULL when out of memory. */
static struct plan **plan_all(struct api *api, size_t *count) {
    bool failed = false;
    struct plan **plans = calloc(api->fleet->system_count + 1, sizeof(struct plan *));
    *count = 0;
    for (size_t s = 0; plans && s < api->fleet->system_count && !failed; s++) {
        struct plan *plan = plan_system(api, s, false, &failed);
        if (plan)
            plans[(*count)++] = plan;
    }
    if (failed) {
        plans_free(plans, *count);
        return NULL;
    }
    if (plans && *count > 1)
        qsort(plans, *count, sizeof(struct plan *), most_urgent_first);
    return plans;
}

/* ---- JSON ---- */

static json_t *texts_json(const char *const *texts, size_t count) {
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++)
        json_array_append_new(list, json_string(texts[i]));
    return list;
}

static json_t *reasons_json(const struct visit *visit) {
    json_t *list = json_array();
    for (size_t i = 0; i < visit->reason_count; i++)
        json_array_append_new(list, json_pack("{s:s, s:s}", "condition",
                                              condition_info(visit->reasons[i].condition)->name,
                                              "text", visit->reasons[i].text));
    return list;
}

static json_t *baseline_json(const struct visit *visit) {
    json_t *object = json_object();
    for (size_t i = 0; i < visit->baseline_count; i++)
        json_object_set_new(object, visit->baseline[i].point,
                            json_pack("{s:o, s:s}", "value", api_number(visit->baseline[i].value),
                                      "unit", visit->baseline[i].unit));
    return object;
}

static json_t *plan_json(struct api *api, const struct plan *plan) {
    const struct visit *visit = &plan->visit;
    return json_pack("{s:s, s:s, s:s, s:s?, s:o, s:o, s:o, s:o, s:s, s:o, s:o, s:o, s:o}", "id",
                     visit->id, "system", visit->system, "name", visit->name, "address",
                     visit->address, "reasons", reasons_json(visit), "due", api_time(visit->due_ms),
                     "earliest", api_time(visit->earliest_ms), "latest", api_time(visit->latest_ms),
                     "priority", priority_word(visit->priority), "check",
                     texts_json(visit->check, visit->check_count), "bring",
                     texts_json(visit->bring, visit->bring_count), "baseline", baseline_json(visit),
                     "last_visit", api_visits_last(api, plan->system));
}

json_t *api_visits(struct api *api) {
    size_t count = 0;
    struct plan **plans = plan_all(api, &count);
    json_t *list = plans ? json_array() : NULL;
    for (size_t i = 0; i < count && list; i++)
        json_array_append_new(list, plan_json(api, plans[i]));
    if (plans)
        plans_free(plans, count);
    return list;
}

json_t *api_visits_of_system(struct api *api, size_t system) {
    bool failed = false;
    struct plan *plan = plan_system(api, system, false, &failed);
    json_t *list = json_array();
    if (plan)
        json_array_append_new(list, plan_json(api, plan));
    plan_free(plan);
    return list;
}

char *api_visits_calendar(struct api *api) {
    size_t count = 0;
    struct plan **plans = plan_all(api, &count);
    struct visit *visits = plans ? calloc(count + 1, sizeof *visits) : NULL;
    for (size_t i = 0; visits && i < count; i++)
        visits[i] = plans[i]->visit;
    char *text = visits ? calendar_of_visits(visits, count, api->fleet->settings->broker.client_id,
                                             api->now_ms)
                        : NULL;
    free(visits);
    if (plans)
        plans_free(plans, count);
    return text;
}

/* ---- visits on record ---- */

static bool add_record(void *context, const struct record_visit *visit) {
    json_t *list = context;
    json_t *json = json_pack("{s:o, s:s?, s:s?, s:s?}", "on", api_time(visit->on_ms), "by",
                             visit->by, "found", visit->found, "did", visit->did);
    json_t *facts = visit->text ? json_loads(visit->text, 0, NULL) : NULL;
    if (json_is_object(facts))
        json_object_set(json, "facts", facts);
    json_decref(facts);
    json_array_append_new(list, json);
    return true;
}

json_t *api_visits_past(struct api *api, size_t system) {
    json_t *list = json_array();
    struct store *store = pipeline_store(api->pipeline);
    if (store)
        record_visit_list(store, fleet_system_id(api->fleet, system), add_record, list);
    return list;
}

json_t *api_visits_last(struct api *api, size_t system) {
    json_t *list = api_visits_past(api, system), *last = NULL, *item;
    const char *newest = "";
    size_t i;
    json_array_foreach(list, i, item) {
        const char *on = json_string_value(json_object_get(item, "on"));
        if (on && strcmp(on, newest) >= 0) { /* RFC 3339 in UTC sorts as text */
            newest = on;
            last = item;
        }
    }
    json_t *found = last ? json_incref(last) : json_null();
    json_decref(list);
    return found;
}
