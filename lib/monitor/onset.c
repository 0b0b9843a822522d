#include "monitor/onset.h"

#include "analysis/statistics.h"
#include "measure/duration.h"
#include "measure/timestamp.h"

#include <math.h>
#include <stdlib.h>

enum {
    SEEN_DAYS = 400,
    SEEN_HOURS = 72,
    FIRST_DAYS = 14, /* after a record */
    BEFORE_DAYS = 8, /* a sudden change */
    LEAST_DAYS = 3,
    YEAR_DAYS = 365,
    AROUND_DAYS = 45, /* of the same date, to either side */
    BACK_DAYS = 120,  /* until it has passed */
    SOME_DAYS = 5,
    WEEK_DAYS = 7,
    MONTH_DAYS = 30,
    RISE_DAYS = 45 /* radon that creeps up over two months passes its middle after one */
};
static const double rise_least = 1.5;   /* of what radon was: less is a season's */
static const double near_share = 0.2;   /* of the change: still at, or already at, a level */
static const double sudden_share = 0.6; /* of the change within some days: it came at once */
static const double change_least = 0.1; /* of the level */
static const double sudden_days = 1.5;
static const double unseen_days = 3.0; /* nobody looked: it came at any time and at any pace */
static const double deviation_per_mad = 1.4826; /* of a normal distribution */

struct onset onset_unknown(const struct time_zone *zone, int64_t baseline_ms) {
    int64_t first = time_zone_local_day(zone, baseline_ms) + 1;
    return (struct onset){false, NAN, first, first + FIRST_DAYS};
}

struct onset_level onset_level_before(const struct history *history, size_t point,
                                      const struct onset *onset) {
    struct history_day days[FIRST_DAYS];
    double values[FIRST_DAYS];
    struct onset_level level = {NAN, NAN};
    size_t count = history_days(history, point, onset->from_day, onset->to_day, days, FIRST_DAYS);
    if (count == HISTORY_FAILED || count < LEAST_DAYS)
        return level;
    for (size_t i = 0; i < count; i++)
        values[i] = days[i].median;
    statistics_median_in_place(values, count, &level.value);
    for (size_t i = 0; i < count; i++)
        values[i] = fabs(days[i].median - level.value);
    statistics_median_in_place(values, count, &level.scatter);
    level.scatter *= deviation_per_mad;
    return level;
}

/* Span from the last value near `from` to the first one near `to` behind it; NaN: not seen, or came
   while nobody looked for long. */
static double span_between(const double *times, const double *values, size_t n, double from,
                           double to) {
    size_t last_before = n, first_after = n;
    for (size_t i = n; i-- > 0 && last_before == n;) {
        if (fabs(values[i] - from) <= near_share * fabs(to - from))
            last_before = i;
    }
    if (last_before == n)
        return NAN;
    for (size_t i = last_before + 1; i < n && first_after == n; i++) {
        if (fabs(values[i] - to) <= near_share * fabs(to - from))
            first_after = i;
    }
    if (first_after == n)
        return NAN;
    double span = times[first_after] - times[last_before];
    return first_after == last_before + 1 && span > unseen_days ? NAN : span;
}

static double span_by_hours(const struct onset_question *question, double from) {
    struct average_bucket hours[SEEN_HOURS + 2];
    double times[SEEN_HOURS + 2], values[SEEN_HOURS + 2];
    size_t n = 0;
    int64_t begin_ms = question->since_ms - 2 * DURATION_DAY_MS;
    int64_t end_ms = begin_ms + SEEN_HOURS * DURATION_HOUR_MS;
    if (end_ms > question->now_ms)
        end_ms = question->now_ms;
    size_t count =
        history_hours(question->history, question->point, begin_ms, end_ms, hours, SEEN_HOURS + 2);
    for (size_t i = 0; count != HISTORY_FAILED && i < count; i++) {
        times[n] = (double)hours[i].start_ms / DURATION_DAY_MS;
        values[n++] = hours[i].value_ms / (double)hours[i].covered_ms;
    }
    return span_between(times, values, n, from, question->value);
}

/* Daily medians, the unfinished day as what it reads now. */
struct course {
    double days[SEEN_DAYS + 1], values[SEEN_DAYS + 1];
    size_t n;
};

static void read_course(const struct onset_question *question, int64_t first_day,
                        struct course *course) {
    struct history_day days[SEEN_DAYS];
    int64_t today = time_zone_local_day(question->zone, question->now_ms);
    int64_t from = first_day > today - SEEN_DAYS ? first_day : today - SEEN_DAYS;
    size_t count = history_days(question->history, question->point, from, today, days, SEEN_DAYS);
    course->n = 0;
    for (size_t i = 0; count != HISTORY_FAILED && i < count; i++) {
        course->days[course->n] = (double)days[i].local_day;
        course->values[course->n++] = days[i].median;
    }
    course->days[course->n] = (double)today;
    course->values[course->n++] = question->value;
}

static double median_of(const double *values, size_t n) {
    double copy[BEFORE_DAYS], median = NAN;
    for (size_t i = 0; i < n; i++)
        copy[i] = values[i];
    statistics_median_in_place(copy, n, &median);
    return median;
}

/* Whether the value left its side of the middle between then and now in one stride: the median of
   the days before against that of up to three behind. *last: index of the last day before. */
static bool came_at_once(const struct course *course, double from, double to, size_t *last) {
    double middle = 0.5 * (from + to), sign = to > from ? 1.0 : -1.0;
    size_t i = course->n;
    while (i > 0 && (course->values[i - 1] - middle) * sign >= 0.0)
        i--;
    if (i < 2 || i == course->n || course->days[i] - course->days[i - 1] > unseen_days)
        return false;
    *last = i - 1;
    size_t before = i - 1 < BEFORE_DAYS ? i - 1 : BEFORE_DAYS; /* the day of the change left out */
    size_t behind = course->n - i < LEAST_DAYS ? course->n - i : LEAST_DAYS;
    double stride =
        median_of(course->values + i, behind) - median_of(course->values + i - 1 - before, before);
    return stride * sign >= sudden_share * fabs(to - from);
}

struct onset onset_find(const struct onset_question *question) {
    struct onset onset = onset_unknown(question->zone, question->baseline_ms);
    struct onset_level first = onset_level_before(question->history, question->point, &onset);
    double from = isnan(first.value) ? question->baseline : first.value;
    if (isnan(from) || isnan(question->value) ||
        !(fabs(question->value - from) > change_least * fabs(from)))
        return onset;
    struct course course;
    size_t last = 0;
    read_course(question, onset.from_day, &course);
    onset.span_days = span_by_hours(question, from);
    if (isnan(onset.span_days))
        onset.span_days = span_between(course.days, course.values, course.n, from, question->value);
    onset.sudden = came_at_once(&course, from, question->value, &last);
    if (onset.sudden) {
        onset.span_days = fmin(onset.span_days, sudden_days); /* fmin passes over a NaN */
        onset.to_day = (int64_t)course.days[last];
        onset.from_day = onset.to_day - BEFORE_DAYS;
    }
    return onset;
}

/* The last day on which the median of the week was below a level; INT64_MIN: there is none. */
static int64_t last_day_below(const struct course *course, double level) {
    for (size_t i = course->n; i >= WEEK_DAYS; i--) {
        if (median_of(course->values + i - WEEK_DAYS, WEEK_DAYS) < level)
            return (int64_t)course->days[i - 1];
    }
    return INT64_MIN;
}

struct onset onset_before_rise(const struct onset_question *question, const struct onset *air) {
    struct onset first = onset_unknown(question->zone, question->baseline_ms);
    double own = onset_level_before(question->history, question->point, &first).value;
    double from = isnan(own) ? question->baseline : own;
    if (!(question->value > rise_least * from))
        return *air;
    struct course course;
    read_course(question, first.from_day, &course);
    int64_t rose = last_day_below(&course, sqrt(from * question->value));
    if (rose == INT64_MIN || rose - RISE_DAYS < first.from_day ||
        (air->sudden && llabs(air->to_day - rose) <= MONTH_DAYS))
        return *air;
    return (struct onset){false, NAN, rose - RISE_DAYS, rose - RISE_DAYS + FIRST_DAYS};
}

/* Index behind the first run of SOME_DAYS days, from `first` on, whose share of the change is at
   least `least` and below `most`; `n`: there is none. */
static size_t behind_run(const double *shares, size_t first, size_t n, double least, double most) {
    size_t run = 0;
    for (size_t i = first; i < n; i++) {
        run = shares[i] >= least && shares[i] < most ? run + 1 : 0;
        if (run == SOME_DAYS)
            return i + 1;
    }
    return n;
}

int onset_month_last_year(const struct onset_question *question, double normal) {
    const double as_far = 0.6, back = 0.4;
    struct history_day days[AROUND_DAYS + BACK_DAYS];
    double shares[AROUND_DAYS + BACK_DAYS], change = question->value - normal;
    int64_t then = time_zone_local_day(question->zone, question->now_ms) - YEAR_DAYS;
    if (!(fabs(change) > change_least * fabs(normal)))
        return 0;
    size_t count = history_days(question->history, question->point, then - AROUND_DAYS,
                                then + BACK_DAYS, days, AROUND_DAYS + BACK_DAYS);
    if (count == HISTORY_FAILED)
        return 0;
    for (size_t i = 0; i < count; i++)
        shares[i] = (days[i].median - normal) / change;
    size_t there = behind_run(shares, 0, count, as_far, INFINITY);
    if (there == count || days[there - 1].local_day > then + AROUND_DAYS ||
        behind_run(shares, there, count, -INFINITY, back) == count)
        return 0;
    int year = 0, month = 0, day = 0;
    timestamp_civil_from_days(days[there - 1].local_day, &year, &month, &day);
    return month;
}
