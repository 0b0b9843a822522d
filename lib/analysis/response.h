/*
 * response: how suction, flow and power of a system answer when its fan slows or something in front
 * of it or behind it changes. Everything is a ratio to commissioning, so that it holds for any size
 * of system: solves s^2 (1 + loss) F(q/s) - (loss + discharge) q^2 = resistance q^n for q.
 *
 * Fan laws as in fan.h; ground law as in ground.h. Pure: no I/O, no clock, no allocation.
 */
#ifndef ANALYSIS_RESPONSE_H
#define ANALYSIS_RESPONSE_H

#include "analysis/fan.h"

/** What the fan and the pipe are like at commissioning. */
struct response_system {
    const struct fan_curve *curve;           /* borrowed; NULL: a parabola with `fullness` */
    double base_flow_m3_s, base_pressure_pa; /* place on the curve; with a curve only */
    double fullness; /* flow over the fan's greatest flow, 0 to 1; without a curve */
    double loss;     /* pressure lost after the gauge over suction at the gauge */
    double exponent; /* n of the ground, 1 to 2 */
};

/** What has changed. Nothing: {1, 1, 0}. */
struct response_change {
    double speed;      /* above 0 */
    double resistance; /* before the gauge, above 0 */
    double discharge;  /* added after the gauge, suction over flow squared at commissioning */
};

struct response {
    double suction, flow;
    double curve_flow; /* flow over speed: where on the curve */
};

struct response response_solve(const struct response_system *system,
                               const struct response_change *change);

/**
 * The speed at which a fan with control holds suction as it was at commissioning: q = R^(-1/n), and
 * by the parabola s^2 = (1 - fullness^2)(1 + (loss + discharge) q^2) / (1 + loss) + fullness^2 q^2.
 * Without a curve only; the speed of `change` counts for nothing.
 */
double response_speed_to_hold(const struct response_system *system,
                              const struct response_change *change);

/**
 * Power at a speed and a place on the curve: s^3 (1 - slope + slope x). Linear in flow as a rough
 * rule (no source): slope about 0.3 to 0.6 for centrifugal fans, near or below 0 for axial ones.
 */
double response_power(double speed, double curve_flow, double slope);

#endif
