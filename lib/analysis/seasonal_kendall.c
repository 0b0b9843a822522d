/*
 * See seasonal_kendall.h: Hirsch, Slack & Smith 1982. Values are gathered season by
 * season, each season is tested alone, and S and variance are summed. Slopes within the seasons are
 * listed in full: at one value a season and year there are few (10 years of months: 540).
 */
#include "analysis/seasonal_kendall.h"

#include "analysis/statistics.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

enum { most_seasons = 366, most_values = 20000 };

struct gathered {
    double *x, *y;  /* all values, season after season */
    double *slopes; /* within seasons */
    size_t slope_count;
    size_t start[most_seasons + 1];
};

static void gathered_free(struct gathered *g) {
    if (!g)
        return;
    free(g->x);
    free(g->y);
    free(g->slopes);
    free(g);
}

static struct gathered *gather(const double *x, const double *y, const int32_t *season, size_t n,
                               int32_t season_count) {
    struct gathered *g = calloc(1, sizeof(*g));
    if (!g)
        return NULL;
    for (size_t i = 0; i < n; i++)
        g->start[season[i] + 1]++;
    size_t pairs = 0;
    for (int32_t k = 0; k < season_count; k++) {
        size_t m = g->start[k + 1];
        pairs += m * (m - (m > 0)) / 2;
        g->start[k + 1] += g->start[k];
    }
    size_t filled[most_seasons] = {0};
    g->x = malloc(n * sizeof(*g->x));
    g->y = malloc(n * sizeof(*g->y));
    g->slopes = malloc((pairs + 1) * sizeof(*g->slopes));
    if (!g->x || !g->y || !g->slopes) {
        gathered_free(g);
        return NULL;
    }
    for (size_t i = 0; i < n; i++) {
        size_t place = g->start[season[i]] + filled[season[i]]++;
        g->x[place] = x[i];
        g->y[place] = y[i];
    }
    return g;
}

static void list_slopes(struct gathered *g, size_t first, size_t last) {
    for (size_t i = first; i < last; i++)
        for (size_t j = i + 1; j < last; j++)
            if (g->x[i] != g->x[j])
                g->slopes[g->slope_count++] = (g->y[j] - g->y[i]) / (g->x[j] - g->x[i]);
}

/* S and variance of a season; a season of two values is tested as the pair it is. */
static enum mann_kendall_status test_season(const struct gathered *g, size_t first, size_t last,
                                            struct mann_kendall *season) {
    if (last - first > 2)
        return mann_kendall_test(g->x + first, g->y + first, last - first, season);
    double rise = (g->y[first + 1] - g->y[first]) * (g->x[first + 1] - g->x[first]);
    double s = (rise > 0.0) - (rise < 0.0);
    *season = (struct mann_kendall){.n = 2, .s = s, .tau = s, .variance = s * s, .factor = 1.0};
    return MANN_KENDALL_OK;
}

/* Slope at a rank counted from 1, between two of them where it is no whole number. */
static double slope_at(struct gathered *g, double rank) {
    double n = (double)g->slope_count, place = fmax(1.0, fmin(rank, n)) - 1.0;
    size_t below = (size_t)place;
    double share = place - (double)below;
    double lower = statistics_select(g->slopes, g->slope_count, below);
    if (share == 0.0)
        return lower;
    double upper = statistics_select(g->slopes, g->slope_count, below + 1);
    return lower + share * (upper - lower);
}

static void sum_seasons(struct seasonal_kendall *sums, const struct mann_kendall *season,
                        double *squares, double *z_sum) {
    sums->n += season->n;
    sums->seasons++;
    sums->s += season->s;
    sums->variance += season->variance;
    sums->tau += season->tau;
    if (season->variance > 0.0) {
        double z = season->s / sqrt(season->variance); /* Gilbert 1987, 17.2: no correction */
        *squares += z * z;
        *z_sum += z;
    }
}

static enum mann_kendall_status compute(struct gathered *g, int32_t season_count, double width,
                                        double variance_factor, struct seasonal_kendall *result) {
    struct seasonal_kendall sums = {0};
    double squares = 0.0, z_sum = 0.0;
    for (int32_t k = 0; k < season_count; k++) {
        size_t first = g->start[k], last = g->start[k + 1];
        if (last - first < 2)
            continue;
        struct mann_kendall season;
        enum mann_kendall_status status = test_season(g, first, last, &season);
        if (status != MANN_KENDALL_OK)
            return status;
        sum_seasons(&sums, &season, &squares, &z_sum);
        list_slopes(g, first, last);
    }
    if (g->slope_count == 0)
        return MANN_KENDALL_TOO_SHORT;
    if (!statistics_all_finite(g->slopes, g->slope_count))
        return MANN_KENDALL_NOT_FINITE;
    sums.variance *= variance_factor;
    double corrected = sums.s > 0.0 ? sums.s - 1.0 : sums.s < 0.0 ? sums.s + 1.0 : 0.0;
    sums.z = sums.variance > 0.0 ? corrected / sqrt(sums.variance) : 0.0;
    sums.p_value = statistics_normal_two_sided(sums.z);
    sums.tau /= (double)sums.seasons;
    sums.heterogeneity = fmax(0.0, squares - z_sum * z_sum / (double)sums.seasons);
    double n = (double)g->slope_count, c = width * sqrt(sums.variance);
    sums.slope = 0.5 * (slope_at(g, floor((n + 1.0) / 2.0)) + slope_at(g, ceil((n + 1.0) / 2.0)));
    sums.lower = slope_at(g, (n - c) / 2.0);
    sums.upper = slope_at(g, (n + c) / 2.0 + 1.0);
    *result = sums;
    return MANN_KENDALL_OK;
}

enum mann_kendall_status seasonal_kendall_test(const double *x, const double *y,
                                               const int32_t *season, size_t n,
                                               int32_t season_count, double confidence,
                                               double variance_factor,
                                               struct seasonal_kendall *result) {
    assert(result);
    double width = 0.0;
    if (season_count < 1 || season_count > most_seasons || n > most_values || !(confidence > 0.0) ||
        !(variance_factor >= 1.0) || isinf(variance_factor) ||
        statistics_normal_quantile(0.5 + confidence / 2.0, &width) != STATISTICS_OK)
        return MANN_KENDALL_OUT_OF_RANGE;
    if (n < 2)
        return MANN_KENDALL_TOO_SHORT;
    if (!statistics_all_finite(x, n) || !statistics_all_finite(y, n))
        return MANN_KENDALL_NOT_FINITE;
    for (size_t i = 0; i < n; i++)
        if (season[i] < 0 || season[i] >= season_count)
            return MANN_KENDALL_OUT_OF_RANGE;
    struct gathered *g = gather(x, y, season, n, season_count);
    if (!g)
        return MANN_KENDALL_NO_MEMORY;
    enum mann_kendall_status status = compute(g, season_count, width, variance_factor, result);
    gathered_free(g);
    return status;
}
