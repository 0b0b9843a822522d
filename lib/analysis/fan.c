#include "analysis/fan.h"
#include "measure/root_sum.h"

#include <assert.h>
#include <math.h>

static const double coverage_factor = 2.0;
static const double power_operating_point_relative = 0.12;

const char *fan_status_text(enum fan_status status) {
    static const char *const texts[] = {
        [FAN_OK] = "computed",
        [FAN_INPUT_MISSING] =
            "needs air flow or fan power beside the suction, now and at commissioning",
        [FAN_OUT_OF_RANGE] = "a measured value is not physically possible",
        [FAN_BAD_CURVE] = "the fan curve is not usable",
        [FAN_BEFORE_CURVE] = "the fan works at less flow than its curve begins with",
        [FAN_BEYOND_CURVE] = "the fan works at more flow than its curve ends with",
    };
    return texts[status];
}

const char *fan_method_text(enum fan_method method) {
    static const char *const texts[] = {
        [FAN_METHOD_CURVE] = "from air flow, suction and the fan curve",
        [FAN_METHOD_BOUNDS] =
            "between the limits that air flow and suction set without a fan curve",
        [FAN_METHOD_POWER] =
            "from fan power alone, which also moves with the air flow: a weak estimate",
    };
    return texts[method];
}

/* ---- the curve ---- */

static void points_sort(struct fan_point *points, size_t count) {
    for (size_t i = 1; i < count; i++) {
        struct fan_point point = points[i];
        size_t j = i;
        for (; j > 0 && points[j - 1].flow_m3_s > point.flow_m3_s; j--)
            points[j] = points[j - 1];
        points[j] = point;
    }
}

static double secant(const struct fan_curve *curve, size_t i) {
    return (curve->points[i + 1].pressure_pa - curve->points[i].pressure_pa) /
           (curve->points[i + 1].flow_m3_s - curve->points[i].flow_m3_s);
}

static double sign_of(double value) {
    return value > 0.0 ? 1.0 : value < 0.0 ? -1.0 : 0.0;
}

/* Slope at an end: parabola through three points, limited so that it cannot overshoot (eq. 24-26).
 */
static double end_slope(double near_secant, double far_secant, double near_width,
                        double far_width) {
    double slope = near_secant * (1.0 + near_width / (near_width + far_width)) -
                   far_secant * near_width / (near_width + far_width);
    if (slope * near_secant <= 0.0)
        return 0.0;
    if (fabs(slope) > 2.0 * fabs(near_secant))
        return 2.0 * near_secant;
    return slope;
}

static void slopes_fill(struct fan_curve *curve) {
    size_t last = curve->count - 1;
    double *slopes = curve->slopes_pa_per_m3_s;
    if (last == 1) {
        slopes[0] = slopes[1] = secant(curve, 0);
        return;
    }
    for (size_t i = 1; i < last; i++) {
        double before = secant(curve, i - 1), after = secant(curve, i);
        double width_before = curve->points[i].flow_m3_s - curve->points[i - 1].flow_m3_s;
        double width_after = curve->points[i + 1].flow_m3_s - curve->points[i].flow_m3_s;
        double middle =
            (before * width_after + after * width_before) / (width_before + width_after);
        slopes[i] = (sign_of(before) + sign_of(after)) *
                    fmin(fmin(fabs(before), fabs(after)), 0.5 * fabs(middle)); /* eq. 11 */
    }
    slopes[0] = end_slope(secant(curve, 0), secant(curve, 1),
                          curve->points[1].flow_m3_s - curve->points[0].flow_m3_s,
                          curve->points[2].flow_m3_s - curve->points[1].flow_m3_s);
    slopes[last] = end_slope(secant(curve, last - 1), secant(curve, last - 2),
                             curve->points[last].flow_m3_s - curve->points[last - 1].flow_m3_s,
                             curve->points[last - 1].flow_m3_s - curve->points[last - 2].flow_m3_s);
}

/* A curve may rise a little before it falls, but p/Q^2 must fall or one reading has two answers. */
static bool curve_is_usable(const struct fan_curve *curve) {
    for (size_t i = 0; i < curve->count; i++) {
        const struct fan_point *here = &curve->points[i];
        if (here->flow_m3_s < 0.0 || here->pressure_pa < 0.0)
            return false;
        if (i + 1 == curve->count)
            break;
        const struct fan_point *next = here + 1;
        if (next->flow_m3_s <= here->flow_m3_s)
            return false;
        if (here->flow_m3_s > 0.0 && next->pressure_pa / (next->flow_m3_s * next->flow_m3_s) >=
                                         here->pressure_pa / (here->flow_m3_s * here->flow_m3_s))
            return false;
    }
    return curve->points[0].pressure_pa > 0.0;
}

enum fan_status fan_curve_make(struct fan_curve *curve, const struct fan_point *points,
                               size_t count) {
    assert(curve && (points || count == 0));
    if (count < 2 || count > FAN_CURVE_POINTS_MAX)
        return FAN_BAD_CURVE;
    struct fan_curve made = {.count = count};
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(points[i].flow_m3_s) || !isfinite(points[i].pressure_pa))
            return FAN_INPUT_MISSING;
        made.points[i] = points[i];
    }
    points_sort(made.points, count);
    if (!curve_is_usable(&made))
        return FAN_BAD_CURVE;
    slopes_fill(&made);
    *curve = made;
    return FAN_OK;
}

/* Inside the curve only. */
static double curve_value(const struct fan_curve *curve, double flow_m3_s) {
    size_t i = 0;
    while (i + 2 < curve->count && flow_m3_s > curve->points[i + 1].flow_m3_s)
        i++;
    double width = curve->points[i + 1].flow_m3_s - curve->points[i].flow_m3_s;
    double from = flow_m3_s - curve->points[i].flow_m3_s;
    double rise = secant(curve, i);
    double left = curve->slopes_pa_per_m3_s[i], right = curve->slopes_pa_per_m3_s[i + 1];
    double cubic = (left + right - 2.0 * rise) / (width * width);
    double square = (3.0 * rise - 2.0 * left - right) / width;
    return ((cubic * from + square) * from + left) * from + curve->points[i].pressure_pa;
}

static double first_flow(const struct fan_curve *curve) {
    return curve->points[0].flow_m3_s;
}

static double last_flow(const struct fan_curve *curve) {
    return curve->points[curve->count - 1].flow_m3_s;
}

enum fan_status fan_curve_pressure(const struct fan_curve *curve, double flow_m3_s,
                                   double *pressure_pa) {
    assert(curve && curve->count >= 2 && pressure_pa);
    if (!isfinite(flow_m3_s))
        return FAN_INPUT_MISSING;
    if (flow_m3_s < first_flow(curve))
        return flow_m3_s < 0.0 ? FAN_OUT_OF_RANGE : FAN_BEFORE_CURVE;
    if (flow_m3_s > last_flow(curve))
        return FAN_BEYOND_CURVE;
    *pressure_pa = curve_value(curve, flow_m3_s);
    return FAN_OK;
}

/* ---- speed from suction and flow ---- */

/* Errors put in on purpose, to see what they do to the answer. Scale 1 and tilt 0: none. */
struct curve_error {
    double scale, tilt;
};

static double erring_curve_value(const struct fan_curve *curve, double x,
                                 struct curve_error error) {
    double across = (x - first_flow(curve)) / (last_flow(curve) - first_flow(curve));
    return curve_value(curve, x) * error.scale * (1.0 + error.tilt * (across - 0.5));
}

static enum fan_status speed_of(const struct fan_curve *curve, double fan_pressure_pa,
                                double flow_m3_s, struct curve_error error, double *speed_ratio) {
    double low = first_flow(curve), high = last_flow(curve);
    if (flow_m3_s <= 0.0) {
        if (low > 0.0)
            return FAN_BEFORE_CURVE;
        *speed_ratio = sqrt(fan_pressure_pa / erring_curve_value(curve, 0.0, error));
        return FAN_OK;
    }
    double steepness = fan_pressure_pa / (flow_m3_s * flow_m3_s);
    if (erring_curve_value(curve, low, error) < steepness * low * low)
        return FAN_BEFORE_CURVE;
    if (erring_curve_value(curve, high, error) > steepness * high * high)
        return FAN_BEYOND_CURVE;
    for (int i = 0; i < 100 && high - low > 1e-15 * high; i++) {
        double middle = 0.5 * (low + high);
        if (erring_curve_value(curve, middle, error) > steepness * middle * middle)
            low = middle;
        else
            high = middle;
    }
    *speed_ratio = 2.0 * flow_m3_s / (low + high);
    return FAN_OK;
}

static double density_or_one(const struct fan_state *state) {
    return isnan(state->density_ratio) ? 1.0 : state->density_ratio;
}

static enum fan_status flow_state_check(const struct fan_state *state) {
    double density = density_or_one(state);
    if (!isfinite(state->suction_pa) || !isfinite(state->flow_m3_s) || !isfinite(density))
        return FAN_INPUT_MISSING;
    if (state->suction_pa < 0.0 || state->flow_m3_s < 0.0 || density <= 0.0)
        return FAN_OUT_OF_RANGE;
    return FAN_OK;
}

static double fan_pressure(const struct fan_state *state, double loss_after_gauge) {
    return (state->suction_pa + loss_after_gauge * state->flow_m3_s * state->flow_m3_s) /
           density_or_one(state);
}

double fan_loss_after_gauge(double stated, const struct fan_curve *curve,
                            const struct fan_state *then) {
    double given = 0.0;
    assert(then);
    if (stated > 0.0 || !curve || flow_state_check(then) != FAN_OK || !(then->flow_m3_s > 0.0) ||
        fan_curve_pressure(curve, then->flow_m3_s, &given) != FAN_OK)
        return stated;
    double left = given * density_or_one(then) - then->suction_pa;
    return fmax(0.0, left / (then->flow_m3_s * then->flow_m3_s));
}

enum fan_status fan_speed(const struct fan_curve *curve, const struct fan_state *state,
                          double loss_after_gauge, double *speed_ratio) {
    assert(curve && curve->count >= 2 && state && speed_ratio);
    enum fan_status status = flow_state_check(state);
    if (status != FAN_OK)
        return status;
    return speed_of(curve, fan_pressure(state, loss_after_gauge), state->flow_m3_s,
                    (struct curve_error){.scale = 1.0}, speed_ratio);
}

/* ---- uncertainty ---- */

struct fan_uncertainty fan_uncertainty_make(double suction_relative, double flow_relative,
                                            double power_relative, bool same_instruments) {
    double suction = isnan(suction_relative) ? 0.03 : suction_relative;
    double flow = isnan(flow_relative) ? 0.05 : flow_relative;
    double power = isnan(power_relative) ? 0.02 : power_relative;
    double drift = same_instruments ? 1.0 / 3.0 : 1.0;
    return (struct fan_uncertainty){.suction_common = same_instruments ? suction : 0.0,
                                    .suction_separate = suction * drift,
                                    .suction_zero_pa = 1.0,
                                    .flow_common = same_instruments ? flow : 0.0,
                                    .flow_separate = flow * drift,
                                    .power_separate = power * drift,
                                    .density_separate = 0.01,
                                    .curve_scale = 0.05,
                                    .curve_tilt = 0.05};
}

/* One input quantity of the measurement model and how far it is moved to see its effect. */
struct shift {
    double suction_now, suction_then, flow_now, flow_then, density_now; /* relative */
    double zero_now_pa, zero_then_pa;
    double curve_scale, curve_tilt;
};

struct curve_problem {
    const struct fan_curve *curve;
    const struct fan_state *now, *then;
    double loss_after_gauge;
};

static enum fan_status shifted_ratio(const struct curve_problem *problem, const struct shift *shift,
                                     double direction, double *ratio) {
    struct fan_state now = *problem->now, then = *problem->then;
    now.suction_pa *= 1.0 + direction * shift->suction_now;
    then.suction_pa *= 1.0 + direction * shift->suction_then;
    now.suction_pa = fmax(0.0, now.suction_pa + direction * shift->zero_now_pa);
    then.suction_pa = fmax(0.0, then.suction_pa + direction * shift->zero_then_pa);
    now.flow_m3_s *= 1.0 + direction * shift->flow_now;
    then.flow_m3_s *= 1.0 + direction * shift->flow_then;
    now.density_ratio = density_or_one(&now) * (1.0 + direction * shift->density_now);
    struct curve_error error = {.scale = 1.0 + direction * shift->curve_scale,
                                .tilt = direction * shift->curve_tilt};
    double speed_now = 0.0, speed_then = 0.0;
    enum fan_status status = speed_of(problem->curve, fan_pressure(&now, problem->loss_after_gauge),
                                      now.flow_m3_s, error, &speed_now);
    if (status == FAN_OK)
        status = speed_of(problem->curve, fan_pressure(&then, problem->loss_after_gauge),
                          then.flow_m3_s, error, &speed_then);
    if (status != FAN_OK)
        return status;
    if (speed_then <= 0.0)
        return FAN_OUT_OF_RANGE;
    *ratio = speed_now / speed_then;
    return FAN_OK;
}

/* Half the difference of both directions; one direction alone where the other leaves the curve. */
static double contribution(const struct curve_problem *problem, const struct shift *shift,
                           double ratio) {
    double up = ratio, down = ratio;
    bool has_up = shifted_ratio(problem, shift, 1.0, &up) == FAN_OK;
    bool has_down = shifted_ratio(problem, shift, -1.0, &down) == FAN_OK;
    return has_up && has_down ? 0.5 * (up - down) : up - down;
}

enum fan_status fan_ratio_from_curve(const struct fan_curve *curve, const struct fan_state *now,
                                     const struct fan_state *then, double loss_after_gauge,
                                     const struct fan_uncertainty *uncertainty,
                                     struct fan_speed_ratio *result) {
    assert(curve && now && then && uncertainty && result);
    enum fan_status status = flow_state_check(now);
    if (status == FAN_OK)
        status = flow_state_check(then);
    if (status != FAN_OK)
        return status;
    const struct curve_problem problem = {curve, now, then, loss_after_gauge};
    const struct fan_uncertainty *u = uncertainty;
    const struct shift shifts[] = {
        {.suction_now = u->suction_common, .suction_then = u->suction_common},
        {.suction_now = u->suction_separate},
        {.suction_then = u->suction_separate},
        {.zero_now_pa = u->suction_zero_pa},
        {.zero_then_pa = u->suction_zero_pa},
        {.flow_now = u->flow_common, .flow_then = u->flow_common},
        {.flow_now = u->flow_separate},
        {.flow_then = u->flow_separate},
        {.density_now = u->density_separate},
        {.curve_scale = u->curve_scale},
        {.curve_tilt = u->curve_tilt},
    };
    double ratio = 0.0, variance = 0.0;
    status = shifted_ratio(&problem, &shifts[0], 0.0, &ratio);
    if (status != FAN_OK)
        return status;
    for (size_t i = 0; i < sizeof(shifts) / sizeof(shifts[0]); i++) {
        double effect = contribution(&problem, &shifts[i], ratio);
        variance += effect * effect;
    }
    double standard = sqrt(variance);
    *result = (struct fan_speed_ratio){.ratio = ratio,
                                       .lower = fmax(0.0, ratio - coverage_factor * standard),
                                       .upper = ratio + coverage_factor * standard,
                                       .standard_uncertainty = standard,
                                       .method = FAN_METHOD_CURVE};
    return FAN_OK;
}

struct bounds {
    double pressure_now, pressure_then;
    double by_flow, by_suction;
};

static enum fan_status bounds_of(const struct fan_state *now, const struct fan_state *then,
                                 double loss_after_gauge, struct bounds *bounds) {
    enum fan_status status = flow_state_check(now);
    if (status == FAN_OK)
        status = flow_state_check(then);
    if (status != FAN_OK)
        return status;
    bounds->pressure_now = fan_pressure(now, loss_after_gauge);
    bounds->pressure_then = fan_pressure(then, loss_after_gauge);
    if (bounds->pressure_then <= 0.0 || then->flow_m3_s <= 0.0)
        return FAN_OUT_OF_RANGE;
    bounds->by_flow = now->flow_m3_s / then->flow_m3_s;
    bounds->by_suction = sqrt(bounds->pressure_now / bounds->pressure_then);
    return FAN_OK;
}

enum fan_status fan_ratio_at_most(const struct fan_state *now, const struct fan_state *then,
                                  double loss_after_gauge, double *ratio) {
    struct bounds bounds;
    assert(now && then && ratio);
    enum fan_status status = bounds_of(now, then, loss_after_gauge, &bounds);
    if (status == FAN_OK)
        *ratio = fmax(bounds.by_flow, bounds.by_suction);
    return status;
}

/*
 * What flow and suction say without a curve. For any curve that does not rise with flow, the speed
 * ratio lies between Q/Q0 and sqrt(p/p0): if x = Q/s is above x0, then s < Q/Q0 by definition of x
 * and p/s^2 = f(x) <= f(x0) = p0 gives s >= sqrt(p/p0); below x0 the other way round. While the
 * ground is unchanged and turbulent the two are equal. The ratio is their geometric mean.
 */
static enum fan_status fan_ratio_from_bounds(const struct fan_state *now,
                                             const struct fan_state *then, double loss_after_gauge,
                                             const struct fan_uncertainty *uncertainty,
                                             struct fan_speed_ratio *result) {
    struct bounds bounds;
    assert(now && then && uncertainty && result);
    enum fan_status status = bounds_of(now, then, loss_after_gauge, &bounds);
    if (status != FAN_OK)
        return status;

    double pressure_now = bounds.pressure_now, pressure_then = bounds.pressure_then;
    double by_flow = bounds.by_flow, by_suction = bounds.by_suction;
    const struct fan_uncertainty *u = uncertainty;
    double flow_error = by_flow * sqrt(2.0) * u->flow_separate;
    /* The zero error is added to the pressure before the root: at no suction it still has a size.
     */
    double pressure_error = sqrt(pressure_now * pressure_now *
                                     (2.0 * u->suction_separate * u->suction_separate +
                                      u->density_separate * u->density_separate) +
                                 u->suction_zero_pa * u->suction_zero_pa);
    double suction_low =
        sqrt(fmax(0.0, pressure_now - coverage_factor * pressure_error) / pressure_then);
    double suction_high = sqrt((pressure_now + coverage_factor * pressure_error) / pressure_then);
    *result = (struct fan_speed_ratio){
        .ratio = sqrt(by_flow * by_suction),
        .lower = fmin(fmax(0.0, by_flow - coverage_factor * flow_error), suction_low),
        .upper = fmax(by_flow + coverage_factor * flow_error, suction_high),
        .standard_uncertainty = NAN,
        .method = FAN_METHOD_BOUNDS};
    return FAN_OK;
}

/*
 * s = (P/P0)^(1/3), the cube law. Power also moves with the operating point at the same speed, by
 * some tenths over a curve (reasoning, no source), so 12 % standard uncertainty of power is added;
 * with suction on both days, less the nearer it is to s^2.
 */
static enum fan_status fan_ratio_from_power(const struct fan_state *now,
                                            const struct fan_state *then,
                                            const struct fan_uncertainty *uncertainty,
                                            struct fan_speed_ratio *result) {
    assert(now && then && uncertainty && result);
    if (!isfinite(now->power_w) || !isfinite(then->power_w))
        return FAN_INPUT_MISSING;
    if (now->power_w < 0.0 || then->power_w <= 0.0)
        return FAN_OUT_OF_RANGE;
    double density = density_or_one(now) / density_or_one(then);
    double ratio = cbrt(now->power_w / then->power_w / density);
    double moved = power_operating_point_relative;
    if (now->suction_pa > 0.0 && then->suction_pa > 0.0 && ratio > 0.0) {
        /* p/p0 = s^2 means the same place on the curve; away from it power says less. */
        double away = fabs(log(now->suction_pa / then->suction_pa / (ratio * ratio)));
        moved = fmax(0.04, 0.5 * away);
    }
    double power = root_sum(sqrt(2.0) * uncertainty->power_separate, moved);
    double standard = ratio * power / 3.0;
    *result = (struct fan_speed_ratio){.ratio = ratio,
                                       .lower = fmax(0.0, ratio - coverage_factor * standard),
                                       .upper = ratio + coverage_factor * standard,
                                       .standard_uncertainty = standard,
                                       .method = FAN_METHOD_POWER};
    return FAN_OK;
}

enum fan_status fan_ratio(const struct fan_curve *curve, const struct fan_state *now,
                          const struct fan_state *then, double loss_after_gauge,
                          const struct fan_uncertainty *uncertainty,
                          struct fan_speed_ratio *result) {
    assert(now && then && uncertainty && result);
    enum fan_status status = FAN_INPUT_MISSING;
    if (curve)
        status = fan_ratio_from_curve(curve, now, then, loss_after_gauge, uncertainty, result);
    if (status != FAN_OK)
        status = fan_ratio_from_bounds(now, then, loss_after_gauge, uncertainty, result);
    if (status != FAN_OK) {
        enum fan_status by_power = fan_ratio_from_power(now, then, uncertainty, result);
        if (by_power == FAN_OK || status == FAN_INPUT_MISSING)
            status = by_power;
    }
    return status;
}
