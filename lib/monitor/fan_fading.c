#include "monitor/fan_fading.h"

#include "analysis/statistics.h"
#include "measure/root_sum.h"
#include "monitor/assessment.h"
#include "monitor/renewals.h"
#include "monitor/riser_draft.h"
#include "monitor/system_assessment.h"
#include "monitor/system_series.h"

#include <math.h>
#include <stdlib.h>

/* Outdoors, means of the coldest and the warmest month of a continental year; common practice, no
   source. */
static const double winter_celsius = -2.0, summer_celsius = 22.0;
static const double density_season = 0.008;
static const double density_season_by_power = 0.0055; /* a third, not half, of that of density */
/* After a year: of the suction gauge as in fan_uncertainty_make, of a gauge for velocity pressure,
   which has the finest range; of a flow sensor's scale. Common practice, no source. */
static const double zero_wander_pa = 1.0, velocity_zero_wander_pa = 0.2, flow_wander = 0.01;
static const double running_share = 0.10; /* of the power: below it the fan is off */
static const double least_share = 0.5;    /* of the one loss that the other must have to agree */

enum { FIRST_DAYS = 7, FIRST_LEAST = 3 };

struct asked {
    const struct monitor *monitor;
    const struct history *history;
    const struct system_points *points;
    int64_t known_ms, to_day;
    double limit, within_days;
};

/* ---- what is usual ---- */

/* How much of a relative error of the flow goes into the speed: next to nothing where the curve is
   flat; nothing without a curve, for then the speed falls only when both bounds do. */
static double share_of_flow(const struct asked *asked, const struct system_state_of_air *then) {
    const double step = 0.01;
    struct fan_curve curve;
    if (!system_assessment_curve(asked->monitor, asked->points, asked->known_ms, &curve))
        return 0.0;
    struct fan_state state = {then->suction_pa, then->flow_m3_s, NAN, NAN};
    const struct branch_description *branch =
        system_points_branch(monitor_fleet(asked->monitor), asked->points);
    double loss = fan_loss_after_gauge(branch->loss_after_gauge, &curve, &state);
    double speed = NAN, moved = NAN;
    if (fan_speed(&curve, &state, loss, &speed) != FAN_OK)
        return 0.0;
    state.flow_m3_s *= 1.0 + step;
    return fan_speed(&curve, &state, loss, &moved) == FAN_OK ? (moved / speed - 1.0) / step : 0.0;
}

static double wander_of_flow(const struct asked *asked) {
    const struct system_points *points = asked->points;
    const struct point_baseline *velocity =
        points->flow != FLEET_NONE || points->velocity_pressure == FLEET_NONE
            ? NULL
            : point_state_baseline(monitor_point(asked->monitor, points->velocity_pressure),
                                   asked->known_ms);
    double zero = velocity ? 0.5 * velocity_zero_wander_pa / velocity->value : 0.0;
    return root_sum(flow_wander, zero);
}

static struct wear_usual usual_of(const struct asked *asked,
                                  const struct system_state_of_air *then) {
    const struct fleet *fleet = monitor_fleet(asked->monitor);
    const struct system_points *points = asked->points;
    const struct riser_weather winter = {NAN, winter_celsius, NAN};
    const struct riser_weather summer = {NAN, summer_celsius, NAN};
    double swing_pa = 0.5 * (riser_draft_pa(fleet, points->system, points->branch, &winter) -
                             riser_draft_pa(fleet, points->system, points->branch, &summer));
    double wander = root_sum(0.5 * zero_wander_pa / then->suction_pa,
                             share_of_flow(asked, then) * wander_of_flow(asked));
    return (struct wear_usual){
        .season = density_season, .weather = 0.5 * swing_pa / then->suction_pa, .wander = wander};
}

/* ---- the speed by the air, and by the power ---- */

static bool read_air(const struct asked *asked, const struct system_state_of_air *then,
                     struct assessment_series *series) {
    const struct system_series_source source = {
        .monitor = asked->monitor,
        .history = asked->history,
        .points = asked->points,
        .then = then,
        .hole = FLEET_NONE,
    };
    return system_series_read(&source, SYSTEM_SERIES_SPEED, asked->known_ms, asked->to_day, series);
}

/* Cube root of the power over that of the first days; the days on which the fan stood left out. */
static size_t speeds_by_power(struct history_day *days, size_t count) {
    double first[FIRST_DAYS], then = NAN;
    size_t n = 0, kept = 0;
    for (size_t i = 0; i < count && days[i].local_day < days[0].local_day + FIRST_DAYS; i++)
        first[n++] = days[i].median;
    if (n < FIRST_LEAST || statistics_median_in_place(first, n, &then) != STATISTICS_OK ||
        !(then > 0.0))
        return 0;
    for (size_t i = 0; i < count; i++) {
        if (!(days[i].median > running_share * then))
            continue;
        days[kept] = days[i];
        days[kept++].median = cbrt(days[i].median / then);
    }
    return kept;
}

/* Empty where no power is measured: a current goes by its own law. */
static bool read_power(const struct asked *asked, struct assessment_series *series) {
    const struct fleet *fleet = monitor_fleet(asked->monitor);
    size_t power = asked->points->power, system = asked->points->system;
    *series = (struct assessment_series){{0}, NULL};
    if (power == FLEET_NONE || fleet->points[power].description->quantity != QUANTITY_FAN_POWER)
        return true;
    int64_t begun_ms = renewals_series_ms(asked->monitor, power, asked->known_ms);
    int64_t first = assessment_first_day(fleet->systems[system].zone, begun_ms, asked->known_ms);
    struct history_day *days = NULL;
    size_t count = 0;
    bool good = history_all_days(asked->history, power, first, asked->to_day, &days, &count);
    if (good)
        good = assessment_series_of_days(asked->monitor, asked->history, system, days,
                                         speeds_by_power(days, count), series);
    free(days);
    return good;
}

/* ---- both together ---- */

static enum wear_status find(const struct asked *asked, const struct trend_series *series,
                             const struct wear_usual *usual, struct wear *wear) {
    return wear_find(series, usual, (double)asked->to_day, asked->limit, asked->within_days, wear);
}

/* False with a NaN: nothing to compare with. */
static bool power_stays(double by_air, double by_power) {
    return fabs(1.0 - by_power * by_power * by_power) < least_share * (1.0 - by_air);
}

static bool air_agrees(double by_air, double by_power) {
    return by_air < WEAR_LEVEL && 1.0 - by_air >= least_share * (1.0 - by_power);
}

static enum wear_status find_in_both(const struct asked *asked,
                                     const struct system_state_of_air *then,
                                     const struct trend_series *air,
                                     const struct trend_series *power, struct wear *wear) {
    const struct wear_usual usual = usual_of(asked, then);
    const struct wear_usual usual_of_power = {.season = density_season_by_power};
    double by_air = wear_level(air), by_power = wear_level(power);
    struct wear by_itself;
    enum wear_status status = find(asked, air, &usual, wear);
    if (status == WEAR_FOUND)
        return power_stays(by_air, by_power) ? WEAR_UNSURE : WEAR_FOUND;
    if (status == WEAR_NO_MEMORY || !air_agrees(by_air, by_power))
        return status;
    enum wear_status other = find(asked, power, &usual_of_power, &by_itself);
    if (other == WEAR_NO_MEMORY || other == WEAR_FOUND)
        status = other;
    if (other == WEAR_FOUND)
        *wear = by_itself;
    return status;
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
    const struct asked asked = {
        .monitor = monitor,
        .history = history,
        .points = points,
        .known_ms = known_ms,
        .to_day = to_day,
        .limit = fleet_rule(fleet, points->system, CONDITION_FAN_WEAK).setpoint.number,
        .within_days = within_days};
    struct assessment_series air = {{0}, NULL}, power = {{0}, NULL};
    enum wear_status status = WEAR_NO_MEMORY;
    bool good = read_air(&asked, &then, &air);
    if (good && wear_level(&air.series) < WEAR_LEVEL) /* else the power is not asked */
        good = read_power(&asked, &power);
    if (good)
        status = find_in_both(&asked, &then, &air.series, &power.series, wear);
    assessment_series_clear(&air);
    assessment_series_clear(&power);
    return status;
}
