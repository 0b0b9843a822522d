#include "analysis/changepoint.h"

#include "analysis/statistics.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

static enum changepoint_status check(const double *values, size_t n,
                                     struct statistics_summary *summary) {
    if (n < CHANGEPOINT_LEAST)
        return CHANGEPOINT_TOO_SHORT;
    if (statistics_summarize(values, n, summary) != STATISTICS_OK)
        return CHANGEPOINT_NOT_FINITE;
    return summary->lowest == summary->highest ? CHANGEPOINT_CONSTANT : CHANGEPOINT_OK;
}

static double mean_of(const double *values, size_t n) {
    struct statistics_running running = {0};
    for (size_t i = 0; i < n; i++)
        statistics_running_add(&running, values[i]);
    return running.mean;
}

/* Levels, residuals (n of them, the caller's) and their autocorrelation at the break. */
static void describe(const double *values, size_t n, double *residuals,
                     struct changepoint *result) {
    result->n = n;
    result->mean_before = mean_of(values, result->before);
    result->mean_after = mean_of(values + result->before, n - result->before);
    for (size_t i = 0; i < n; i++) {
        residuals[i] = values[i] - (i < result->before ? result->mean_before : result->mean_after);
        result->residual_squares += residuals[i] * residuals[i];
    }
    double r1 = 0.0;
    if (statistics_autocorrelation(residuals, n, 1, &r1) == STATISTICS_OK)
        result->r1 = fmax(0.0, statistics_unbiased_r1(r1, n));
}

static double largest_f_p(double f, double least_share) {
    double x = sqrt(f), square = fmax(f, 1e-300);
    if (x < 1.5)
        return 1.0;
    if (x > 38.0)
        return 0.0; /* below the smallest double */
    double odds = (1.0 - least_share) / least_share;
    double density = exp(-0.5 * square) * 0.39894228040143267794;
    return fmin(1.0, x * density * ((1.0 - 1.0 / square) * 2.0 * log(odds) + 4.0 / square));
}

/* Break with the largest sum of squares between the two means, which is the least residual. */
static size_t best_break(const double *values, size_t n, size_t least, double mean) {
    double sum = 0.0, best = -1.0, count = (double)n;
    size_t before = least;
    for (size_t t = 1; t + least <= n; t++) {
        sum += values[t - 1] - mean;
        double gained = sum * sum * count / ((double)t * (count - (double)t));
        if (t >= least && gained > best) {
            best = gained;
            before = t;
        }
    }
    return before;
}

enum changepoint_status changepoint_least_squares(const double *values, size_t n,
                                                  double least_share, struct changepoint *result) {
    assert(result);
    struct statistics_summary summary;
    if (!(least_share > 0.0 && least_share < 0.5))
        return CHANGEPOINT_OUT_OF_RANGE;
    enum changepoint_status status = check(values, n, &summary);
    if (status != CHANGEPOINT_OK)
        return status;
    double *residuals = malloc(n * sizeof(*residuals));
    if (!residuals)
        return CHANGEPOINT_NO_MEMORY;
    double count = (double)n, total = summary.sd * summary.sd * (count - 1.0);
    size_t least = (size_t)floor(least_share * count);
    least = least < 2 ? 2 : least;
    struct changepoint found = {.before = best_break(values, n, least, summary.mean)};
    describe(values, n, residuals, &found);
    free(residuals);
    if (!isfinite(total) || !isfinite(found.residual_squares))
        return CHANGEPOINT_NOT_FINITE;
    double residual =
        fmax(found.residual_squares, 1e-12 * total); /* a perfect step: F is bounded */
    found.statistic = fmax(0.0, (total - found.residual_squares) / (residual / (count - 2.0)));
    found.p_value = largest_f_p(found.statistic, least_share);
    found.p_autocorrelated =
        largest_f_p(found.statistic * (1.0 - found.r1) / (1.0 + found.r1), least_share);
    *result = found;
    return CHANGEPOINT_OK;
}
