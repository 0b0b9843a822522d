/*
 * assessment: what is known of one point at an instant: averages over the usual windows with their
 * uncertainty, where its daily values are heading, and since when they stand on another level.
 *
 * Windows are elapsed time up to `now`. Long ones are summed from the daily values of the whole
 * local days inside and the hours at both ends. Trends work on daily medians, the unfinished day
 * left out. Pure; what can't be computed says why.
 */
#ifndef MONITOR_ASSESSMENT_H
#define MONITOR_ASSESSMENT_H

#include "analysis/average.h"
#include "analysis/trend.h"
#include "monitor/history.h"
#include "monitor/monitor.h"

#include <stdbool.h>

#define ASSESSMENT_WINDOWS 6 /* 24 h, 7 d, 30 d, 91 d, 365 d, since commissioning */
#define ASSESSMENT_CONFIDENCE 0.95
#define ASSESSMENT_P_VALUE 0.01 /* below it a trend or a step is called sure */

struct assessment_average {
    const char *window; /* "24 h", …, "since commissioning" */
    int64_t from_ms;    /* TIMESTAMP_NONE: the window has no beginning */
    bool has_mean;      /* false: see why */
    bool judges_action; /* probability_at_or_above means the action level (radon only) */
    const char *why;    /* what is missing, or NULL */
    struct average average;
};

struct assessment_trend {
    bool known;      /* false: see why */
    const char *why; /* or NULL */
    struct trend trend;
    bool has_limit; /* a low limit in force for this quantity */
    enum trend_crossing_status crossing_status;
    struct trend_crossing crossing;          /* .limit in SI; dates below */
    int64_t date_ms, earliest_ms, latest_ms; /* TIMESTAMP_NONE: none within 10 years */
};

struct assessment {
    struct assessment_average averages[ASSESSMENT_WINDOWS];
    struct assessment_trend trend, trend_recent;
    int64_t changed_ms; /* start of the local day since which the level is another one;
                           TIMESTAMP_NONE: no sure step of more than a tenth */
    double level_before, level_after;
};

/** Assesses a point as of `now_ms`. False: the history failed or memory ran out. */
bool assessment_make(const struct monitor *monitor, const struct history *history, size_t point,
                     int64_t now_ms, struct assessment *assessment);

/** The low limit in force for a point's values: suction-low or field-weak. NaN: none. */
double assessment_low_limit(const struct monitor *monitor, size_t point, int64_t now_ms);

/** Trend of a series, and where it meets a low limit (NaN: none) from `now_ms` on. */
void assessment_trend_make(const struct trend_series *series, const struct time_zone *zone,
                           double limit, int64_t now_ms, struct assessment_trend *result);

/* ---- parts of it, also used by what is decided once a day ---- */

/** Daily medians with what trend_fit wants. One block of memory. */
struct assessment_series {
    struct trend_series series;
    void *memory; /* free with assessment_series_clear */
};
/**
 * Daily medians of [from_day, to_day), each at the middle of its day (local day + 0.5), with months
 * and, where the quantity may follow it, what is known of the weather: what its region shared
 * (monitor/neighbours.h), and the outdoor temperature where the system measures it.
 */
bool assessment_series_read(const struct monitor *monitor, const struct history *history,
                            size_t point, int64_t from_day, int64_t to_day,
                            struct assessment_series *series);
/** The same of values that were made of several points: `median` of days that are in order. */
bool assessment_series_of_days(const struct monitor *monitor, const struct history *history,
                               size_t system, const struct history_day *days, size_t count,
                               struct assessment_series *series);
/** Leaves out the days whose median is below a value. */
void assessment_series_drop_below(struct assessment_series *series, double value);
void assessment_series_clear(struct assessment_series *series);

/** First local day of the daily values since a baseline of that instant (none: ten years back). */
int64_t assessment_first_day(const struct time_zone *zone, int64_t baseline_ms, int64_t now_ms);

#endif
