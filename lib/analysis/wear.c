#include "analysis/wear.h"

#include "analysis/changepoint.h"
#include "analysis/statistics.h"
#include "measure/root_sum.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum { STEADY_LEAST = 120 }; /* of the last 180 days */
static const double steady_p_value = 0.05;
static const double windows_days[] = {WEAR_RECENT_DAYS, TREND_RECENT_DAYS, INFINITY};
static const double confidence = 0.95;
static const double pi = 3.14159265358979323846;
static const double half_width = 1.959963985; /* normal, 95 % */
static const double walk_slope = 6.0 / 5.0; /* variance of the slope of a random walk over a year */
static const double more_than_before = 1.2; /* a low of last year comes again a little lower */
static const double lagging_share = 1.0 / 3.0; /* of the weather's wave; reasoning, no source */
static const double least_share = 0.15;        /* of the days on either side of a step; by custom */

static double median_of_week(const double *values) {
    double week[WEAR_LEVEL_DAYS], median = NAN;
    memcpy(week, values, sizeof week);
    statistics_median_in_place(week, WEAR_LEVEL_DAYS, &median);
    return median;
}

double wear_level(const struct trend_series *series) {
    return series->n < WEAR_LEVEL_DAYS
               ? NAN
               : median_of_week(series->values + series->n - WEAR_LEVEL_DAYS);
}

/* Lowest median of 7 values that all lie before a day; infinite when there is none. */
static double lowest_before(const struct trend_series *series, double day) {
    double lowest = INFINITY;
    for (size_t i = 0; i + WEAR_LEVEL_DAYS <= series->n; i++) {
        if (series->days[i + WEAR_LEVEL_DAYS - 1] >= day)
            break;
        lowest = fmin(lowest, median_of_week(series->values + i));
    }
    return lowest;
}

/* Squares left around the line of least squares. */
static double squares_around_line(const struct trend_series *series) {
    double n = (double)series->n, day = 0.0, value = 0.0, xx = 0.0, xy = 0.0, yy = 0.0;
    for (size_t i = 0; i < series->n; i++) {
        day += series->days[i] / n;
        value += series->values[i] / n;
    }
    for (size_t i = 0; i < series->n; i++) {
        double x = series->days[i] - day, y = series->values[i] - value;
        xx += x * x;
        xy += x * y;
        yy += y * y;
    }
    return yy - xy * xy / xx;
}

static bool is_slow(const struct trend_series *series) {
    struct changepoint step;
    return changepoint_least_squares(series->values, series->n, least_share, &step) !=
               CHANGEPOINT_OK ||
           squares_around_line(series) <= step.residual_squares;
}

double wear_slope_of_wave(double years) {
    double half = pi * years;
    return 6.0 * (sin(half) - half * cos(half)) / (pi * pi * years * years * years);
}

/* Over less than a year the seasons alone make a slope. */
static double season_per_year(const struct trend *trend, double years,
                              const struct wear_usual *usual) {
    double share = trend->temperature == TREND_TEMPERATURE_REMOVED ? lagging_share : 1.0;
    return years >= 1.0
               ? 0.0
               : wear_slope_of_wave(years) * root_sum(usual->season, share * usual->weather);
}

static bool is_beyond_usual(const struct trend *trend, const struct wear_usual *usual) {
    double years = (trend->last_day - trend->first_day) / TREND_YEAR_DAYS;
    double wander = half_width * usual->wander * sqrt(walk_slope / years);
    return trend->upper < -root_sum(season_per_year(trend, years, usual), wander);
}

/* The line's way to the limit; false: not in time. */
static bool reaches(const struct trend *trend, double now_day, double limit, double within_days,
                    struct trend_crossing *crossing) {
    switch (trend_cross(trend, now_day, limit, TREND_LOW_LIMIT, crossing)) {
    case TREND_BEYOND_ALREADY:
        crossing->day = crossing->earliest_day = now_day;
        crossing->has_earliest = true;
        return true;
    case TREND_CROSSES:
        return crossing->day - now_day <= within_days;
    default:
        return false;
    }
}

static enum wear_status look_at(const struct trend_series *window, const struct trend_series *all,
                                const struct wear_usual *usual, double now_day, double limit,
                                double within_days, struct wear *wear) {
    double middle = 0.5 * (window->days[0] + window->days[window->n - 1]);
    if (!trend_may_reach(window, now_day, limit, TREND_LOW_LIMIT, within_days) ||
        1.0 - wear_level(all) <= more_than_before * (1.0 - lowest_before(all, middle)))
        return WEAR_NONE;
    enum trend_status status = trend_fit(window, confidence, &wear->trend);
    if (status == TREND_NO_MEMORY)
        return WEAR_NO_MEMORY;
    bool falls = status == TREND_OK && wear->trend.per_year < 0.0 &&
                 wear->trend.p_value_cautious < WEAR_P_VALUE &&
                 wear->trend.temperature != TREND_TEMPERATURE_LIKE_TIME;
    return falls && is_beyond_usual(&wear->trend, usual) &&
                   reaches(&wear->trend, now_day, limit, within_days, &wear->crossing) &&
                   is_slow(window)
               ? WEAR_FOUND
               : WEAR_NONE;
}

/* Only a long look can say that it falls no more. */
static enum wear_status unless_steady(const struct trend_series *all) {
    const struct trend_series window = trend_series_recent(all, TREND_RECENT_DAYS);
    struct trend trend;
    if (window.n < STEADY_LEAST)
        return WEAR_UNSURE;
    enum trend_status status = trend_fit(&window, confidence, &trend);
    if (status == TREND_NO_MEMORY)
        return WEAR_NO_MEMORY;
    return status != TREND_OK || (trend.per_year < 0.0 && trend.p_value_cautious < steady_p_value)
               ? WEAR_UNSURE
               : WEAR_NONE;
}

enum wear_status wear_find(const struct trend_series *series, const struct wear_usual *usual,
                           double now_day, double limit, double within_days, struct wear *wear) {
    assert(series && usual && wear);
    enum wear_status found = WEAR_NONE;
    size_t looked_at = 0;
    if (series->n < WEAR_LEAST_DAYS)
        return WEAR_TOO_SHORT;
    if (!(wear_level(series) < WEAR_LEVEL))
        return WEAR_NONE;
    for (size_t i = 0; i < sizeof windows_days / sizeof windows_days[0]; i++) {
        const struct trend_series window = trend_series_recent(series, windows_days[i]);
        struct wear one;
        if (window.n < WEAR_LEAST_DAYS || window.n == looked_at)
            continue;
        looked_at = window.n;
        enum wear_status status =
            look_at(&window, series, usual, now_day, limit, within_days, &one);
        if (status == WEAR_NO_MEMORY)
            return status;
        if (status != WEAR_FOUND || (found == WEAR_FOUND && wear->crossing.day <= one.crossing.day))
            continue;
        *wear = one;
        found = WEAR_FOUND;
    }
    return found == WEAR_FOUND ? found : unless_steady(series);
}
