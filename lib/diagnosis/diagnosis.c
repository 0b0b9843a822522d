#include "diagnosis/diagnosis.h"

#include "analysis/ground.h"
#include "diagnosis/diagnosis_claim.h"
#include "diagnosis/diagnosis_prior.h"
#include "diagnosis/diagnosis_signature.h"
#include "measure/airflow.h"
#include "measure/root_sum.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>

static const double least_change = 0.05; /* logarithm: worth a word on the neighbours */
static const double candidate_least = 0.08;
static const double pi = 3.14159265358979323846;
static const double usual_indoor_celsius = 21.0;
static const double usual_stack_height_m = 2.5; /* slab below the neutral level of a usual house */

struct diagnosis_input diagnosis_input_empty(void) {
    const struct diagnosis_signal none = {
        .now = NAN, .baseline = NAN, .relative_uncertainty = NAN, .before = NAN, .scatter = NAN};
    struct diagnosis_input input = {.asked.alone = QUANTITY_COUNT,
                                    .suction = none,
                                    .flow = none,
                                    .power = none,
                                    .radon = none,
                                    .ground_exponent = NAN,
                                    .outdoor_celsius = NAN,
                                    .outdoor_lowest_celsius = NAN,
                                    .outdoor_baseline_celsius = NAN,
                                    .indoor_celsius = NAN,
                                    .humidity_percent = NAN,
                                    .stack_height_m = usual_stack_height_m,
                                    .air_pressure_pa = AIRFLOW_STANDARD_PRESSURE_PA,
                                    .draft_pa = NAN,
                                    .water_level_m = NAN,
                                    .water_rise_m = NAN,
                                    .water_limit_m = NAN,
                                    .change_span_days = NAN,
                                    .since_days = NAN,
                                    .speed_per_year = NAN};
    for (size_t i = 0; i < DIAGNOSIS_HOLES_MAX; i++)
        input.holes[i] = (struct diagnosis_hole){.name = "", .field = none};
    return input;
}

/* ---- evidence for the table of signatures ---- */

/* What a signal is compared with: what the sensor itself showed before, else the record. */
static double base_of(const struct diagnosis_signal *signal) {
    return signal->before > 0.0 ? signal->before : signal->baseline;
}

static bool comparable(const struct diagnosis_signal *signal) {
    double base = base_of(signal);
    return !signal->silent && isfinite(signal->now) && isfinite(base) && base > 0.0 &&
           isfinite(signal->now / base);
}

/* The change came at once, and each sensor is compared with itself just before it. */
static bool came_at_once(const struct diagnosis_input *input,
                         const struct diagnosis_signal *signal) {
    return input->change_span_days < 2.0 && signal->before > 0.0;
}

/* Standard uncertainties: of a usual sensor against the record, relative and at zero (SI); and of
   what the model leaves out, such as line voltage, wind and season. Common practice, no source. */
struct kind_of_sensor {
    double usual, offset_si, model;
};

/* A sensor that is compared with itself has no error of scale, and the scatter that it showed;
   within a few days the model leaves out half as much. */
static struct signature_measured measured(const struct diagnosis_input *input,
                                          const struct diagnosis_signal *signal,
                                          struct kind_of_sensor kind) {
    const double sudden_model = 0.5, usual_of_itself = 0.01;
    if (!comparable(signal))
        return (struct signature_measured){.ratio = NAN};
    bool itself = signal->before > 0.0;
    double base = base_of(signal), relative = itself ? usual_of_itself : kind.usual;
    if (signal->relative_uncertainty > 0.0)
        relative = signal->relative_uncertainty;
    double model = kind.model * (came_at_once(input, signal) ? sudden_model : 1.0);
    double absolute = itself ? fmax(0.25 * kind.offset_si, 1.5 * signal->scatter) : kind.offset_si;
    return (struct signature_measured){.ratio = signal->now / base,
                                       .relative = root_sum(relative, model),
                                       .absolute = fmax(itself ? 0.005 : 0.01, absolute / base),
                                       .unit = signal->unit};
}

/* Pa per (m3/s)^2 from the gauge to the open air: six velocity heads of air of 1.2 kg/m3, common
   practice, no source. */
static double usual_loss(double inside_diameter_m) {
    double area_m2 = 0.25 * pi * inside_diameter_m * inside_diameter_m;
    return area_m2 > 0.0 ? 6.0 * 0.5 * 1.2 / (area_m2 * area_m2) : NAN;
}

static double stack_pa(const struct diagnosis_input *input, double outdoor_celsius) {
    double indoor = isnan(input->indoor_celsius) ? usual_indoor_celsius : input->indoor_celsius;
    return ground_stack_pressure_pa(input->stack_height_m, indoor, outdoor_celsius,
                                    input->air_pressure_pa);
}

/* Between room and slab; where nobody measures it outdoors, of a frosty day. */
static double stack_at_most(const struct diagnosis_input *input) {
    const double frosty_celsius = -5.0;
    return fmax(0.0, stack_pa(input, isnan(input->outdoor_celsius) ? frosty_celsius
                                                                   : input->outdoor_celsius));
}

static void evidence_fill(const struct diagnosis_input *input,
                          struct signature_evidence *evidence) {
    const double spread_over_seasons = 0.2, spread_over_days = 0.07; /* of ln K; no source */
    const double exhaust_pa =
        20.0; /* of kitchen hoods and fireplaces; common practice, no source */
    *evidence = (struct signature_evidence){
        .suction = measured(input, &input->suction, (struct kind_of_sensor){0.02, 2.0, 0.05}),
        .flow = measured(input, &input->flow, (struct kind_of_sensor){0.05, 0.0005, 0.05}),
        .power = measured(input, &input->power, (struct kind_of_sensor){0.03, 0.2, 0.035}),
        .radon = measured(input, &input->radon, (struct kind_of_sensor){0.1, 12.0, 0.05}),
        .hole_count = input->hole_count,
        .ground_spread =
            came_at_once(input, &input->suction) ? spread_over_days : spread_over_seasons,
        .curve = input->riser.curve,
        .base_flow_m3_s = base_of(&input->flow),
        .base_suction_pa = base_of(&input->suction),
        .draft = input->draft_pa / base_of(&input->suction),
        .loss_after_gauge = input->riser.loss_after_gauge,
        .usual_loss = usual_loss(input->riser.pipe_inside_diameter_m),
        .holds_suction = input->riser.holds_suction,
        .creeping = diagnosis_creeps(input),
        .ground_exponent = input->ground_exponent};
    double stack = stack_at_most(input);
    for (size_t i = 0; i < input->hole_count; i++) { /* wind moves the field by pascals */
        const struct diagnosis_signal *field = &input->holes[i].field;
        evidence->holes[i] = measured(input, field, (struct kind_of_sensor){0.12, 1.0, 0.05});
        evidence->hole_stack[i] = comparable(field) ? stack / base_of(field) : 0.0;
        evidence->hole_turn[i] = comparable(field) ? exhaust_pa / base_of(field) : 0.0;
        evidence->hole_shared[i] = input->holes[i].shared;
    }
}

static size_t measurement_count(const struct signature_evidence *evidence) {
    const double ratios[] = {evidence->suction.ratio, evidence->flow.ratio, evidence->power.ratio,
                             evidence->radon.ratio};
    size_t count = 0;
    for (size_t i = 0; i < sizeof(ratios) / sizeof(ratios[0]); i++)
        count += isnan(ratios[i]) ? 0 : 1;
    for (size_t i = 0; i < evidence->hole_count; i++)
        if (!isnan(evidence->holes[i].ratio))
            return count + 1;
    return count;
}

/* ---- the answer ---- */

static void candidates_fill(const double posterior[CAUSE_COUNT], struct diagnosis *diagnosis) {
    bool taken[CAUSE_COUNT] = {false};
    double cap = diagnosis_confidence_cap(diagnosis->measurements);
    while (diagnosis->candidate_count < DIAGNOSIS_CAUSES_MAX) {
        int best = -1;
        for (int i = 0; i < CAUSE_COUNT; i++)
            if (!taken[i] && (best < 0 || posterior[i] > posterior[best]))
                best = i;
        if (best < 0 || (diagnosis->candidate_count > 0 && posterior[best] < candidate_least))
            break;
        taken[best] = true;
        diagnosis->candidates[diagnosis->candidate_count++] = (struct diagnosis_candidate){
            .cause = (enum diagnosis_cause)best, .confidence = cap * posterior[best]};
    }
    diagnosis->cause = diagnosis->candidates[0].cause;
    diagnosis->confidence = diagnosis->candidates[0].confidence;
}

/* How far apart two predictions of one sensor lie, in parts that a sensor can tell. */
static double apart(double one, double other) {
    if (isnan(one) || isnan(other))
        return 0.0;
    return fabs(one - other) / (0.05 + 0.05 * fmax(one, other));
}

static void deciding_fill(const struct signature_evidence *evidence,
                          const struct signature_result *result, struct diagnosis *diagnosis) {
    diagnosis->deciding_sensor = QUANTITY_COUNT;
    if (diagnosis->candidate_count < 2)
        return;
    const struct signature_expectation *one = &result->expected[diagnosis->candidates[0].cause];
    const struct signature_expectation *other = &result->expected[diagnosis->candidates[1].cause];
    const struct {
        enum quantity quantity;
        bool has;
        double apart;
    } sensors[] = {
        {QUANTITY_AIRFLOW, !isnan(evidence->flow.ratio), apart(one->flow, other->flow)},
        {QUANTITY_FAN_POWER, !isnan(evidence->power.ratio), apart(one->power, other->power)},
        {QUANTITY_SUCTION, !isnan(evidence->suction.ratio), apart(one->suction, other->suction)},
        {QUANTITY_FIELD, evidence->hole_count > 0, apart(one->field, other->field)},
    };
    double best = 2.0; /* less than that, the sensor would not tell either */
    for (size_t i = 0; i < sizeof(sensors) / sizeof(sensors[0]); i++)
        if (!sensors[i].has && sensors[i].apart > best) {
            best = sensors[i].apart;
            diagnosis->deciding_sensor = sensors[i].quantity;
        }
}

/* ---- what is told ---- */

/* At most 4 + 2 signals, 2 computed, 3 of weather and water, 7 of reasoning: there is room for all.
 */
static void tell(struct diagnosis *diagnosis, struct diagnosis_fact fact) {
    assert(diagnosis->evidence_count < DIAGNOSIS_EVIDENCE_MAX);
    diagnosis->evidence[diagnosis->evidence_count++] = fact;
}

static struct diagnosis_fact fact_of(enum diagnosis_fact_kind kind, enum quantity quantity,
                                     const char *name) {
    struct diagnosis_fact fact = {.kind = kind, .quantity = quantity};
    snprintf(fact.name, sizeof fact.name, "%s", name ? name : "");
    return fact;
}

static struct diagnosis_fact fact_of_values(enum diagnosis_fact_kind kind, double one, double two,
                                            double three) {
    return (struct diagnosis_fact){
        .kind = kind, .quantity = QUANTITY_COUNT, .values = {one, two, three}};
}

static void tell_ratio(struct diagnosis *diagnosis, enum quantity quantity, const char *name,
                       const struct diagnosis_signal *signal) {
    bool recorded = signal->baseline > 0.0;
    double base = recorded ? signal->baseline : signal->before;
    double percent = 100.0 * signal->now / base;
    bool share = percent >= -0.5 && percent < 1000.0;
    struct diagnosis_fact fact = fact_of(share      ? recorded ? FACT_RATIO : FACT_RATIO_BEFORE
                                         : recorded ? FACT_JUMP
                                                    : FACT_JUMP_BEFORE,
                                         quantity, name);
    fact.values[0] = signal->now;
    fact.values[1] = base;
    tell(diagnosis, fact);
}

static void tell_signal(struct diagnosis *diagnosis, enum quantity quantity, const char *name,
                        const struct diagnosis_signal *signal) {
    if (comparable(signal))
        tell_ratio(diagnosis, quantity, name, signal);
    else if (signal->silent)
        tell(diagnosis, fact_of(FACT_SILENT, quantity, name));
}

/* The two holes that have lost most. */
static void tell_holes(const struct diagnosis_input *input, struct diagnosis *diagnosis) {
    bool told[DIAGNOSIS_HOLES_MAX] = {false};
    for (int turn = 0; turn < 2; turn++) {
        size_t worst = input->hole_count;
        double lowest = INFINITY;
        for (size_t i = 0; i < input->hole_count; i++) {
            const struct diagnosis_signal *field = &input->holes[i].field;
            if (!told[i] && comparable(field) && field->now / field->baseline < lowest) {
                lowest = field->now / field->baseline;
                worst = i;
            }
        }
        if (worst == input->hole_count)
            return;
        told[worst] = true;
        tell_signal(diagnosis, QUANTITY_FIELD, input->holes[worst].name,
                    &input->holes[worst].field);
    }
}

static double value_or_nan(const struct diagnosis_signal *signal, double value) {
    return signal->silent ? NAN : value;
}

static void tell_fan_and_ground(const struct diagnosis_input *input, struct diagnosis *diagnosis) {
    struct fan_state now = {fmax(0.0, value_or_nan(&input->suction, input->suction.now)),
                            value_or_nan(&input->flow, input->flow.now),
                            value_or_nan(&input->power, input->power.now), NAN};
    struct fan_state then = {input->suction.baseline, input->flow.baseline, input->power.baseline,
                             NAN};
    if (isnan(input->suction.now)) /* fmax drops the NaN */
        now.suction_pa = NAN;
    struct fan_uncertainty uncertainty = fan_uncertainty_make(NAN, NAN, NAN, true);
    double loss = fan_loss_after_gauge(input->riser.loss_after_gauge, input->riser.curve, &then);
    diagnosis->has_speed =
        !input->riser.holds_suction &&
        fan_ratio(input->riser.curve, &now, &then, loss, &uncertainty, &diagnosis->speed) == FAN_OK;
    if (diagnosis->has_speed) {
        const struct fan_speed_ratio *speed = &diagnosis->speed;
        struct diagnosis_fact fact =
            fact_of_values(FACT_SPEED, speed->ratio, speed->lower, speed->upper);
        fact.method = speed->method;
        tell(diagnosis, fact);
    }
    struct ground_uncertainty ground_uncertainty = ground_uncertainty_default();
    struct ground_ratio ground;
    if (ground_resistance_ratio(&(struct ground_state){now.suction_pa, now.flow_m3_s},
                                &(struct ground_state){then.suction_pa, then.flow_m3_s},
                                input->ground_exponent, &ground_uncertainty, &ground) == GROUND_OK)
        tell(diagnosis, fact_of_values(FACT_GROUND, ground.ratio, ground.lower, ground.upper));
}

static bool is_candidate(const struct diagnosis *diagnosis, enum diagnosis_cause cause) {
    for (size_t i = 0; i < diagnosis->candidate_count; i++)
        if (diagnosis->candidates[i].cause == cause)
            return true;
    return false;
}

static void tell_weather(const struct diagnosis_input *input, struct diagnosis *diagnosis) {
    if (input->outdoor_lowest_celsius < 0.0 && is_candidate(diagnosis, CAUSE_BLOCKED_DISCHARGE))
        tell(diagnosis, fact_of_values(FACT_FROST, input->outdoor_lowest_celsius, 0.0, 0.0));
    double more =
        stack_pa(input, input->outdoor_celsius) - stack_pa(input, input->outdoor_baseline_celsius);
    if (more > 0.5 && input->hole_count > 0)
        tell(diagnosis, fact_of_values(FACT_STACK, more, 0.0, 0.0));
    if (diagnosis_water_is_high(input))
        tell(diagnosis,
             fact_of_values(FACT_WATER, input->water_level_m, input->water_limit_m, 0.0));
}

static void tell_span(double span_days, struct diagnosis *diagnosis) {
    if (span_days < 2.0)
        tell(diagnosis, fact_of_values(FACT_AT_ONCE, fmax(1.0, span_days * 24.0), 0.0, 0.0));
    else
        tell(diagnosis, fact_of_values(FACT_SLOWLY, span_days, 0.0, 0.0));
}

static void tell_alternatives(struct diagnosis *diagnosis) {
    for (size_t i = 1; i < diagnosis->candidate_count; i++) {
        struct diagnosis_fact also =
            fact_of_values(FACT_ALSO, diagnosis->candidates[i].confidence, 0.0, 0.0);
        also.cause = diagnosis->candidates[i].cause;
        if (also.cause != CAUSE_NONE)
            tell(diagnosis, also);
    }
    if (diagnosis->deciding_sensor != QUANTITY_COUNT) {
        struct diagnosis_fact deciding = fact_of(FACT_DECIDING, diagnosis->deciding_sensor, NULL);
        deciding.cause = diagnosis->candidates[0].cause;
        deciding.other = diagnosis->candidates[1].cause;
        tell(diagnosis, deciding);
    } else if (diagnosis->claim_count != 1 && diagnosis->candidate_count > 1 &&
               diagnosis->cause != CAUSE_NONE && diagnosis->cause != CAUSE_UNKNOWN) {
        tell(diagnosis, fact_of(FACT_OPEN, QUANTITY_COUNT, NULL));
    }
}

static void tell_reasoning(const struct diagnosis_input *input, struct diagnosis *diagnosis) {
    if (diagnosis->sent) {
        struct diagnosis_fact unit = fact_of(FACT_UNIT, diagnosis->culprit, NULL);
        unit.declared = diagnosis->declared;
        unit.sent = diagnosis->sent;
        tell(diagnosis, unit);
    }
    if (diagnosis->claim_count == 1 && diagnosis->measurements > 1 && !diagnosis_creeps(input)) {
        struct diagnosis_fact reasoning = fact_of(FACT_REASONING, QUANTITY_COUNT, NULL);
        reasoning.cause = diagnosis->cause;
        tell(diagnosis, reasoning);
    }
    if (isfinite(input->change_span_days) && diagnosis->cause != CAUSE_NONE)
        tell_span(input->change_span_days, diagnosis);
    if (input->last_year_month > 0) {
        struct diagnosis_fact last = fact_of(FACT_LAST_YEAR, QUANTITY_COUNT, NULL);
        last.count = input->last_year_month;
        tell(diagnosis, last);
    }
    tell_alternatives(diagnosis);
}

/* `about`: the one sensor that is meant, else all. */
static void list_add(enum visit_item list[DIAGNOSIS_LIST_MAX], size_t *count, size_t most,
                     enum visit_item item, enum quantity about) {
    for (size_t i = 0; i < *count; i++)
        if (list[i] == item)
            return;
    if (*count < most && item != VISIT_NONE && visit_item_fits(item, about))
        list[(*count)++] = item;
}

static void lists_add_cause(struct diagnosis *diagnosis, size_t candidate, enum quantity about) {
    const size_t room = DIAGNOSIS_LIST_MAX - 2;
    const struct diagnosis_cause_items *items =
        diagnosis_cause_items(diagnosis->candidates[candidate].cause);
    size_t most = candidate == 0 ? VISIT_ITEMS_MOST : 2;
    for (size_t i = 0; i < most; i++) {
        list_add(diagnosis->check, &diagnosis->check_count, room, items->check[i], about);
        list_add(diagnosis->bring, &diagnosis->bring_count, DIAGNOSIS_LIST_MAX, items->bring[i],
                 about);
    }
}

/* All of the first cause, the first two of each other; the cautions always have room at the end. */
static void lists_fill(enum quantity about, struct diagnosis *diagnosis) {
    bool electrical = false, changes = false;
    for (size_t i = 0; i < diagnosis->candidate_count; i++) {
        enum diagnosis_cause cause = diagnosis->candidates[i].cause;
        if (cause == CAUSE_NONE)
            continue;
        lists_add_cause(diagnosis, i, about);
        electrical = electrical || cause == CAUSE_FAN_OFF || cause == CAUSE_FAN_WORN;
        changes = changes || (cause != CAUSE_GAUGE_TUBE && cause != CAUSE_UNIT_MIX_UP &&
                              cause != CAUSE_SENSOR_FAULT);
    }
    if (electrical)
        list_add(diagnosis->check, &diagnosis->check_count, DIAGNOSIS_LIST_MAX, VISIT_ELECTRICIAN,
                 QUANTITY_COUNT);
    if (changes)
        list_add(diagnosis->check, &diagnosis->check_count, DIAGNOSIS_LIST_MAX, VISIT_BACK_DRAFT,
                 QUANTITY_COUNT);
}

static void tell_all(const struct diagnosis_input *input, struct diagnosis *diagnosis) {
    /* Of one sensor alone the others say nothing. */
    if (!input->asked.refused && !input->asked.other_unit) {
        const char *branch = input->riser.branch;
        tell_signal(diagnosis, QUANTITY_SUCTION, branch, &input->suction);
        tell_signal(diagnosis, QUANTITY_AIRFLOW, branch, &input->flow);
        tell_signal(diagnosis, QUANTITY_FAN_POWER, branch, &input->power);
        tell_holes(input, diagnosis);
        tell_signal(diagnosis, QUANTITY_RADON, NULL, &input->radon);
        tell_fan_and_ground(input, diagnosis);
        tell_weather(input, diagnosis);
    }
    tell_reasoning(input, diagnosis);
}

static void weigh_causes(const struct diagnosis_input *input,
                         const struct signature_evidence *evidence, struct signature_result *result,
                         struct diagnosis *diagnosis) {
    if (input->asked.refused) { /* shares from experience of the trade, no source */
        result->posterior[CAUSE_UNIT_MIX_UP] = 0.6;
        result->posterior[CAUSE_SENSOR_FAULT] = 0.4;
        diagnosis->measurements = 1;
        tell(diagnosis, fact_of(FACT_REFUSED, QUANTITY_COUNT, NULL));
    } else if (input->asked.other_unit) {
        result->posterior[CAUSE_UNIT_MIX_UP] = 0.95;
        result->posterior[CAUSE_SENSOR_FAULT] = 0.05;
        diagnosis->measurements = 2; /* what it read before, and now */
        tell(diagnosis, fact_of(FACT_OTHER_UNIT, QUANTITY_COUNT, NULL));
    } else if (diagnosis->measurements > 0 || diagnosis_water_is_high(input)) {
        double prior[CAUSE_COUNT];
        diagnosis_prior_fill(input, evidence, prior);
        if (diagnosis_creeps(input))
            tell(diagnosis, fact_of_values(FACT_FADING, -input->speed_per_year, 0.0, 0.0));
        signature_judge(evidence, prior, result);
        if (diagnosis_water_is_high(input))
            diagnosis->measurements++;
    } else {
        result->posterior[CAUSE_UNKNOWN] = 1.0;
        tell(diagnosis, fact_of(FACT_NOTHING, QUANTITY_COUNT, NULL));
    }
}

void diagnosis_make(const struct diagnosis_input *input, struct diagnosis *diagnosis) {
    assert(input && diagnosis && input->hole_count <= DIAGNOSIS_HOLES_MAX);
    *diagnosis = (struct diagnosis){.culprit = QUANTITY_COUNT, .deciding_sensor = QUANTITY_COUNT};
    struct signature_evidence evidence;
    diagnosis->frost = input->outdoor_lowest_celsius < 0.0 ||
                       (isnan(input->outdoor_lowest_celsius) && diagnosis_cold_season(input));
    evidence_fill(input, &evidence);
    diagnosis->measurements = measurement_count(&evidence);
    struct signature_result result = {.declared = NULL};
    weigh_causes(input, &evidence, &result, diagnosis);
    candidates_fill(result.posterior, diagnosis);
    diagnosis->claim_count = diagnosis_claim_count(result.posterior, diagnosis);
    bool alone = input->asked.refused || input->asked.other_unit;
    if (diagnosis->measurements > 0 && !alone && !diagnosis_creeps(input)) {
        diagnosis->culprit = result.culprit[diagnosis->cause];
        if (diagnosis->cause == CAUSE_UNIT_MIX_UP) {
            diagnosis->declared = result.declared;
            diagnosis->sent = result.sent;
        }
        deciding_fill(&evidence, &result, diagnosis);
    }
    tell_all(input, diagnosis);
    lists_fill(alone ? input->asked.alone : QUANTITY_COUNT, diagnosis);
}

void diagnosis_tell_neighbours(struct diagnosis *diagnosis,
                               const struct diagnosis_neighbours *neighbours) {
    double own = neighbours->own, theirs = neighbours->theirs;
    bool fell = own < 0.0, same = (theirs < 0.0) == fell;
    bool shared =
        same && fabs(theirs) > 2.0 * neighbours->uncertainty && fabs(theirs) >= fabs(own) / 3.0;
    if (fabs(own) < least_change || diagnosis->evidence_count == DIAGNOSIS_EVIDENCE_MAX)
        return;
    struct diagnosis_fact fact = fact_of(shared ? fell ? FACT_SHARED_FALL : FACT_SHARED_RISE
                                         : fell ? FACT_OWN_FALL
                                                : FACT_OWN_RISE,
                                         neighbours->quantity, neighbours->region);
    fact.values[0] = own;
    fact.values[1] = theirs;
    fact.days = (int)neighbours->days;
    fact.count = (int)neighbours->houses;
    tell(diagnosis, fact);
}
