/*
 * What calls for a visit comes from memory: standing alarms, what the last judged day said of the
 * time ahead, and dates. So a fleet of ten thousand is listed without reading its past.
 */
#include "api/planned_visit.h"

#include "api/answer.h"
#include "monitor/assessment.h"
#include "pipeline/explain.h"
#include "store/records.h"
#include "tell/alarm_details.h"
#include "upkeep/daily_upkeep.h"
#include "words/fill.h"
#include "words/wording_texts.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ALARMS_MAX = 24, TEXT_BYTES = 300, BASELINES_MAX = 32 };

struct planned_visit {
    struct visit visit;
    size_t system;
    bool brief; /* only its place is asked for: no explanation, no texts */
    struct wording_reader reader;
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
        plan->brief ? NULL : alarm_book_find(pipeline_alarms(api->pipeline), alarm->id);
    if (open && !open->details)
        explain_alarm(pipeline_memory(api->pipeline), open);
    struct alarm_details *details = &plan->details[reasons->alarm_count];
    if (open)
        alarm_details_open(details, open->details, plan->reader);
    reasons->alarms[reasons->alarm_count++] = (struct visit_alarm){
        .condition = alarm->condition,
        .priority = alarm->priority,
        .raised_ms = alarm->raised_ms,
        .quantity = alarm->point == FLEET_NONE
                        ? QUANTITY_COUNT
                        : api->fleet->points[alarm->point].description->quantity,
        .check = details->explained.check,
        .bring = details->explained.bring,
    };
}

/* ---- what lies ahead ---- */

static bool stands(const struct api *api, size_t system, size_t point, enum condition condition) {
    return alarm_book_standing(pipeline_alarms(api->pipeline), system, point, condition) != NULL;
}

static const char *date_text(char *text, size_t size, const struct time_zone *zone, int64_t time_ms,
                             const char *never) {
    return time_ms == TIMESTAMP_NONE
               ? never
               : timestamp_format_day(text, size, time_zone_local_day(zone, time_ms));
}

static void describe(const struct api *api, const struct daily_projection *projection,
                     struct wording_reader reader, char text[TEXT_BYTES]) {
    const struct fleet_point *point = &api->fleet->points[projection->point];
    const struct time_zone *zone = api->fleet->systems[point->system].zone;
    const struct wording_calendar_text *words = &wording_languages[reader.language].texts->calendar;
    const char *never = words->perhaps_never;
    char limit[40], day[16], earliest[16], latest[16];
    const struct fill_value values[] = {
        {"point", point->description->name},
        {"limit", unit_format(limit, sizeof limit,
                              assessment_low_limit(pipeline_monitor(api->pipeline),
                                                   projection->point, api->now_ms),
                              point->description->binding.unit->dimension,
                              quantity_units(point->description->quantity, reader.units))},
        {"day", date_text(day, sizeof day, zone, projection->crossing_ms, never)},
        {"earliest", date_text(earliest, sizeof earliest, zone, projection->earliest_ms, never)},
        {"latest", date_text(latest, sizeof latest, zone, projection->latest_ms, never)}};
    struct text_buffer out = {0};
    fill_text(&out, words->projection, values, sizeof values / sizeof values[0]);
    snprintf(text, TEXT_BYTES, "%s", out.failed ? "" : out.bytes);
    text_buffer_clear(&out);
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
            describe(api, ahead, plan->reader, plan->projection_texts[i]);
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
        const struct point_baseline *baseline = api_baseline(api, point);
        if (baseline)
            plan->baselines[plan->baseline_count++] = (struct visit_baseline){
                .point = fleet_point_id(api->fleet, point),
                .name = api->fleet->points[point].description->name,
                .value = baseline->value,
                .dimension = api->fleet->points[point].description->binding.unit->dimension,
                .quantity = api->fleet->points[point].description->quantity};
    }
}

static void gather(const struct api *api, struct planned_visit *plan, struct reasons *reasons) {
    const struct alarm_book *book = pipeline_alarms(api->pipeline);
    reasons->changed_ms = TIMESTAMP_NONE;
    for (const struct alarm *alarm = alarm_book_of_system(book, plan->system); alarm;
         alarm = alarm->next_of_system)
        add_alarm(api, alarm, plan, reasons);
    add_projections(api, plan, reasons);
    add_dates(api, plan->system, reasons);
    if (!plan->brief)
        add_baselines(api, plan);
}

static bool take_visit(void *context, const struct record_visit *visit) {
    int64_t *on_ms = context;
    *on_ms = visit->on_ms;
    return false;
}

/* As recorded: a commissioning is none. */
static int64_t last_visit_ms(const struct api *api, size_t system) {
    struct store *store = pipeline_store(api->pipeline);
    int64_t on_ms = TIMESTAMP_NONE;
    if (store)
        record_visit_list(store, fleet_system_id(api->fleet, system), RECORD_NEWEST_FIRST,
                          take_visit, &on_ms);
    return on_ms;
}

static bool make(const struct api *api, struct planned_visit *plan, const struct reasons *reasons) {
    const struct fleet_system *owner = &api->fleet->systems[plan->system];
    const struct visit_input input = {
        .system = owner->description->id,
        .name = owner->description->name,
        .address = owner->description->address,
        .zone = owner->zone,
        .reader = plan->reader,
        .alarms = reasons->alarms,
        .alarm_count = reasons->alarm_count,
        .projections = reasons->projections,
        .projection_count = reasons->projection_count,
        .dates = reasons->dates,
        .date_count = reasons->date_count,
        .baseline = plan->baselines,
        .baseline_count = plan->baseline_count,
        .counted_ms = monitor_dates(pipeline_monitor(api->pipeline), plan->system)->visited_ms,
        .last_visit_ms = plan->brief ? TIMESTAMP_NONE : last_visit_ms(api, plan->system),
        .changed_ms = reasons->changed_ms,
    };
    return visit_plan(&input, api->now_ms, &plan->visit);
}

static struct planned_visit *plan_system(const struct api *api, size_t system,
                                         struct wording_reader reader, bool brief, bool *failed) {
    struct planned_visit *plan = calloc(1, sizeof *plan);
    struct reasons *reasons = calloc(1, sizeof *reasons);
    bool planned = false;
    *failed = !plan || !reasons;
    if (!*failed) {
        plan->system = system;
        plan->brief = brief;
        plan->reader = reader;
        gather(api, plan, reasons);
        planned = make(api, plan, reasons);
    }
    free(reasons);
    if (planned)
        return plan;
    planned_visit_free(plan);
    return NULL;
}

struct planned_visit *planned_visit_make(const struct api *api, size_t system,
                                         struct wording_reader reader, bool *failed) {
    return plan_system(api, system, reader, false, failed);
}

/* So it is of nearly all systems, and most of a large fleet costs nothing. */
static bool nothing_calls(const struct api *api, size_t system) {
    static const enum condition dated[] = {CONDITION_RETEST_DUE, CONDITION_VISIT_DUE,
                                           CONDITION_CALIBRATION_DUE};
    const struct monitor *monitor = pipeline_monitor(api->pipeline);
    bool nothing = !alarm_book_of_system(pipeline_alarms(api->pipeline), system) &&
                   daily_upkeep_outlook(upkeep_daily(api->upkeep), system)->count == 0;
    for (size_t i = 0; nothing && i < sizeof dated / sizeof dated[0]; i++) {
        int64_t due_ms = monitor_due_ms(monitor, system, dated[i]);
        nothing = due_ms == INT64_MAX || due_ms - api->now_ms > VISIT_LISTED_BEFORE_MS;
    }
    return nothing;
}

bool planned_visit_place(const struct api *api, size_t system, struct visit_place *place,
                         bool *failed) {
    *failed = false;
    if (nothing_calls(api, system))
        return false;
    struct planned_visit *plan = plan_system(
        api, system, (struct wording_reader){WORDING_ENGLISH, UNIT_SYSTEM_SI}, true, failed);
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
