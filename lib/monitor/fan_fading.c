#include "monitor/fan_fading.h"

#include "monitor/assessment.h"
#include "monitor/system_assessment.h"
#include "monitor/system_series.h"

#include <math.h>

enum wear_status fan_fading_find(const struct monitor *monitor, const struct history *history,
                                 size_t system, int64_t known_ms, int64_t to_day,
                                 double within_days, struct wear *wear) {
    const struct fleet *fleet = monitor_fleet(monitor);
    const struct system_points points = system_points_of(fleet, system);
    struct system_state_of_air then = system_assessment_then(monitor, &points, known_ms);
    if (isnan(then.suction_pa) || isnan(then.flow_m3_s) ||
        !system_assessment_first_week(monitor, history, &points, known_ms, &then))
        return WEAR_NONE;
    const struct system_series_source source = {
        .monitor = monitor,
        .history = history,
        .system = system,
        .points = &points,
        .then = &then,
        .hole = FLEET_NONE,
    };
    struct assessment_series series;
    if (!system_series_read(&source, SYSTEM_SERIES_SPEED, known_ms, to_day, &series))
        return WEAR_NO_MEMORY;
    double limit = fleet_rule(fleet, system, CONDITION_FAN_WEAK).setpoint.number;
    enum wear_status status = wear_find(&series.series, (double)to_day, limit, within_days, wear);
    assessment_series_clear(&series);
    return status;
}
