#include "analysis/statistics.h"

#include <assert.h>
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

bool statistics_all_finite(const double *values, size_t n) {
    for (size_t i = 0; i < n; i++)
        if (!isfinite(values[i]))
            return false;
    return true;
}

void statistics_running_add(struct statistics_running *running, double value) {
    running->count++;
    double before = value - running->mean;
    running->mean += before / (double)running->count;
    running->squares += before * (value - running->mean);
}

enum statistics_status statistics_summarize(const double *values, size_t n,
                                            struct statistics_summary *summary) {
    assert(summary);
    if (n < 2)
        return STATISTICS_TOO_SHORT;
    if (!statistics_all_finite(values, n))
        return STATISTICS_NOT_FINITE;
    struct statistics_running running = {0};
    double lowest = values[0], highest = values[0];
    for (size_t i = 0; i < n; i++) {
        statistics_running_add(&running, values[i]);
        lowest = fmin(lowest, values[i]);
        highest = fmax(highest, values[i]);
    }
    double sd = lowest == highest ? 0.0 : sqrt(running.squares / (double)(n - 1));
    if (!isfinite(running.mean) || !isfinite(sd))
        return STATISTICS_NOT_FINITE;
    *summary = (struct statistics_summary){n, running.mean, sd, lowest, highest};
    return STATISTICS_OK;
}

static void swap(double *a, double *b) {
    double kept = *a;
    *a = *b;
    *b = kept;
}

/*
 * Moves the k-th smallest of [low, high] near place k by selecting in a small stretch around it, so
 * that the pivot cuts just beside the wanted rank: Floyd & Rivest, Comm. ACM 18 (1975) 165 and 173.
 */
static void select_between(double *values, ptrdiff_t low, ptrdiff_t high, ptrdiff_t k) {
    while (high > low) {
        if (high - low > 600) {
            double n = (double)(high - low + 1), i = (double)(k - low + 1), z = log(n);
            double stretch = 0.5 * exp(2.0 * z / 3.0);
            double spread = 0.5 * sqrt(z * stretch * (n - stretch) / n);
            spread = i < n / 2.0 ? -spread : spread;
            double from = (double)k - i * stretch / n + spread;
            double to = (double)k + (n - i) * stretch / n + spread;
            select_between(values, from > (double)low ? (ptrdiff_t)from : low,
                           to < (double)high ? (ptrdiff_t)to : high, k);
        }
        double pivot = values[k];
        ptrdiff_t i = low, j = high;
        swap(&values[low], &values[k]);
        if (values[high] > pivot)
            swap(&values[low], &values[high]);
        while (i < j) {
            swap(&values[i++], &values[j--]);
            while (values[i] < pivot)
                i++;
            while (values[j] > pivot)
                j--;
        }
        if (values[low] == pivot)
            swap(&values[low], &values[j]);
        else
            swap(&values[++j], &values[high]);
        low = j <= k ? j + 1 : low;
        high = k <= j ? j - 1 : high;
    }
}

double statistics_select(double *values, size_t n, size_t k) {
    assert(k < n);
    select_between(values, 0, (ptrdiff_t)n - 1, (ptrdiff_t)k);
    return values[k];
}

enum statistics_status statistics_median_in_place(double *values, size_t n, double *median) {
    assert(median);
    if (n == 0)
        return STATISTICS_TOO_SHORT;
    if (!statistics_all_finite(values, n))
        return STATISTICS_NOT_FINITE;
    double upper = statistics_select(values, n, n / 2);
    if (n % 2) {
        *median = upper;
        return STATISTICS_OK;
    }
    double lower = values[0]; /* after the selection all smaller ones stand before n / 2 */
    for (size_t i = 1; i < n / 2; i++)
        lower = fmax(lower, values[i]);
    *median = lower / 2 + upper / 2;
    if (fabs(lower) < DBL_MAX / 4 && fabs(upper) < DBL_MAX / 4)
        *median = (lower + upper) / 2; /* no halving of the very small */
    return STATISTICS_OK;
}

static double *copy_of(const double *values, size_t n) {
    double *copy = malloc(n * sizeof(*copy));
    if (copy)
        memcpy(copy, values, n * sizeof(*copy));
    return copy;
}

enum statistics_status statistics_median(const double *values, size_t n, double *median) {
    if (n == 0)
        return STATISTICS_TOO_SHORT;
    double *copy = copy_of(values, n);
    if (!copy)
        return STATISTICS_NO_MEMORY;
    enum statistics_status status = statistics_median_in_place(copy, n, median);
    free(copy);
    return status;
}

enum statistics_status statistics_mad(const double *values, size_t n, double *median, double *mad) {
    assert(median && mad);
    if (n == 0)
        return STATISTICS_TOO_SHORT;
    double *copy = copy_of(values, n);
    if (!copy)
        return STATISTICS_NO_MEMORY;
    double middle = 0, deviation = 0;
    enum statistics_status status = statistics_median_in_place(copy, n, &middle);
    if (status == STATISTICS_OK) {
        for (size_t i = 0; i < n; i++)
            copy[i] = fabs(values[i] - middle);
        status = statistics_median_in_place(copy, n, &deviation);
    }
    if (status == STATISTICS_OK) {
        *median = middle;
        *mad = deviation;
    }
    free(copy);
    return status;
}

enum statistics_status statistics_quantile(const double *values, size_t n, double probability,
                                           double *quantile) {
    assert(quantile);
    if (n == 0)
        return STATISTICS_TOO_SHORT;
    if (!(probability >= 0.0 && probability <= 1.0))
        return STATISTICS_OUT_OF_RANGE;
    if (!statistics_all_finite(values, n))
        return STATISTICS_NOT_FINITE;
    double *copy = copy_of(values, n);
    if (!copy)
        return STATISTICS_NO_MEMORY;
    double place = (double)(n - 1) * probability;
    size_t below = (size_t)place;
    double share = place - (double)below;
    double lower = statistics_select(copy, n, below);
    double upper = lower;
    if (share > 0.0 && below + 1 < n)
        upper = statistics_select(copy, n, below + 1);
    *quantile = lower * (1.0 - share) + upper * share;
    if (lower == upper)
        *quantile = lower;
    free(copy);
    return STATISTICS_OK;
}

struct ranked {
    double value;
    size_t index;
};

static int by_value(const void *a, const void *b) {
    const struct ranked *left = a, *right = b;
    return (left->value > right->value) - (left->value < right->value);
}

enum statistics_status statistics_ranks(const double *values, size_t n, double *ranks) {
    assert(ranks || n == 0);
    if (n == 0)
        return STATISTICS_TOO_SHORT;
    if (!statistics_all_finite(values, n))
        return STATISTICS_NOT_FINITE;
    struct ranked *sorted = malloc(n * sizeof(*sorted));
    if (!sorted)
        return STATISTICS_NO_MEMORY;
    for (size_t i = 0; i < n; i++)
        sorted[i] = (struct ranked){values[i], i};
    qsort(sorted, n, sizeof(*sorted), by_value);
    for (size_t first = 0, last; first < n; first = last) {
        for (last = first + 1; last < n && sorted[last].value == sorted[first].value;)
            last++;
        for (size_t i = first; i < last; i++)
            ranks[sorted[i].index] = (double)(first + 1 + last) / 2.0;
    }
    free(sorted);
    return STATISTICS_OK;
}

static enum statistics_status mean_and_squares(const double *values, size_t n,
                                               struct statistics_running *running) {
    struct statistics_summary summary;
    enum statistics_status status = statistics_summarize(values, n, &summary);
    if (status != STATISTICS_OK)
        return status;
    if (summary.lowest == summary.highest)
        return STATISTICS_CONSTANT;
    double left = 0.0; /* what rounding left over in the mean: it matters where mean >> spread */
    for (size_t i = 0; i < n; i++)
        left += values[i] - summary.mean;
    running->mean = summary.mean + left / (double)n;
    running->squares = 0;
    for (size_t i = 0; i < n; i++)
        running->squares += (values[i] - summary.mean) * (values[i] - summary.mean);
    if (!isfinite(running->squares))
        return STATISTICS_NOT_FINITE;
    return running->squares > 0.0 ? STATISTICS_OK : STATISTICS_CONSTANT;
}

enum statistics_status statistics_autocorrelation(const double *values, size_t n, size_t lag,
                                                  double *r) {
    assert(r);
    if (lag == 0)
        return STATISTICS_OUT_OF_RANGE;
    if (n < 3 || lag >= n)
        return STATISTICS_TOO_SHORT;
    struct statistics_running running = {0};
    enum statistics_status status = mean_and_squares(values, n, &running);
    if (status != STATISTICS_OK)
        return status;
    double products = 0;
    for (size_t i = 0; i + lag < n; i++)
        products += (values[i] - running.mean) * (values[i + lag] - running.mean);
    *r = products / running.squares;
    return STATISTICS_OK;
}

enum statistics_status statistics_autocorrelation_at(const int64_t *position, const double *values,
                                                     size_t n, size_t lag, double *r) {
    assert(r);
    if (lag == 0)
        return STATISTICS_OUT_OF_RANGE;
    if (n < 3 || lag >= n)
        return STATISTICS_TOO_SHORT;
    struct statistics_running running = {0};
    enum statistics_status status = mean_and_squares(values, n, &running);
    if (status != STATISTICS_OK)
        return status;
    double products = 0;
    size_t pairs = 0;
    for (size_t i = 0, j = 1; i < n; i++) {
        while (j < n && position[j] - position[i] < (int64_t)lag)
            j++;
        if (j < n && position[j] - position[i] == (int64_t)lag) {
            products += (values[i] - running.mean) * (values[j] - running.mean);
            pairs++;
        }
    }
    if (pairs == 0)
        return STATISTICS_TOO_SHORT;
    double scaled = products / running.squares * ((double)(n - lag) / (double)pairs);
    *r = fmax(-1.0, fmin(1.0, scaled)); /* with few pairs the scaling can overshoot */
    return STATISTICS_OK;
}

double statistics_unbiased_r1(double r1, size_t n) {
    double rho = n < 8 ? r1 : ((double)n * r1 + 1.0) / ((double)n - 4.0);
    return fmax(-0.95, fmin(0.95, rho));
}

double statistics_effective_size(double n, double r1) {
    if (!(r1 > 0.0))
        return n;
    return r1 >= 1.0 ? 1.0 : fmax(1.0, n * (1.0 - r1) / (1.0 + r1));
}

double statistics_normal_cdf(double z) {
    return 0.5 * erfc(-z * 0.70710678118654752440);
}

double statistics_normal_two_sided(double z) {
    return erfc(fabs(z) * 0.70710678118654752440);
}

/* Start: Abramowitz & Stegun 26.2.23 (error 4.5e-4); then Newton with Halley's term on erfc. */
enum statistics_status statistics_normal_quantile(double probability, double *z) {
    assert(z);
    if (!(probability > 0.0 && probability < 1.0))
        return STATISTICS_OUT_OF_RANGE;
    double tail = fmin(probability, 1.0 - probability);
    double t = sqrt(-2.0 * log(tail));
    double x = t - (2.515517 + t * (0.802853 + t * 0.010328)) /
                       (1.0 + t * (1.432788 + t * (0.189269 + t * 0.001308)));
    for (int i = 0; i < 4; i++) { /* upper tail Q(x) = tail */
        double density = exp(-0.5 * x * x) * 0.39894228040143267794;
        if (density == 0.0)
            break; /* a tail below 1e-308: the start is as good as it gets */
        double step = (statistics_normal_cdf(-x) - tail) / density;
        x += step / (1.0 - 0.5 * x * step);
    }
    *z = tail == 0.5 ? 0.0 : probability < 0.5 ? -x : x;
    return STATISTICS_OK;
}

/* Continued fraction of the incomplete beta function, DLMF 8.17.22, by the modified Lentz method.
 */
static double beta_fraction(double a, double b, double x) {
    const double tiny = 1e-300;
    double c = 1.0, d = 1.0 - (a + b) * x / (a + 1.0);
    d = 1.0 / (fabs(d) < tiny ? tiny : d);
    double value = d;
    for (int m = 1; m < 10000; m++) {
        double even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
        double odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1));
        d = 1.0 + even * d;
        d = 1.0 / (fabs(d) < tiny ? tiny : d);
        c = 1.0 + even / c;
        c = fabs(c) < tiny ? tiny : c;
        value *= d * c;
        d = 1.0 + odd * d;
        d = 1.0 / (fabs(d) < tiny ? tiny : d);
        c = 1.0 + odd / c;
        c = fabs(c) < tiny ? tiny : c;
        value *= d * c;
        if (fabs(d * c - 1.0) < 1e-16)
            break;
    }
    return value;
}

/* Gamma(a + 1/2) / Gamma(a): its series for a large a (DLMF 5.11.13), from the next a by Gamma(a +
   1) = a Gamma(a) for a small one. Not by lgamma: its difference loses digits, and its bits are not
   the same on every machine. */
static double gamma_half_step(double a) {
    double step = 1.0;
    while (a < 30.0) {
        step *= a / (a + 0.5);
        a += 1.0;
    }
    double r = 1.0 / a, series = 39325.0 / 33554432.0;
    static const double terms[] = {869.0 / 4194304.0,
                                   -399.0 / 262144.0,
                                   -21.0 / 32768.0,
                                   5.0 / 1024.0,
                                   1.0 / 128.0,
                                   -1.0 / 8.0,
                                   1.0};
    for (size_t i = 0; i < sizeof terms / sizeof *terms; i++)
        series = terms[i] + series * r;
    return step * sqrt(a) * series;
}

/* With b = 1/2, and so Gamma(b) = sqrt(pi). x and its complement are both given, so that neither
   loses digits. */
static double incomplete_beta_half(double a, double x, double complement) {
    const double b = 0.5, root_of_pi = 1.77245385090551602730;
    if (x <= 0.0 || complement <= 0.0)
        return x <= 0.0 ? 0.0 : 1.0;
    double front = gamma_half_step(a) / root_of_pi * exp(a * log(x)) * sqrt(complement);
    if (x < (a + 1.0) / (a + b + 2.0))
        return front * beta_fraction(a, b, x) / a;
    return 1.0 - front * beta_fraction(b, a, complement) / b;
}

double statistics_t_cdf(double t, double degrees) {
    assert(degrees > 0.0 && !isnan(t));
    if (isinf(t))
        return t > 0.0 ? 1.0 : 0.0;
    if (degrees >= 1e8)
        return statistics_normal_cdf(t);
    double square = t * t;
    double x = isinf(square) ? 0.0 : degrees / (degrees + square);
    double complement = isinf(square) ? 1.0 : square / (degrees + square);
    double tail = 0.5 * incomplete_beta_half(0.5 * degrees, x, complement);
    return t > 0.0 ? 1.0 - tail : tail;
}
