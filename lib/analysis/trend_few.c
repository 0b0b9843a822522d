#include "analysis/trend_few.h"

#include "analysis/mann_kendall.h"
#include "analysis/statistics.h"
#include "analysis/theil_sen.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

enum { EXACT_MOST = 20, PAIRS_MOST = EXACT_MOST * (EXACT_MOST - 1) / 2 };

static int by_value(const void *one, const void *other) {
    double a = *(const double *)one, b = *(const double *)other;
    return (a > b) - (a < b);
}

/* Ends of the exact interval; the outermost slopes where the values are too few for it. */
static void exact_interval(const struct trend_series *series, double confidence, double *lower,
                           double *upper) {
    double slopes[PAIRS_MOST];
    size_t pairs = 0, n = series->n;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = i + 1; j < n; j++)
            slopes[pairs++] =
                (series->values[j] - series->values[i]) / (series->days[j] - series->days[i]);
    }
    qsort(slopes, pairs, sizeof *slopes, by_value);
    /* S has the parity of the number of pairs */
    size_t critical = pairs % 2 ? 1 : 2;
    while (critical < pairs && mann_kendall_exact_p(n, (double)critical) > 1.0 - confidence)
        critical += 2;
    size_t rank = (pairs - critical + 2) / 2;
    *lower = slopes[rank - 1];
    *upper = slopes[pairs - rank];
}

static bool days_rise(const struct trend_series *series) {
    for (size_t i = 1; i < series->n; i++) {
        if (!(series->days[i] > series->days[i - 1]))
            return false;
    }
    return true;
}

/* What the fits below would refuse for another reason than the trend's. */
static enum trend_status check(const struct trend_series *series, double confidence) {
    if (series->n < TREND_FEW_LEAST)
        return TREND_TOO_SHORT;
    if (!statistics_all_finite(series->days, series->n) ||
        !statistics_all_finite(series->values, series->n))
        return TREND_NOT_FINITE;
    if (!days_rise(series))
        return TREND_OUT_OF_ORDER;
    return confidence > 0.0 && confidence < 1.0 ? TREND_OK : TREND_OUT_OF_RANGE;
}

enum trend_status trend_few_fit(const struct trend_series *series, double confidence,
                                struct trend *trend) {
    struct mann_kendall test;
    struct theil_sen fit;
    assert(series && trend);
    enum trend_status status = check(series, confidence);
    if (status != TREND_OK)
        return status;
    enum mann_kendall_status tested =
        mann_kendall_test(series->days, series->values, series->n, &test);
    enum theil_sen_status fitted =
        theil_sen_fit(series->days, series->values, series->n, confidence, &fit);
    if (tested != MANN_KENDALL_OK || fitted != THEIL_SEN_OK)
        return tested == MANN_KENDALL_NO_MEMORY || fitted == THEIL_SEN_NO_MEMORY
                   ? TREND_NO_MEMORY
                   : TREND_OUT_OF_RANGE;
    bool exact = series->n <= EXACT_MOST;
    double lower = fit.lower, upper = fit.upper;
    if (exact)
        exact_interval(series, confidence, &lower, &upper);
    double p_value = exact ? mann_kendall_exact_p(series->n, test.s) : test.p_value;
    *trend = (struct trend){.n = series->n,
                            .first_day = series->days[0],
                            .last_day = series->days[series->n - 1],
                            .method = TREND_FEW,
                            .per_year = fit.slope * TREND_YEAR_DAYS,
                            .lower = lower * TREND_YEAR_DAYS,
                            .upper = upper * TREND_YEAR_DAYS,
                            .lower_independent = lower * TREND_YEAR_DAYS,
                            .upper_independent = upper * TREND_YEAR_DAYS,
                            .p_value = p_value,
                            .p_value_cautious = p_value,
                            .variance_factor = 1.0,
                            .level_day = fit.median_x,
                            .level = fit.median_y};
    return TREND_OK;
}

const char *trend_few_why(enum trend_status status) {
    return status == TREND_TOO_SHORT ? "a trend needs at least 6 readings by hand"
                                     : trend_why(status);
}
