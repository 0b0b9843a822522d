/*
 * fan: what speed a fan runs at, told from what it does to the air.
 *
 * A fan at speed ratio s (1 = the speed of its curve) with curve f follows the fan laws
 * (ANSI/AMCA 99, ISO 5801): flow ~ s, pressure ~ s^2 rho, power ~ s^3 rho. So at any moment
 *
 *     suction + loss_after_gauge * Q^2 = density_ratio * s^2 * f(Q / s)
 *
 * With x = Q / s this is f(x) / x^2 = const: the left side falls strictly along any usable curve,
 * so there is exactly one answer, and a point past either end of the curve is told instead of
 * guessed.
 *
 * The ratio given to people is relative to commissioning, s(today) / s(commissioning). Errors that
 * are the same on both days (pipe size, centreline factor, sensor scale, the maker's curve) cancel
 * exactly while the ground is unchanged (then x is the same) and partly otherwise; so uncertainty
 * comes in two kinds, `common` and `separate`, and is carried to the ratio by numeric sensitivities
 * (JCGM 100:2008, 5.1.3 note 2): a common error is put into both days at once.
 *
 * Pure: no I/O, no clock, no allocation. SI units. Missing values are NaN.
 */
#ifndef ANALYSIS_FAN_H
#define ANALYSIS_FAN_H

#include <stdbool.h>
#include <stddef.h>

#define FAN_CURVE_POINTS_MAX 32

/** Results are written only on FAN_OK. */
enum fan_status {
    FAN_OK = 0,
    FAN_INPUT_MISSING, /* a needed value is NaN or infinite */
    FAN_OUT_OF_RANGE,  /* negative suction or flow, power or baseline not above 0 */
    FAN_BAD_CURVE,    /* under two points, equal flows, negative numbers, or f(x)/x^2 not falling */
    FAN_BEFORE_CURVE, /* the point lies left of the curve's first flow */
    FAN_BEYOND_CURVE  /* the point lies right of the curve's last flow */
};

/** A sentence fit for "why" in an answer, without a full stop. Never NULL. */
const char *fan_status_text(enum fan_status status);

struct fan_point {
    double flow_m3_s, pressure_pa;
};

/** A curve ready for use; fill with fan_curve_make. Plain data, may be copied. */
struct fan_curve {
    size_t count;
    struct fan_point points[FAN_CURVE_POINTS_MAX]; /* ascending flow */
    double slopes_pa_per_m3_s[FAN_CURVE_POINTS_MAX];
};

/**
 * Takes 2 to FAN_CURVE_POINTS_MAX points in any order. Between points the curve is the monotone
 * cubic of Steffen, Astronomy and Astrophysics 239 (1990) 443: through every point, no overshoot.
 * FAN_OK, FAN_INPUT_MISSING or FAN_BAD_CURVE.
 */
enum fan_status fan_curve_make(struct fan_curve *curve, const struct fan_point *points,
                               size_t count);

/** Pressure of the curve at a flow, at speed ratio 1. FAN_BEFORE_CURVE, FAN_BEYOND_CURVE outside.
 */
enum fan_status fan_curve_pressure(const struct fan_curve *curve, double flow_m3_s,
                                   double *pressure_pa);

/** What was measured at one time. */
struct fan_state {
    double suction_pa;    /* at the gauge, positive */
    double flow_m3_s;     /* NaN: not measured */
    double power_w;       /* NaN: not measured */
    double density_ratio; /* air in the fan to the air of the curve; NaN counts as 1 */
};

/**
 * What the pipe takes between gauge and open air, Pa per (m3/s)^2: as stated where that is above 0,
 * else what the curve gives above the suction, the fan taken to run on its curve at `then`. Left
 * out it would pass for speed: ground that opens lets more air through, the pipe takes more of the
 * pressure, and the gauge shows less of it at the same speed. `curve` NULL, or `then` off the
 * curve: as stated.
 */
double fan_loss_after_gauge(double stated, const struct fan_curve *curve,
                            const struct fan_state *then);

/** Speed relative to the curve by inverting the fan laws. */
enum fan_status fan_speed(const struct fan_curve *curve, const struct fan_state *state,
                          double loss_after_gauge, double *speed_ratio);

/** Standard uncertainties. `common` is the same error on both days, `separate` is not. */
struct fan_uncertainty {
    double suction_common, suction_separate; /* relative */
    double suction_zero_pa;                  /* separate: zero drift of the gauge */
    double flow_common, flow_separate; /* relative: pipe size and centreline factor are common */
    double power_separate;             /* relative */
    double density_separate;           /* relative */
    double curve_scale,
        curve_tilt; /* relative, common: the whole curve, and one end to the other */
};

/**
 * From the calibration uncertainty of the sensors (relative; NaN: 0.03 suction, 0.05 flow, 0.02
 * power). Same instrument on both days: its scale error is common, and a third of it is taken as
 * drift in between (no source). Other instruments, such as a hand-held one at commissioning:
 * all of it is separate.
 */
struct fan_uncertainty fan_uncertainty_make(double suction_relative, double flow_relative,
                                            double power_relative, bool same_instruments);

enum fan_method {
    FAN_METHOD_CURVE,  /* flow, suction and curve: the strong one */
    FAN_METHOD_BOUNDS, /* flow and suction, no usable curve */
    FAN_METHOD_POWER,  /* power alone: weak */
    FAN_METHOD_COUNT
};

/** "flow, suction and the fan curve" and so on. */
const char *fan_method_text(enum fan_method method);

struct fan_speed_ratio {
    double ratio;                /* 1 at commissioning */
    double lower, upper;         /* 95 %, coverage factor 2; for bounds also the whole bound */
    double standard_uncertainty; /* NaN for FAN_METHOD_BOUNDS */
    enum fan_method method;
};

/** Curve method. Needs suction and flow of both days. */
enum fan_status fan_ratio_from_curve(const struct fan_curve *curve, const struct fan_state *now,
                                     const struct fan_state *then, double loss_after_gauge,
                                     const struct fan_uncertainty *uncertainty,
                                     struct fan_speed_ratio *result);

/** The upper of the two bounds as measured, without uncertainty: max(Q/Q0, sqrt(p/p0)). */
enum fan_status fan_ratio_at_most(const struct fan_state *now, const struct fan_state *then,
                                  double loss_after_gauge, double *ratio);

/**
 * The best of the three that the measurements allow: curve, else bounds, else power. `curve` may be
 * NULL. With suction alone FAN_INPUT_MISSING: no claim. When the curve method fails because the
 * point lies outside the curve, the bounds are used; `method` says so.
 */
enum fan_status fan_ratio(const struct fan_curve *curve, const struct fan_state *now,
                          const struct fan_state *then, double loss_after_gauge,
                          const struct fan_uncertainty *uncertainty,
                          struct fan_speed_ratio *result);

#endif
