#include "analysis/ground.h"

#include "measure/airflow.h"
#include "measure/root_sum.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>

static const double flow_floor_m3_s = 1e-6;
static const double suction_floor_pa = 0.1;
static const double coverage_factor = 2.0;

const char *ground_status_text(enum ground_status status) {
    static const char *const texts[] = {
        [GROUND_OK] = "computed",
        [GROUND_INPUT_MISSING] = "needs suction and air flow, now and at commissioning",
        [GROUND_OUT_OF_RANGE] = "a measured value is not physically possible",
        [GROUND_TOO_SMALL] = "suction or air flow is too near zero",
    };
    return texts[status];
}

struct ground_uncertainty ground_uncertainty_default(void) {
    return (struct ground_uncertainty){.suction_relative = 0.01,
                                       .flow_relative = 0.03,
                                       .suction_zero_pa = 1.0,
                                       .field_zero_pa = 0.5};
}

static enum ground_status state_check(const struct ground_state *state) {
    if (!isfinite(state->suction_pa) || !isfinite(state->flow_m3_s))
        return GROUND_INPUT_MISSING;
    if (state->suction_pa < 0.0 || state->flow_m3_s < 0.0)
        return GROUND_OUT_OF_RANGE;
    if (state->suction_pa < suction_floor_pa || state->flow_m3_s < flow_floor_m3_s)
        return GROUND_TOO_SMALL;
    return GROUND_OK;
}

/* Relative standard uncertainty of p/p0: scale drift on both days and the zero on both days. */
static double pressure_ratio_uncertainty(double now_pa, double then_pa, double relative,
                                         double zero_pa) {
    return sqrt(2.0 * relative * relative + zero_pa * zero_pa / (now_pa * now_pa) +
                zero_pa * zero_pa / (then_pa * then_pa));
}

enum ground_status ground_resistance_ratio(const struct ground_state *now,
                                           const struct ground_state *then, double exponent,
                                           const struct ground_uncertainty *uncertainty,
                                           struct ground_ratio *result) {
    assert(now && then && uncertainty && result);
    enum ground_status status = state_check(now);
    if (status == GROUND_OK)
        status = state_check(then);
    if (status != GROUND_OK)
        return status;
    bool known = isfinite(exponent);
    if (known && (exponent < 1.0 || exponent > 2.0))
        return GROUND_OUT_OF_RANGE;

    double central = known ? exponent : 1.5;
    double log_pressure = log(now->suction_pa / then->suction_pa);
    double log_flow = log(now->flow_m3_s / then->flow_m3_s);
    /* The range 1 to 2 is not a bell: all of it belongs into the interval (JCGM 100, 4.3.7). */
    double spread = known ? 0.0 : 0.5 * fabs(log_flow);
    double from_pressure =
        pressure_ratio_uncertainty(now->suction_pa, then->suction_pa, uncertainty->suction_relative,
                                   uncertainty->suction_zero_pa);
    double from_flow = central * sqrt(2.0) * uncertainty->flow_relative;
    double half_width = spread + coverage_factor * root_sum(from_pressure, from_flow);
    double log_ratio = log_pressure - central * log_flow;
    *result = (struct ground_ratio){.ratio = exp(log_ratio),
                                    .lower = exp(log_ratio - half_width),
                                    .upper = exp(log_ratio + half_width)};
    return GROUND_OK;
}

enum ground_status ground_exponent_fit(const struct ground_state *settings, size_t count,
                                       double *exponent) {
    const double least_ratio = 1.1, slack = 0.2;
    double mean_x = 0.0, mean_y = 0.0, xx = 0.0, xy = 0.0, lowest = INFINITY, highest = 0.0;
    if (count < 2)
        return GROUND_INPUT_MISSING;
    for (size_t i = 0; i < count; i++) {
        enum ground_status status = state_check(&settings[i]);
        if (status != GROUND_OK)
            return status;
        lowest = fmin(lowest, settings[i].flow_m3_s);
        highest = fmax(highest, settings[i].flow_m3_s);
        mean_x += log(settings[i].flow_m3_s) / (double)count;
        mean_y += log(settings[i].suction_pa) / (double)count;
    }
    if (highest < least_ratio * lowest)
        return GROUND_TOO_SMALL;
    for (size_t i = 0; i < count; i++) {
        double x = log(settings[i].flow_m3_s) - mean_x;
        xx += x * x;
        xy += x * (log(settings[i].suction_pa) - mean_y);
    }
    double fitted = xy / xx;
    if (fitted < 1.0 - slack || fitted > 2.0 + slack)
        return GROUND_OUT_OF_RANGE;
    *exponent = fmin(fmax(fitted, 1.0), 2.0);
    return GROUND_OK;
}

enum ground_status ground_coupling_ratio(double field_pa, double suction_pa, double field_then_pa,
                                         double suction_then_pa,
                                         const struct ground_uncertainty *uncertainty,
                                         struct ground_ratio *result) {
    assert(uncertainty && result);
    if (!isfinite(field_pa) || !isfinite(suction_pa) || !isfinite(field_then_pa) ||
        !isfinite(suction_then_pa))
        return GROUND_INPUT_MISSING;
    if (suction_pa < 0.0 || suction_then_pa < 0.0 || field_then_pa < 0.0)
        return GROUND_OUT_OF_RANGE;
    if (suction_pa < suction_floor_pa || suction_then_pa < suction_floor_pa ||
        field_then_pa < suction_floor_pa)
        return GROUND_TOO_SMALL;

    double riser = suction_pa / suction_then_pa;
    double ratio = field_pa / field_then_pa / riser;
    double zero = uncertainty->field_zero_pa / field_then_pa;
    double riser_relative = pressure_ratio_uncertainty(
        suction_pa, suction_then_pa, uncertainty->suction_relative, uncertainty->suction_zero_pa);
    /* d(ratio): field today, field then, riser. The field has a zero error, so it adds in pascals.
     */
    double half_width =
        coverage_factor * sqrt(zero * zero / (riser * riser) + ratio * ratio * zero * zero +
                               ratio * ratio * riser_relative * riser_relative);
    *result = (struct ground_ratio){
        .ratio = ratio, .lower = ratio - half_width, .upper = ratio + half_width};
    return GROUND_OK;
}

double ground_stack_pressure_pa(double height_m, double inside_celsius, double outdoor_celsius,
                                double air_pressure_pa) {
    const double gravity_m_s2 = 9.80665;
    const struct airflow_air inside = {air_pressure_pa, inside_celsius};
    const struct airflow_air outdoors = {air_pressure_pa, outdoor_celsius};
    double light = NAN, heavy = NAN;
    if (airflow_dry_air_density(&inside, &light) != AIRFLOW_OK ||
        airflow_dry_air_density(&outdoors, &heavy) != AIRFLOW_OK)
        return NAN;
    return (heavy - light) * gravity_m_s2 * height_m;
}
