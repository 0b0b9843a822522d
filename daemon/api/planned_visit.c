/*
 * What calls for a visit comes from memory: standing alarms, what the last judged day said of the
 * time ahead, and dates. So a fleet of ten thousand is listed without reading its past.
 */
#include "api/planned_visit.h"

#include "measure/duration.h"
#include "monitor/assessment.h"
#include "pipeline/explain.h"
#include "tell/alarm_details.h"
#include "upkeep/daily_upkeep.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ALARMS_MAX = 24, TEXT_BYTES = 200, BASELINES_MAX = 32 };

struct planned_visit {
    struct visit visit;
    size_t system;
    bool brief; /* only its place is asked for: no explanation, no texts */
    struct alarm_details details[ALARMS_MAX];
    char projection_texts[DAILY_PROJECTIONS_MAX][TEXT_BYTES];
    struct visit_baseline baselines[BASELINES_MAX];
    size_t baseline_count;
};

/* What is gathered for one system. */
struct reasons {
    struct visit_alarm alarms[ALARMS_MAX];
    size_t alarm_count;
    struct visit_projection projections[DAILY_PROJECTIONS_MAX];
    size_t projection_count;
    struct visit_date dates[3];
    size_t date_count;
    int64_t changed_ms;
};

void planned_visit_free(struct planned_visit *plan) {
    for (size_t i = 0; plan && i < ALARMS_MAX; i++)
        alarm_details_close(&plan->details[i]);
    free(plan);
}

/* ---- alarms ---- */

static void note_change(struct reasons *reasons, int64_t time_ms) {
    if (time_ms != TIMESTAMP_NONE && time_ms > reasons->changed_ms)
        reasons->changed_ms = time_ms;
}

static void add_alarm(const struct api *api, const struct alarm *alarm, struct planned_visit *plan,
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
        plan->brief ? NULL
                    : alarm_book_find(monitor_alarms(pipeline_monitor(api->pipeline)), alarm->id);
    if (open && !open->details)
        explain_alarm(pipeline_memory(api->pipeline), open);
    struct alarm_details *details = &plan->details[reasons->alarm_count];
    if (open)
        alarm_details_open(details, open);
    reasons->alarms[reasons->alarm_count++] = (struct visit_alarm){
        .condition = alarm->condition,
        .priority = alarm->priority,
        .raised_ms = alarm->raised_ms,
        .check = details->check,
        .bring = details->bring,
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

static void add_projections(const struct api *api, struct planned_visit *plan,
                            struct reasons *reasons) {
    const struct daily_outlook *outlook =
        daily_upkeep_outlook(upkeep_daily(api->upkeep), plan->system);
    for (size_t i = 0; i < outlook->count; i++) {
        const struct daily_projection *ahead = &outlook->projections[i];
        /* An alarm that stands says it already. */
        if (stands(api, plan->system, ahead->point, ahead->condition) ||
            stands(api, plan->system, ahead->point, CONDITION_SUCTION_LOW) ||
            stands(api, plan->system, ahead->point, CONDITION_SUCTION_LOST))
            continue;
        if (!plan->brief)
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

static void add_baselines(const struct api *api, struct planned_visit *plan) {
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

static void gather(const struct api *api, struct planned_visit *plan, struct reasons *reasons) {
    const struct alarm_book *book = monitor_alarms(pipeline_monitor(api->pipeline));
    reasons->changed_ms = TIMESTAMP_NONE;
    for (const struct alarm *alarm = alarm_book_of_system(book, plan->system); alarm;
         alarm = alarm->next_of_system)
        add_alarm(api, alarm, plan, reasons);
    add_projections(api, plan, reasons);
    add_dates(api, plan->system, reasons);
    if (!plan->brief)
        add_baselines(api, plan);
}

static bool make(const struct api *api, struct planned_visit *plan, const struct reasons *reasons) {
    const struct fleet_system *owner = &api->fleet->systems[plan->system];
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
        .last_visit_ms = monitor_dates(pipeline_monitor(api->pipeline), plan->system)->visited_ms,
        .changed_ms = reasons->changed_ms,
    };
    return visit_plan(&input, api->now_ms, &plan->visit);
}

static struct planned_visit *plan_system(const struct api *api, size_t system, bool brief,
                                         bool *failed) {
    struct planned_visit *plan = calloc(1, sizeof *plan);
    struct reasons *reasons = calloc(1, sizeof *reasons);
    bool planned = false;
    *failed = !plan || !reasons;
    if (!*failed) {
        plan->system = system;
        plan->brief = brief;
        gather(api, plan, reasons);
        planned = make(api, plan, reasons);
    }
    free(reasons);
    if (planned)
        return plan;
    planned_visit_free(plan);
    return NULL;
}

struct planned_visit *planned_visit_make(const struct api *api, size_t system, bool *failed) {
    return plan_system(api, system, false, failed);
}

bool planned_visit_place(const struct api *api, size_t system, struct visit_place *place,
                         bool *failed) {
    struct planned_visit *plan = plan_system(api, system, true, failed);
    if (plan)
        *place = visit_place_of(&plan->visit);
    planned_visit_free(plan);
    return plan != NULL;
}

const struct visit *planned_visit_of(const struct planned_visit *plan) {
    return &plan->visit;
}

size_t planned_visit_system(const struct planned_visit *plan) {
    return plan->system;
}
