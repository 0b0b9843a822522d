/*
 * visit: what calls for a visit to a system, merged into one visit with a day to plan for.
 *
 * Every open alarm, every projection of a trend and every date gives a window:
 *
 *     reason                    from          day to plan for   at the latest
 *     high-priority alarm       raised        raised + 2 d      raised + 7 d
 *     medium, or of high        raised        raised + 14 d     raised + 30 d
 *     priority, found daily
 *     low                       raised        raised + 60 d     raised + 120 d
 *     projection                day - 60 d    earliest crossing date of the crossing itself
 *     date (retest, visit, …)   day - 60 d    the date          the date + 30 d
 *
 * (common practice, no source; radon is a long-term risk, so even high priority leaves two days).
 * Reasons whose window has not begun are left for later. The others are done in one visit: the day
 * is the earliest of their days, the latest the earliest of their latest, and the first useful day
 * the last of their beginnings. A day that has passed stays as it is: the visit is overdue.
 *
 * Pure: no I/O, no clock, no allocation. Strings are borrowed from the input and must outlive the
 * visit.
 */
#ifndef WORDS_VISIT_H
#define WORDS_VISIT_H

#include "alarm/condition.h"
#include "measure/duration.h"
#include "measure/time_zone.h"
#include "words/text_list.h"
#include "words/wording.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define VISIT_LISTED_BEFORE_MS (60 * DURATION_DAY_MS) /* a date or a crossing calls for one */
#define VISIT_REASONS_MAX 24
#define VISIT_LIST_MAX 24
#define VISIT_ID_BYTES 192

/** An open alarm. Shelved and suppressed ones are left out by the caller. */
struct visit_alarm {
    enum condition condition;
    enum priority priority;
    int64_t raised_ms;
    enum quantity quantity;        /* of the point; QUANTITY_COUNT: none */
    const char *text;              /* NULL: the usual words of the condition */
    struct text_list check, bring; /* from the diagnosis; empty: the usual of the condition */
};

/** A trend that will cross a limit. */
struct visit_projection {
    enum condition condition;
    int64_t crossing_ms, earliest_ms, latest_ms; /* TIMESTAMP_NONE: open end */
    const char *text;                            /* or NULL */
};

/** A day on which something is due: retest-due, visit-due, calibration-due. */
struct visit_date {
    enum condition condition;
    int64_t due_ms;
    const char *text; /* or NULL */
};

/** What was measured at commissioning, for the technician. */
struct visit_baseline {
    const char *point, *name; /* id and name of the point */
    double value;             /* SI; NaN: none */
    enum dimension dimension;
    enum quantity quantity;
};

struct visit_input {
    const char *system, *name, *address; /* address may be NULL */
    const struct time_zone *zone;        /* NULL: UTC */
    struct wording_reader reader;        /* who plans it */
    const struct visit_alarm *alarms;
    size_t alarm_count;
    const struct visit_projection *projections;
    size_t projection_count;
    const struct visit_date *dates;
    size_t date_count;
    const struct visit_baseline *baseline;
    size_t baseline_count;
    int64_t counted_ms;    /* last visit or commissioning, for the id; TIMESTAMP_NONE: never */
    int64_t last_visit_ms; /* as recorded; TIMESTAMP_NONE: never */
    int64_t changed_ms;    /* when anything above last changed, such as an alarm raised or returned;
                              TIMESTAMP_NONE: not known, `now` is taken */
};

struct visit_reason {
    enum condition condition;
    enum priority priority;
    const char *text;
    int64_t from_ms, due_ms, latest_ms;
};

struct visit {
    char id[VISIT_ID_BYTES]; /* the same until a visit is recorded, whatever is added or over */
    const char *system, *name, *address;
    const struct time_zone *zone;
    struct wording_reader reader;
    struct visit_reason reasons[VISIT_REASONS_MAX]; /* most urgent first */
    size_t reason_count;
    int64_t earliest_ms, due_ms, latest_ms;                    /* earliest <= due <= latest */
    enum priority priority;                                    /* the highest of the reasons */
    const char *check[VISIT_LIST_MAX], *bring[VISIT_LIST_MAX]; /* merged, no text twice */
    size_t check_count, bring_count;
    const struct visit_baseline *baseline;
    size_t baseline_count;
    int64_t last_visit_ms;
    int64_t changed_ms; /* for the calendar's SEQUENCE */
};

/** Plans the visit of one system; false (visit untouched) when nothing calls for one by now. */
bool visit_plan(const struct visit_input *input, int64_t now_ms, struct visit *visit);

/** A place in a list of visits. */
struct visit_place {
    enum priority priority;
    int64_t due_ms;
    const char *system; /* borrowed */
};

struct visit_place visit_place_of(const struct visit *visit);

/** Order of a list: higher priority first, then the earlier day, then the system's id. As qsort's.
 */
int visit_place_compare(const struct visit_place *one, const struct visit_place *other);

#endif
