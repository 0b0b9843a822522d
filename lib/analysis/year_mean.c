#include "analysis/year_mean.h"

#include "analysis/average.h"
#include "analysis/statistics.h"
#include "measure/root_sum.h"
#include "measure/timestamp.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

enum { MONTHS = 12, QUARTERS = 4 };
static const double pi = 3.14159265358979323846;
static const double wave = 0.40, second_harmonic = 0.4; /* of the mean; of the wave */
static const double days_of_a_known_month = 20.0;
static const double days_of_a_year = 365.0;
static const double half_width = 1.959963985; /* normal, 95 % */
static const double least = 1e-6; /* in place of an uncertainty of 0: the scale needs one */

const char *year_mean_why(enum year_mean_status status) {
    static const char *const why[] = {
        [YEAR_MEAN_OK] = "computed",
        [YEAR_MEAN_TOO_FEW] = "fewer than 14 well-covered days",
        [YEAR_MEAN_NOT_FINITE] = "a value is missing or not a finite number",
        [YEAR_MEAN_OUT_OF_ORDER] = "the days are not in order",
        [YEAR_MEAN_OUT_OF_RANGE] = "the mean is not above 0, or a setting is out of range",
        [YEAR_MEAN_NO_MEMORY] = "out of memory",
    };
    size_t row = (size_t)status;
    return row < sizeof(why) / sizeof(why[0]) ? why[row] : "unknown";
}

static enum year_mean_status check(const struct year_mean_day *days, size_t n,
                                   const struct year_mean_settings *settings) {
    if (n < YEAR_MEAN_LEAST_DAYS)
        return YEAR_MEAN_TOO_FEW;
    if (!isfinite(settings->level))
        return YEAR_MEAN_NOT_FINITE;
    if (!(settings->relative >= 0.0 && settings->relative <= 10.0) ||
        !(settings->absolute >= 0.0 && isfinite(settings->absolute)))
        return YEAR_MEAN_OUT_OF_RANGE;
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(days[i].mean))
            return YEAR_MEAN_NOT_FINITE;
        if (i > 0 && days[i].local_day <= days[i - 1].local_day)
            return YEAR_MEAN_OUT_OF_ORDER;
    }
    return YEAR_MEAN_OK;
}

static int month_of(int64_t local_day) {
    int year = 0, month = 0, day = 0;
    timestamp_civil_from_days(local_day, &year, &month, &day);
    return month - 1;
}

/* What the mean of months so far known keeps of a wave with so many highs in a year, 0..1. */
static double kept_of_wave(const double known[MONTHS], int highs) {
    double cosines = 0.0, sines = 0.0, total = 0.0;
    for (int month = 0; month < MONTHS; month++) {
        double turn = 2.0 * pi * highs * month / MONTHS;
        cosines += known[month] * cos(turn);
        sines += known[month] * sin(turn);
        total += known[month];
    }
    return root_sum(cosines, sines) / total;
}

/* Relative standard uncertainty by the months that are not known; 1/sqrt(2): the mean square of a
   wave. */
static double unseen_relative(const double known[MONTHS]) {
    return wave / sqrt(2.0) *
           root_sum(kept_of_wave(known, 1), second_harmonic * kept_of_wave(known, 2));
}

/* The months, each as far as it is known. */
static void weigh_months(const struct year_mean_day *days, size_t n, double weights[MONTHS],
                         struct year_mean *year) {
    double sums[MONTHS] = {0}, counts[MONTHS] = {0}, quarters[QUARTERS] = {0};
    double known = 0.0, sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        int month = month_of(days[i].local_day);
        sums[month] += days[i].mean;
        counts[month] += 1.0;
    }
    for (int month = 0; month < MONTHS; month++) {
        double weight = fmin(1.0, counts[month] / days_of_a_known_month);
        weights[month] = weight;
        known += weight;
        quarters[month / (MONTHS / QUARTERS)] += weight * QUARTERS / MONTHS;
        sum += weight > 0.0 ? weight * sums[month] / counts[month] : 0.0;
    }
    for (int quarter = 0; quarter < QUARTERS; quarter++)
        year->quarters_covered += quarters[quarter] >= AVERAGE_LEAST_COVERAGE;
    year->mean = sum / known;
    year->known_share = known / MONTHS;
}

/* Standard uncertainty of the mean of the days, relative to the mean. */
static enum year_mean_status random_relative(const struct year_mean_day *days, size_t n,
                                             double mean, double *relative) {
    double *means = malloc(n * sizeof *means);
    int64_t *places = malloc(n * sizeof *places);
    enum year_mean_status status = YEAR_MEAN_NO_MEMORY;
    for (size_t i = 0; means && places && i < n; i++) {
        means[i] = days[i].mean;
        places[i] = days[i].local_day;
    }
    if (means && places) {
        struct average_random random;
        bool good = average_random_part(places, means, n, &random);
        double left = fmax(0.0, 1.0 - (double)n / days_of_a_year);
        *relative = good ? sqrt(random.variance * left) / mean : 0.0;
        status = good ? YEAR_MEAN_OK : YEAR_MEAN_NOT_FINITE;
    }
    free(means);
    free(places);
    return status;
}

/* The scale on which the standard uncertainty is 1, and back. */
static double scaled(double value, double relative, double absolute) {
    return asinh(relative * value / absolute) / relative;
}

static double unscaled(double place, double relative, double absolute) {
    return fmax(0.0, absolute / relative * sinh(relative * place));
}

enum year_mean_status year_mean_assess(const struct year_mean_day *days, size_t n,
                                       const struct year_mean_settings *settings,
                                       struct year_mean *year) {
    assert(settings && year && (days || n == 0));
    struct year_mean found = {.days = n};
    double random = 0.0, weights[MONTHS];
    enum year_mean_status status = check(days, n, settings);
    if (status != YEAR_MEAN_OK)
        return status;
    weigh_months(days, n, weights, &found);
    if (!(found.mean > 0.0))
        return YEAR_MEAN_OUT_OF_RANGE;
    status = random_relative(days, n, found.mean, &random);
    if (status != YEAR_MEAN_OK)
        return status;
    double unseen = unseen_relative(weights);
    double relative = fmax(least, root_sum(root_sum(unseen, random), settings->relative));
    double absolute = fmax(least * found.mean, settings->absolute);
    double place = scaled(found.mean, relative, absolute);
    found.lower = unscaled(place - half_width, relative, absolute);
    found.upper = unscaled(place + half_width, relative, absolute);
    found.probability_at_or_above =
        statistics_normal_cdf(place - scaled(settings->level, relative, absolute));
    if (!isfinite(found.upper))
        return YEAR_MEAN_NOT_FINITE;
    *year = found;
    return YEAR_MEAN_OK;
}
