#include "monitor/assessment.h"
#include "monitor/renewals.h"

#include "analysis/changepoint.h"
#include "analysis/trend_few.h"
#include "measure/duration.h"
#include "measure/timestamp.h"

#include <math.h>
#include <stdlib.h>

enum { LONGEST_DAYS = 3653, STEP_DAYS = 365 };
static const double least_step = 0.10; /* of the level before: a smaller one is not worth a word */

/* ---- days and instants ---- */

/* An instant as a local day with its fraction, and back. */
static double local_day_of(const struct time_zone *zone, int64_t time_ms) {
    int64_t day = time_zone_local_day(zone, time_ms);
    return (double)day + (double)(time_ms - time_zone_day_start_ms(zone, day)) / DURATION_DAY_MS;
}

static int64_t instant_of_day(const struct time_zone *zone, double day) {
    double whole = floor(day);
    return time_zone_day_start_ms(zone, (int64_t)whole) +
           (int64_t)((day - whole) * DURATION_DAY_MS);
}

int64_t assessment_first_day(const struct time_zone *zone, int64_t baseline_ms, int64_t now_ms) {
    int64_t furthest = time_zone_local_day(zone, now_ms) - LONGEST_DAYS;
    if (baseline_ms == TIMESTAMP_NONE)
        return furthest;
    int64_t day = time_zone_local_day(zone, baseline_ms);
    if (time_zone_day_start_ms(zone, day) < baseline_ms)
        day++; /* its day began before the work was done */
    return day > furthest ? day : furthest;
}

static const struct time_zone *zone_of(const struct fleet *fleet, size_t point) {
    return fleet->systems[fleet->points[point].system].zone;
}

static enum quantity quantity_of(const struct fleet *fleet, size_t point) {
    return fleet->points[point].description->quantity;
}

/* ---- limits ---- */

double assessment_low_limit(const struct monitor *monitor, size_t point, int64_t now_ms) {
    const struct fleet *fleet = monitor_fleet(monitor);
    enum quantity quantity = quantity_of(fleet, point);
    if (quantity != QUANTITY_SUCTION && quantity != QUANTITY_FIELD)
        return NAN;
    enum condition condition =
        quantity == QUANTITY_SUCTION ? CONDITION_SUCTION_LOW : CONDITION_FIELD_WEAK;
    const struct condition_rule *rule = fleet_point_rule(fleet, point, condition);
    const struct point_baseline *baseline =
        point_state_baseline(monitor_point(monitor, point), now_ms);
    if (!rule || !rule->enabled)
        return NAN;
    return judge_setpoint(fleet, rule, baseline ? baseline->value : NAN, NAN);
}

/* ---- averages ---- */

static struct average_settings settings_of(const struct fleet *fleet, size_t point) {
    return (struct average_settings){
        .calibration_relative = fleet->points[point].description->calibration_relative,
        .calibration_absolute = quantity_info(quantity_of(fleet, point))->zero_uncertainty,
        .level = fleet->settings->radon_action_level_bq_m3,
        .least_coverage = AVERAGE_LEAST_COVERAGE,
    };
}

static struct average_bucket bucket_of(const struct history_day *day) {
    return (struct average_bucket){day->start_ms, day->end_ms,
                                   day->covered_ms > 0 ? day->mean * (double)day->covered_ms : 0.0,
                                   day->covered_ms};
}

/* Sums of a window [from, to): whole local days from daily values, both ends from hours. */
struct window {
    int64_t from_ms, to_ms;
    struct average_bucket sum;
    struct average_bucket *days; /* borrowed from `all` */
    size_t day_count;
};

/* All daily values up to now, read once for all windows. */
struct all_days {
    struct average_bucket *buckets;
    size_t count;
};

static bool add_hours(const struct history *history, size_t point, int64_t from_ms, int64_t to_ms,
                      bool to_now, struct average_bucket *sum) {
    enum { ROOM = 64 };
    struct average_bucket hours[ROOM], part;
    if (from_ms >= to_ms)
        return true;
    size_t count = history_hours(history, point, from_ms, to_ms, hours, ROOM);
    /* The hour that runs holds no more than up to now: nothing of it is to be cut off. */
    if (to_now && count != HISTORY_FAILED && count > 0 && hours[count - 1].end_ms > to_ms)
        hours[count - 1].end_ms = to_ms;
    if (count == HISTORY_FAILED || average_sum(hours, count, from_ms, to_ms, &part) != AVERAGE_OK)
        return false;
    sum->value_ms += part.value_ms;
    sum->covered_ms += part.covered_ms;
    return true;
}

static bool sum_window(const struct history *history, size_t point, const struct all_days *all,
                       struct window *window) {
    size_t first = 0;
    while (first < all->count && all->buckets[first].start_ms < window->from_ms)
        first++;
    window->days = all->buckets + first;
    window->day_count = all->count - first;
    window->sum = (struct average_bucket){.start_ms = window->from_ms, .end_ms = window->to_ms};
    int64_t reached_ms = window->from_ms;
    for (size_t i = 0; i < window->day_count; i++) {
        const struct average_bucket *day = &window->days[i];
        /* Between days there is either the cut day at the beginning, or nothing. */
        int64_t begin_ms = i == 0 && day->start_ms - reached_ms > 2 * DURATION_DAY_MS
                               ? reached_ms + 2 * DURATION_DAY_MS
                               : day->start_ms;
        if (i == 0 && !add_hours(history, point, reached_ms, begin_ms, false, &window->sum))
            return false;
        window->sum.value_ms += day->value_ms;
        window->sum.covered_ms += day->covered_ms;
        reached_ms = day->end_ms;
    }
    /* Behind the last day there are at most two cut ones, unless the point fell silent. */
    if (window->to_ms - reached_ms > 2 * DURATION_DAY_MS)
        return add_hours(history, point, reached_ms, reached_ms + DURATION_DAY_MS, false,
                         &window->sum) &&
               add_hours(history, point, window->to_ms - DURATION_DAY_MS, window->to_ms, true,
                         &window->sum);
    return add_hours(history, point, reached_ms, window->to_ms, true, &window->sum);
}

static void assess_window(const struct monitor *monitor, const struct history *history,
                          size_t point, const struct all_days *all, int64_t to_ms,
                          struct assessment_average *result) {
    const struct fleet *fleet = monitor_fleet(monitor);
    const struct average_settings settings = settings_of(fleet, point);
    struct window window = {.from_ms = result->from_ms, .to_ms = to_ms};
    enum average_status status = AVERAGE_NO_MEMORY;
    if (sum_window(history, point, all, &window)) {
        /* The sums of hours are doubles: an hour too much by rounding is not worth a refusal. */
        if (window.sum.covered_ms > window.to_ms - window.from_ms)
            window.sum.covered_ms = window.to_ms - window.from_ms;
        status = average_assess(&window.sum, window.from_ms, window.to_ms, window.days,
                                window.day_count, &settings, &result->average);
    }
    result->has_mean = status == AVERAGE_OK || status == AVERAGE_TOO_FEW;
    result->judges_action = quantity_of(fleet, point) == QUANTITY_RADON;
    if (status != AVERAGE_OK)
        result->why = average_why(status);
    else if (!result->average.has_uncertainty)
        result->why = result->average.why;
}

static bool read_all(const struct history *history, size_t point, const struct time_zone *zone,
                     int64_t from_ms, int64_t now_ms, struct all_days *all) {
    struct history_day *days = NULL;
    int64_t today = time_zone_local_day(zone, now_ms);
    *all = (struct all_days){NULL, 0};
    if (!history_all_days(history, point, time_zone_local_day(zone, from_ms), today, &days,
                          &all->count))
        return false;
    all->buckets = malloc((all->count + 1) * sizeof *all->buckets);
    for (size_t i = 0; all->buckets && i < all->count; i++)
        all->buckets[i] = bucket_of(&days[i]);
    free(days);
    return all->buckets != NULL;
}

static bool assess_averages(const struct monitor *monitor, const struct history *history,
                            size_t point, int64_t baseline_ms, int64_t now_ms,
                            struct assessment *assessment) {
    struct all_days all;
    int64_t longest_ms = now_ms - average_windows[average_window_count - 1].length_ms;
    if (baseline_ms != TIMESTAMP_NONE && baseline_ms < longest_ms)
        longest_ms = baseline_ms;
    if (now_ms - longest_ms > LONGEST_DAYS * DURATION_DAY_MS)
        longest_ms = now_ms - LONGEST_DAYS * DURATION_DAY_MS;
    if (!read_all(history, point, zone_of(monitor_fleet(monitor), point), longest_ms, now_ms, &all))
        return false;
    for (size_t w = 0; w < ASSESSMENT_WINDOWS; w++) {
        struct assessment_average *result = &assessment->averages[w];
        bool fixed = w < average_window_count;
        *result = (struct assessment_average){
            .window = fixed ? average_windows[w].name : "since commissioning",
            .from_ms = fixed ? now_ms - average_windows[w].length_ms : baseline_ms,
        };
        if (!fixed && baseline_ms == TIMESTAMP_NONE)
            result->why = "no commissioning record";
        else if (result->from_ms >= now_ms)
            result->why = "commissioned only now";
        else if (monitor_fleet(monitor)->points[point].description->by_hand)
            result->why = "read by hand: nobody knows what was between two readings";
        else
            assess_window(monitor, history, point, &all, now_ms, result);
    }
    free(all.buckets);
    return true;
}

/* ---- trends ---- */

static bool follows_weather(enum quantity quantity) {
    switch (quantity) {
    case QUANTITY_SUCTION:
    case QUANTITY_FIELD:
    case QUANTITY_VELOCITY_PRESSURE:
    case QUANTITY_AIRFLOW:
    case QUANTITY_FAN_POWER:
    case QUANTITY_FAN_CURRENT:
    case QUANTITY_RADON:
        return true;
    default:
        return false;
    }
}

static int32_t month_of(int64_t local_day) {
    int year = 0, month = 0, day = 0;
    timestamp_civil_from_days(local_day, &year, &month, &day);
    return (int32_t)((year - 1970) * 12 + month - 1);
}

/* Both lists are in order of days. */
static void lay_beside(double *outdoor_c, const struct history_day *days, size_t count,
                       const struct history_day *outdoors, size_t outdoor_count) {
    for (size_t i = 0, k = 0; i < count; i++) {
        while (k < outdoor_count && outdoors[k].local_day < days[i].local_day)
            k++;
        outdoor_c[i] = k < outdoor_count && outdoors[k].local_day == days[i].local_day
                           ? outdoors[k].median
                           : NAN;
    }
}

/* The columns of a series stand side by side in its memory. */
struct columns {
    double *days, *values, *outdoor_c, *common;
    int32_t *months;
};
static const size_t column_bytes = 4 * sizeof(double) + sizeof(int32_t); /* a day */

static struct columns lay_columns(double *memory, size_t days) {
    return (struct columns){memory, memory + days, memory + 2 * days, memory + 3 * days,
                            (int32_t *)(void *)(memory + 4 * days)};
}

static bool fill_series(struct assessment_series *result, const struct history_day *days,
                        size_t count, const struct history_day *outdoors, size_t outdoor_count,
                        bool with_outdoors) {
    double *memory = malloc(count * column_bytes);
    if (!memory)
        return false;
    const struct columns columns = lay_columns(memory, count);
    for (size_t i = 0; i < count; i++) {
        columns.days[i] = (double)days[i].local_day + 0.5;
        columns.values[i] = days[i].median;
        columns.common[i] = NAN;
        columns.months[i] = month_of(days[i].local_day);
    }
    lay_beside(columns.outdoor_c, days, count, outdoors, outdoor_count);
    result->memory = memory;
    result->series = (struct trend_series){.n = count,
                                           .days = columns.days,
                                           .values = columns.values,
                                           .months = columns.months,
                                           .outdoor_c = with_outdoors ? columns.outdoor_c : NULL};
    return true;
}

bool assessment_series_of_days(const struct monitor *monitor, const struct history *history,
                               size_t system, const struct history_day *days, size_t count,
                               struct assessment_series *series) {
    size_t outdoor = fleet_point_of(monitor_fleet(monitor), system, QUANTITY_OUTDOOR_TEMPERATURE);
    struct history_day *outdoors = NULL;
    size_t outdoor_count = 0;
    bool with_outdoors = outdoor != FLEET_NONE;
    *series = (struct assessment_series){{0}, NULL};
    if (count == 0)
        return true;
    bool good = !with_outdoors ||
                history_all_days(history, outdoor, days[0].local_day, days[count - 1].local_day + 1,
                                 &outdoors, &outdoor_count);
    good = good && fill_series(series, days, count, outdoors, outdoor_count, with_outdoors);
    free(outdoors);
    return good;
}

/* What the region of the point had as well, where that is known. */
static bool find_shared(const struct monitor *monitor, size_t point,
                        struct assessment_series *series) {
    struct neighbours_part part;
    size_t count = series->series.n;
    if (count == 0)
        return true;
    const struct columns columns = lay_columns(series->memory, count);
    if (!neighbours_share(monitor_neighbours(monitor), point, columns.days, columns.values, count,
                          columns.common, &part))
        return false;
    if (part.known)
        series->series.common = columns.common;
    return true;
}

bool assessment_series_read(const struct monitor *monitor, const struct history *history,
                            size_t point, int64_t from_day, int64_t to_day,
                            struct assessment_series *series) {
    const struct fleet *fleet = monitor_fleet(monitor);
    struct history_day *days = NULL;
    size_t count = 0;
    *series = (struct assessment_series){{0}, NULL};
    bool good = history_all_days(history, point, from_day, to_day, &days, &count);
    if (good && follows_weather(quantity_of(fleet, point)))
        good = assessment_series_of_days(monitor, history, fleet->points[point].system, days, count,
                                         series) &&
               find_shared(monitor, point, series);
    else if (good && count > 0)
        good = fill_series(series, days, count, NULL, 0, false);
    free(days);
    return good;
}

void assessment_series_drop_below(struct assessment_series *series, double value) {
    size_t kept = 0;
    if (series->series.n == 0)
        return;
    size_t room = (size_t)(series->series.values - series->series.days);
    const struct columns columns = lay_columns(series->memory, room);
    for (size_t i = 0; i < series->series.n; i++) {
        if (columns.values[i] < value)
            continue;
        columns.days[kept] = columns.days[i];
        columns.values[kept] = columns.values[i];
        columns.outdoor_c[kept] = columns.outdoor_c[i];
        columns.common[kept] = columns.common[i];
        columns.months[kept++] = columns.months[i];
    }
    series->series.n = kept;
}

void assessment_series_clear(struct assessment_series *series) {
    free(series->memory);
    *series = (struct assessment_series){{0}, NULL};
}

static int64_t date_of(const struct time_zone *zone, bool has, double day) {
    return has ? instant_of_day(zone, day) : TIMESTAMP_NONE;
}

/* Where the trend in `result` meets the limit. */
static void cross_limit(const struct time_zone *zone, double limit, int64_t now_ms,
                        struct assessment_trend *result) {
    struct trend_crossing *crossing = &result->crossing;
    result->date_ms = result->earliest_ms = result->latest_ms = TIMESTAMP_NONE;
    result->has_limit = !isnan(limit);
    if (!result->known || !result->has_limit)
        return;
    result->crossing_status =
        trend_cross(&result->trend, local_day_of(zone, now_ms), limit, TREND_LOW_LIMIT, crossing);
    bool crosses = result->crossing_status == TREND_CROSSES;
    result->date_ms = date_of(zone, crosses, crossing->day);
    result->earliest_ms = date_of(zone, crossing->has_earliest, crossing->earliest_day);
    result->latest_ms = date_of(zone, crossing->has_latest, crossing->latest_day);
}

void assessment_trend_make(const struct trend_series *series, const struct time_zone *zone,
                           double limit, int64_t now_ms, struct assessment_trend *result) {
    *result = (struct assessment_trend){0};
    enum trend_status status = trend_fit(series, ASSESSMENT_CONFIDENCE, &result->trend);
    result->known = status == TREND_OK;
    result->why = result->known ? NULL : trend_why(status);
    cross_limit(zone, limit, now_ms, result);
}

/* Of what is read by hand. */
static void few_trend_make(const struct trend_series *series, const struct time_zone *zone,
                           double limit, int64_t now_ms, struct assessment_trend *result) {
    *result = (struct assessment_trend){0};
    enum trend_status status = trend_few_fit(series, ASSESSMENT_CONFIDENCE, &result->trend);
    result->known = status == TREND_OK;
    result->why = result->known ? NULL : trend_few_why(status);
    cross_limit(zone, limit, now_ms, result);
}

/* Amplitude of a yearly wave that a house may have, share of the level; 0: follows no season.
   Suction and its like 10 %; radon in winter 2.5 times summer, 1 to 1.43 about the mean; common
   practice, no source. */
static double season_of(enum quantity quantity) {
    if (!follows_weather(quantity))
        return 0.0;
    return quantity == QUANTITY_RADON ? 0.43 : 0.10;
}

/* What can't be told from the season is not said. */
static void leave_to_season(enum quantity quantity, bool has_neighbours,
                            struct assessment_trend *result) {
    double amplitude = season_of(quantity);
    if (!result->known || amplitude == 0.0 ||
        !trend_like_season(&result->trend, has_neighbours, amplitude))
        return;
    result->known = false;
    result->why = "it can't be told from the season yet: that takes a year, an outdoor temperature "
                  "that moves otherwise, or neighbours";
}

/* What is past its limit today will not reach it one day: of a line over months the mean of the
   last day knows more. */
static void leave_what_is_past(double limit, const struct assessment_average *day,
                               struct assessment_trend *result) {
    if (!result->has_limit || !day->has_mean || !(day->average.mean < limit))
        return;
    result->crossing_status = TREND_BEYOND_ALREADY;
    result->date_ms = result->earliest_ms = result->latest_ms = TIMESTAMP_NONE;
}

/* ---- the step ---- */

static void find_step(const struct trend_series *series, const struct time_zone *zone,
                      struct assessment *assessment) {
    struct changepoint step;
    assessment->changed_ms = TIMESTAMP_NONE;
    if (series->n < TREND_LEAST_DAYS ||
        changepoint_least_squares(series->values, series->n, 0.15, &step) != CHANGEPOINT_OK ||
        step.p_autocorrelated >= ASSESSMENT_P_VALUE ||
        fabs(step.mean_after - step.mean_before) < least_step * fabs(step.mean_before))
        return;
    assessment->changed_ms =
        time_zone_day_start_ms(zone, (int64_t)floor(series->days[step.before]));
    assessment->level_before = step.mean_before;
    assessment->level_after = step.mean_after;
}

bool assessment_make(const struct monitor *monitor, const struct history *history, size_t point,
                     int64_t now_ms, struct assessment *assessment) {
    const struct fleet *fleet = monitor_fleet(monitor);
    const struct time_zone *zone = zone_of(fleet, point);
    const struct point_baseline *baseline =
        point_state_baseline(monitor_point(monitor, point), now_ms);
    int64_t baseline_ms = baseline
                              ? renewals_series_ms(monitor, point, now_ms)
                              : renewals_house_ms(monitor, fleet->points[point].system, now_ms);
    struct assessment_series series;
    if (!assess_averages(monitor, history, point, baseline_ms, now_ms, assessment) ||
        !assessment_series_read(monitor, history, point,
                                assessment_first_day(zone, baseline_ms, now_ms),
                                time_zone_local_day(zone, now_ms), &series))
        return false;
    double limit = assessment_low_limit(monitor, point, now_ms);
    const struct trend_series recent = trend_series_recent(&series.series, TREND_RECENT_DAYS);
    const struct trend_series year = trend_series_recent(&series.series, STEP_DAYS);
    bool by_hand = fleet->points[point].description->by_hand;
    (by_hand ? few_trend_make : assessment_trend_make)(&series.series, zone, limit, now_ms,
                                                       &assessment->trend);
    (by_hand ? few_trend_make : assessment_trend_make)(&recent, zone, limit, now_ms,
                                                       &assessment->trend_recent);
    enum quantity quantity = quantity_of(fleet, point);
    leave_to_season(quantity, series.series.common != NULL, &assessment->trend);
    leave_to_season(quantity, series.series.common != NULL, &assessment->trend_recent);
    leave_what_is_past(limit, &assessment->averages[0], &assessment->trend);
    leave_what_is_past(limit, &assessment->averages[0], &assessment->trend_recent);
    find_step(&year, zone, assessment);
    assessment_series_clear(&series);
    return true;
}
