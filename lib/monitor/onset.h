/*
 * onset: how a change of a point came, and which days it is to be compared with.
 *
 * What came within a day or two is compared with the days just before it: the same sensors in the
 * same season, so that little else can have changed. What crept in is compared with the first days
 * after the commissioning record, as these sensors showed them; the errors of the installer's
 * instruments drop out of both. Pure.
 */
#ifndef MONITOR_ONSET_H
#define MONITOR_ONSET_H

#include "measure/time_zone.h"
#include "monitor/history.h"

#include <stdbool.h>

/** A point and the change that is asked about. */
struct onset_question {
    const struct history *history;
    const struct time_zone *zone;
    size_t point;
    int64_t baseline_ms;      /* of the record in force */
    double baseline, value;   /* as recorded; as it reads now */
    int64_t since_ms, now_ms; /* the condition began; it is asked about */
};

struct onset {
    bool sudden;
    double span_days;         /* how long the change took; NaN: not seen */
    int64_t from_day, to_day; /* local days before the change, [from, to) */
};

/** The days after a record, when nothing is known of the change. */
struct onset onset_unknown(const struct time_zone *zone, int64_t baseline_ms);
struct onset onset_find(const struct onset_question *question);

/**
 * The days before radon rose, which tell best what else changed with it: a riser that was set
 * otherwise two years ago did not raise it now. `question` is about the radon monitor; `air` is the
 * onset of the change of air, which stays where that came at once within a month of the rise.
 * `air` also where radon has not risen by half, or no fortnight lies between record and rise.
 */
struct onset onset_before_rise(const struct onset_question *question, const struct onset *air);

/** What a point itself showed on the days before a change. */
struct onset_level {
    double value;   /* median of the daily medians; NaN: fewer than three days */
    double scatter; /* standard deviation of a day, from the median absolute deviation */
};
struct onset_level onset_level_before(const struct history *history, size_t point,
                                      const struct onset *onset);

/**
 * The month (1 to 12) of last year in which the point had gone as far from `normal` as now, for
 * some days around the same date, and came back afterwards: a matter of the season. 0: it had not.
 */
int onset_month_last_year(const struct onset_question *question, double normal);

#endif
