/*
 * baseline: the normal level of a point, learned from a period, and when that must be refused.
 *
 * The level is the median of the daily medians, so that a day of work on the system doesn't move
 * it. A period teaches only when it is long enough (7 days), well covered (75 %) and stable: no
 * trend that is both sure (Mann-Kendall with Hamed and Rao, p below 0.01; exact below 11 days
 * without ties) and large (over 10 % of the level across the period). Otherwise an ailing system
 * would become its own yardstick. Pure; results are written only on BASELINE_OK and are finite.
 */
#ifndef ANALYSIS_BASELINE_H
#define ANALYSIS_BASELINE_H

#include <stddef.h>
#include <stdint.h>

enum baseline_status {
    BASELINE_OK = 0,
    BASELINE_TOO_SHORT,    /* fewer days with values than 7 */
    BASELINE_TOO_FEW,      /* coverage under 75 % */
    BASELINE_NOT_STABLE,   /* it drifts */
    BASELINE_NO_LEVEL,     /* the median is 0: nothing can be relative to it */
    BASELINE_NOT_FINITE,   /* a NaN or an infinity */
    BASELINE_OUT_OF_ORDER, /* days don't rise, or a cover longer than the period */
    BASELINE_NO_MEMORY
};

/** One sentence for a person; static text. */
const char *baseline_why(enum baseline_status status);

struct baseline_day {
    double day;         /* local day since 1970-01-01, rising strictly */
    double median;      /* of the readings of the day */
    int64_t covered_ms; /* of the day */
};

struct baseline_rules {
    size_t least_days;
    double least_coverage;
    double drift_p_value; /* a trend is sure below this */
    double drift_share;   /* and large above this share of the level over the period */
};

struct baseline {
    double value;  /* median of the daily medians */
    double spread; /* their median absolute deviation x 1.4826 */
    size_t days;
    double coverage;    /* 0..1, covered time / period */
    double drift_share; /* change of the Theil-Sen line over the period / value */
    double p_value;     /* of no trend */
};

/**
 * Learns from the days of [from, to) that have values; `rules` may be NULL. On BASELINE_TOO_SHORT,
 * BASELINE_TOO_FEW and BASELINE_NOT_STABLE nothing is written either.
 */
enum baseline_status baseline_learn(const struct baseline_day *days, size_t n, int64_t from_ms,
                                    int64_t to_ms, const struct baseline_rules *rules,
                                    struct baseline *baseline);

#endif
