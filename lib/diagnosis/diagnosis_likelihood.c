#include "diagnosis/diagnosis_likelihood.h"
#include "measure/root_sum.h"

#include <math.h>
#include <stdbool.h>

/* ---- how likely one measured ratio is under a prediction ---- */

static double spread_at(const struct signature_measured *measured, double ratio) {
    return root_sum(measured->relative * ratio, measured->absolute);
}

/* What is predicted of a change is off by a share of it: no fan has quite the shape that is tried.
 */
static const double of_the_change = 0.10;

/* Student's t with 5 degrees of freedom: an odd reading counts against a cause, but does not rule
 * it out. */
double likelihood_of(const struct signature_measured *measured, double predicted) {
    const double freedom = 5.0;
    if (isnan(measured->ratio))
        return 1.0;
    double spread =
        root_sum(spread_at(measured, predicted), of_the_change * predicted * (1.0 - predicted));
    double z = (measured->ratio - predicted) / spread;
    double root = 1.0 + z * z / freedom;
    return 0.3796 / (spread * root * root * root);
}

/* A sensor that reads anything from `low` to `high` times the truth, all alike. */
double likelihood_misread(const struct signature_measured *measured, double predicted, double low,
                          double high) {
    if (isnan(measured->ratio))
        return 1.0;
    if (low == high) { /* a change of scale: what was read is `high` times what it should be */
        struct signature_measured meant = *measured;
        meant.ratio /= high;
        return likelihood_of(&meant, predicted) / high;
    }
    if (predicted <= 0.0)
        return likelihood_of(measured, predicted * high);
    double spread = spread_at(measured, fmax(measured->ratio, 0.0)) * sqrt(2.0);
    double below = erf((measured->ratio - high * predicted) / spread);
    double above = erf((measured->ratio - low * predicted) / spread);
    return 0.5 * (above - below) / ((high - low) * predicted);
}

static const double turned_usually = 3.0; /* times what it was, and the other way */

/* Half of all: any ratio from 3 % to 500 %, alike on a logarithmic scale; half: any below that, for
   a field may turn by some times what it was, as a gauge does whose zero is off. */
static double likelihood_of_anything(const struct signature_measured *measured, double turned) {
    if (isnan(measured->ratio))
        return 1.0;
    const double least = 0.03, most = 5.0;
    if (measured->ratio < least)
        return 0.5 / (least + turned);
    return 0.5 / (fmin(measured->ratio, most) * log(most / least));
}

double likelihood_any(const struct signature_measured *measured) {
    return likelihood_of_anything(measured, turned_usually);
}

static double normal_of_log(double ratio, double centre, double spread) {
    double z = (log(fmax(ratio, 0.01)) - centre) / spread;
    return exp(-0.5 * z * z) / spread;
}

/* Radon swings by itself: half as much again from month to month is nothing unusual. */
double likelihood_radon(const struct signature_measured *radon, enum radon_rule rule) {
    if (isnan(radon->ratio))
        return 1.0;
    double usual = normal_of_log(radon->ratio, 0.0, root_sum(0.5, radon->absolute));
    double risen = normal_of_log(radon->ratio, 1.1, root_sum(0.6, radon->absolute));
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

/* Of the field at commissioning, without a fan; the stack effect has pascals, a field has few. */
static const double gone_lowest = -0.6, gone_highest = 0.15;

/* Anything below half of what it should be, mostly no further than the house itself pulls. */
static double likelihood_lost(const struct signature_measured *hole, double predicted,
                              double turned) {
    const double lowest = -0.6, highest = 0.55 * fmax(predicted, 0.2);
    if (hole->ratio >= highest || hole->ratio <= -turned)
        return 0.0;
    return hole->ratio > lowest ? 0.85 / (highest - lowest) : 0.15 / (lowest + turned);
}

static double likelihood_hole(const struct signature_measured *hole, enum field_rule rule,
                              double predicted, double turned) {
    if (isnan(hole->ratio))
        return 1.0;
    switch (rule) {
    case FIELD_SOME_LOST:
        return 0.65 * likelihood_of(hole, predicted) +
               0.35 * likelihood_lost(hole, predicted, turned);
    case FIELD_ALL_LOST:
        return likelihood_lost(hole, predicted, turned);
    case FIELD_FOLLOWS_SOIL_FLOW:
    case FIELD_PARTLY_LOST:
        return (likelihood_of(hole, predicted) + likelihood_of(hole, 0.5 * predicted) +
                likelihood_of(hole, 0.15 * predicted)) /
               3.0;
    case FIELD_GONE:
        return 0.5 * likelihood_of(hole, predicted) +
               0.5 *
                   likelihood_misread(hole, 1.0, gone_lowest, fmax(predicted, 0.0) + gone_highest);
    case FIELD_FOLLOWS_SUCTION:
        break;
    }
    return likelihood_of(hole, predicted);
}

/* The holes of one slab rise and fall together with season and weather, by some tenths. */
static const struct {
    double factor, weight;
} together[] = {{0.65, 0.08}, {0.82, 0.23}, {1.0, 0.38}, {1.2, 0.23}, {1.45, 0.08}};

/* The soil under a hole is below the room by what the fan pulls less what the house itself does,
   and the latter stays when the fan pulls less: share of the most that it can be, by custom. */
static const struct { double share, weight; } stacks[] = {{0.0, 0.4}, {0.35, 0.35}, {0.8, 0.25}};

/* Of the pull at a hole that several fans share: what this one has of it. */
static const double fan_shares[] = {1.0, 0.7, 0.35, 0.0};
enum { FAN_SHARES = sizeof(fan_shares) / sizeof(fan_shares[0]) };

static double likelihood_holes(const struct signature_evidence *evidence,
                               const struct signature *row, double predicted, double stack_share) {
    double all = 1.0;
    for (size_t i = 0; i < evidence->hole_count; i++) {
        const struct signature_measured *hole = &evidence->holes[i];
        double stack = stack_share * evidence->hole_stack[i];
        double turned = fmax(turned_usually, evidence->hole_turn[i]), sum = 0.0;
        size_t shares = evidence->hole_shared[i] ? FAN_SHARES : 1;
        for (size_t j = 0; j < shares; j++) {
            double pulled = 1.0 + fan_shares[j] * (predicted - 1.0);
            double here = pulled * (1.0 + stack) - stack;
            sum += row->misread == QUANTITY_FIELD && row->hole == i
                       ? likelihood_misread(hole, here, row->misread_from, row->misread_to)
                       : likelihood_hole(hole, row->field, here, turned);
        }
        all *= sum / (double)shares;
    }
    return all;
}

double likelihood_field(const struct signature_evidence *evidence, const struct signature *row,
                        double predicted) {
    enum field_rule rule = row->field;
    double total = 0.0, lowest = INFINITY;
    for (size_t i = 0; i < evidence->hole_count; i++)
        lowest = fmin(lowest, evidence->holes[i].ratio); /* fmin passes over a NaN */
    if (isinf(lowest))
        return 1.0;
    for (size_t j = 0; j < sizeof(together) / sizeof(together[0]); j++) {
        double all = 0.0, here = predicted * together[j].factor;
        for (size_t k = 0; k < sizeof(stacks) / sizeof(stacks[0]); k++)
            all += stacks[k].weight * likelihood_holes(evidence, row, here, stacks[k].share);
        if (rule == FIELD_SOME_LOST && lowest > 0.65 * here)
            all *= 0.02; /* no hole is low, so none is lost */
        total += together[j].weight * all;
    }
    return total;
}

double likelihood_any_field(const struct signature_evidence *evidence) {
    double all = 1.0;
    for (size_t i = 0; i < evidence->hole_count; i++)
        all *= likelihood_of_anything(&evidence->holes[i],
                                      fmax(turned_usually, evidence->hole_turn[i]));
    return all;
}
