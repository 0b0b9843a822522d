#include "api/system_facts.h"

#include "analysis/wear.h"
#include "monitor/system_series.h"
#include "pipeline/explain.h"
#include "pipeline/stored_history.h"

#include <math.h>
#include <stdlib.h>

const char system_facts_unread[] = "the store can't be read";

static struct ratio_trends trends_of(struct api *api, const struct system_series_source *source,
                                     enum system_series_kind kind, double limit) {
    const struct time_zone *zone = api->fleet->systems[source->points->system].zone;
    struct ratio_trends trends = {.read = false};
    struct assessment_series series;
    if (!system_series_read(source, kind, api->now_ms, time_zone_local_day(zone, api->now_ms),
                            &series))
        return trends;
    trends.read = true;
    assessment_trend_make(&series.series, zone, limit, api->now_ms, &trends.all);
    const struct trend_series recent = trend_series_recent(&series.series, WEAR_RECENT_DAYS);
    assessment_trend_make(&recent, zone, limit, api->now_ms, &trends.recent);
    assessment_series_clear(&series);
    return trends;
}

static void assess_branch(struct api *api, const struct history *history, size_t system,
                          size_t branch, struct branch_facts *facts) {
    const struct monitor *monitor = pipeline_monitor(api->pipeline);
    const struct system_points points = system_points_of(api->fleet, system, branch);
    struct system_state_of_air then = system_assessment_then(monitor, &points, api->now_ms);
    struct system_series_source source = {monitor, history, &points, &then, FLEET_NONE};
    (void)system_assessment_first_week(monitor, history, &points, api->now_ms, &then);
    system_assessment_make(monitor, history, &points, api->now_ms, &facts->air);
    system_assessment_day(monitor, history, &points, api->now_ms, &facts->day);
    facts->id = system_points_branch(api->fleet, &points)->id;
    facts->speed = trends_of(api, &source, SYSTEM_SERIES_SPEED,
                             fleet_rule(api->fleet, system, CONDITION_FAN_WEAK).setpoint.number);
    facts->resistance = trends_of(api, &source, SYSTEM_SERIES_RESISTANCE, NAN);
    for (size_t i = 0; i < facts->air.hole_count; i++) {
        source.hole = facts->air.holes[i].point;
        facts->couplings[i] = trends_of(api, &source, SYSTEM_SERIES_COUPLING, NAN);
    }
}

static void assess_point(struct api *api, const struct history *history, size_t point,
                         struct point_facts *facts) {
    const struct monitor *monitor = pipeline_monitor(api->pipeline);
    const struct fleet_point *owner = &api->fleet->points[point];
    facts->zone = api->fleet->systems[owner->system].zone;
    int64_t today = time_zone_local_day(facts->zone, api->now_ms);
    facts->read = assessment_make(monitor, history, point, api->now_ms, &facts->assessment);
    facts->has_year = facts->read && owner->description->quantity == QUANTITY_RADON;
    if (facts->has_year)
        facts->read = year_assessment_make(monitor, history, point, today, &facts->year);
}

static void explain_alarms(struct api *api, size_t system) {
    struct alarm_book *book = pipeline_alarms(api->pipeline);
    for (const struct alarm *alarm = alarm_book_of_system(book, system); alarm;
         alarm = alarm->next_of_system) {
        struct alarm *open = alarm_book_find(book, alarm->id);
        if (open && alarm_open(open))
            explain_alarm(pipeline_memory(api->pipeline), open);
    }
}

struct system_facts *system_facts_make(struct api *api, size_t system) {
    const struct fleet_system *owner = &api->fleet->systems[system];
    const struct history history = stored_history_view(pipeline_memory(api->pipeline));
    size_t branch_count = owner->description->branch_count;
    struct system_facts *facts =
        calloc(1, sizeof *facts + owner->point_count * sizeof *facts->points +
                      branch_count * sizeof *facts->branches);
    if (!facts)
        return NULL;
    facts->branches = (struct branch_facts *)(void *)(facts->points + owner->point_count);
    facts->branch_count = branch_count;
    for (size_t i = 0; i < owner->point_count; i++)
        assess_point(api, &history, owner->first_point + i, &facts->points[i]);
    for (size_t b = 0; b < branch_count; b++)
        assess_branch(api, &history, system, b, &facts->branches[b]);
    explain_alarms(api, system);
    return facts;
}

const char *system_facts_assumed(const struct system_ground *ground) {
    return ground->known && !ground->exponent_known
               ? "no ground exponent on record; the interval holds every one from 1 to 2"
               : NULL;
}
