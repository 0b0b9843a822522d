/*
 * system_assessment: fan and ground of one branch of a system told apart, relative to
 * commissioning. Weather, holes and radon are those of the whole house.
 *
 * What was measured lately (medians of hourly means) is compared with the baselines. Flow comes
 * from an airflow point, or from the velocity pressure and the inside of the pipe. The density of
 * the air is taken from an indoor temperature and a barometric pressure where a point measures them
 * and had a baseline at commissioning; otherwise it is the standard one at the elevation of the
 * system on both days, and its error cancels. Fan current stands in for power where power isn't
 * measured: only its ratio is used. Pure.
 */
#ifndef MONITOR_SYSTEM_ASSESSMENT_H
#define MONITOR_SYSTEM_ASSESSMENT_H

#include "analysis/fan.h"
#include "analysis/ground.h"
#include "monitor/history.h"
#include "monitor/monitor.h"

#include <stdbool.h>

#define SYSTEM_ASSESSMENT_WINDOW_MS (7 * AVERAGE_DAY_MS)
#define SYSTEM_ASSESSMENT_HOLES 16

/** The points that fan and ground of a branch are told by; FLEET_NONE: no such point. */
struct system_points {
    size_t system, branch;
    size_t suction, flow, velocity_pressure, power, radon;
    size_t indoor, outdoor, barometer, humidity, water;
    size_t holes[SYSTEM_ASSESSMENT_HOLES];
    size_t hole_count;
};
struct system_points system_points_of(const struct fleet *fleet, size_t system, size_t branch);
/** The branch as the settings describe it. */
const struct branch_description *system_points_branch(const struct fleet *fleet,
                                                      const struct system_points *points);

/** SI; NaN: not measured, or no baseline. */
struct system_state_of_air {
    double suction_pa, flow_m3_s, power_w;
    double density_kg_m3;
};

/** What the points of a system read at one time, SI; NaN: no such point, or no reading. */
struct system_measured {
    double suction_pa, flow_m3_s, velocity_pressure_pa, power_w;
    double indoor_celsius, barometer_pa;
};
/** Flow as measured, else from velocity pressure and pipe; density from the weather, else standard.
 */
struct system_state_of_air system_assessment_air(const struct fleet *fleet,
                                                 const struct system_points *points,
                                                 const struct system_measured *measured);

/** At commissioning, by the baselines in force at an instant. */
struct system_state_of_air system_assessment_then(const struct monitor *monitor,
                                                  const struct system_points *points,
                                                  int64_t time_ms);
/** Medians over [from, to); with fewer than `least_hours` hourly means a value is NaN. */
struct system_state_of_air system_assessment_now(const struct monitor *monitor,
                                                 const struct history *history,
                                                 const struct system_points *points,
                                                 int64_t from_ms, int64_t to_ms,
                                                 size_t least_hours);

/**
 * The maker's curve of the fan that stands in the branch at an instant, by the records, else by the
 * system file; false when there is none, or none that can be used.
 */
bool system_assessment_curve(const struct monitor *monitor, const struct system_points *points,
                             int64_t time_ms, struct fan_curve *curve);
/**
 * Why the speed of the fan says nothing at an instant, whatever is measured: a control sets it, or
 * another fan was put in after the baseline. NULL: it does.
 */
const char *system_assessment_no_speed(const struct monitor *monitor,
                                       const struct system_points *points, int64_t time_ms);

struct system_fan {
    bool known;
    const char *why; /* when not known */
    struct fan_speed_ratio speed;
};

struct system_ground {
    bool known;
    const char *why;
    struct ground_ratio resistance;
    double at_one, at_two; /* the ratio with the exponents 1 and 2 */
    bool exponent_known;   /* else the interval holds every exponent from 1 to 2 */
    double exponent;       /* NaN: not known */
};

struct system_hole {
    size_t point;
    bool known;
    const char *why;
    struct ground_ratio coupling;
};

struct system_assessment {
    struct system_fan fan;
    struct system_ground ground;
    struct system_hole holes[SYSTEM_ASSESSMENT_HOLES]; /* that name the branch; the others: first */
    size_t hole_count;
};

/** As of an instant, from the 7 days before it. */
void system_assessment_make(const struct monitor *monitor, const struct history *history,
                            const struct system_points *points, int64_t now_ms,
                            struct system_assessment *assessment);

/** Fan and ground of the last 24 h alone, where a change of these days shows at once; no holes. */
void system_assessment_day(const struct monitor *monitor, const struct history *history,
                           const struct system_points *points, int64_t now_ms,
                           struct system_assessment *assessment);

/**
 * Fan and ground from two states, `now` up to `time_ms`. `agrees`: `then` was measured by the
 * installed sensors (system_assessment_settled), so errors of scale are the same on both days.
 */
void system_assessment_fan(const struct monitor *monitor, const struct system_points *points,
                           int64_t time_ms, const struct system_state_of_air *now,
                           const struct system_state_of_air *then, bool agrees,
                           struct system_fan *fan);
void system_assessment_ground(const struct system_state_of_air *now,
                              const struct system_state_of_air *then, double exponent,
                              struct system_ground *ground);
/**
 * Replaces the values of the record by what the installed sensors themselves showed in the first
 * week after it, so that the error of the installer's instrument drops out of every ratio: the same
 * air measured by the same sensor. Only where all of them are within two calibration uncertainties
 * of the record; else false and *then as it was, because something may have changed at once.
 */
bool system_assessment_settled(const struct monitor *monitor, const struct history *history,
                               const struct system_points *points, int64_t now_ms,
                               struct system_state_of_air *then);
/**
 * The same for suction and flow, and however far they are from the record: what a slope is measured
 * from. False when one of the sensors has fewer than three days of that week.
 */
bool system_assessment_first_week(const struct monitor *monitor, const struct history *history,
                                  const struct system_points *points, int64_t now_ms,
                                  struct system_state_of_air *then);

#endif
