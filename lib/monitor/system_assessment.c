#include "monitor/system_assessment.h"

#include "measure/airflow.h"
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "settings/change_words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

_Static_assert(FAN_MODEL_CURVE_POINTS_MAX == FAN_CURVE_POINTS_MAX,
               "a curve that check takes is used");

enum { AGREE_DAYS = 7, AGREE_LEAST = 3, LEAST_HOURS = 24, DAY_LEAST_HOURS = 6 };
static const double agreement = 2.0; /* calibration uncertainties between sensor and record */
static const double standard_celsius = 15.0; /* ISO 2533, for where nobody measures it */

/* ---- points ---- */

struct system_points system_points_of(const struct fleet *fleet, size_t system, size_t branch) {
    struct system_points points = {.system = system, .branch = branch};
    const struct {
        size_t *point;
        enum quantity quantity;
    } wanted[] = {
        {&points.suction, QUANTITY_SUCTION},
        {&points.flow, QUANTITY_AIRFLOW},
        {&points.velocity_pressure, QUANTITY_VELOCITY_PRESSURE},
        {&points.power, QUANTITY_FAN_POWER},
        {&points.radon, QUANTITY_RADON},
        {&points.indoor, QUANTITY_INDOOR_TEMPERATURE},
        {&points.outdoor, QUANTITY_OUTDOOR_TEMPERATURE},
        {&points.barometer, QUANTITY_BAROMETRIC_PRESSURE},
        {&points.humidity, QUANTITY_HUMIDITY},
        {&points.water, QUANTITY_WATER_LEVEL},
    };
    for (size_t i = 0; i < sizeof wanted / sizeof wanted[0]; i++)
        *wanted[i].point = fleet_branch_point_of(fleet, system, branch, wanted[i].quantity);
    if (points.power == FLEET_NONE)
        points.power = fleet_branch_point_of(fleet, system, branch, QUANTITY_FAN_CURRENT);
    const struct fleet_system *owner = &fleet->systems[system];
    for (size_t i = 0; i < owner->point_count; i++) {
        size_t point = owner->first_point + i;
        if (fleet->points[point].description->quantity == QUANTITY_FIELD &&
            points.hole_count < SYSTEM_ASSESSMENT_HOLES)
            points.holes[points.hole_count++] = point;
    }
    return points;
}

const struct branch_description *system_points_branch(const struct fleet *fleet,
                                                      const struct system_points *points) {
    return &fleet->systems[points->system].description->branches[points->branch];
}

static const struct point_baseline *baseline_of(const struct monitor *monitor, size_t point,
                                                int64_t time_ms) {
    return point == FLEET_NONE ? NULL
                               : point_state_baseline(monitor_point(monitor, point), time_ms);
}

static double base_value(const struct monitor *monitor, size_t point, int64_t time_ms) {
    const struct point_baseline *baseline = baseline_of(monitor, point, time_ms);
    return baseline ? baseline->value : NAN;
}

/* ---- air ---- */

static double density_of(double celsius, double pressure_pa) {
    const struct airflow_air air = {pressure_pa, isnan(celsius) ? standard_celsius : celsius};
    double density = NAN;
    return airflow_dry_air_density(&air, &density) == AIRFLOW_OK ? density : NAN;
}

static double flow_of(const struct fleet *fleet, const struct system_points *points,
                      double velocity_pressure_pa, double density) {
    const struct branch_description *branch = system_points_branch(fleet, points);
    const struct airflow_pipe pipe = {branch->pipe_inside_diameter_m, branch->centreline_factor};
    double flow = NAN;
    /* A little below zero is a gauge's noise around no flow. */
    if (velocity_pressure_pa < 0.0 && velocity_pressure_pa > -1.0)
        velocity_pressure_pa = 0.0;
    if (!(pipe.inside_diameter_m > 0.0) || isnan(velocity_pressure_pa) ||
        airflow_flow(&pipe, velocity_pressure_pa, density, &flow) != AIRFLOW_OK)
        return NAN;
    return flow;
}

struct system_state_of_air system_assessment_air(const struct fleet *fleet,
                                                 const struct system_points *points,
                                                 const struct system_measured *measured) {
    struct system_state_of_air air = {
        .suction_pa = measured->suction_pa,
        .flow_m3_s = measured->flow_m3_s,
        .power_w = measured->power_w,
        .density_kg_m3 =
            density_of(measured->indoor_celsius, isnan(measured->barometer_pa)
                                                     ? fleet_air_pressure_pa(fleet, points->system)
                                                     : measured->barometer_pa),
    };
    if (isnan(air.flow_m3_s))
        air.flow_m3_s = flow_of(fleet, points, measured->velocity_pressure_pa, air.density_kg_m3);
    return air;
}

struct system_state_of_air system_assessment_then(const struct monitor *monitor,
                                                  const struct system_points *points,
                                                  int64_t time_ms) {
    const struct fleet *fleet = monitor_fleet(monitor);
    const struct system_measured measured = {
        .suction_pa = base_value(monitor, points->suction, time_ms),
        .flow_m3_s = base_value(monitor, points->flow, time_ms),
        .velocity_pressure_pa = base_value(monitor, points->velocity_pressure, time_ms),
        .power_w = base_value(monitor, points->power, time_ms),
        .indoor_celsius = base_value(monitor, points->indoor, time_ms),
        .barometer_pa = base_value(monitor, points->barometer, time_ms),
    };
    return system_assessment_air(fleet, points, &measured);
}

struct history_window {
    const struct history *history;
    int64_t from_ms, to_ms;
    size_t least_hours;
};

static double median_of(const struct history_window *window, size_t point) {
    size_t count = 0;
    if (point == FLEET_NONE)
        return NAN;
    double median = history_median(window->history, point, window->from_ms, window->to_ms, &count);
    return count >= window->least_hours ? median : NAN;
}

/* Flow and weather count only where commissioning knew them too: else their error would not cancel.
 */
static double median_if_known_then(const struct monitor *monitor,
                                   const struct history_window *window, size_t point) {
    return isnan(base_value(monitor, point, window->to_ms)) ? NAN : median_of(window, point);
}

struct system_state_of_air system_assessment_now(const struct monitor *monitor,
                                                 const struct history *history,
                                                 const struct system_points *points,
                                                 int64_t from_ms, int64_t to_ms,
                                                 size_t least_hours) {
    const struct fleet *fleet = monitor_fleet(monitor);
    const struct history_window window = {history, from_ms, to_ms, least_hours};
    double flow = median_if_known_then(monitor, &window, points->flow);
    const struct system_measured measured = {
        .suction_pa = median_of(&window, points->suction),
        .flow_m3_s = isnan(flow) && points->velocity_pressure == FLEET_NONE
                         ? median_of(&window, points->flow)
                         : flow,
        .velocity_pressure_pa = median_of(&window, points->velocity_pressure),
        .power_w = median_of(&window, points->power),
        .indoor_celsius = median_if_known_then(monitor, &window, points->indoor),
        .barometer_pa = median_if_known_then(monitor, &window, points->barometer),
    };
    return system_assessment_air(fleet, points, &measured);
}

static bool curve_of(const struct fan_curve_point *curve, size_t count, struct fan_curve *made) {
    struct fan_point sheet[FAN_CURVE_POINTS_MAX];
    for (size_t i = 0; i < count; i++)
        sheet[i] = (struct fan_point){curve[i].flow_m3_s, curve[i].pressure_pa};
    return count > 0 && fan_curve_make(made, sheet, count) == FAN_OK;
}

bool system_assessment_curve(const struct monitor *monitor, const struct system_points *points,
                             int64_t time_ms, struct fan_curve *curve) {
    const struct fleet *fleet = monitor_fleet(monitor);
    const struct fan_description *file = &system_points_branch(fleet, points)->fan;
    const struct fitted_fan *fitted =
        fitted_fans_at(monitor_fans(monitor, points->system, points->branch), time_ms);
    if (!fitted || (file->model && strcmp(file->model, fitted->model) == 0))
        return curve_of(file->curve, file->curve_count, curve);
    const struct fan_model *model = fan_models_find(&fleet->settings->fans, fitted->model);
    return model && curve_of(model->curve, model->curve_count, curve);
}

/* ---- what the installed sensors showed at commissioning ---- */

/* The zeros are in fan_uncertainty already. */
static double calibration_of(const struct fleet *fleet, size_t point) {
    return point == FLEET_NONE ? NAN : fleet->points[point].description->calibration_relative;
}

static int by_value(const void *one, const void *other) {
    double a = *(const double *)one, b = *(const double *)other;
    return (a > b) - (a < b);
}

/* Median of the first days after the baseline; NaN: too few. */
static double settled_value(const struct monitor *monitor, const struct history *history,
                            size_t point, const struct point_baseline *baseline, int64_t now_ms) {
    const struct fleet *fleet = monitor_fleet(monitor);
    const struct time_zone *zone = fleet->systems[fleet->points[point].system].zone;
    struct history_day days[AGREE_DAYS];
    double medians[AGREE_DAYS];
    int64_t first = time_zone_local_day(zone, baseline->from_ms);
    int64_t today = time_zone_local_day(zone, now_ms);
    int64_t end = first + AGREE_DAYS < today ? first + AGREE_DAYS : today;
    size_t count = history_days(history, point, first, end, days, AGREE_DAYS);
    if (count == HISTORY_FAILED || count < AGREE_LEAST)
        return NAN;
    for (size_t i = 0; i < count; i++)
        medians[i] = days[i].median;
    qsort(medians, count, sizeof *medians, by_value);
    return count % 2 ? medians[count / 2] : 0.5 * (medians[count / 2 - 1] + medians[count / 2]);
}

/* Replaces the value of the record by the sensor's own; false when there is none, or when the two
   are further apart than `most` calibration uncertainties. */
static bool settle(const struct monitor *monitor, const struct history *history, size_t point,
                   int64_t now_ms, double most, double *value) {
    const struct point_baseline *baseline = baseline_of(monitor, point, now_ms);
    if (!baseline || baseline->learned)
        return true;
    double own = settled_value(monitor, history, point, baseline, now_ms);
    const struct fleet *fleet = monitor_fleet(monitor);
    double allowed = most * point_calibration(fleet->points[point].description, baseline->value);
    if (isnan(own) || fabs(own - baseline->value) > allowed)
        return false;
    *value = own;
    return true;
}

static bool settle_air(const struct monitor *monitor, const struct history *history,
                       const struct system_points *points, int64_t now_ms, double most,
                       struct system_state_of_air *then) {
    struct system_state_of_air own = *then;
    double velocity_pressure_pa = base_value(monitor, points->velocity_pressure, now_ms);
    if (!settle(monitor, history, points->suction, now_ms, most, &own.suction_pa) ||
        !settle(monitor, history, points->flow, now_ms, most, &own.flow_m3_s) ||
        !settle(monitor, history, points->velocity_pressure, now_ms, most, &velocity_pressure_pa))
        return false;
    if (isnan(base_value(monitor, points->flow, now_ms)) && !isnan(velocity_pressure_pa))
        own.flow_m3_s =
            flow_of(monitor_fleet(monitor), points, velocity_pressure_pa, own.density_kg_m3);
    *then = own;
    return true;
}

bool system_assessment_settled(const struct monitor *monitor, const struct history *history,
                               const struct system_points *points, int64_t now_ms,
                               struct system_state_of_air *then) {
    struct system_state_of_air own = *then;
    if (!settle(monitor, history, points->power, now_ms, agreement, &own.power_w) ||
        !settle_air(monitor, history, points, now_ms, agreement, &own))
        return false;
    *then = own;
    return true;
}

bool system_assessment_first_week(const struct monitor *monitor, const struct history *history,
                                  const struct system_points *points, int64_t now_ms,
                                  struct system_state_of_air *then) {
    return settle_air(monitor, history, points, now_ms, INFINITY, then);
}

/* ---- fan ---- */

/* Velocity pressure goes into the flow by its root. */
static double flow_calibration(const struct fleet *fleet, const struct system_points *points) {
    if (points->flow != FLEET_NONE)
        return calibration_of(fleet, points->flow);
    return calibration_of(fleet, points->velocity_pressure) / 2.0;
}

/* When the baseline of its speed was measured; INT64_MIN: there is none. */
static int64_t measured_ms(const struct monitor *monitor, const struct system_points *points,
                           int64_t time_ms) {
    const size_t used[] = {points->suction, points->flow, points->velocity_pressure, points->power};
    int64_t newest_ms = INT64_MIN;
    for (size_t i = 0; i < sizeof used / sizeof used[0]; i++) {
        const struct point_baseline *baseline = baseline_of(monitor, used[i], time_ms);
        if (baseline && baseline->from_ms > newest_ms)
            newest_ms = baseline->from_ms;
    }
    return newest_ms;
}

/* By the fans on record; where there is one branch also by a record that only says so. */
static bool is_replaced(const struct monitor *monitor, const struct system_points *points,
                        int64_t from_ms, int64_t to_ms) {
    const struct fleet *fleet = monitor_fleet(monitor);
    const struct renewal_list *renewals = monitor_renewals(monitor, points->system);
    if (fitted_fans_replaced(monitor_fans(monitor, points->system, points->branch),
                             &system_points_branch(fleet, points)->fan, from_ms, to_ms))
        return true;
    if (fleet->systems[points->system].description->branch_count > 1)
        return false;
    for (size_t i = 0; i < renewals->count; i++) {
        const struct renewal *renewal = &renewals->items[i];
        if (renewal->from_ms > from_ms && renewal->from_ms <= to_ms &&
            (renewal->changed & CHANGE_FAN))
            return true;
    }
    return false;
}

const char *system_assessment_no_speed(const struct monitor *monitor,
                                       const struct system_points *points, int64_t time_ms) {
    const struct fan_description *fan = &system_points_branch(monitor_fleet(monitor), points)->fan;
    if (fan->control == FAN_CONTROL_CONSTANT_PRESSURE)
        return "the fan holds its suction, so its speed says nothing of wear; a leak or a blockage "
               "shows in power and air flow";
    if (fan->control == FAN_CONTROL_SCHEDULE)
        return "the fan stands still by plan, so a week says nothing sure of its speed";
    int64_t from_ms = measured_ms(monitor, points, time_ms);
    if (from_ms != INT64_MIN && is_replaced(monitor, points, from_ms, time_ms))
        return "the fan was replaced after it was measured; a new commissioning record tells what "
               "it does";
    return NULL;
}

static const char *fan_missing(const struct system_points *points,
                               const struct system_state_of_air *now,
                               const struct system_state_of_air *then) {
    bool has_flow = points->flow != FLEET_NONE || points->velocity_pressure != FLEET_NONE;
    if (!has_flow && points->power == FLEET_NONE)
        return "suction alone can't tell the fan from the ground; an air flow, velocity pressure "
               "or fan power sensor would decide";
    if (isnan(then->flow_m3_s) && isnan(then->power_w))
        return "no commissioning value of flow or fan power";
    if (isnan(then->suction_pa) && isnan(then->power_w))
        return "no commissioning value of suction";
    if (isnan(now->flow_m3_s) && isnan(now->power_w))
        return "too few readings of flow or fan power in the last 7 days";
    if (isnan(now->suction_pa) && isnan(now->power_w))
        return "too few readings of suction in the last 7 days";
    return NULL;
}

static struct fan_state fan_state_of(const struct system_state_of_air *air) {
    const double curve_density = 1.2;
    return (struct fan_state){air->suction_pa, air->flow_m3_s, air->power_w,
                              air->density_kg_m3 / curve_density};
}

void system_assessment_fan(const struct monitor *monitor, const struct system_points *points,
                           int64_t time_ms, const struct system_state_of_air *now,
                           const struct system_state_of_air *then, bool agrees,
                           struct system_fan *fan) {
    const struct fleet *fleet = monitor_fleet(monitor);
    struct fan_curve curve;
    const char *why = system_assessment_no_speed(monitor, points, time_ms);
    *fan = (struct system_fan){.why = why ? why : fan_missing(points, now, then)};
    if (fan->why)
        return;
    const struct fan_uncertainty uncertainty = fan_uncertainty_make(
        calibration_of(fleet, points->suction), flow_calibration(fleet, points),
        calibration_of(fleet, points->power), agrees);
    struct fan_state today = fan_state_of(now), first = fan_state_of(then);
    /* A gauge may read a little below zero while the fan stands still. */
    if (today.suction_pa < 0.0)
        today.suction_pa = 0.0;
    bool has_curve = system_assessment_curve(monitor, points, time_ms, &curve);
    const struct fan_curve *used = has_curve ? &curve : NULL;
    double loss =
        fan_loss_after_gauge(system_points_branch(fleet, points)->loss_after_gauge, used, &first);
    enum fan_status status = fan_ratio(used, &today, &first, loss, &uncertainty, &fan->speed);
    fan->known = status == FAN_OK && isfinite(fan->speed.ratio);
    if (!fan->known)
        fan->why = fan_status_text(status == FAN_OK ? FAN_OUT_OF_RANGE : status);
}

/* ---- ground ---- */

void system_assessment_ground(const struct system_state_of_air *now,
                              const struct system_state_of_air *then, double exponent,
                              struct system_ground *ground) {
    const struct ground_state today = {now->suction_pa, now->flow_m3_s};
    const struct ground_state first = {then->suction_pa, then->flow_m3_s};
    const struct ground_uncertainty uncertainty = ground_uncertainty_default();
    *ground = (struct system_ground){.exponent = exponent, .exponent_known = !isnan(exponent)};
    if (isnan(first.flow_m3_s) || isnan(first.suction_pa)) {
        ground->why = "it needs commissioning values of suction and flow";
        return;
    }
    if (isnan(today.flow_m3_s) || isnan(today.suction_pa)) {
        ground->why = "too few readings of suction or flow in the last 7 days";
        return;
    }
    struct ground_ratio one, two;
    enum ground_status status =
        ground_resistance_ratio(&today, &first, exponent, &uncertainty, &ground->resistance);
    if (status == GROUND_OK)
        status = ground_resistance_ratio(&today, &first, ground->exponent_known ? exponent : 1.0,
                                         &uncertainty, &one);
    if (status == GROUND_OK)
        status = ground_resistance_ratio(&today, &first, ground->exponent_known ? exponent : 2.0,
                                         &uncertainty, &two);
    ground->known = status == GROUND_OK;
    if (!ground->known) {
        ground->why = ground_status_text(status);
        return;
    }
    ground->at_one = one.ratio;
    ground->at_two = two.ratio;
}

static void assess_hole(const struct monitor *monitor, const struct history_window *window,
                        const struct system_state_of_air *now,
                        const struct system_state_of_air *then, struct system_hole *hole) {
    const struct ground_uncertainty uncertainty = ground_uncertainty_default();
    double field_then = base_value(monitor, hole->point, window->to_ms);
    double field_now = median_of(window, hole->point);
    if (isnan(field_then) || isnan(then->suction_pa)) {
        hole->why = "it needs commissioning values of the hole and of suction";
        return;
    }
    if (isnan(field_now) || isnan(now->suction_pa)) {
        hole->why = "too few readings of the hole or of suction in the last 7 days";
        return;
    }
    enum ground_status status = ground_coupling_ratio(
        field_now, now->suction_pa, field_then, then->suction_pa, &uncertainty, &hole->coupling);
    hole->known = status == GROUND_OK;
    hole->why = hole->known ? NULL : ground_status_text(status);
}

/* A hole belongs to the branch that it names, else to the first. */
static bool is_hole_of(const struct fleet *fleet, const struct system_points *points, size_t hole) {
    size_t named = fleet->points[hole].description->branch;
    return (named == BRANCH_NONE ? 0 : named) == points->branch;
}

/* Fan and ground from the medians of a window. */
static void assess_air(const struct monitor *monitor, const struct system_points *points,
                       const struct history_window *window, struct system_state_of_air *now,
                       struct system_state_of_air *then, struct system_assessment *assessment) {
    const struct history *history = window->history;
    *assessment = (struct system_assessment){0};
    *then = system_assessment_then(monitor, points, window->to_ms);
    *now = system_assessment_now(monitor, history, points, window->from_ms, window->to_ms,
                                 window->least_hours);
    bool settled = system_assessment_settled(monitor, history, points, window->to_ms, then);
    system_assessment_fan(monitor, points, window->to_ms, now, then, settled, &assessment->fan);
    system_assessment_ground(
        now, then, history->ground_exponent(history->context, points->system, window->to_ms),
        &assessment->ground);
}

void system_assessment_make(const struct monitor *monitor, const struct history *history,
                            const struct system_points *points, int64_t now_ms,
                            struct system_assessment *assessment) {
    const struct fleet *fleet = monitor_fleet(monitor);
    const struct history_window window = {history, now_ms - SYSTEM_ASSESSMENT_WINDOW_MS, now_ms,
                                          LEAST_HOURS};
    struct system_state_of_air now, then;
    assess_air(monitor, points, &window, &now, &then, assessment);
    for (size_t i = 0; i < points->hole_count; i++) {
        if (!is_hole_of(fleet, points, points->holes[i]))
            continue;
        struct system_hole *hole = &assessment->holes[assessment->hole_count++];
        hole->point = points->holes[i];
        assess_hole(monitor, &window, &now, &then, hole);
    }
}

void system_assessment_day(const struct monitor *monitor, const struct history *history,
                           const struct system_points *points, int64_t now_ms,
                           struct system_assessment *assessment) {
    const struct history_window window = {history, now_ms - AVERAGE_DAY_MS, now_ms,
                                          DAY_LEAST_HOURS};
    struct system_state_of_air now, then;
    assess_air(monitor, points, &window, &now, &then, assessment);
}
