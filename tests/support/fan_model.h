/*
 * fan_model: where a fan and what it works against meet, to make measurements for tests of what is
 * concluded from them.
 */
#ifndef TESTS_FAN_MODEL_H
#define TESTS_FAN_MODEL_H

#include "analysis/fan.h"

#include <math.h>

/** What a fan works against: p = resistance * Q^exponent before the gauge, loss * Q^2 after it. */
struct fan_load {
    double resistance, exponent; /* Pa per (m3/s)^exponent; exponent 1 to 2 */
    double loss_after_gauge;     /* Pa per (m3/s)^2 */
};

/** Fan pressure at curve flow x less what the load takes there; falls with x. */
static inline double fan_pressure_left(const struct fan_curve *curve, double x, double speed,
                                       double density, const struct fan_load *load) {
    double flow = x * speed, pressure_pa = NAN;
    fan_curve_pressure(curve, x, &pressure_pa);
    return density * speed * speed * pressure_pa - load->resistance * pow(flow, load->exponent) -
           load->loss_after_gauge * flow * flow;
}

/** Flow, and suction at the gauge; FAN_BEFORE_CURVE or FAN_BEYOND_CURVE outside the curve. */
static inline enum fan_status fan_operating_point(const struct fan_curve *curve, double speed_ratio,
                                                  double density_ratio, const struct fan_load *load,
                                                  struct fan_point *point) {
    double low = curve->points[0].flow_m3_s, high = curve->points[curve->count - 1].flow_m3_s;
    if (fan_pressure_left(curve, low, speed_ratio, density_ratio, load) < 0.0)
        return FAN_BEFORE_CURVE;
    if (fan_pressure_left(curve, high, speed_ratio, density_ratio, load) > 0.0)
        return FAN_BEYOND_CURVE;
    for (int i = 0; i < 100 && high - low > 1e-15 * high; i++) {
        double middle = 0.5 * (low + high);
        if (fan_pressure_left(curve, middle, speed_ratio, density_ratio, load) > 0.0)
            low = middle;
        else
            high = middle;
    }
    double flow = 0.5 * (low + high) * speed_ratio;
    *point = (struct fan_point){flow, load->resistance * pow(flow, load->exponent)};
    return FAN_OK;
}

#endif
