#include "analysis/mann_kendall.h"

#include "analysis/statistics.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

struct pair {
    double x, y;
};

static int by_x_then_y(const void *a, const void *b) {
    const struct pair *left = a, *right = b;
    if (left->x != right->x)
        return left->x < right->x ? -1 : 1;
    return (left->y > right->y) - (left->y < right->y);
}

/* Sorts values rising and returns how many pairs stood the other way round; bottom-up merge. */
static double sort_counting(double *values, double *spare, size_t n) {
    double inversions = 0.0;
    for (size_t width = 1; width < n; width *= 2) {
        for (size_t first = 0; first < n; first += 2 * width) {
            size_t middle = n - first < width ? n : first + width;
            size_t end = n - first < 2 * width ? n : first + 2 * width;
            size_t left = first, right = middle;
            for (size_t out = first; out < end; out++) {
                bool take_right = right < end && (left == middle || values[right] < values[left]);
                inversions += take_right ? (double)(middle - left) : 0.0;
                spare[out] = take_right ? values[right++] : values[left++];
            }
        }
        memcpy(values, spare, n * sizeof(*values));
    }
    return inversions;
}

/* Sums over runs of t equal values that the variance and the pair count need. */
struct ties {
    double pairs;  /* t (t - 1) / 2 */
    double triple; /* t (t - 1) (t - 2) */
    double terms;  /* t (t - 1) (2 t + 5) */
};

static void add_run(struct ties *ties, double t) {
    ties->pairs += t * (t - 1.0) / 2.0;
    ties->triple += t * (t - 1.0) * (t - 2.0);
    ties->terms += t * (t - 1.0) * (2.0 * t + 5.0);
}

static struct ties ties_of(const double *sorted, size_t n) {
    struct ties ties = {0};
    for (size_t first = 0, last; first < n; first = last) {
        for (last = first + 1; last < n && sorted[last] == sorted[first];)
            last++;
        add_run(&ties, (double)(last - first));
    }
    return ties;
}

static struct ties ties_of_x(const struct pair *sorted, size_t n, double *both) {
    struct ties ties = {0};
    size_t x_run = 0, both_run = 0;
    *both = 0.0;
    for (size_t i = 1; i <= n; i++) {
        bool same_x = i < n && sorted[i].x == sorted[i - 1].x;
        if (!same_x || sorted[i].y != sorted[i - 1].y) {
            double t = (double)(i - both_run);
            *both += t * (t - 1.0) / 2.0;
            both_run = i;
        }
        if (!same_x) {
            add_run(&ties, (double)(i - x_run));
            x_run = i;
        }
    }
    return ties;
}

/* Variance of S with ties in both series: Kendall 1970, chapter 4 (also scipy's tau). */
static double variance_of(double n, const struct ties *x, const struct ties *y) {
    double variance = (n * (n - 1.0) * (2.0 * n + 5.0) - x->terms - y->terms) / 18.0;
    if (n > 2.0)
        variance += x->triple * y->triple / (9.0 * n * (n - 1.0) * (n - 2.0));
    variance += 2.0 * x->pairs * y->pairs / (n * (n - 1.0));
    return fmax(0.0, variance);
}

static void judge(double s, double variance, double *z, double *p_value) {
    double corrected = s > 0.0 ? s - 1.0 : s < 0.0 ? s + 1.0 : 0.0;
    *z = variance > 0.0 ? corrected / sqrt(variance) : 0.0;
    *p_value = statistics_normal_two_sided(*z);
}

/* `pairs` and `values` are scratch for n each (values 2 n); at least 2 values, all finite. */
static struct mann_kendall test(const double *x, const double *y, size_t n, struct pair *pairs,
                                double *values) {
    for (size_t i = 0; i < n; i++)
        pairs[i] = (struct pair){x[i], y[i]};
    qsort(pairs, n, sizeof(*pairs), by_x_then_y);
    for (size_t i = 0; i < n; i++)
        values[i] = pairs[i].y;
    double falling = sort_counting(values, values + n, n), both = 0.0, count = (double)n;
    struct ties of_x = ties_of_x(pairs, n, &both), of_y = ties_of(values, n);
    double all = count * (count - 1.0) / 2.0;
    double rising = all - of_x.pairs - of_y.pairs + both - falling;
    struct mann_kendall result = {.n = n, .s = rising - falling, .factor = 1.0};
    result.tau = result.s / all;
    result.variance = variance_of(count, &of_x, &of_y);
    judge(result.s, result.variance, &result.z, &result.p_value);
    return result;
}

enum mann_kendall_status mann_kendall_test(const double *x, const double *y, size_t n,
                                           struct mann_kendall *result) {
    assert(result);
    if (n < 3)
        return MANN_KENDALL_TOO_SHORT;
    if (n > (size_t)1 << 20)
        return MANN_KENDALL_OUT_OF_RANGE;
    if (!statistics_all_finite(x, n) || !statistics_all_finite(y, n))
        return MANN_KENDALL_NOT_FINITE;
    struct pair *pairs = malloc(n * sizeof(*pairs));
    double *values = malloc(2 * n * sizeof(*values));
    if (pairs && values)
        *result = test(x, y, n, pairs, values);
    bool done = pairs && values;
    free(pairs);
    free(values);
    return done ? MANN_KENDALL_OK : MANN_KENDALL_NO_MEMORY;
}

double mann_kendall_exact_p(size_t n, double s) {
    enum { most = 20, most_inversions = most * (most - 1) / 2 };
    double pairs = (double)n * ((double)n - 1.0) / 2.0, size = fabs(s);
    if (n < 2 || n > most || !(size >= 1.0) || size > pairs)
        return n >= 2 && n <= most && size > pairs ? 0.0 : 1.0;
    /* share[k] of all orders of n values have k inversions; S = pairs - 2 k */
    double share[most_inversions + 1] = {1.0}, next[most_inversions + 1];
    for (size_t m = 2; m <= n; m++) {
        for (size_t k = 0; k <= m * (m - 1) / 2; k++) {
            next[k] = 0.0;
            for (size_t moved = 0; moved < m && moved <= k; moved++)
                next[k] += k - moved <= (m - 1) * (m - 2) / 2 ? share[k - moved] / (double)m : 0.0;
        }
        memcpy(share, next, sizeof(share));
    }
    double tail = 0.0;
    for (size_t k = 0; (double)k <= (pairs - size) / 2.0; k++)
        tail += share[k];
    return fmin(1.0, 2.0 * tail);
}

struct mann_kendall mann_kendall_with_factor(const struct mann_kendall *plain, double factor) {
    assert(plain && factor > 0.0);
    struct mann_kendall result = *plain;
    result.variance = plain->variance / plain->factor * factor;
    result.factor = factor;
    judge(result.s, result.variance, &result.z, &result.p_value);
    return result;
}

/*
 * Place of each value on a grid of the median step. Steps below half the median one still advance
 * by one place, so that places rise strictly.
 */
static bool lay_on_grid(const double *x, size_t n, double *steps, int64_t *position) {
    double step = 0.0;
    for (size_t i = 1; i < n; i++) {
        steps[i - 1] = x[i] - x[i - 1];
        if (!(steps[i - 1] >= 0.0))
            return false;
    }
    if (statistics_median_in_place(steps, n - 1, &step) != STATISTICS_OK)
        return false;
    position[0] = 0;
    for (size_t i = 1; i < n; i++) {
        double places = step > 0.0 ? rint((x[i] - x[i - 1]) / step) : 1.0;
        position[i] = position[i - 1] + (int64_t)fmax(1.0, fmin(places, 1e9));
    }
    return true;
}

/*
 * Autocorrelation of the ranks at a lag; `deviation` holds ranks less their mean, `squares` the sum
 * of their squares. *pairs is how many there were; holes leave fewer than n - lag.
 */
static double rank_correlation(const int64_t *position, const double *deviation, size_t n,
                               double squares, size_t lag, double *pairs) {
    double products = 0.0;
    *pairs = 0.0;
    for (size_t i = 0, j = 1; i < n; i++) {
        while (j < n && position[j] - position[i] < (int64_t)lag)
            j++;
        if (j < n && position[j] - position[i] == (int64_t)lag) {
            products += deviation[i] * deviation[j];
            *pairs += 1.0;
        }
    }
    if (*pairs == 0.0)
        return 0.0;
    return fmax(-1.0, fmin(1.0, products / squares * ((double)(n - lag) / *pairs)));
}

/* Where holes leave fewer pairs, a correlation must be larger to count as significant. */
static double hamed_rao(const int64_t *position, const double *deviation, size_t n, double squares,
                        const struct mann_kendall_lags *lags, double bound) {
    size_t most = lags->most ? lags->most : (size_t)sqrt((double)n);
    double sum = 0.0, count = (double)n;
    for (size_t lag = 1; lag <= most && lag < n; lag++) {
        double pairs = 0.0, left = (double)(n - lag);
        double r = rank_correlation(position, deviation, n, squares, lag, &pairs);
        if (pairs > 0.0 && fabs(r) > bound * sqrt(left / pairs))
            sum += left * (left - 1.0) * (left - 2.0) * r;
    }
    double found = 1.0 + 2.0 * sum / (count * (count - 1.0) * (count - 2.0));
    /* as published it can even fall to 0 or below, which no variance can */
    return lags->may_shrink && found > 0.0 ? found : fmax(1.0, found);
}

static double first_order(double r1, size_t n) {
    double rho = n < 8 ? r1 : ((double)n * r1 + 2.0) / ((double)n - 4.0);
    rho = fmax(0.0, fmin(0.95, rho));
    return (1.0 + rho) / (1.0 - rho);
}

/* `scratch` holds 2 n values, `position` n. */
static enum mann_kendall_status factors_of(const double *x, const double *y, size_t n, double slope,
                                           const struct mann_kendall_lags *lags, double bound,
                                           double *scratch, int64_t *position,
                                           struct mann_kendall_factors *factors) {
    double *flat = scratch, *ranks = scratch + n, pairs = 0.0;
    if (!lay_on_grid(x, n, scratch, position))
        return MANN_KENDALL_OUT_OF_RANGE;
    for (size_t i = 0; i < n; i++)
        flat[i] = y[i] - slope * (x[i] - x[0]);
    enum statistics_status ranked = statistics_ranks(flat, n, ranks);
    if (ranked != STATISTICS_OK)
        return ranked == STATISTICS_NO_MEMORY ? MANN_KENDALL_NO_MEMORY : MANN_KENDALL_NOT_FINITE;
    double mean = ((double)n + 1.0) / 2.0, squares = 0.0;
    for (size_t i = 0; i < n; i++) {
        ranks[i] -= mean;
        squares += ranks[i] * ranks[i];
    }
    *factors = (struct mann_kendall_factors){1.0, 1.0};
    if (squares > 0.0) {
        double r1 = rank_correlation(position, ranks, n, squares, 1, &pairs);
        factors->first_order = first_order(r1, n);
        factors->hamed_rao = hamed_rao(position, ranks, n, squares, lags, bound);
    }
    return MANN_KENDALL_OK;
}

enum mann_kendall_status mann_kendall_factors(const double *x, const double *y, size_t n,
                                              double slope, const struct mann_kendall_lags *lags,
                                              struct mann_kendall_factors *factors) {
    static const struct mann_kendall_lags defaults = {0};
    assert(factors);
    lags = lags ? lags : &defaults;
    double z = 0.0, significance = lags->significance == 0.0 ? 0.05 : lags->significance;
    if (n < 3)
        return MANN_KENDALL_TOO_SHORT;
    if (n > (size_t)1 << 20 ||
        statistics_normal_quantile(1.0 - significance / 2.0, &z) != STATISTICS_OK)
        return MANN_KENDALL_OUT_OF_RANGE;
    if (!statistics_all_finite(x, n) || !statistics_all_finite(y, n) || !isfinite(slope))
        return MANN_KENDALL_NOT_FINITE;
    double *scratch = malloc(2 * n * sizeof(*scratch));
    int64_t *position = malloc(n * sizeof(*position));
    enum mann_kendall_status status = MANN_KENDALL_NO_MEMORY;
    if (scratch && position)
        status = factors_of(x, y, n, slope, lags, z / sqrt((double)n), scratch, position, factors);
    free(scratch);
    free(position);
    return status;
}
