#include "diagnosis/diagnosis_signature.h"

#include "analysis/response.h"
#include "diagnosis/diagnosis_table.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>

/* ---- how likely one measured ratio is under a prediction ---- */

/*
 * Student's t with 5 degrees of freedom: an odd reading counts against a cause, but does not rule
 * it out. Spread: the measurement, and 5 % for what the model leaves out (line voltage, wind,
 * season).
 */
static double spread_at(const struct signature_measured *measured, double ratio) {
    const double model = 0.05;
    double relative = hypot(measured->relative, model) * ratio;
    return sqrt(relative * relative + measured->absolute * measured->absolute);
}

static double likelihood(const struct signature_measured *measured, double predicted) {
    const double freedom = 5.0;
    if (isnan(measured->ratio))
        return 1.0;
    double spread = spread_at(measured, predicted);
    double z = (measured->ratio - predicted) / spread;
    double root = 1.0 + z * z / freedom;
    return 0.3796 / (spread * root * root * root);
}

/* A sensor that reads anything from `low` to `high` times the truth, all alike. */
static double misreading_likelihood(const struct signature_measured *measured, double predicted,
                                    double low, double high) {
    if (low == high || isnan(measured->ratio) || predicted <= 0.0)
        return likelihood(measured, predicted * high);
    double spread = spread_at(measured, fmax(measured->ratio, 0.0)) * sqrt(2.0);
    double below = erf((measured->ratio - high * predicted) / spread);
    double above = erf((measured->ratio - low * predicted) / spread);
    return 0.5 * (above - below) / ((high - low) * predicted);
}

/* Any ratio from 3 % to 500 %, alike on a logarithmic scale. */
static double anything_likelihood(const struct signature_measured *measured) {
    if (isnan(measured->ratio))
        return 1.0;
    return 1.0 / (fmin(fmax(measured->ratio, 0.03), 5.0) * log(5.0 / 0.03));
}

static double normal_of_log(double ratio, double centre, double spread) {
    double z = (log(fmax(ratio, 0.01)) - centre) / spread;
    return exp(-0.5 * z * z) / spread;
}

/* Radon swings by itself: half as much again from month to month is nothing unusual. */
static double radon_likelihood(const struct signature_measured *radon, enum radon_rule rule) {
    if (isnan(radon->ratio))
        return 1.0;
    double usual = normal_of_log(radon->ratio, 0.0, 0.5);
    double risen = normal_of_log(radon->ratio, 1.1, 0.6);
    switch (rule) {
    case RADON_MAY_RISE:
        return 0.5 * (usual + risen);
    case RADON_RISES:
        return risen;
    case RADON_USUAL:
        break;
    }
    return usual;
}

static double hole_likelihood(const struct signature_measured *hole, enum field_rule rule,
                              double predicted) {
    if (isnan(hole->ratio))
        return 1.0;
    switch (rule) {
    case FIELD_SOME_LOST: {
        const double lowest = -0.6, highest = 0.55 * fmax(predicted, 0.2);
        bool in_range = hole->ratio > lowest && hole->ratio < highest;
        return 0.65 * likelihood(hole, predicted) + (in_range ? 0.35 / (highest - lowest) : 0.0);
    }
    case FIELD_FOLLOWS_SOIL_FLOW:
    case FIELD_PARTLY_LOST:
        return (likelihood(hole, predicted) + likelihood(hole, 0.5 * predicted) +
                likelihood(hole, 0.15 * predicted)) /
               3.0;
    case FIELD_FOLLOWS_SUCTION:
        break;
    }
    return likelihood(hole, predicted);
}

/* The holes of one slab rise and fall together with season and weather, by some tenths. */
static const struct {
    double factor, weight;
} together[] = {{0.65, 0.12}, {0.82, 0.23}, {1.0, 0.30}, {1.2, 0.23}, {1.45, 0.12}};

static double field_likelihood(const struct signature_evidence *evidence, enum field_rule rule,
                               double predicted) {
    double total = 0.0, lowest = INFINITY;
    for (size_t i = 0; i < evidence->hole_count; i++)
        lowest = fmin(lowest, evidence->holes[i].ratio); /* fmin passes over a NaN */
    if (isinf(lowest))
        return 1.0;
    for (size_t j = 0; j < sizeof(together) / sizeof(together[0]); j++) {
        double all = together[j].weight, here = predicted * together[j].factor;
        for (size_t i = 0; i < evidence->hole_count; i++)
            all *= hole_likelihood(&evidence->holes[i], rule, here);
        if (rule == FIELD_SOME_LOST && lowest > 0.65 * here)
            all *= 0.02; /* no hole is low, so none is lost */
        total += all;
    }
    return total;
}

static double anything_field_likelihood(const struct signature_evidence *evidence) {
    double all = 1.0;
    for (size_t i = 0; i < evidence->hole_count; i++)
        all *= anything_likelihood(&evidence->holes[i]);
    return all;
}

/* ---- a row of the table over all that is not known ---- */

#define LEVER_STEPS 24
#define USUAL_STEPS 7

static const struct {
    double slope, weight;
} power_slopes[] = {{-0.15, 0.05}, {0.15, 0.20}, {0.35, 0.35}, {0.55, 0.25}, {0.8, 0.15}};
#define POWER_SLOPES (sizeof(power_slopes) / sizeof(power_slopes[0]))

/* What a sensor should read, were it in order; speed and place on the curve for the power. */
struct outlook {
    double suction, flow, field, speed, curve_flow, weight;
};

struct judging {
    const struct signature_evidence *evidence;
    const double *prior;
    struct signature_result *result;
    double best[CAUSE_COUNT];      /* likeliest row so far, for the culprit */
    double mass[CAUSE_COUNT];      /* sum of all weights */
    double system_weight;          /* of the shape and exponent in hand */
    struct response_system system; /* the shape and exponent in hand */
    struct outlook usual[USUAL_STEPS], steps[LEVER_STEPS];
    double unit_best;
};

static void usual_outlooks(const struct response_system *system, struct outlook *outlooks) {
    const double spread = 0.2; /* of ln K over the seasons */
    double total = 0.0;
    for (int i = 0; i < USUAL_STEPS; i++) {
        double z = -1.8 + 3.6 * i / (USUAL_STEPS - 1);
        struct response air = response_solve(
            system, &(struct response_change){
                        .speed = 1.0, .resistance = exp(z * spread), .discharge = 0.0});
        outlooks[i] = (struct outlook){air.suction, air.flow,       air.suction,
                                       1.0,         air.curve_flow, exp(-0.5 * z * z)};
        total += outlooks[i].weight;
    }
    for (int i = 0; i < USUAL_STEPS; i++)
        outlooks[i].weight /= total;
}

static struct outlook lever_outlook(const struct response_system *system,
                                    const struct signature *row, double degree) {
    struct response_change change = {.speed = 1.0, .resistance = 1.0, .discharge = 0.0};
    if (row->lever == LEVER_SPEED)
        change.speed = degree;
    else if (row->lever == LEVER_DISCHARGE)
        change.discharge = degree;
    else
        change.resistance = degree;
    struct response air = response_solve(system, &change);
    struct outlook outlook = {air.suction,  air.flow,       air.suction,
                              change.speed, air.curve_flow, 1.0 / LEVER_STEPS};
    if (row->lever == LEVER_LEAK_ABOVE)
        outlook.flow = pow(air.suction, 1.0 / system->exponent);
    if (row->field == FIELD_FOLLOWS_SOIL_FLOW)
        outlook.field = pow(air.flow, system->exponent);
    return outlook;
}

static size_t row_outlooks(struct judging *judging, const struct signature *row,
                           const struct outlook **outlooks) {
    if (row->lever == LEVER_USUAL) {
        *outlooks = judging->usual;
        return USUAL_STEPS;
    }
    *outlooks = judging->steps;
    if (row->lever == LEVER_STOP) {
        judging->steps[0] = (struct outlook){.speed = 1.0, .curve_flow = 1.0, .weight = 1.0};
        return 1;
    }
    for (int i = 0; i < LEVER_STEPS; i++) {
        double part = (i + 0.5) / LEVER_STEPS;
        double degree = exp(log(row->from) + part * log(row->to / row->from));
        judging->steps[i] = lever_outlook(&judging->system, row, degree);
    }
    return LEVER_STEPS;
}

static double predicted_power(const struct signature *row, const struct outlook *outlook,
                              double slope) {
    switch (row->power) {
    case POWER_NONE:
        return 0.0;
    case POWER_HELD:
        return 1.0;
    case POWER_BY_LAWS:
        break;
    }
    return response_power(outlook->speed, outlook->curve_flow, slope);
}

static void expect(struct signature_expectation *expected, double weight,
                   const struct outlook *outlook, double power) {
    expected->suction += weight * outlook->suction;
    expected->flow += weight * outlook->flow;
    expected->power += weight * power;
    expected->field += weight * outlook->field;
}

static double sensor_likelihood(const struct signature_measured *measured, double predicted,
                                const struct signature *row, enum quantity quantity) {
    if (row->misread != quantity)
        return likelihood(measured, predicted);
    return misreading_likelihood(measured, predicted, row->misread_from, row->misread_to);
}

/* One outlook: what suction, flow, field, radon and power at each slope say of it. */
static double outlook_weight(struct judging *judging, const struct signature *row,
                             const struct outlook *outlook, double share) {
    const struct signature_evidence *evidence = judging->evidence;
    struct signature_measured radon = evidence->radon;
    double weight = share * outlook->weight *
                    sensor_likelihood(&evidence->suction, outlook->suction, row, QUANTITY_SUCTION) *
                    sensor_likelihood(&evidence->flow, outlook->flow, row, QUANTITY_AIRFLOW) *
                    field_likelihood(evidence, row->field, outlook->field);
    if (row->misread == QUANTITY_RADON) {
        radon.ratio /= row->misread_to;
        weight /= row->misread_to; /* density of the ratio as measured */
    }
    weight *= radon_likelihood(&radon, row->radon);
    double total = 0.0;
    for (size_t i = 0; i < POWER_SLOPES; i++) {
        double power = predicted_power(row, outlook, power_slopes[i].slope);
        double part = weight * power_slopes[i].weight *
                      sensor_likelihood(&evidence->power, power, row, QUANTITY_FAN_POWER);
        expect(&judging->result->expected[row->cause], part, outlook, power);
        total += part;
    }
    return total;
}

static bool can_be_seen(const struct signature_evidence *evidence, const struct signature *row) {
    switch (row->misread) {
    case QUANTITY_SUCTION:
        return !isnan(evidence->suction.ratio);
    case QUANTITY_AIRFLOW:
        return !isnan(evidence->flow.ratio);
    case QUANTITY_FAN_POWER:
        return !isnan(evidence->power.ratio);
    case QUANTITY_RADON:
        return !isnan(evidence->radon.ratio);
    default:
        break;
    }
    return row->radon != RADON_RISES || !isnan(evidence->radon.ratio);
}

static double row_judge(struct judging *judging, const struct signature *row) {
    const struct signature_evidence *evidence = judging->evidence;
    double share = judging->prior[row->cause] * row->weight * judging->system_weight;
    if (share <= 0.0 || !can_be_seen(evidence, row))
        return 0.0;
    double total = 0.0;
    if (row->lever == LEVER_ANYTHING) {
        total = share * anything_likelihood(&evidence->suction) *
                anything_likelihood(&evidence->flow) * anything_likelihood(&evidence->power) *
                anything_field_likelihood(evidence) *
                radon_likelihood(&evidence->radon, RADON_MAY_RISE);
    } else {
        const struct outlook *outlooks = NULL;
        size_t count = row_outlooks(judging, row, &outlooks);
        for (size_t i = 0; i < count; i++)
            total += outlook_weight(judging, row, &outlooks[i], share);
    }
    judging->mass[row->cause] += total;
    if (total > judging->best[row->cause]) {
        judging->best[row->cause] = total;
        judging->result->culprit[row->cause] = row->misread;
    }
    return total;
}

static void units_judge(struct judging *judging) {
    size_t count = 0;
    const struct signature_unit_factor *unit_factors = signature_unit_factors(&count);
    for (size_t i = 0; i < count; i++) {
        const struct signature row = {.cause = CAUSE_UNIT_MIX_UP,
                                      .weight = 1.0 / (double)count,
                                      .misread = unit_factors[i].quantity,
                                      .misread_from = unit_factors[i].factor,
                                      .misread_to = unit_factors[i].factor};
        double total = row_judge(judging, &row);
        if (total > judging->unit_best) {
            judging->unit_best = total;
            judging->result->unit_factor = unit_factors[i].factor;
        }
    }
}

/* ---- over the shapes of fans and the exponents of grounds ---- */

static const struct {
    double fullness, weight;
} shapes[] = {{0.3, 0.2}, {0.55, 0.3}, {0.8, 0.3}, {0.92, 0.2}};

static void system_judge(struct judging *judging) {
    usual_outlooks(&judging->system, judging->usual);
    size_t count = 0;
    const struct signature *signatures = signature_table(&count);
    for (size_t i = 0; i < count; i++)
        row_judge(judging, &signatures[i]);
    units_judge(judging);
}

/* Pipe size and pitot factor may be some percent off, so the place on the maker's curve is too. */
static const struct {
    double flow_factor, weight;
} places[] = {{0.92, 0.25}, {1.0, 0.5}, {1.08, 0.25}};

/* False when the curve is not known, or commissioning does not lie on it. */
static bool known_curve_judge(struct judging *judging, double weight) {
    const struct fan_curve *curve = judging->evidence->curve;
    double base = judging->evidence->base_flow_m3_s, pressure = 0.0;
    if (!curve || !(base > 0.0) || fan_curve_pressure(curve, base, &pressure) != FAN_OK ||
        pressure <= 0.0)
        return false;
    for (size_t i = 0; i < sizeof(places) / sizeof(places[0]); i++) {
        double flow = base * places[i].flow_factor;
        if (fan_curve_pressure(curve, flow, &pressure) != FAN_OK || pressure <= 0.0)
            continue;
        judging->system.curve = curve;
        judging->system.base_flow_m3_s = flow;
        judging->system.base_pressure_pa = pressure;
        judging->system_weight = weight * places[i].weight;
        system_judge(judging);
    }
    return true;
}

static void shapes_judge(struct judging *judging, double exponent, double weight) {
    const struct signature_evidence *evidence = judging->evidence;
    judging->system = (struct response_system){.exponent = exponent};
    if (evidence->base_flow_m3_s > 0.0 && evidence->base_suction_pa > 0.0)
        judging->system.loss = evidence->loss_after_gauge * evidence->base_flow_m3_s *
                               evidence->base_flow_m3_s / evidence->base_suction_pa;
    if (known_curve_judge(judging, weight))
        return;
    for (size_t i = 0; i < sizeof(shapes) / sizeof(shapes[0]); i++) {
        judging->system.fullness = shapes[i].fullness;
        judging->system_weight = weight * shapes[i].weight;
        system_judge(judging);
    }
}

static void finish(struct judging *judging) {
    struct signature_result *result = judging->result;
    double total = 0.0;
    for (int i = 0; i < CAUSE_COUNT; i++)
        total += judging->mass[i];
    for (int i = 0; i < CAUSE_COUNT; i++) {
        double mass = judging->mass[i];
        struct signature_expectation *expected = &result->expected[i];
        result->posterior[i] = total > 0.0 ? mass / total : 0.0;
        if (mass > 0.0 && i != CAUSE_UNKNOWN)
            *expected =
                (struct signature_expectation){expected->suction / mass, expected->flow / mass,
                                               expected->power / mass, expected->field / mass};
        else
            *expected = (struct signature_expectation){NAN, NAN, NAN, NAN};
    }
}

void signature_judge(const struct signature_evidence *evidence, const double prior[CAUSE_COUNT],
                     struct signature_result *result) {
    assert(evidence && prior && result && evidence->hole_count <= DIAGNOSIS_HOLES_MAX);
    *result = (struct signature_result){.unit_factor = NAN};
    for (int i = 0; i < CAUSE_COUNT; i++)
        result->culprit[i] = QUANTITY_COUNT;
    struct judging judging = {.evidence = evidence, .prior = prior, .result = result};
    if (isnan(evidence->ground_exponent)) {
        shapes_judge(&judging, 1.0, 0.25);
        shapes_judge(&judging, 1.5, 0.45);
        shapes_judge(&judging, 2.0, 0.30);
    } else {
        shapes_judge(&judging, fmin(fmax(evidence->ground_exponent, 1.0), 2.0), 1.0);
    }
    finish(&judging);
}
