#include "analysis/control_chart.h"

#include "analysis/statistics.h"

#include <assert.h>
#include <math.h>

static bool above_zero(double value) {
    return value > 0.0 && isfinite(value);
}

enum control_chart_status control_chart_ewma(const double *values, size_t n, double centre,
                                             double sd, double weight, double width, bool steady,
                                             struct control_chart_ewma *points) {
    assert(points || n == 0);
    if (n == 0)
        return CONTROL_CHART_TOO_SHORT;
    if (!statistics_all_finite(values, n) || !isfinite(centre))
        return CONTROL_CHART_NOT_FINITE;
    if (!above_zero(weight) || weight > 1.0 || !above_zero(width) || !above_zero(sd))
        return CONTROL_CHART_OUT_OF_RANGE;
    double z = centre, forgotten = 1.0, steady_width = width * sd * sqrt(weight / (2.0 - weight));
    for (size_t i = 0; i < n; i++) {
        z = weight * values[i] + (1.0 - weight) * z;
        forgotten *= (1.0 - weight) * (1.0 - weight);
        double half = steady ? steady_width : steady_width * sqrt(1.0 - forgotten);
        points[i] = (struct control_chart_ewma){z, centre - half, centre + half};
    }
    return CONTROL_CHART_OK;
}

enum control_chart_status control_chart_cusum(const double *values, size_t n, double target,
                                              double slack, double decision,
                                              struct control_chart_cusum *points, size_t *first) {
    assert(first && (points || n == 0));
    if (n == 0)
        return CONTROL_CHART_TOO_SHORT;
    if (!statistics_all_finite(values, n) || !isfinite(target))
        return CONTROL_CHART_NOT_FINITE;
    if (!(slack >= 0.0) || isinf(slack) || !above_zero(decision))
        return CONTROL_CHART_OUT_OF_RANGE;
    struct control_chart_cusum sums = {0};
    size_t found = n;
    for (size_t i = 0; i < n; i++) {
        sums.upper = fmax(0.0, sums.upper + values[i] - target - slack);
        sums.lower = fmax(0.0, sums.lower - values[i] + target - slack);
        points[i] = sums;
        if (found == n && (sums.upper > decision || sums.lower > decision))
            found = i;
    }
    if (isinf(sums.upper) || isinf(sums.lower))
        return CONTROL_CHART_NOT_FINITE;
    *first = found;
    return CONTROL_CHART_OK;
}

enum control_chart_status control_chart_learn(const double *values, size_t n,
                                              struct control_chart_reference *reference) {
    assert(reference);
    struct statistics_summary summary;
    double r1 = 0.0, count = (double)n;
    if (n < CONTROL_CHART_LEAST_REFERENCE)
        return CONTROL_CHART_TOO_SHORT;
    if (statistics_summarize(values, n, &summary) != STATISTICS_OK)
        return CONTROL_CHART_NOT_FINITE;
    if (summary.sd == 0.0 || statistics_autocorrelation(values, n, 1, &r1) != STATISTICS_OK)
        return CONTROL_CHART_CONSTANT;
    r1 = fmax(0.0, statistics_unbiased_r1(r1, n));
    double effective = fmax(2.0, statistics_effective_size(count, r1));
    /* s^2 (n - 1) / n is the spread around the learned mean; that mean took 1 / n_eff of it away */
    double sd = summary.sd * sqrt((count - 1.0) / count * effective / (effective - 1.0));
    *reference = (struct control_chart_reference){n, summary.mean, sd, r1, effective};
    return CONTROL_CHART_OK;
}

enum control_chart_status control_chart_watch(const struct control_chart_reference *reference,
                                              const double *values, size_t n, double weight,
                                              double width, struct control_chart_watch *watch) {
    assert(reference && watch);
    if (n == 0)
        return CONTROL_CHART_TOO_SHORT;
    if (!statistics_all_finite(values, n) || !isfinite(reference->mean))
        return CONTROL_CHART_NOT_FINITE;
    if (!above_zero(weight) || weight > 1.0 || !above_zero(width) || !above_zero(reference->sd) ||
        !(reference->r1 >= 0.0 && reference->r1 < 1.0) || !(reference->effective_days >= 1.0))
        return CONTROL_CHART_OUT_OF_RANGE;
    double kept = reference->r1 * (1.0 - weight);
    double of_smoothed = weight / (2.0 - weight) * (1.0 + kept) / (1.0 - kept);
    double limit = reference->mean +
                   width * reference->sd * sqrt(of_smoothed + 1.0 / reference->effective_days);
    if (!isfinite(limit))
        return CONTROL_CHART_NOT_FINITE;
    double z = reference->mean;
    size_t run = 0;
    for (size_t i = 0; i < n; i++) {
        z = weight * values[i] + (1.0 - weight) * z;
        run = z > limit ? run + 1 : 0;
    }
    *watch = (struct control_chart_watch){.smoothed = z,
                                          .limit = limit,
                                          .above = run > 0,
                                          .lasting = run >= CONTROL_CHART_LASTING,
                                          .since = run > 0 ? n - run : 0};
    return CONTROL_CHART_OK;
}
