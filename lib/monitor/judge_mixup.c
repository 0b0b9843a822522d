#include "monitor/judge_mixup.h"

#include "measure/timestamp.h"
#include "measure/unit_mixup.h"

#include <math.h>

static const double mixup_tolerance = 0.05, mixup_tolerance_most = 0.30; /* of the expected value */
static const double level_departure = 0.5;                               /* of the level */
static const double level_departure_celsius = 8.0;
static const double level_fall_most = 0.8; /* a mean that slid further would pass a factor */
enum { LEVEL_MEMORY = 100 };

/* Nearer ones a fault of the system makes, too: whether it was one is the diagnosis's to say, which
   sees the other sensors. */
static const double factor_least = 3.0;
static const double degrees_least = 8.0, degrees_tolerance = 1.5; /* K */

/* Degrees move on from reading to reading, so that only the one before says where they were. */
static bool degrees_mixed_up(const struct unit *declared, double level, double value,
                             double tolerance) {
    const struct unit *other = NULL;
    if (fabs(value - level) <= degrees_least - tolerance)
        return false; /* as every usual reading */
    for (size_t i = 0; (other = unit_mixup_other(declared, i)); i++) {
        double seen = unit_mixup_seen(declared, other, level);
        if (fabs(seen - level) >= degrees_least && fabs(value - seen) < tolerance)
            return true;
    }
    return false;
}

/* `tolerance`: of the expected value. */
static bool mixed_up_within(const struct unit *declared, double level, double value,
                            double tolerance) {
    const struct unit *other = NULL;
    double factor = value / level;
    if (factor > (1.0 + tolerance) / factor_least && factor < (1.0 - tolerance) * factor_least)
        return false; /* as every usual reading */
    for (size_t i = 0; (other = unit_mixup_other(declared, i)); i++) {
        double seen = unit_mixup_seen(declared, other, level);
        if (fabs(log(seen / level)) > log(factor_least) &&
            fabs(value - seen) < tolerance * fabs(seen))
            return true;
    }
    return false;
}

/* How far from `level` the number sent would be if it were in `unit`: 0 for just that, 1 for a
   factor of two. */
static double distance_in(const struct unit *unit, const struct unit *expected, double level,
                          double value) {
    double meant = unit_to_si(unit, unit_from_si(expected, value));
    if (unit->dimension == DIMENSION_TEMPERATURE)
        return fabs(meant - level) / 8.0; /* 3 K within the tolerance below */
    return meant / level > 0.0 ? fabs(log(meant / level)) / log(2.0) : INFINITY;
}

const char *judge_suspected_unit(const struct unit *expected, double level, double value) {
    const char *nearest = NULL;
    const struct unit *other = NULL;
    double least = log(1.0 + mixup_tolerance_most) / log(2.0);
    for (size_t i = 0; (other = unit_mixup_other(expected, i)); i++) {
        double distance = distance_in(other, expected, level, value);
        if (distance < least) {
            least = distance;
            nearest = other->spelling;
        }
    }
    return nearest;
}

/* A radon monitor's readings scatter far more than a gauge's, and so they do in another unit. The
   field of a test hole wanders with wind and falls by real faults: there a wide tolerance would fit
   those. */
static double tolerance_of(const struct point_state *state, enum quantity quantity, double value) {
    if (quantity == QUANTITY_FIELD && fabs(value) < fabs(state->level))
        return mixup_tolerance;
    double own = 3.0 * state->level_noise / fabs(state->level);
    return fmin(fmax(own, mixup_tolerance), mixup_tolerance_most);
}

/* The level follows slow change. Next to nothing no step is one. After a step it begins anew: on
   its way from the old one to the new one a mean would pass every factor of the table. */
static void learn_level(struct point_state *state, enum quantity quantity, double value) {
    double departure = fabs(value - state->level), scatter = 6.0 * state->level_noise;
    if (fabs(value) < fabs(state->level))
        scatter = fmin(scatter, level_fall_most * fabs(state->level));
    double most = fmax(level_departure * fabs(state->level), scatter);
    most = fmax(most, quantity_info(quantity)->zero_uncertainty);
    if (quantity_info(quantity)->dimension == DIMENSION_TEMPERATURE)
        most = fmax(most, level_departure_celsius);
    if (state->level_count == 0 || departure > most) {
        if (state->level_count >= JUDGE_LEVEL_READINGS)
            state->former_level = state->level;
        state->level = value;
        state->level_noise = 0.0;
        state->level_count = 1;
        return;
    }
    if (state->level_count < LEVEL_MEMORY)
        state->level_count++;
    state->level += (value - state->level) / state->level_count;
    state->level_noise += (departure - state->level_noise) / state->level_count;
}

/* A fan that runs again after it stood still jumps too, but to where it was, or to where it was
   commissioned; so does a test hole after a storm. */
static bool is_back(const struct point_state *state, double value, double baseline) {
    double former = state->former_level;
    if (former != 0.0 && fabs(value - former) <= level_departure * fabs(former))
        return true;
    return fabs(value - baseline) <= level_departure * fabs(baseline); /* false with NaN */
}

/* What a sensor read before it began to look mixed up; false: not known well enough. */
static bool level_known(const struct point_state *state, const struct point_description *point,
                        const struct reading *reading) {
    enum quantity quantity = point->quantity;
    if (quantity_info(quantity)->dimension != DIMENSION_TEMPERATURE)
        return state->level_count >= JUDGE_LEVEL_READINGS &&
               fabs(state->level) > 20.0 * quantity_info(quantity)->noise_floor;
    int64_t every_ms = point->every_ms;
    return state->suspect_count > 0 || (state->newest_ms != TIMESTAMP_NONE &&
                                        reading->time_ms - state->newest_ms <= 2 * every_ms);
}

static bool matches_other_unit(struct point_state *state, const struct point_description *point,
                               double value, double baseline) {
    const struct unit *declared = point->binding.unit;
    if (declared->dimension != DIMENSION_TEMPERATURE)
        return !is_back(state, value, baseline) &&
               mixed_up_within(declared, state->level, value,
                               tolerance_of(state, point->quantity, value));
    bool first = state->suspect_count == 0;
    bool matches = degrees_mixed_up(declared, first ? state->newest_value : state->level, value,
                                    first ? degrees_tolerance : 3.0 * degrees_tolerance);
    if (matches && first)
        state->level = state->newest_value;
    return matches;
}

bool judge_looks_mixed_up(struct point_state *state, const struct point_description *point,
                          const struct reading *reading, double baseline) {
    if (level_known(state, point, reading) &&
        matches_other_unit(state, point, reading->value, baseline)) {
        if (state->suspect_count < JUDGE_MIXUP_READINGS)
            state->suspect_count++;
        return state->suspect_count >= JUDGE_MIXUP_READINGS;
    }
    state->suspect_count = 0;
    learn_level(state, point->quantity, reading->value);
    return false;
}
