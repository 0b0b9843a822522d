#include "monitor/fan_fading.h"

#include "monitor/assessment.h"
#include "monitor/riser_draft.h"
#include "monitor/system_assessment.h"
#include "monitor/system_series.h"

#include <math.h>

/* Outdoors, means of the coldest and the warmest month of a continental year; common practice, no
   source. */
static const double winter_celsius = -2.0, summer_celsius = 22.0;
static const double density_season = 0.008;
static const double zero_wander_pa = 1.0; /* after a year; as in fan_uncertainty_make */

static struct wear_usual usual_of(const struct fleet *fleet, const struct system_points *points,
                                  double suction_pa) {
    const struct riser_weather winter = {NAN, winter_celsius, NAN};
    const struct riser_weather summer = {NAN, summer_celsius, NAN};
    double swing_pa = 0.5 * (riser_draft_pa(fleet, points->system, points->branch, &winter) -
                             riser_draft_pa(fleet, points->system, points->branch, &summer));
    return (struct wear_usual){.season = density_season,
                               .weather = 0.5 * swing_pa / suction_pa,
                               .wander = 0.5 * zero_wander_pa / suction_pa};
}

enum wear_status fan_fading_find(const struct monitor *monitor, const struct history *history,
                                 const struct system_points *points, int64_t known_ms,
                                 int64_t to_day, double within_days, struct wear *wear) {
    const struct fleet *fleet = monitor_fleet(monitor);
    struct system_state_of_air then = system_assessment_then(monitor, points, known_ms);
    if (system_assessment_no_speed(monitor, points, known_ms) || isnan(then.suction_pa) ||
        isnan(then.flow_m3_s) ||
        !system_assessment_first_week(monitor, history, points, known_ms, &then))
        return WEAR_NONE;
    const struct system_series_source source = {
        .monitor = monitor,
        .history = history,
        .points = points,
        .then = &then,
        .hole = FLEET_NONE,
    };
    struct assessment_series series;
    if (!system_series_read(&source, SYSTEM_SERIES_SPEED, known_ms, to_day, &series))
        return WEAR_NO_MEMORY;
    double limit = fleet_rule(fleet, points->system, CONDITION_FAN_WEAK).setpoint.number;
    const struct wear_usual usual = usual_of(fleet, points, then.suction_pa);
    enum wear_status status =
        wear_find(&series.series, &usual, (double)to_day, limit, within_days, wear);
    assessment_series_clear(&series);
    return status;
}
