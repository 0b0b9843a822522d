#include "analysis/trend.h"

#include "analysis/mann_kendall.h"
#include "analysis/seasonal_kendall.h"
#include "analysis/statistics.h"
#include "analysis/theil_sen.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double seasonal_from_days = 2.0 * TREND_YEAR_DAYS;
static const double pi = 3.14159265358979323846;
static const double sure_p_value = 0.01;
static const double furthest_days = 10.0 * TREND_YEAR_DAYS;
static const double least_span_k = 5.0;
static const double least_known_share = 0.75;
static const double most_like_time = 0.9;
static const size_t least_days_of_month = 5; /* fewer say little about a month */

const char *trend_why(enum trend_status status) {
    static const char *const why[] = {
        [TREND_OK] = "computed",
        [TREND_TOO_SHORT] = "a trend needs at least 30 daily values",
        [TREND_NOT_FINITE] = "a daily value is missing or not a finite number",
        [TREND_OUT_OF_ORDER] = "the days are not in order of time",
        [TREND_OUT_OF_RANGE] = "a setting of the computation is out of range",
        [TREND_NO_MEMORY] = "out of memory",
    };
    size_t row = (size_t)status;
    return row < sizeof(why) / sizeof(why[0]) ? why[row] : "unknown";
}

const char *trend_method_text(enum trend_method method) {
    static const char *const text[] = {
        [TREND_HAMED_RAO] = "Mann-Kendall with the variance of Hamed and Rao, Theil-Sen slope",
        [TREND_SEASONAL_KENDALL] = "Seasonal Kendall test and slope on monthly medians",
        [TREND_FEW] = "exact Mann-Kendall test of single readings, Theil-Sen slope",
        [TREND_DRIFT] = "line fitted together with a yearly wave, settling and steps",
    };
    size_t row = (size_t)method;
    return row < sizeof(text) / sizeof(text[0]) ? text[row] : "";
}

const char *trend_temperature_text(enum trend_temperature temperature) {
    static const char *const text[] = {
        [TREND_TEMPERATURE_NOT_GIVEN] = "",
        [TREND_TEMPERATURE_REMOVED] = "the effect of the outdoor temperature was taken out first",
        [TREND_TEMPERATURE_TOO_FEW] =
            "the outdoor temperature is known on too few of the days to take it out",
        [TREND_TEMPERATURE_SAME] =
            "the outdoor temperature hardly changed, so its effect can't be known",
        [TREND_TEMPERATURE_LIKE_TIME] =
            "the outdoor temperature moved along with time and can't be told from a trend",
    };
    size_t row = (size_t)temperature;
    return row < sizeof(text) / sizeof(text[0]) ? text[row] : "";
}

const char *trend_crossing_why(enum trend_crossing_status status) {
    static const char *const why[] = {
        [TREND_CROSSES] = "computed",
        [TREND_BEYOND_ALREADY] = "past its limit now",
        [TREND_NOT_WITHIN_10_YEARS] = "not within 10 years",
        [TREND_NO_CROSSING] = "there is no limit to reach",
    };
    size_t row = (size_t)status;
    return row < sizeof(why) / sizeof(why[0]) ? why[row] : "unknown";
}

size_t trend_recent_start(const double *days, size_t n, double recent) {
    size_t start = n;
    while (start > 0 && days[n - 1] - days[start - 1] < recent)
        start--;
    return start;
}

struct trend_series trend_series_recent(const struct trend_series *series, double recent) {
    struct trend_series last = *series;
    size_t start = trend_recent_start(last.days, last.n, recent);
    if (start == 0)
        return last;
    last.n -= start;
    last.days += start;
    last.values += start;
    if (last.months)
        last.months += start;
    if (last.outdoor_c)
        last.outdoor_c += start;
    if (last.common)
        last.common += start;
    return last;
}

/* The days that are used, temperature taken out of y. One block of memory, freed by its start. */
struct work {
    size_t n;
    double *x, *y, *temperature;
    int32_t *months; /* NULL when not given */
    double inflation;
};

static enum trend_status from_kendall(enum mann_kendall_status status) {
    static const enum trend_status translated[] = {
        [MANN_KENDALL_OK] = TREND_OK,
        [MANN_KENDALL_TOO_SHORT] = TREND_TOO_SHORT,
        [MANN_KENDALL_NOT_FINITE] = TREND_NOT_FINITE,
        [MANN_KENDALL_OUT_OF_RANGE] = TREND_OUT_OF_RANGE,
        [MANN_KENDALL_NO_MEMORY] = TREND_NO_MEMORY,
    };
    return translated[status];
}

static enum trend_status from_theil_sen(enum theil_sen_status status) {
    static const enum trend_status translated[] = {
        [THEIL_SEN_OK] = TREND_OK,
        [THEIL_SEN_TOO_SHORT] = TREND_TOO_SHORT,
        [THEIL_SEN_NOT_FINITE] = TREND_NOT_FINITE,
        [THEIL_SEN_SAME_TIME] = TREND_OUT_OF_ORDER,
        [THEIL_SEN_OUT_OF_RANGE] = TREND_OUT_OF_RANGE,
        [THEIL_SEN_NO_MEMORY] = TREND_NO_MEMORY,
    };
    return translated[status];
}

static enum trend_status check(const struct trend_series *series) {
    if (series->n < TREND_LEAST_DAYS)
        return TREND_TOO_SHORT;
    if (series->n > (size_t)1 << 20)
        return TREND_OUT_OF_RANGE;
    if (!statistics_all_finite(series->days, series->n) ||
        !statistics_all_finite(series->values, series->n))
        return TREND_NOT_FINITE;
    for (size_t i = 1; i < series->n; i++)
        if (series->days[i] <= series->days[i - 1])
            return TREND_OUT_OF_ORDER;
    return TREND_OK;
}

static bool is_used(const struct trend_series *series, size_t i) {
    return !series->common || isfinite(series->common[i]);
}

struct known_days {
    size_t used, with_temperature;
};

static struct known_days count_known(const struct trend_series *series) {
    struct known_days known = {0, 0};
    for (size_t i = 0; i < series->n; i++) {
        if (!is_used(series, i))
            continue;
        known.used++;
        known.with_temperature += series->outdoor_c && isfinite(series->outdoor_c[i]) ? 1 : 0;
    }
    return known;
}

/* Of the used days those with a known temperature, when `with_temperature`; all otherwise. */
static enum trend_status take(const struct trend_series *series, bool with_temperature,
                              struct work *work) {
    size_t n = series->n;
    *work = (struct work){.inflation = 1.0};
    work->x = malloc(n * (3 * sizeof(double) + sizeof(int32_t)));
    if (!work->x)
        return TREND_NO_MEMORY;
    work->y = work->x + n;
    work->temperature = work->y + n;
    work->months = series->months ? (int32_t *)(void *)(work->temperature + n) : NULL;
    for (size_t i = 0; i < n; i++) {
        if (!is_used(series, i) || (with_temperature && !isfinite(series->outdoor_c[i])))
            continue;
        work->x[work->n] = series->days[i];
        work->y[work->n] = series->values[i] * (series->common ? exp(-series->common[i]) : 1.0);
        work->temperature[work->n] = with_temperature ? series->outdoor_c[i] : 0.0;
        if (work->months)
            work->months[work->n] = series->months[i];
        work->n++;
    }
    return TREND_OK;
}

struct sums { /* centred sums of products: time x, temperature t, value y */
    double mean_x, mean_t, mean_y, xx, tt, xt, xy, ty;
};

static struct sums sums_of(const struct work *work) {
    struct sums sums = {0};
    double n = (double)work->n;
    for (size_t i = 0; i < work->n; i++) {
        sums.mean_x += work->x[i] / n;
        sums.mean_t += work->temperature[i] / n;
        sums.mean_y += work->y[i] / n;
    }
    for (size_t i = 0; i < work->n; i++) {
        double x = work->x[i] - sums.mean_x, t = work->temperature[i] - sums.mean_t;
        double y = work->y[i] - sums.mean_y;
        sums.xx += x * x;
        sums.tt += t * t;
        sums.xt += x * t;
        sums.xy += x * y;
        sums.ty += t * y;
    }
    return sums;
}

/* Takes the temperature's part out of work->y where that can be known. */
static enum trend_temperature remove_temperature(struct work *work, double *per_kelvin) {
    double low = 0.0, high = 0.0;
    if (statistics_quantile(work->temperature, work->n, 0.05, &low) != STATISTICS_OK ||
        statistics_quantile(work->temperature, work->n, 0.95, &high) != STATISTICS_OK ||
        high - low < least_span_k)
        return TREND_TEMPERATURE_SAME;
    struct sums sums = sums_of(work);
    double like_time = sums.xt * sums.xt / (sums.xx * sums.tt);
    if (!(like_time <= most_like_time))
        return TREND_TEMPERATURE_LIKE_TIME;
    double effect =
        (sums.ty * sums.xx - sums.xy * sums.xt) / (sums.xx * sums.tt - sums.xt * sums.xt);
    for (size_t i = 0; i < work->n; i++)
        work->y[i] -= effect * (work->temperature[i] - sums.mean_t);
    work->inflation = 1.0 / (1.0 - like_time);
    *per_kelvin = effect;
    return TREND_TEMPERATURE_REMOVED;
}

static void write_slopes(struct trend *trend, const struct theil_sen *line, double lower,
                         double upper) {
    trend->per_year = line->slope * TREND_YEAR_DAYS;
    trend->lower = lower * TREND_YEAR_DAYS;
    trend->upper = upper * TREND_YEAR_DAYS;
    trend->lower_independent = line->lower * TREND_YEAR_DAYS;
    trend->upper_independent = line->upper * TREND_YEAR_DAYS;
    trend->level_day = line->median_x;
    trend->level = line->median_y;
}

/* Slope, test and interval of daily values. */
static enum trend_status fit_days(const struct work *work, double confidence, struct trend *trend) {
    struct theil_sen line;
    struct mann_kendall plain;
    struct mann_kendall_factors factors = {1.0, 1.0};
    enum trend_status status =
        from_theil_sen(theil_sen_fit(work->x, work->y, work->n, confidence, &line));
    if (status == TREND_OK)
        status = from_kendall(mann_kendall_test(work->x, work->y, work->n, &plain));
    if (status == TREND_OK)
        status = from_kendall(
            mann_kendall_factors(work->x, work->y, work->n, line.slope, NULL, &factors));
    double factor = fmax(factors.hamed_rao, factors.first_order) * work->inflation;
    double lower = line.lower, upper = line.upper;
    if (status == TREND_OK && factor > 1.0)
        status = from_theil_sen(
            theil_sen_interval(work->x, work->y, work->n, confidence, factor, &lower, &upper));
    if (status != TREND_OK)
        return status;
    write_slopes(trend, &line, lower, upper);
    trend->method = TREND_HAMED_RAO;
    trend->p_value = mann_kendall_with_factor(&plain, factors.hamed_rao * work->inflation).p_value;
    trend->p_value_cautious = mann_kendall_with_factor(&plain, factor).p_value;
    trend->variance_factor = factor;
    return TREND_OK;
}

/* Medians of the months with enough days, in order; the arrays hold work->n. Returns how many. */
static size_t monthly_medians(const struct work *work, double *years, double *medians,
                              int32_t *seasons, double *scratch) {
    size_t count = 0;
    for (size_t first = 0, last; first < work->n; first = last) {
        for (last = first; last < work->n && work->months[last] == work->months[first]; last++)
            scratch[last - first] = work->y[last];
        if (last - first < least_days_of_month ||
            statistics_median_in_place(scratch, last - first, &medians[count]) != STATISTICS_OK)
            continue;
        int32_t month = work->months[first], season = ((month % 12) + 12) % 12;
        int32_t year = (month - season) / 12;
        years[count] = (double)year;
        seasons[count++] = season;
    }
    return count;
}

static enum trend_status fit_months(const struct work *work, double confidence,
                                    struct trend *trend) {
    size_t n = work->n;
    double *years = malloc(3 * n * sizeof(*years));
    int32_t *seasons = malloc(n * sizeof(*seasons));
    enum trend_status status = TREND_NO_MEMORY;
    struct seasonal_kendall plain, widened;
    if (years && seasons) {
        double *medians = years + n, *scratch = years + 2 * n;
        size_t count = monthly_medians(work, years, medians, seasons, scratch);
        status = from_kendall(
            seasonal_kendall_test(years, medians, seasons, count, 12, confidence, 1.0, &plain));
        if (status == TREND_OK)
            status = from_kendall(seasonal_kendall_test(years, medians, seasons, count, 12,
                                                        confidence, work->inflation, &widened));
    }
    free(years);
    free(seasons);
    if (status != TREND_OK)
        return status;
    trend->method = TREND_SEASONAL_KENDALL;
    trend->per_year = widened.slope;
    trend->lower = widened.lower;
    trend->upper = widened.upper;
    trend->lower_independent = plain.lower;
    trend->upper_independent = plain.upper;
    trend->variance_factor = work->inflation;
    trend->p_value = trend->p_value_cautious = widened.p_value;
    return TREND_OK;
}

static enum trend_status fit(struct work *work, double confidence, struct trend *trend) {
    bool finite = statistics_all_finite(work->y, work->n);
    double span = work->x[work->n - 1] - work->x[0];
    trend->n = work->n;
    trend->first_day = work->x[0];
    trend->last_day = work->x[work->n - 1];
    if (!finite)
        return TREND_NOT_FINITE;
    if (!work->months || span < seasonal_from_days - 1.0)
        return fit_days(work, confidence, trend);
    enum trend_status status = fit_months(work, confidence, trend);
    if (status == TREND_TOO_SHORT) /* so many holes that no month comes twice */
        return fit_days(work, confidence, trend);
    if (status == TREND_OK &&
        (statistics_median(work->x, work->n, &trend->level_day) != STATISTICS_OK ||
         statistics_median(work->y, work->n, &trend->level) != STATISTICS_OK))
        status = TREND_NO_MEMORY;
    return status;
}

/* The values that trend_fit works on; *temperature tells what became of it. */
static enum trend_status prepare(const struct trend_series *series, struct work *work,
                                 enum trend_temperature *temperature, double *per_kelvin) {
    struct known_days known = count_known(series);
    if (known.used < TREND_LEAST_DAYS)
        return TREND_TOO_SHORT;
    bool usable = known.with_temperature >= TREND_LEAST_DAYS &&
                  (double)known.with_temperature >= least_known_share * (double)known.used;
    enum trend_status status = take(series, usable, work);
    if (status == TREND_OK && usable)
        *temperature = remove_temperature(work, per_kelvin);
    else if (series->outdoor_c)
        *temperature = TREND_TEMPERATURE_TOO_FEW;
    if (status == TREND_OK && usable && *temperature != TREND_TEMPERATURE_REMOVED) {
        free(work->x); /* nothing to take out: back to all the days */
        status = take(series, false, work);
    }
    return status;
}

enum trend_status trend_fit(const struct trend_series *series, double confidence,
                            struct trend *trend) {
    assert(series && trend);
    enum trend_status status = check(series);
    if (status != TREND_OK)
        return status;
    struct trend found = {0};
    struct work work = {0};
    status = prepare(series, &work, &found.temperature, &found.per_kelvin);
    if (status == TREND_OK)
        status = fit(&work, confidence, &found);
    free(work.x);
    if (status == TREND_OK && (!isfinite(found.per_year) || !isfinite(found.lower) ||
                               !isfinite(found.upper) || !isfinite(found.level)))
        status = TREND_NOT_FINITE;
    if (status == TREND_OK)
        *trend = found;
    return status;
}

bool trend_like_season(const struct trend *trend, bool has_neighbours, double amplitude) {
    assert(trend);
    double days = trend->last_day - trend->first_day + 1.0;
    if (trend->p_value_cautious >= sure_p_value)
        return false;
    if (trend->temperature == TREND_TEMPERATURE_LIKE_TIME)
        return true;
    if (days >= TREND_YEAR_DAYS || has_neighbours ||
        trend->temperature == TREND_TEMPERATURE_REMOVED)
        return false;
    double most = 2.0 * amplitude * fabs(trend->level);
    if (days < 0.5 * TREND_YEAR_DAYS)
        most *= sin(pi * days / TREND_YEAR_DAYS);
    return fabs(trend->per_year) * days / TREND_YEAR_DAYS <= most;
}

/* Takes the needed slope out of y and looks whether more pairs rise or fall. */
static bool may_reach(struct work *work, double now_day, double limit, enum trend_side side,
                      double within_days) {
    double median_x = 0.0, median_y = 0.0;
    struct mann_kendall rest;
    if (statistics_median(work->x, work->n, &median_x) != STATISTICS_OK ||
        statistics_median(work->y, work->n, &median_y) != STATISTICS_OK)
        return true;
    double ahead = now_day + within_days - median_x;
    if (!(ahead > 0.0))
        return true;
    double needed = (limit - median_y) / ahead;
    for (size_t i = 0; i < work->n; i++)
        work->y[i] -= needed * (work->x[i] - median_x);
    if (mann_kendall_test(work->x, work->y, work->n, &rest) != MANN_KENDALL_OK)
        return true;
    return side == TREND_LOW_LIMIT ? rest.s <= 0.0 : rest.s >= 0.0;
}

bool trend_may_reach(const struct trend_series *series, double now_day, double limit,
                     enum trend_side side, double within_days) {
    assert(series);
    struct work work = {0};
    enum trend_temperature temperature;
    double per_kelvin = 0.0;
    if (check(series) != TREND_OK || !isfinite(limit) || !isfinite(now_day))
        return false;
    enum trend_status status = prepare(series, &work, &temperature, &per_kelvin);
    if (status == TREND_TOO_SHORT)
        return false;
    bool may = status != TREND_OK || !statistics_all_finite(work.y, work.n);
    if (!may && work.months && work.n > 0)
        may = work.x[work.n - 1] - work.x[0] >= seasonal_from_days - 1.0;
    if (!may)
        may = may_reach(&work, now_day, limit, side, within_days);
    free(work.x);
    return may;
}

/* Days from now until the line of this slope (per year) reaches the limit; false: not in time. */
static bool days_until(const struct trend *trend, double per_year, double now_day, double limit,
                       double sign, double *days) {
    double per_day = per_year / TREND_YEAR_DAYS;
    double level = trend->level + per_day * (now_day - trend->level_day);
    double left = (limit - level) * sign, speed = per_day * sign;
    if (left <= 0.0) {
        *days = 0.0;
        return true;
    }
    if (!(speed > 0.0) || left > speed * furthest_days)
        return false;
    *days = left / speed;
    return true;
}

enum trend_crossing_status trend_cross(const struct trend *trend, double now_day, double limit,
                                       enum trend_side side, struct trend_crossing *crossing) {
    assert(trend && crossing);
    *crossing = (struct trend_crossing){.limit = limit};
    if (!isfinite(limit) || !isfinite(now_day)) {
        crossing->limit = 0.0;
        return TREND_NO_CROSSING;
    }
    double sign = side == TREND_LOW_LIMIT ? -1.0 : 1.0, days = 0.0, early = 0.0, late = 0.0;
    double steep = side == TREND_LOW_LIMIT ? trend->lower : trend->upper;
    double shallow = side == TREND_LOW_LIMIT ? trend->upper : trend->lower;
    bool crosses = days_until(trend, trend->per_year, now_day, limit, sign, &days);
    if (crosses && days == 0.0)
        return TREND_BEYOND_ALREADY;
    crossing->has_earliest = days_until(trend, steep, now_day, limit, sign, &early);
    crossing->has_latest = days_until(trend, shallow, now_day, limit, sign, &late);
    crossing->earliest_day = crossing->has_earliest ? now_day + early : 0.0;
    crossing->latest_day = crossing->has_latest ? now_day + late : 0.0;
    crossing->day = crosses ? now_day + days : 0.0;
    return crosses ? TREND_CROSSES : TREND_NOT_WITHIN_10_YEARS;
}
