#include "analysis/response.h"

#include <assert.h>
#include <math.h>

/* Pressure of the fan at speed 1, 1 at x = 1. Goes straight on past the ends of a known curve. */
static double fan_shape(const struct response_system *system, double x) {
    if (!system->curve) {
        double full = system->fullness * system->fullness;
        return (1.0 - full * x * x) / (1.0 - full);
    }
    const struct fan_curve *curve = system->curve;
    const struct fan_point *first = &curve->points[0], *last = &curve->points[curve->count - 1];
    double pressure = first->pressure_pa;
    double flow = x * system->base_flow_m3_s;
    if (flow > last->flow_m3_s) {
        double chord =
            (last->pressure_pa - first->pressure_pa) / (last->flow_m3_s - first->flow_m3_s);
        double slope = fmin(curve->slopes_pa_per_m3_s[curve->count - 1], chord);
        pressure = last->pressure_pa + slope * (flow - last->flow_m3_s);
    } else if (flow > first->flow_m3_s) {
        (void)fan_curve_pressure(curve, flow, &pressure);
    }
    return pressure / system->base_pressure_pa;
}

static double ground_law(double flow, double exponent) {
    if (exponent == 1.0)
        return flow;
    if (exponent == 1.5) /* the usual guess, without the cost of pow */
        return flow * sqrt(flow);
    return exponent == 2.0 ? flow * flow : pow(flow, exponent);
}

static double pressure_left(const struct response_system *system,
                            const struct response_change *change, double flow) {
    return change->speed * change->speed * (1.0 + system->loss) *
               fan_shape(system, flow / change->speed) -
           (system->loss + change->discharge) * flow * flow -
           change->resistance * ground_law(flow, system->exponent);
}

struct response response_solve(const struct response_system *system,
                               const struct response_change *change) {
    assert(system && change && change->speed > 0.0 && change->resistance > 0.0);
    double low = 0.0, high = change->speed;
    double at_high = pressure_left(system, change, high);
    double at_low = pressure_left(system, change, low);
    while (high < 100.0 && at_high > 0.0) {
        low = high;
        at_low = at_high;
        high *= 1.6;
        at_high = pressure_left(system, change, high);
    }
    /* False position, Illinois variant: the end that stays twice counts half. */
    double flow = high;
    for (int i = 0, stayed = 0; i < 60 && high - low > 1e-7 * high; i++) {
        flow = (low * at_high - high * at_low) / (at_high - at_low);
        double left = pressure_left(system, change, flow);
        if (fabs(left) < 1e-9)
            break;
        if (left > 0.0) {
            low = flow;
            at_low = left;
            at_high *= stayed == 1 ? 0.5 : 1.0;
            stayed = 1;
        } else {
            high = flow;
            at_high = left;
            at_low *= stayed == -1 ? 0.5 : 1.0;
            stayed = -1;
        }
    }
    return (struct response){.suction = change->resistance * ground_law(flow, system->exponent),
                             .flow = flow,
                             .curve_flow = flow / change->speed};
}

double response_speed_to_hold(const struct response_system *system,
                              const struct response_change *change) {
    assert(system && change && !system->curve && change->resistance > 0.0);
    double flow = pow(change->resistance, -1.0 / system->exponent);
    double full = system->fullness * system->fullness;
    double pressure = 1.0 + (system->loss + change->discharge) * flow * flow;
    return sqrt((1.0 - full) * pressure / (1.0 + system->loss) + full * flow * flow);
}

double response_power(double speed, double curve_flow, double slope) {
    return speed * speed * speed * fmax(0.0, 1.0 - slope + slope * curve_flow);
}
