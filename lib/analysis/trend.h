/*
 * trend: where a point's daily values are heading, how sure that is, and when they reach a limit.
 *
 * 1. Outdoor temperature, where it is known, is taken out: y is regressed on temperature and time
 *    together and only the temperature's part is removed (residual plus mean). Regressing on
 *    temperature alone would take a part of the trend along whenever the season moved with time.
 * 2. Under two years: Theil-Sen slope of the daily values, Mann-Kendall test with the variance of
 *    Hamed and Rao. From two years on and with months given: Seasonal Kendall on monthly medians.
 * 3. The interval of the slope is the rank interval with the variance times the larger of the two
 *    factors of mann_kendall.h, because the published one holds for independent values only: with a
 *    lag-1 autocorrelation of 0.5 it catches the true slope about 76 times in 100, not 95; this one
 *    about 94 to 95 times (test_trend.c measures it). The published one is beside it
 *    (`lower_independent`, `upper_independent`); the two agree without autocorrelation.
 *
 * p_value is the one of Hamed and Rao; in short autocorrelated series it is below 0.05 twice as
 * often as it should (mann_kendall.h). p_value_cautious goes with the interval and keeps its level.
 *
 * A recent trend is the same call on the last days: see trend_recent_start. Pure; scratch memory is
 * taken and freed inside; results are written only on TREND_OK and are finite.
 */
#ifndef ANALYSIS_TREND_H
#define ANALYSIS_TREND_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TREND_YEAR_DAYS 365.2425
#define TREND_LEAST_DAYS 30
#define TREND_RECENT_DAYS 180

enum trend_status {
    TREND_OK = 0,
    TREND_TOO_SHORT,    /* fewer than 30 daily values that can be used */
    TREND_NOT_FINITE,   /* a NaN or an infinity among days or values */
    TREND_OUT_OF_ORDER, /* days don't rise strictly */
    TREND_OUT_OF_RANGE, /* confidence outside 0..1, more than 2^20 values */
    TREND_NO_MEMORY
};

/** One sentence for a person, "a trend needs at least 30 daily values"; static text. */
const char *trend_why(enum trend_status status);

/** Daily values, days rising strictly; holes are simply missing. All arrays belong to the caller.
 */
struct trend_series {
    size_t n;
    const double *days;      /* local days since 1970-01-01, n of them */
    const double *values;    /* n daily medians, any unit */
    const int32_t *months;   /* months since 1970-01 of each day on the local calendar, or NULL */
    const double *outdoor_c; /* daily outdoor temperature, NaN where unknown, or NULL */
    /* What the day shared with its neighbours, ln of a ratio (0: a usual day), or NULL. Each value
       is divided by exp of it first; a day on which it is NaN is left out. */
    const double *common;
};

enum trend_method {
    TREND_HAMED_RAO,
    TREND_SEASONAL_KENDALL,
    TREND_DRIFT /* drift.h */,
    TREND_FEW /* trend_few.h */
};

/** What became of the outdoor temperature. */
enum trend_temperature {
    TREND_TEMPERATURE_NOT_GIVEN = 0,
    TREND_TEMPERATURE_REMOVED,
    TREND_TEMPERATURE_TOO_FEW,  /* known on fewer than 30 days, or on under 75 % of the days */
    TREND_TEMPERATURE_SAME,     /* 5 % to 95 % of the days lie within 5 K: nothing to learn */
    TREND_TEMPERATURE_LIKE_TIME /* it moved along with time (r^2 over 0.9): no telling apart */
};

struct trend {
    size_t n; /* daily values used */
    double first_day, last_day;
    enum trend_method method;
    double per_year;     /* slope, unit of the values per year of 365.2425 days */
    double lower, upper; /* of the slope, per year, at the confidence asked for */
    double lower_independent, upper_independent; /* the same as if the days were independent */
    double p_value;                              /* two-sided, of no trend, by `method` */
    double p_value_cautious;                     /* the same with variance_factor */
    double variance_factor;  /* at least 1: autocorrelation, times what removing temperature cost */
    double level_day, level; /* a point of the line: median day, median value */
    enum trend_temperature temperature;
    double per_kelvin; /* effect of outdoor temperature that was removed, else 0 */
};

/**
 * `confidence` of the interval, 0.95 by custom. Removing temperature multiplies the variance by
 * 1 / (1 - r^2), r the correlation of temperature with time, as in any regression on both
 * (variance inflation factor).
 */
enum trend_status trend_fit(const struct trend_series *series, double confidence,
                            struct trend *trend);

/**
 * Can't it be told from the season? So when the outdoor temperature moved along with time; and
 * under a year, where neither temperature nor neighbours were taken out, when a yearly wave of this
 * amplitude (share of the level) can have changed as much over so many days, 2 A sin(pi days /
 * year). A trend that is not sure (p_value_cautious of 0.01 and more) claims nothing: false.
 */
bool trend_like_season(const struct trend *trend, bool has_neighbours, double amplitude);

/** Which side of the limit is the bad one. */
enum trend_side { TREND_LOW_LIMIT, TREND_HIGH_LIMIT };

/**
 * Can trend_fit find a line that reaches the limit within so many days of `now_day`? False is
 * certain and cheap: the median of the pair slopes is compared with the slope that would be needed
 * by the sign of Kendall's S of values - slope x day, without computing any slope. True says only
 * that trend_fit must look (always so where it would use months). Also false where trend_fit would
 * refuse the series.
 */
bool trend_may_reach(const struct trend_series *series, double now_day, double limit,
                     enum trend_side side, double within_days);

/** Index of the first day among the last `recent` ones: last day - days < recent. 0 for n = 0. */
size_t trend_recent_start(const double *days, size_t n, double recent);

/** The same days as a series, borrowed from it; `recent` infinite: all of them. */
struct trend_series trend_series_recent(const struct trend_series *series, double recent);

/** "Mann-Kendall with the variance of Hamed and Rao, Theil-Sen slope"; static text. */
const char *trend_method_text(enum trend_method method);
/** A sentence on what was done about temperature, "" when none was given; static text. */
const char *trend_temperature_text(enum trend_temperature temperature);

enum trend_crossing_status {
    TREND_CROSSES = 0,
    TREND_BEYOND_ALREADY,      /* the line is at or past the limit today */
    TREND_NOT_WITHIN_10_YEARS, /* flat, moving away, or too slow */
    TREND_NO_CROSSING          /* limit or day not finite */
};

/** A sentence for a person, "not within 10 years"; static text. */
const char *trend_crossing_why(enum trend_crossing_status status);

/** Days are local days since 1970-01-01, fractions of a day included. */
struct trend_crossing {
    double limit;
    double day;                    /* only on TREND_CROSSES */
    bool has_earliest, has_latest; /* false: not within 10 years */
    double earliest_day, latest_day;
};

/**
 * Where the line through (level_day, level) meets the limit, seen from `now_day`; earliest and
 * latest from the ends of the slope's interval, lines through the same point. *crossing is always
 * written; a date further off than 10 years is none. On TREND_NOT_WITHIN_10_YEARS there may be an
 * earliest.
 */
enum trend_crossing_status trend_cross(const struct trend *trend, double now_day, double limit,
                                       enum trend_side side, struct trend_crossing *crossing);

#endif
