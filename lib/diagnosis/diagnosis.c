#include "diagnosis/diagnosis.h"

#include "analysis/ground.h"
#include "diagnosis/diagnosis_signature.h"
#include "diagnosis/diagnosis_texts.h"

#include <assert.h>
#include <math.h>

static const double candidate_least = 0.08;
static const double stack_height_m = 2.5; /* slab below the neutral level of a usual house */

struct diagnosis_input diagnosis_input_empty(enum unit_system units) {
    const struct diagnosis_signal none = {NAN, NAN, NAN, false};
    struct diagnosis_input input = {.units = units,
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
                                    .water_level_m = NAN,
                                    .water_limit_m = NAN,
                                    .change_span_days = NAN,
                                    .since_days = NAN,
                                    .speed_per_year = NAN};
    for (size_t i = 0; i < DIAGNOSIS_HOLES_MAX; i++)
        input.holes[i] = (struct diagnosis_hole){.name = "", .field = none};
    return input;
}

/* ---- evidence for the table of signatures ---- */

static bool comparable(const struct diagnosis_signal *signal) {
    return !signal->silent && isfinite(signal->now) && isfinite(signal->baseline) &&
           signal->baseline > 0.0 && isfinite(signal->now / signal->baseline);
}

/* `usual_relative` and `offset` are the spread of a usual sensor; common practice, no source. */
static struct signature_measured measured(const struct diagnosis_signal *signal,
                                          double usual_relative, double offset) {
    if (!comparable(signal))
        return (struct signature_measured){NAN, usual_relative, offset};
    bool given = signal->relative_uncertainty > 0.0;
    return (struct signature_measured){.ratio = signal->now / signal->baseline,
                                       .relative =
                                           given ? signal->relative_uncertainty : usual_relative,
                                       .absolute = fmax(0.01, offset / signal->baseline)};
}

static void evidence_fill(const struct diagnosis_input *input,
                          struct signature_evidence *evidence) {
    *evidence = (struct signature_evidence){.suction = measured(&input->suction, 0.02, 2.0),
                                            .flow = measured(&input->flow, 0.05, 0.0005),
                                            .power = measured(&input->power, 0.03, 0.2),
                                            .radon = measured(&input->radon, 0.1, 5.0),
                                            .hole_count = input->hole_count,
                                            .curve = input->curve,
                                            .base_flow_m3_s = input->flow.baseline,
                                            .base_suction_pa = input->suction.baseline,
                                            .loss_after_gauge = input->loss_after_gauge,
                                            .ground_exponent = input->ground_exponent};
    for (size_t i = 0; i < input->hole_count;
         i++) /* wind and stack effect move the field by pascals */
        evidence->holes[i] = measured(&input->holes[i].field, 0.12, 1.0);
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

/* ---- how often each cause comes, before measuring ---- */

static bool cold_season(const struct diagnosis_input *input) {
    return input->month >= 11 || (input->month >= 1 && input->month <= 3);
}

static bool water_is_high(const struct diagnosis_input *input) {
    return input->water_level_m >= input->water_limit_m; /* false with NaN */
}

static void prior_by_weather(const struct diagnosis_input *input, double prior[CAUSE_COUNT]) {
    if (input->outdoor_lowest_celsius < 0.0)
        prior[CAUSE_BLOCKED_DISCHARGE] *= input->humidity_percent > 80.0 ? 4.0 : 3.0;
    else if (input->outdoor_lowest_celsius > 5.0)
        prior[CAUSE_BLOCKED_DISCHARGE] *= 0.5;
    else if (isnan(input->outdoor_lowest_celsius) && cold_season(input))
        prior[CAUSE_BLOCKED_DISCHARGE] *= 1.5;
    if (water_is_high(input)) {
        prior[CAUSE_WATER_HIGH] = 20.0;
        prior[CAUSE_BLOCKED_BEFORE] *= 2.0;
    }
}

static void prior_by_onset(const struct diagnosis_input *input, double prior[CAUSE_COUNT]) {
    if (input->change_span_days < 2.0) {
        prior[CAUSE_FAN_WORN] *= 0.4;
        prior[CAUSE_FAN_OFF] *= 1.5;
        prior[CAUSE_GAUGE_TUBE] *= 1.5;
        prior[CAUSE_LEAK] *= 1.3;
        prior[CAUSE_UNIT_MIX_UP] *= 2.0;
    } else if (input->change_span_days > 14.0) {
        prior[CAUSE_FAN_WORN] *= 2.0;
        prior[CAUSE_FAN_OFF] *= 0.3;
        prior[CAUSE_GAUGE_TUBE] *= 0.5;
        prior[CAUSE_UNIT_MIX_UP] *= 0.1;
    }
}

/* Relative weights from experience of the trade, no source; the measurements soon outweigh them. */
static void prior_fill(const struct diagnosis_input *input,
                       const struct signature_evidence *evidence, double prior[CAUSE_COUNT]) {
    static const double usual[CAUSE_COUNT] = {
        [CAUSE_NONE] = 8.0,         [CAUSE_FAN_OFF] = 1.0,        [CAUSE_FAN_WORN] = 1.0,
        [CAUSE_LEAK] = 1.0,         [CAUSE_BLOCKED_BEFORE] = 0.8, [CAUSE_BLOCKED_DISCHARGE] = 0.5,
        [CAUSE_GAUGE_TUBE] = 0.5,   [CAUSE_FIELD_LOST] = 0.6,     [CAUSE_RADON_ENTRY] = 0.5,
        [CAUSE_UNIT_MIX_UP] = 0.15, [CAUSE_SENSOR_FAULT] = 0.3,   [CAUSE_WATER_HIGH] = 0.0,
        [CAUSE_UNKNOWN] = 0.1};
    for (int i = 0; i < CAUSE_COUNT; i++)
        prior[i] = usual[i];
    if (input->alarm_stands)
        prior[CAUSE_NONE] = 0.5;
    if (input->implausible) { /* whatever else: what was read can't be true */
        prior[CAUSE_NONE] = 0.0;
        prior[CAUSE_UNIT_MIX_UP] = 20.0;
        prior[CAUSE_SENSOR_FAULT] = 5.0;
    }
    bool has_field = false;
    for (size_t i = 0; i < evidence->hole_count; i++)
        has_field = has_field || !isnan(evidence->holes[i].ratio);
    if (!has_field)
        prior[CAUSE_FIELD_LOST] = 0.0;
    bool has_air = !isnan(evidence->suction.ratio) || !isnan(evidence->flow.ratio) ||
                   !isnan(evidence->power.ratio) || has_field;
    if (!has_air) /* radon alone says nothing of fan and pipe */
        prior[CAUSE_RADON_ENTRY] *= 2.0;
    prior_by_weather(input, prior);
    prior_by_onset(input, prior);
}

/*
 * A fan that slowly gets slower is known days before the loss is large enough for the signatures:
 * flow and suction together leave a fan that wears, a discharge that closes bit by bit (what it
 * takes lies behind the gauge), or a sensor that drifts. Shares from experience of the trade, no
 * source.
 */
static void judge_fading(const struct diagnosis_input *input, double posterior[CAUSE_COUNT]) {
    double share[CAUSE_COUNT] = {[CAUSE_FAN_WORN] = 0.80,
                                 [CAUSE_BLOCKED_DISCHARGE] = 0.08,
                                 [CAUSE_SENSOR_FAULT] = 0.07,
                                 [CAUSE_UNKNOWN] = 0.05};
    double sum = 0.0;
    prior_by_weather(input, share);
    share[CAUSE_WATER_HIGH] = 0.0; /* before the gauge: it can't look like this */
    for (int i = 0; i < CAUSE_COUNT; i++)
        sum += share[i];
    for (int i = 0; i < CAUSE_COUNT; i++)
        posterior[i] = share[i] / sum;
}

/* ---- the answer ---- */

static double confidence_cap(size_t measurements) {
    static const double caps[] = {0.0, 0.6, 0.85, 0.93, 0.97};
    return caps[measurements > 4 ? 4 : measurements];
}

static void candidates_fill(const double posterior[CAUSE_COUNT], struct diagnosis *diagnosis) {
    bool taken[CAUSE_COUNT] = {false};
    double cap = confidence_cap(diagnosis->measurements);
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

/* ---- words ---- */

/* At most 4 + 2 signals, 2 computed, 3 of weather and water, 7 of reasoning: there is room for all.
 */
static char *next_sentence(struct diagnosis *diagnosis) {
    assert(diagnosis->evidence_count < DIAGNOSIS_EVIDENCE_MAX);
    return diagnosis->evidence[diagnosis->evidence_count++];
}

static void tell_signal(struct diagnosis *diagnosis, enum quantity quantity, const char *name,
                        const struct diagnosis_signal *signal, enum unit_system units) {
    if (comparable(signal))
        diagnosis_text_ratio(next_sentence(diagnosis), DIAGNOSIS_SENTENCE_BYTES, quantity, name,
                             signal, units);
    else if (signal->silent)
        diagnosis_text_silent(next_sentence(diagnosis), DIAGNOSIS_SENTENCE_BYTES, quantity, name);
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
        tell_signal(diagnosis, QUANTITY_FIELD, input->holes[worst].name, &input->holes[worst].field,
                    input->units);
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
    diagnosis->has_speed = fan_ratio(input->curve, &now, &then, input->loss_after_gauge,
                                     &uncertainty, &diagnosis->speed) == FAN_OK;
    if (diagnosis->has_speed)
        diagnosis_text_speed(next_sentence(diagnosis), DIAGNOSIS_SENTENCE_BYTES, &diagnosis->speed);
    struct ground_uncertainty ground_uncertainty = ground_uncertainty_default();
    struct ground_ratio ground;
    if (ground_resistance_ratio(&(struct ground_state){now.suction_pa, now.flow_m3_s},
                                &(struct ground_state){then.suction_pa, then.flow_m3_s},
                                input->ground_exponent, &ground_uncertainty, &ground) == GROUND_OK)
        diagnosis_text_ground(next_sentence(diagnosis), DIAGNOSIS_SENTENCE_BYTES, &ground);
}

static bool is_candidate(const struct diagnosis *diagnosis, enum diagnosis_cause cause) {
    for (size_t i = 0; i < diagnosis->candidate_count; i++)
        if (diagnosis->candidates[i].cause == cause)
            return true;
    return false;
}

static void tell_weather(const struct diagnosis_input *input, struct diagnosis *diagnosis) {
    if (input->outdoor_lowest_celsius < 0.0 && is_candidate(diagnosis, CAUSE_BLOCKED_DISCHARGE))
        diagnosis_text_frost(next_sentence(diagnosis), DIAGNOSIS_SENTENCE_BYTES,
                             input->outdoor_lowest_celsius, input->units);
    double indoor = isnan(input->indoor_celsius) ? 21.0 : input->indoor_celsius;
    double more = ground_stack_pressure_pa(stack_height_m, indoor, input->outdoor_celsius) -
                  ground_stack_pressure_pa(stack_height_m, indoor, input->outdoor_baseline_celsius);
    if (more > 0.5 && input->hole_count > 0)
        diagnosis_text_stack(next_sentence(diagnosis), DIAGNOSIS_SENTENCE_BYTES, more);
    if (water_is_high(input))
        diagnosis_text_water(next_sentence(diagnosis), DIAGNOSIS_SENTENCE_BYTES,
                             input->water_level_m, input->water_limit_m, input->units);
}

static void tell_reasoning(const struct diagnosis_input *input, struct diagnosis *diagnosis) {
    const char *reasoning = diagnosis_cause_texts(diagnosis->cause)->reasoning;
    if (diagnosis->cause == CAUSE_UNIT_MIX_UP && diagnosis->culprit != QUANTITY_COUNT)
        diagnosis_text_unit(next_sentence(diagnosis), DIAGNOSIS_SENTENCE_BYTES, diagnosis->culprit,
                            diagnosis->unit_factor);
    if (reasoning && diagnosis->measurements > 1 && isnan(input->speed_per_year)) {
        char *sentence = next_sentence(diagnosis);
        size_t i = 0;
        for (; reasoning[i] && i + 1 < DIAGNOSIS_SENTENCE_BYTES; i++)
            sentence[i] = reasoning[i];
        sentence[i] = '\0';
    }
    if (isfinite(input->change_span_days) && diagnosis->cause != CAUSE_NONE)
        diagnosis_text_span(next_sentence(diagnosis), DIAGNOSIS_SENTENCE_BYTES,
                            input->change_span_days);
    for (size_t i = 1; i < diagnosis->candidate_count; i++)
        if (diagnosis->candidates[i].cause != CAUSE_NONE)
            diagnosis_text_alternative(next_sentence(diagnosis), DIAGNOSIS_SENTENCE_BYTES,
                                       diagnosis->candidates[i].cause,
                                       diagnosis->candidates[i].confidence);
    if (diagnosis->deciding_sensor != QUANTITY_COUNT)
        diagnosis_text_deciding(next_sentence(diagnosis), DIAGNOSIS_SENTENCE_BYTES,
                                diagnosis->deciding_sensor, diagnosis->candidates[0].cause,
                                diagnosis->candidates[1].cause);
}

static void list_add(const char *list[DIAGNOSIS_LIST_MAX], size_t *count, size_t most,
                     const char *text) {
    for (size_t i = 0; i < *count; i++)
        if (list[i] == text)
            return;
    if (*count < most && text)
        list[(*count)++] = text;
}

/* All of the first cause, the first two of each other; the cautions always have room at the end. */
static void lists_fill(struct diagnosis *diagnosis) {
    const size_t room = DIAGNOSIS_LIST_MAX - 2;
    bool electrical = false, changes = false;
    for (size_t i = 0; i < diagnosis->candidate_count; i++) {
        enum diagnosis_cause cause = diagnosis->candidates[i].cause;
        if (cause == CAUSE_NONE)
            continue;
        const struct diagnosis_cause_texts *texts = diagnosis_cause_texts(cause);
        size_t most = i == 0 ? DIAGNOSIS_TEXTS_PER_CAUSE : 2;
        for (size_t j = 0; j < most && texts->check[j]; j++)
            list_add(diagnosis->check, &diagnosis->check_count, room, texts->check[j]);
        for (size_t j = 0; j < most && texts->bring[j]; j++)
            list_add(diagnosis->bring, &diagnosis->bring_count, DIAGNOSIS_LIST_MAX,
                     texts->bring[j]);
        electrical = electrical || cause == CAUSE_FAN_OFF || cause == CAUSE_FAN_WORN;
        changes = changes || (cause != CAUSE_GAUGE_TUBE && cause != CAUSE_UNIT_MIX_UP &&
                              cause != CAUSE_SENSOR_FAULT);
    }
    if (electrical)
        list_add(diagnosis->check, &diagnosis->check_count, DIAGNOSIS_LIST_MAX,
                 diagnosis_text_electrician);
    if (changes)
        list_add(diagnosis->check, &diagnosis->check_count, DIAGNOSIS_LIST_MAX,
                 diagnosis_text_back_draft);
}

static void tell_all(const struct diagnosis_input *input, struct diagnosis *diagnosis) {
    tell_signal(diagnosis, QUANTITY_SUCTION, NULL, &input->suction, input->units);
    tell_signal(diagnosis, QUANTITY_AIRFLOW, NULL, &input->flow, input->units);
    tell_signal(diagnosis, QUANTITY_FAN_POWER, NULL, &input->power, input->units);
    tell_holes(input, diagnosis);
    tell_signal(diagnosis, QUANTITY_RADON, NULL, &input->radon, input->units);
    tell_fan_and_ground(input, diagnosis);
    tell_weather(input, diagnosis);
    tell_reasoning(input, diagnosis);
}

void diagnosis_make(const struct diagnosis_input *input, struct diagnosis *diagnosis) {
    assert(input && diagnosis && input->hole_count <= DIAGNOSIS_HOLES_MAX);
    *diagnosis = (struct diagnosis){
        .culprit = QUANTITY_COUNT, .deciding_sensor = QUANTITY_COUNT, .unit_factor = NAN};
    struct signature_evidence evidence;
    evidence_fill(input, &evidence);
    diagnosis->measurements = measurement_count(&evidence);
    struct signature_result result = {.unit_factor = NAN};
    if (input->refused) { /* shares from experience of the trade, no source */
        result.posterior[CAUSE_UNIT_MIX_UP] = 0.6;
        result.posterior[CAUSE_SENSOR_FAULT] = 0.4;
        diagnosis->measurements = 1;
        diagnosis_text_refused(next_sentence(diagnosis), DIAGNOSIS_SENTENCE_BYTES);
    } else if (isfinite(input->speed_per_year)) {
        judge_fading(input, result.posterior);
        diagnosis_text_fading(next_sentence(diagnosis), DIAGNOSIS_SENTENCE_BYTES,
                              input->speed_per_year);
    } else if (diagnosis->measurements > 0 || water_is_high(input)) {
        double prior[CAUSE_COUNT];
        prior_fill(input, &evidence, prior);
        signature_judge(&evidence, prior, &result);
        if (water_is_high(input))
            diagnosis->measurements++;
    } else {
        result.posterior[CAUSE_UNKNOWN] = 1.0;
        diagnosis_text_nothing(next_sentence(diagnosis), DIAGNOSIS_SENTENCE_BYTES);
    }
    candidates_fill(result.posterior, diagnosis);
    if (diagnosis->measurements > 0 && !input->refused && isnan(input->speed_per_year)) {
        diagnosis->culprit = result.culprit[diagnosis->cause];
        if (diagnosis->cause == CAUSE_UNIT_MIX_UP)
            diagnosis->unit_factor = result.unit_factor;
        deciding_fill(&evidence, &result, diagnosis);
    }
    tell_all(input, diagnosis);
    lists_fill(diagnosis);
}
