#include "diagnosis/diagnosis_prior.h"

#include <math.h>
#include <string.h>

static const double slow_days = 14.0, sudden_days = 2.0;

bool diagnosis_cold_season(const struct diagnosis_input *input) {
    return input->month >= 11 || (input->month >= 1 && input->month <= 3);
}

/* What came in a day or two is no wear, whatever slope a line through it has. */
bool diagnosis_creeps(const struct diagnosis_input *input) {
    return isfinite(input->speed_per_year) && !(input->change_span_days < sudden_days);
}

bool diagnosis_water_is_high(const struct diagnosis_input *input) {
    return input->water_level_m >= input->water_limit_m; /* false with NaN */
}

/* Ice grows where damp soil air meets cold pipe: most above a roof, with the fan in a cold attic.
 */
static double ice_factor(const struct diagnosis_input *input) {
    double damp = input->humidity_percent > 80.0 ? 1.3 : 1.0; /* false with NaN */
    return 3.0 * damp * (input->roof_discharge ? 1.3 : 1.0);
}

/* Who measures the water knows of it; where nobody does, wet ground is one of the causes. */
static void prior_by_water(const struct diagnosis_input *input, double prior[CAUSE_COUNT]) {
    const double risen_m = 0.05;
    if (diagnosis_water_is_high(input)) {
        prior[CAUSE_WATER_HIGH] = 20.0;
        prior[CAUSE_BLOCKED_BEFORE] *= 2.0;
    } else if (input->water_rise_m > risen_m) {
        prior[CAUSE_WATER_HIGH] *= 5.0;
    } else if (isfinite(input->water_level_m)) {
        prior[CAUSE_WATER_HIGH] *= 0.1;
    }
}

static void prior_by_weather(const struct diagnosis_input *input, double prior[CAUSE_COUNT]) {
    if (input->outdoor_lowest_celsius < 0.0)
        prior[CAUSE_BLOCKED_DISCHARGE] *= ice_factor(input);
    else if (input->outdoor_lowest_celsius > 5.0)
        prior[CAUSE_BLOCKED_DISCHARGE] *= 0.5;
    else if (isnan(input->outdoor_lowest_celsius) && diagnosis_cold_season(input))
        prior[CAUSE_BLOCKED_DISCHARGE] *= 1.5;
    prior_by_water(input, prior);
}

static void prior_by_onset(const struct diagnosis_input *input, double prior[CAUSE_COUNT]) {
    if (input->change_span_days < sudden_days) {
        prior[CAUSE_FAN_WORN] *= 0.4;
        prior[CAUSE_FAN_OFF] *= 1.5;
        prior[CAUSE_GAUGE_TUBE] *= 1.5;
        prior[CAUSE_LEAK] *= 1.3;
        prior[CAUSE_BLOCKED_BEFORE] *= 0.6;
        prior[CAUSE_SENSOR_FAULT] *= 0.5;
        prior[CAUSE_UNIT_MIX_UP] *= 2.0;
    } else if (input->change_span_days > slow_days) {
        prior[CAUSE_FAN_WORN] *= 2.0;
        prior[CAUSE_FAN_OFF] *= 0.05;
        prior[CAUSE_GAUGE_TUBE] *= 0.15;
        prior[CAUSE_BLOCKED_BEFORE] *= 2.0;
        prior[CAUSE_UNIT_MIX_UP] *= 0.01;
    }
}

/* Relative weights from experience of the trade, no source; the measurements soon outweigh them. */
static void fill_usual(const struct diagnosis_input *input,
                       const struct signature_evidence *evidence, double prior[CAUSE_COUNT]) {
    static const double usual[CAUSE_COUNT] = {
        [CAUSE_NONE] = 8.0,         [CAUSE_FAN_OFF] = 1.0,        [CAUSE_FAN_WORN] = 1.0,
        [CAUSE_LEAK] = 1.0,         [CAUSE_BLOCKED_BEFORE] = 0.8, [CAUSE_BLOCKED_DISCHARGE] = 0.5,
        [CAUSE_GAUGE_TUBE] = 0.5,   [CAUSE_FIELD_LOST] = 0.6,     [CAUSE_RADON_ENTRY] = 0.5,
        [CAUSE_UNIT_MIX_UP] = 0.15, [CAUSE_SENSOR_FAULT] = 0.4,   [CAUSE_WATER_HIGH] = 0.4,
        [CAUSE_UNKNOWN] = 0.1};
    for (int i = 0; i < CAUSE_COUNT; i++)
        prior[i] = usual[i];
    if (input->asked.alarm_stands)
        prior[CAUSE_NONE] = input->asked.about_radon ? 0.15 : 0.3;
    if (input->asked.implausible) { /* whatever else: what was read can't be true */
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
    if (input->last_year_month > 0) { /* a matter of the season */
        prior[CAUSE_NONE] *= 3.0;
        prior[CAUSE_WATER_HIGH] *= 3.0;
    }
}

/*
 * A fan that slowly gets slower is known days before the loss is large enough for the signatures:
 * flow and suction together leave a fan that wears, a discharge that closes bit by bit (what it
 * takes lies behind the gauge), a leak that opens between flow sensor and fan (of which the sensor
 * knows nothing), or a sensor that drifts; power may tell. Ice comes
 * and goes, so frost says nothing here. Shares from experience of the trade, no source.
 */
static const double prior_of_fading[CAUSE_COUNT] = {
    [CAUSE_FAN_WORN] = 0.80, [CAUSE_BLOCKED_DISCHARGE] = 0.05, [CAUSE_BLOCKED_BEFORE] = 0.08,
    [CAUSE_LEAK] = 0.10,     [CAUSE_SENSOR_FAULT] = 0.04,      [CAUSE_UNKNOWN] = 0.01};

void diagnosis_prior_fill(const struct diagnosis_input *input,
                          const struct signature_evidence *evidence, double prior[CAUSE_COUNT]) {
    bool slowly = input->change_span_days > slow_days;
    if (diagnosis_creeps(input) || (input->asked.about_speed && slowly))
        memcpy(prior, prior_of_fading, sizeof prior_of_fading);
    else
        fill_usual(input, evidence, prior);
}
