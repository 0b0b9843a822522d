#include "analysis/theil_sen.h"

#include "analysis/slope_selection.h"
#include "analysis/statistics.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>

/* Takes the points in order of x. On failure nothing is left to free. */
static enum theil_sen_status prepare(struct slope_selection *s, const double *x, const double *y,
                                     size_t n) {
    if (n < 2)
        return THEIL_SEN_TOO_SHORT;
    if (n > (size_t)1 << 20)
        return THEIL_SEN_OUT_OF_RANGE;
    if (!statistics_all_finite(x, n) || !statistics_all_finite(y, n))
        return THEIL_SEN_NOT_FINITE;
    if (!slope_selection_start(s, x, y, n))
        return THEIL_SEN_NO_MEMORY;
    enum theil_sen_status status = s->pairs == 0 ? THEIL_SEN_SAME_TIME
                                   : isfinite(s->range_x) && isfinite(s->range_y / s->smallest_step)
                                       ? THEIL_SEN_OK
                                       : THEIL_SEN_NOT_FINITE;
    if (status != THEIL_SEN_OK)
        slope_selection_free(s);
    return status;
}

static int by_number(const void *a, const void *b) {
    double left = *(const double *)a, right = *(const double *)b;
    return (left > right) - (left < right);
}

/* Sum of t (t - 1) (2 t + 5) over the runs of equal values in a sorted array, n itself included. */
static double tie_terms(const double *sorted, size_t n) {
    double sum = 0.0;
    for (size_t first = 0, last; first < n; first = last) {
        for (last = first + 1; last < n && sorted[last] == sorted[first];)
            last++;
        double t = (double)(last - first);
        sum += t * (t - 1.0) * (2.0 * t + 5.0);
    }
    return sum;
}

struct order_facts {
    double variance, median_x, median_y;
};

static double middle_of(const double *sorted, size_t n) {
    return n % 2 ? sorted[n / 2] : 0.5 * (sorted[n / 2 - 1] + sorted[n / 2]);
}

/* Variance of S less ties (Sen 1968, eq. 2.6) and the two medians; `scratch` holds n values. */
static struct order_facts order_facts(const struct slope_selection *s, double *scratch) {
    double n = (double)s->n;
    struct order_facts facts;
    for (size_t i = 0; i < s->n; i++)
        scratch[i] = s->points[i].x;
    facts.median_x = middle_of(scratch, s->n);
    facts.variance = n * (n - 1.0) * (2.0 * n + 5.0) - tie_terms(scratch, s->n);
    for (size_t i = 0; i < s->n; i++)
        scratch[i] = s->points[i].y;
    qsort(scratch, s->n, sizeof(*scratch), by_number);
    facts.median_y = middle_of(scratch, s->n);
    facts.variance = fmax(0.0, (facts.variance - tie_terms(scratch, s->n)) / 18.0);
    return facts;
}

static void interval_ranks(uint64_t pairs, double half_width, uint64_t *lower, uint64_t *upper) {
    double n = (double)pairs;
    *lower = (uint64_t)fmax(rint((n - half_width) / 2.0) - 1.0, 0.0);
    *upper = (uint64_t)fmin(rint((n + half_width) / 2.0), n - 1.0);
    *lower = *lower < *upper ? *lower : *upper;
}

static bool normal_width(double confidence, double *z) {
    return confidence > 0.0 &&
           statistics_normal_quantile(0.5 + confidence / 2.0, z) == STATISTICS_OK;
}

enum theil_sen_status theil_sen_fit(const double *x, const double *y, size_t n, double confidence,
                                    struct theil_sen *fit) {
    assert(fit);
    double z = 0.0;
    if (!normal_width(confidence, &z))
        return THEIL_SEN_OUT_OF_RANGE;
    struct slope_selection s;
    enum theil_sen_status status = prepare(&s, x, y, n);
    if (status != THEIL_SEN_OK)
        return status;
    struct order_facts facts = order_facts(&s, s.slopes);
    uint64_t ranks[4] = {0, (s.pairs - 1) / 2, s.pairs / 2, 0};
    interval_ranks(s.pairs, z * sqrt(facts.variance), &ranks[0], &ranks[3]);
    double slopes[4];
    slope_selection_ranks(&s, ranks, 4, slopes);
    slope_selection_free(&s);

    double slope = 0.5 * (slopes[1] + slopes[2]);
    double intercept = facts.median_y - slope * facts.median_x;
    if (!isfinite(slope) || !isfinite(intercept))
        return THEIL_SEN_NOT_FINITE;
    *fit = (struct theil_sen){n,         slope,    intercept, facts.median_x, facts.median_y,
                              slopes[0], slopes[3]};
    return THEIL_SEN_OK;
}

enum theil_sen_status theil_sen_interval(const double *x, const double *y, size_t n,
                                         double confidence, double variance_factor, double *lower,
                                         double *upper) {
    assert(lower && upper);
    double z = 0.0;
    if (!normal_width(confidence, &z) || !(variance_factor >= 0.0) || isinf(variance_factor))
        return THEIL_SEN_OUT_OF_RANGE;
    struct slope_selection s;
    enum theil_sen_status status = prepare(&s, x, y, n);
    if (status != THEIL_SEN_OK)
        return status;
    double variance = order_facts(&s, s.slopes).variance * variance_factor;
    uint64_t ranks[2];
    interval_ranks(s.pairs, z * sqrt(variance), &ranks[0], &ranks[1]);
    double slopes[2];
    slope_selection_ranks(&s, ranks, 2, slopes);
    slope_selection_free(&s);
    *lower = slopes[0];
    *upper = slopes[1];
    return THEIL_SEN_OK;
}
