#include "analysis/baseline.h"

#include "analysis/mann_kendall.h"
#include "analysis/statistics.h"
#include "analysis/theil_sen.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

/* 7 days, 75 %, p 0.01, 10 %. */
static const struct baseline_rules default_rules = {
    .least_days = 7, .least_coverage = 0.75, .drift_p_value = 0.01, .drift_share = 0.10};

const char *baseline_why(enum baseline_status status) {
    static const char *const why[] = {
        [BASELINE_OK] = "learned",
        [BASELINE_TOO_SHORT] = "a baseline needs readings on at least 7 days",
        [BASELINE_TOO_FEW] = "too few readings: less than 75 % of the period is covered",
        [BASELINE_NOT_STABLE] = "the readings drift over the period, so it is no normal level",
        [BASELINE_NO_LEVEL] = "the level is 0, so nothing can be judged relative to it",
        [BASELINE_NOT_FINITE] = "a daily value is missing or not a finite number",
        [BASELINE_OUT_OF_ORDER] = "the days are not in order of time or overlap",
        [BASELINE_NO_MEMORY] = "out of memory",
    };
    size_t row = (size_t)status;
    return row < sizeof(why) / sizeof(why[0]) ? why[row] : "unknown";
}

static enum baseline_status check(const struct baseline_day *days, size_t n, int64_t period_ms,
                                  const struct baseline_rules *rules, double *coverage) {
    double covered = 0.0;
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(days[i].day) || !isfinite(days[i].median))
            return BASELINE_NOT_FINITE;
        if (days[i].covered_ms < 0 || (i > 0 && days[i].day <= days[i - 1].day))
            return BASELINE_OUT_OF_ORDER;
        covered += (double)days[i].covered_ms;
    }
    if (period_ms <= 0 || n < rules->least_days || n < 3)
        return BASELINE_TOO_SHORT;
    if (covered > (double)period_ms)
        return BASELINE_OUT_OF_ORDER;
    *coverage = covered / (double)period_ms;
    return *coverage < rules->least_coverage ? BASELINE_TOO_FEW : BASELINE_OK;
}

static bool has_ties(const double *values, size_t n) {
    for (size_t i = 0; i < n; i++)
        for (size_t j = i + 1; j < n; j++)
            if (values[i] == values[j])
                return true;
    return false;
}

/* Drift over the period, and p of none. */
static enum baseline_status test_drift(const double *x, const double *y, size_t n,
                                       struct baseline *found) {
    struct theil_sen line;
    struct mann_kendall test;
    struct mann_kendall_factors factors = {1.0, 1.0};
    enum theil_sen_status fitted = theil_sen_fit(x, y, n, 0.95, &line);
    if (fitted != THEIL_SEN_OK)
        return fitted == THEIL_SEN_NO_MEMORY ? BASELINE_NO_MEMORY : BASELINE_NOT_FINITE;
    enum mann_kendall_status tested = mann_kendall_test(x, y, n, &test);
    if (tested == MANN_KENDALL_OK)
        tested = mann_kendall_factors(x, y, n, line.slope, NULL, &factors);
    if (tested != MANN_KENDALL_OK)
        return tested == MANN_KENDALL_NO_MEMORY ? BASELINE_NO_MEMORY : BASELINE_NOT_FINITE;
    found->p_value = mann_kendall_with_factor(&test, factors.hamed_rao).p_value;
    if (n <= 10 && !has_ties(y, n)) /* too short for the normal approximation and for any r1 */
        found->p_value = mann_kendall_exact_p(n, test.s);
    found->drift_share = line.slope * (x[n - 1] - x[0]) / found->value;
    return isfinite(found->drift_share) ? BASELINE_OK : BASELINE_NOT_FINITE;
}

/* x and y hold the days; judges them and fills in what is found. */
static enum baseline_status learn(const double *x, const double *y, size_t n,
                                  const struct baseline_rules *rules, struct baseline *found) {
    enum statistics_status level = statistics_mad(y, n, &found->value, &found->spread);
    if (level != STATISTICS_OK)
        return level == STATISTICS_NO_MEMORY ? BASELINE_NO_MEMORY : BASELINE_NOT_FINITE;
    if (found->value == 0.0)
        return BASELINE_NO_LEVEL;
    found->spread *= STATISTICS_MAD_TO_SD;
    enum baseline_status status = test_drift(x, y, n, found);
    if (status != BASELINE_OK)
        return status;
    bool drifts =
        found->p_value < rules->drift_p_value && fabs(found->drift_share) > rules->drift_share;
    return drifts ? BASELINE_NOT_STABLE : BASELINE_OK;
}

enum baseline_status baseline_learn(const struct baseline_day *days, size_t n, int64_t from_ms,
                                    int64_t to_ms, const struct baseline_rules *rules,
                                    struct baseline *baseline) {
    assert(baseline && (days || n == 0));
    rules = rules ? rules : &default_rules;
    int64_t period_ms = 0;
    if (__builtin_sub_overflow(to_ms, from_ms, &period_ms))
        return BASELINE_OUT_OF_ORDER;
    struct baseline found = {.days = n};
    enum baseline_status status = check(days, n, period_ms, rules, &found.coverage);
    if (status != BASELINE_OK)
        return status;
    double *x = malloc(2 * n * sizeof(*x));
    if (!x)
        return BASELINE_NO_MEMORY;
    double *y = x + n;
    for (size_t i = 0; i < n; i++) {
        x[i] = days[i].day;
        y[i] = days[i].median;
    }
    status = learn(x, y, n, rules, &found);
    free(x);
    if (status == BASELINE_OK)
        *baseline = found;
    return status;
}
