#include "diagnosis/diagnosis_signature.h"

#include "analysis/response.h"
#include "diagnosis/diagnosis_likelihood.h"
#include "diagnosis/diagnosis_table.h"
#include "measure/unit_mixup.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>

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
    double most_speed;             /* of a fan that holds its suction; 0: it does not */
    struct outlook usual[USUAL_STEPS], steps[LEVER_STEPS];
    double unit_best;
};

/* A fan with control takes the speed that holds its suction, up to the most that it has. */
static double held_speed(const struct judging *judging, struct response_change change) {
    if (!(judging->most_speed > 0.0))
        return change.speed;
    return fmin(response_speed_to_hold(&judging->system, &change),
                judging->most_speed * change.speed);
}

static void usual_outlooks(struct judging *judging, double spread) {
    const struct response_system *system = &judging->system;
    struct outlook *outlooks = judging->usual;
    double total = 0.0;
    for (int i = 0; i < USUAL_STEPS; i++) {
        double z = -1.8 + 3.6 * i / (USUAL_STEPS - 1);
        struct response_change change = {1.0, exp(z * spread), 0.0};
        change.speed = held_speed(judging, change);
        struct response air = response_solve(system, &change);
        outlooks[i] = (struct outlook){air.suction,  air.flow,       air.suction,
                                       change.speed, air.curve_flow, exp(-0.5 * z * z)};
        total += outlooks[i].weight;
    }
    for (int i = 0; i < USUAL_STEPS; i++)
        outlooks[i].weight /= total;
}

static struct outlook lever_outlook(const struct judging *judging, const struct signature *row,
                                    double degree) {
    const struct response_system *system = &judging->system;
    struct response_change change = {.speed = 1.0, .resistance = 1.0, .discharge = 0.0};
    if (row->lever == LEVER_SPEED)
        change.speed = degree;
    else if (row->lever == LEVER_DISCHARGE)
        change.discharge = degree;
    else
        change.resistance = degree;
    change.speed = held_speed(judging, change);
    struct response air = response_solve(system, &change);
    struct outlook outlook = {air.suction,  air.flow,       air.suction,
                              change.speed, air.curve_flow, 1.0 / LEVER_STEPS};
    if (row->lever == LEVER_LEAK_ABOVE)
        outlook.flow = pow(air.suction, 1.0 / system->exponent);
    if (row->field == FIELD_FOLLOWS_SOIL_FLOW)
        outlook.field = pow(air.flow, system->exponent);
    return outlook;
}

/* Without a fan there is nothing, or in the cold what the warm riser pulls by itself: the standing
   fan lets through some of the air or nearly all. */
static size_t stop_outlooks(struct judging *judging) {
    double draft = judging->evidence->draft;
    if (!(draft > 0.0)) {
        judging->steps[0] = (struct outlook){.speed = 1.0, .curve_flow = 1.0, .weight = 1.0};
        return 1;
    }
    for (int i = 0; i < LEVER_STEPS; i++) {
        double suction = fmin(draft, 1.0) * i / (LEVER_STEPS - 1);
        double flow = pow(suction, 1.0 / judging->system.exponent);
        judging->steps[i] = (struct outlook){suction, flow, suction, 1.0, 1.0, 1.0 / LEVER_STEPS};
    }
    return LEVER_STEPS;
}

/* Of the range of degrees, on its logarithmic scale, where a slope is found. */
static const double found_early = 1.0 / 3.0;

static size_t row_outlooks(struct judging *judging, const struct signature *row,
                           const struct outlook **outlooks) {
    if (row->lever == LEVER_USUAL) {
        *outlooks = judging->usual;
        return USUAL_STEPS;
    }
    *outlooks = judging->steps;
    if (row->lever == LEVER_STOP)
        return stop_outlooks(judging);
    bool creeping = judging->evidence->creeping && row->creeping_from > 0.0;
    double from = creeping ? row->creeping_from : row->from;
    double range = creeping ? found_early : 1.0;
    for (int i = 0; i < LEVER_STEPS; i++) {
        double part = (i + 0.5) / LEVER_STEPS;
        double degree = exp(log(from) + part * range * log(row->to / from));
        judging->steps[i] = lever_outlook(judging, row, degree);
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
        return likelihood_of(measured, predicted);
    return likelihood_misread(measured, predicted, row->misread_from, row->misread_to);
}

/* One outlook: what suction, flow, field, radon and power at each slope say of it. */
static double outlook_weight(struct judging *judging, const struct signature *row,
                             const struct outlook *outlook, double share) {
    const struct signature_evidence *evidence = judging->evidence;
    struct signature_measured radon = evidence->radon;
    double weight = share * outlook->weight *
                    sensor_likelihood(&evidence->suction, outlook->suction, row, QUANTITY_SUCTION) *
                    sensor_likelihood(&evidence->flow, outlook->flow, row, QUANTITY_AIRFLOW) *
                    likelihood_field(evidence, row, outlook->field);
    if (row->misread == QUANTITY_RADON) {
        radon.ratio /= row->misread_to;
        weight /= row->misread_to; /* density of the ratio as measured */
    }
    weight *= likelihood_radon(&radon, row->radon);
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
    case QUANTITY_FIELD:
        return !isnan(evidence->holes[row->hole].ratio);
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
        total = share * likelihood_any(&evidence->suction) * likelihood_any(&evidence->flow) *
                likelihood_any(&evidence->power) * likelihood_any_field(evidence) *
                likelihood_radon(&evidence->radon, RADON_MAY_RISE);
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

/* Every sensor that is compared: air, radon, holes. */
struct sensor {
    enum quantity quantity;
    size_t hole;
    const struct signature_measured *measured;
};
enum { SENSORS_MAX = 4 + DIAGNOSIS_HOLES_MAX };

static size_t sensors_of(const struct signature_evidence *evidence,
                         struct sensor sensors[SENSORS_MAX]) {
    const struct sensor all[] = {{QUANTITY_SUCTION, 0, &evidence->suction},
                                 {QUANTITY_AIRFLOW, 0, &evidence->flow},
                                 {QUANTITY_FAN_POWER, 0, &evidence->power},
                                 {QUANTITY_RADON, 0, &evidence->radon}};
    size_t count = 0;
    for (size_t i = 0; i < sizeof(all) / sizeof(all[0]); i++)
        if (!isnan(all[i].measured->ratio))
            sensors[count++] = all[i];
    for (size_t i = 0; i < evidence->hole_count; i++)
        if (!isnan(evidence->holes[i].ratio))
            sensors[count++] = (struct sensor){QUANTITY_FIELD, i, &evidence->holes[i]};
    return count;
}

/* Of all mix-ups; each other unit of a sensor is as likely as the next. Common practice, no source.
 */
static const double share_of_a_sensor = 0.35;

static double share_of_a_unit(const struct unit *declared) {
    size_t units = 0;
    while (declared && unit_mixup_other(declared, units))
        units++;
    return units > 0 ? share_of_a_sensor / (double)units : 0.0;
}

static void unit_judge(struct judging *judging, const struct sensor *sensor) {
    const struct unit *declared = sensor->measured->unit, *sent = NULL;
    double share = share_of_a_unit(declared);
    for (size_t i = 0; declared && (sent = unit_mixup_other(declared, i)); i++) {
        double factor = unit_mixup_seen(declared, sent, 1.0);
        if (sensor->quantity == QUANTITY_AIRFLOW && declared->dimension == DIMENSION_PRESSURE)
            factor = sqrt(factor); /* flow from a velocity pressure */
        const struct signature row = {.cause = CAUSE_UNIT_MIX_UP,
                                      .weight = share,
                                      .misread = sensor->quantity,
                                      .hole = sensor->hole,
                                      .misread_from = factor,
                                      .misread_to = factor};
        double total = row_judge(judging, &row);
        if (total > judging->unit_best) {
            judging->unit_best = total;
            judging->result->declared = declared;
            judging->result->sent = sent;
        }
    }
}

/* Any one of the sensors in any other unit; any one of the holes' sensors at fault. */
static void sensors_judge(struct judging *judging) {
    struct sensor sensors[SENSORS_MAX];
    size_t count = sensors_of(judging->evidence, sensors);
    for (size_t i = 0; i < count; i++) {
        unit_judge(judging, &sensors[i]);
        if (sensors[i].quantity != QUANTITY_FIELD)
            continue;
        struct signature row = {.cause = CAUSE_SENSOR_FAULT,
                                .weight = 0.15 / (double)judging->evidence->hole_count,
                                .misread = QUANTITY_FIELD,
                                .hole = sensors[i].hole,
                                .misread_from = -1.5,
                                .misread_to = 0.75};
        row_judge(judging, &row);
        row.misread_from = 1.35;
        row.misread_to = 4.0;
        row_judge(judging, &row);
    }
}

/* ---- over the shapes of fans and the exponents of grounds ---- */

static const struct {
    double fullness, weight;
} shapes[] = {{0.3, 0.15}, {0.5, 0.2}, {0.64, 0.2}, {0.76, 0.2}, {0.86, 0.15}, {0.93, 0.1}};

static void system_judge(struct judging *judging) {
    usual_outlooks(judging, judging->evidence->ground_spread);
    size_t count = 0;
    const struct signature *signatures = signature_table(&count);
    for (size_t i = 0; i < count; i++)
        row_judge(judging, &signatures[i]);
    sensors_judge(judging);
}

/* Pipe size and pitot factor may be some percent off, so the place on the maker's curve is too. */
static const struct {
    double flow_factor, weight;
} places[] = {{0.92, 0.25}, {1.0, 0.5}, {1.08, 0.25}};

/* Of the suction at commissioning; 0 without a flow to tell it by. */
static double loss_of(const struct signature_evidence *evidence, double pa_per_flow_squared) {
    double flow = evidence->base_flow_m3_s;
    double loss = pa_per_flow_squared * flow * flow / evidence->base_suction_pa;
    return loss > 0.0 && isfinite(loss) ? loss : 0.0;
}

/* False when the curve is not known, or commissioning does not lie on it. Where the file does not
   say what the pipe loses behind the gauge, it is what the curve gives above the suction. */
static bool known_curve_judge(struct judging *judging, double weight) {
    const struct signature_evidence *evidence = judging->evidence;
    const struct fan_curve *curve = evidence->curve;
    double base = evidence->base_flow_m3_s, pressure = 0.0;
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
        judging->system.loss = loss_of(evidence, evidence->loss_after_gauge);
        if (!(evidence->loss_after_gauge > 0.0) && pressure > evidence->base_suction_pa)
            judging->system.loss = pressure / evidence->base_suction_pa - 1.0;
        judging->system_weight = weight * places[i].weight;
        system_judge(judging);
    }
    return true;
}

/* Over that of commissioning: how much faster a fan with control can turn; no source. */
static const struct { double most, weight; } speeds[] = {{1.03, 0.3}, {1.2, 0.4}, {1.45, 0.3}};
enum { SPEEDS = sizeof(speeds) / sizeof(speeds[0]) };

static void shape_judge(struct judging *judging, double loss, double weight) {
    bool holds = judging->evidence->holds_suction;
    judging->system.loss = loss;
    for (size_t i = 0; i < sizeof(shapes) / sizeof(shapes[0]); i++) {
        judging->system.fullness = shapes[i].fullness;
        for (size_t j = 0; j < (holds ? SPEEDS : 1); j++) {
            judging->most_speed = holds ? speeds[j].most : 0.0;
            judging->system_weight = weight * shapes[i].weight * (holds ? speeds[j].weight : 1.0);
            system_judge(judging);
        }
    }
}

static void shapes_judge(struct judging *judging, double exponent, double weight) {
    const struct signature_evidence *evidence = judging->evidence;
    double usual = loss_of(evidence, evidence->usual_loss);
    judging->system = (struct response_system){.exponent = exponent};
    if (known_curve_judge(judging, weight))
        return;
    if (evidence->loss_after_gauge > 0.0) {
        shape_judge(judging, loss_of(evidence, evidence->loss_after_gauge), weight);
    } else if (usual > 0.0) { /* a pipe with few bends, and one with many */
        shape_judge(judging, 0.5 * usual, 0.5 * weight);
        shape_judge(judging, 1.2 * usual, 0.5 * weight);
    } else {
        shape_judge(judging, 0.0, weight);
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
    *result = (struct signature_result){.declared = NULL};
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
