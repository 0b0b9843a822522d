/*
 * tool_trend: runs series through the trend functions for the cross-checks in Python and R.
 *
 * Standard input, any number of times: "n repeat" and n lines "x y". Standard output, one line of
 * JSON each: slope, intercept, interval, S, variance, p, Hamed-Rao with all lags as published, r1,
 * least-squares break; nanoseconds per call of trend_fit and of theil_sen_fit.
 */
#include "analysis/changepoint.h"
#include "analysis/mann_kendall.h"
#include "analysis/statistics.h"
#include "analysis/theil_sen.h"
#include "analysis/trend.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static double now_ns(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec * 1e9 + (double)now.tv_nsec;
}

static double time_of_trend(const double *x, const double *y, size_t n, int repeat) {
    struct trend trend;
    const struct trend_series series = {n, x, y, NULL, NULL, NULL};
    double start = now_ns();
    for (int i = 0; i < repeat; i++)
        if (trend_fit(&series, 0.95, &trend) != TREND_OK)
            return -1.0;
    return (now_ns() - start) / repeat;
}

static void print_steps(const double *y, size_t n) {
    struct changepoint by_squares = {0};
    int squares = (int)changepoint_least_squares(y, n, 0.15, &by_squares);
    printf("\"break_status\":%d,\"break_before\":%zu,\"break_rss\":%.17g,", squares,
           by_squares.before, by_squares.residual_squares);
}

static void print_line(const double *x, const double *y, size_t n, int repeat) {
    struct theil_sen line = {0};
    struct mann_kendall plain = {0}, wide = {0};
    struct mann_kendall_factors published = {1.0, 1.0}, ours = {1.0, 1.0};
    const struct mann_kendall_lags all = {.most = SIZE_MAX, .may_shrink = true};
    double r1 = 0.0, start = now_ns();
    int status = 0;
    for (int i = 0; i < repeat; i++)
        status |= (int)theil_sen_fit(x, y, n, 0.95, &line);
    double fit_ns = (now_ns() - start) / repeat;
    status |= (int)mann_kendall_test(x, y, n, &plain);
    status |= (int)mann_kendall_factors(x, y, n, line.slope, &all, &published);
    status |= (int)mann_kendall_factors(x, y, n, line.slope, NULL, &ours);
    wide = mann_kendall_with_factor(&plain, published.hamed_rao);
    printf("{\"status\":%d,\"slope\":%.17g,\"intercept\":%.17g,\"lower\":%.17g,\"upper\":%.17g,",
           status, line.slope, line.intercept, line.lower, line.upper);
    printf("\"s\":%.17g,\"variance\":%.17g,\"z\":%.17g,\"p\":%.17g,", plain.s, plain.variance,
           plain.z, plain.p_value);
    printf("\"hamed_rao_variance\":%.17g,\"hamed_rao_p\":%.17g,\"factor\":%.17g,", wide.variance,
           wide.p_value, ours.hamed_rao);
    if (statistics_autocorrelation(y, n, 1, &r1) == STATISTICS_OK)
        printf("\"r1\":%.17g,", r1);
    print_steps(y, n);
    printf("\"fit_ns\":%.0f,\"trend_ns\":%.0f}\n", fit_ns, time_of_trend(x, y, n, repeat));
}

int main(void) {
    size_t n = 0;
    int repeat = 1;
    while (scanf("%zu %d", &n, &repeat) == 2) {
        double *x = malloc(n * sizeof(*x)), *y = malloc(n * sizeof(*y));
        for (size_t i = 0; x && y && i < n; i++)
            if (scanf("%lf %lf", &x[i], &y[i]) != 2)
                return EXIT_FAILURE;
        if (!x || !y)
            return EXIT_FAILURE;
        print_line(x, y, n, repeat);
        free(x);
        free(y);
    }
    return EXIT_SUCCESS;
}
