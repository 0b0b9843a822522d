/* daily_rising: radon-rising. */
#include "monitor/daily_private.h"
#include "monitor/renewals.h"

#include "analysis/control_chart.h"
#include "analysis/statistics.h"
#include "measure/timestamp.h"
#include "monitor/assessment.h"

#include <math.h>
#include <stdlib.h>

enum { REFERENCE_LONG = 90, WATCHED_DAYS = 400, LASTING_DAYS = 28 };
static const double pi = 3.14159265358979323846;
/* Of a room's radon by weather and airing alone: 1.8 to 2.5 in most houses; common practice, no
   source. */
static const double winter_over_summer = 2.5;
/* The same when the region's part is taken out: houses have seasons of their own; judgement, no
   source. */
static const double own_winter_over_summer = 2.0;
static const double news_share = 0.25;     /* of the action level: a smaller rise is no news */
static const double same_season_days = 45; /* on either side of the day a year before */
static const double more_than_last_year = 1.25;
static const double least_radon_bq_m3 = 1.0; /* below any monitor's resolution; logs need one */

/* Daily means, their logarithms, the days they belong to, and what the region had as well
   (logarithm); room for as many as asked for. */
struct radon_days {
    double *values, *dates, *means, *shared;
};

static size_t logarithms(const struct history_day *days, size_t count, struct radon_days radon) {
    size_t n = 0;
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(days[i].mean))
            continue;
        radon.dates[n] = (double)days[i].local_day;
        radon.means[n] = fmax(days[i].mean, least_radon_bq_m3);
        radon.values[n] = log(radon.means[n]);
        n++;
    }
    return n;
}

/* How far (in logarithms) a level may rise by the seasons alone between the middle of the reference
   and a day so much later: the largest difference of two points so far apart on a yearly wave,
   whenever its winter is. None after a whole year. */
static double rise_by_season(double ratio, double days_later) {
    return log(ratio) * fabs(sin(pi * days_later / TREND_YEAR_DAYS));
}

/* The first `reference` of `n` days are those that are compared with. */
struct radon_spans {
    size_t reference, n;
    bool apart;        /* the region's part was taken out */
    double share_last; /* of the newest day, logarithm; 0: not known */
};

/* Takes out what the region had as well, and drops days of which that is not known; nothing changes
   where too little is known. False: out of memory. */
static bool take_out_shared(const struct judged_day *day, size_t point, struct radon_days radon,
                            struct radon_spans *spans) {
    struct neighbours_part part;
    size_t kept = 0, known = 0;
    if (!neighbours_share(monitor_neighbours(day->monitor), point, radon.dates, radon.means,
                          spans->n, radon.shared, &part))
        return false;
    for (size_t i = 0; i < spans->reference; i++)
        known += isfinite(radon.shared[i]) ? 1 : 0;
    if (!part.known || known < CONTROL_CHART_LEAST_REFERENCE)
        return true;
    for (size_t i = 0; i < spans->n; i++) {
        if (isnan(radon.shared[i]))
            continue;
        radon.dates[kept] = radon.dates[i];
        radon.values[kept++] = radon.values[i] - radon.shared[i];
        spans->share_last = radon.shared[i];
    }
    *spans = (struct radon_spans){known, kept, true, spans->share_last};
    return true;
}

/* The level of the same season a year before (median, logarithm); -infinity where it is not known.
 */
static double level_last_year(struct radon_days radon, size_t reference, size_t n) {
    double then = radon.dates[n - 1] - TREND_YEAR_DAYS, level = -INFINITY;
    size_t first = reference, end = reference;
    while (first < n && radon.dates[first] < then - same_season_days)
        first++;
    for (end = first; end < n && radon.dates[end] <= then + same_season_days;)
        end++;
    if (end - first < CONTROL_CHART_LEAST_REFERENCE ||
        statistics_median(radon.values + first, end - first, &level) != STATISTICS_OK)
        return -INFINITY;
    return level;
}

/* What the chart says, as levels of today. */
struct rise {
    double level, limit, usual,
        last_year; /* Bq/m3; usual: of the reference, in this season; 0: no last year */
    bool above, lasting;
};

static bool find_rise(struct radon_days radon, const struct radon_spans *spans, struct rise *rise) {
    struct control_chart_reference learned;
    struct control_chart_watch watch;
    size_t reference = spans->reference, n = spans->n;
    double middle = 0.5 * (radon.dates[0] + radon.dates[reference - 1]), season = 0.0;
    double ratio = spans->apart ? own_winter_over_summer : winter_over_summer;
    if (n <= reference ||
        control_chart_learn(radon.values, reference, &learned) != CONTROL_CHART_OK)
        return false;
    rise->last_year = exp(level_last_year(radon, reference, n));
    for (size_t i = reference; i < n; i++) {
        season = rise_by_season(ratio, radon.dates[i] - middle);
        radon.values[i] -= season;
    }
    if (control_chart_watch(&learned, radon.values + reference, n - reference, CONTROL_CHART_WEIGHT,
                            CONTROL_CHART_WIDTH, &watch) != CONTROL_CHART_OK)
        return false;
    rise->level = exp(watch.smoothed + season);
    rise->limit = exp(watch.limit + season);
    rise->usual = exp(learned.mean + season);
    rise->above = watch.above;
    rise->lasting = watch.above && n - reference - watch.since >= LASTING_DAYS;
    return true;
}

static bool watch_radon(const struct judged_day *day, size_t point, struct radon_days radon,
                        size_t reference, size_t n) {
    struct rise rise;
    struct radon_spans spans = {reference, n, false, 0.0};
    double news = news_share * day->fleet->settings->radon_action_level_bq_m3;
    if (!take_out_shared(day, point, radon, &spans))
        return false;
    if (!find_rise(radon, &spans, &rise))
        return true;
    bool is_news =
        rise.level - rise.usual >= news && rise.level >= more_than_last_year * rise.last_year;
    double today = exp(spans.share_last); /* people see the level that the room has */
    monitor_daily(day->monitor, day->system, point, CONDITION_RADON_RISING, rise.lasting && is_news,
                  !rise.above, rise.level * today, rise.limit * today, day->end_ms);
    return true;
}

enum { RADON_ROOM = REFERENCE_LONG + WATCHED_DAYS };

/* Daily means from `first_day` on: the reference, then the days that are watched. */
static bool judge_rising_in(const struct judged_day *day, size_t point, int64_t first_day,
                            struct history_day *days, struct radon_days radon) {
    int64_t to_day = day->local_day + 1;
    size_t count = history_days(day->history, point, first_day, to_day, days, RADON_ROOM);
    if (count == HISTORY_FAILED)
        return false;
    size_t n = logarithms(days, count, radon);
    size_t reference = n >= REFERENCE_LONG + CONTROL_CHART_LASTING ? (size_t)REFERENCE_LONG
                                                                   : CONTROL_CHART_LEAST_REFERENCE;
    if (n > reference && count < RADON_ROOM) {
        return watch_radon(day, point, radon, reference, n);
    } else if (count == RADON_ROOM && n >= REFERENCE_LONG) {
        /* Longer than the room: the reference stays, the watched days are the last ones. */
        size_t last =
            history_days(day->history, point, to_day - WATCHED_DAYS, to_day, days, WATCHED_DAYS);
        if (last == HISTORY_FAILED)
            return false;
        const struct radon_days watched = {
            radon.values + REFERENCE_LONG, radon.dates + REFERENCE_LONG,
            radon.means + REFERENCE_LONG, radon.shared + REFERENCE_LONG};
        return watch_radon(day, point, radon, REFERENCE_LONG,
                           REFERENCE_LONG + logarithms(days, last, watched));
    }
    return true;
}

static bool judge_rising_from(const struct judged_day *day, size_t point, int64_t first_day) {
    struct history_day *days = malloc(RADON_ROOM * sizeof *days);
    double *numbers = malloc(4 * RADON_ROOM * sizeof *numbers);
    bool good =
        days && numbers &&
        judge_rising_in(day, point, first_day, days,
                        (struct radon_days){numbers, numbers + RADON_ROOM, numbers + 2 * RADON_ROOM,
                                            numbers + 3 * RADON_ROOM});
    free(days);
    free(numbers);
    return good;
}

bool daily_judge_rising(const struct judged_day *day, size_t point) {
    int64_t commissioned_ms = renewals_radon_ms(day->monitor, day->system, day->end_ms - 1);
    const struct time_zone *zone = day->fleet->systems[day->system].zone;
    if (!daily_rule(day, point, CONDITION_RADON_RISING) || commissioned_ms == TIMESTAMP_NONE)
        return true;
    int64_t first_day = assessment_first_day(zone, commissioned_ms, day->end_ms - 1);
    if (day->local_day - first_day < CONTROL_CHART_LEAST_REFERENCE)
        return true;
    return judge_rising_from(day, point, first_day);
}
