#include "analysis/common_change.h"

#include "analysis/statistics.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

static const double steps_a_spread = 64.0;                 /* of a level, on its way to its house */
static const double median_over_mean = 1.2533141373155003; /* sqrt(pi / 2), normal data */
enum {
    SILENT_DAYS_MOST = 7, /* of a house that founds */
    FIT_PASSES = 4
};

static const double factor_usual = 1.0, factor_sd = 0.7, factor_most = 4.0;
static const double days_an_independent = 30.0;
static const double held_within = 3.0; /* robust standard deviations */

struct house {
    double level;                           /* logarithm; NaN while it is being learned */
    float recent[COMMON_CHANGE_LEARN_DAYS]; /* a ring */
    unsigned recent_count;                  /* taken in so far */
    int silent_days;                        /* since its last value */
};

struct common_change {
    bool founded; /* the first levels are known */
    size_t count;
    struct house houses[];
};

struct common_change *common_change_create(size_t houses) {
    assert(houses > 0 && houses <= COMMON_CHANGE_MOST);
    struct common_change *common = calloc(1, sizeof *common + houses * sizeof *common->houses);
    if (!common)
        return NULL;
    common->count = houses;
    for (size_t i = 0; i < houses; i++) {
        common->houses[i].level = NAN;
        common->houses[i].silent_days = SILENT_DAYS_MOST + 1;
    }
    return common;
}

void common_change_destroy(struct common_change *common) {
    free(common);
}

/* ---- levels ---- */

static bool has_learned(const struct house *house) {
    return house->recent_count >= COMMON_CHANGE_LEARN_DAYS;
}

static void take_level(struct house *house) {
    double values[COMMON_CHANGE_LEARN_DAYS];
    for (size_t i = 0; i < COMMON_CHANGE_LEARN_DAYS; i++)
        values[i] = (double)house->recent[i];
    statistics_median_in_place(values, COMMON_CHANGE_LEARN_DAYS, &house->level);
}

/* `change` is 0 before the first levels, NaN on a day that has none. */
static void learn(struct house *house, double value, double change, bool founded) {
    house->silent_days = isfinite(value) ? 0 : house->silent_days + 1;
    if (isfinite(house->level) || !isfinite(value) || !isfinite(change))
        return;
    house->recent[house->recent_count % COMMON_CHANGE_LEARN_DAYS] = (float)(value - change);
    house->recent_count++;
    if (founded && has_learned(house))
        take_level(house);
}

static bool can_found(const struct house *house) {
    return has_learned(house) && house->silent_days <= SILENT_DAYS_MOST;
}

static void found(struct common_change *common) {
    size_t ready = 0;
    for (size_t i = 0; i < common->count; i++)
        ready += can_found(&common->houses[i]);
    if (ready < COMMON_CHANGE_LEAST)
        return;
    common->founded = true;
    for (size_t i = 0; i < common->count; i++) {
        if (can_found(&common->houses[i]))
            take_level(&common->houses[i]);
        else
            common->houses[i].recent_count = 0;
    }
}

static void move_levels(struct common_change *common, const double *logs, double change,
                        double spread) {
    for (size_t i = 0; i < common->count; i++) {
        double left = logs[i] - common->houses[i].level - change;
        if (left != 0.0 && isfinite(left))
            common->houses[i].level += copysign(spread / steps_a_spread, left);
    }
}

/* ---- a day ---- */

/* Median and spread of the changes that houses say; those far from the median are taken out of
   `changes` and the two found again. */
static bool sum_up(double *changes, size_t *count, double *median, double *spread) {
    double mad = 0.0;
    size_t kept = 0;
    if (statistics_mad(changes, *count, median, &mad) != STATISTICS_OK)
        return false;
    for (size_t i = 0; i < *count; i++) {
        if (fabs(changes[i] - *median) <= held_within * STATISTICS_MAD_TO_SD * mad)
            changes[kept++] = changes[i];
    }
    *count = kept;
    if (statistics_mad(changes, kept, median, &mad) != STATISTICS_OK)
        return false;
    *spread = STATISTICS_MAD_TO_SD * mad;
    return true;
}

void common_change_add(struct common_change *common, const double *logs,
                       struct common_change_day *day) {
    double changes[COMMON_CHANGE_MOST], spread = 0.0;
    size_t near = 0;
    *day = (struct common_change_day){NAN, NAN, 0};
    for (size_t i = 0; i < common->count; i++) {
        double change = logs[i] - common->houses[i].level;
        if (isfinite(change))
            changes[near++] = change;
    }
    day->houses = near;
    if (near >= COMMON_CHANGE_LEAST && sum_up(changes, &near, &day->change, &spread)) {
        day->standard_uncertainty = median_over_mean * spread / sqrt((double)near);
        move_levels(common, logs, day->change, spread);
    }
    for (size_t i = 0; i < common->count; i++)
        learn(&common->houses[i], logs[i], common->founded ? day->change : 0.0, common->founded);
    if (!common->founded)
        found(common);
}

/* ---- a house against what all did ---- */

/* Pairs of finite values, each less its mean. */
struct pairs {
    size_t n;
    double *time, *common, *own;
};

static void center(double *values, size_t n) {
    double mean = 0.0;
    for (size_t i = 0; i < n; i++)
        mean += values[i] / (double)n;
    for (size_t i = 0; i < n; i++)
        values[i] -= mean;
}

static double product(const double *a, const double *b, size_t n) {
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += a[i] * b[i];
    return sum;
}

/* Takes the line in time from values of mean 0; what is left has the mean 0 too. Its slope. */
static double take_line(const struct pairs *columns, double *values) {
    double squares = product(columns->time, columns->time, columns->n);
    double slope = product(columns->time, values, columns->n) / squares;
    for (size_t i = 0; i < columns->n; i++)
        values[i] -= slope * columns->time[i];
    return slope;
}

/* What is left of `own` beside factor x common, held. */
static bool hold_left(const struct pairs *columns, double factor, double *left) {
    double median = 0.0, mad = 0.0;
    for (size_t i = 0; i < columns->n; i++)
        left[i] = columns->own[i] - factor * columns->common[i];
    if (statistics_mad(left, columns->n, &median, &mad) != STATISTICS_OK)
        return false;
    double most = held_within * STATISTICS_MAD_TO_SD * mad;
    for (size_t i = 0; i < columns->n; i++)
        left[i] = fmin(fmax(left[i], median - most), median + most);
    center(left, columns->n);
    return true;
}

/* Least squares on what is held, with `before` as what was known of the factor. */
static bool fit(const struct pairs *columns, double *left,
                struct common_change_response *response) {
    double factor = factor_usual, weight = 0.0, variance = 0.0;
    double squares = product(columns->common, columns->common, columns->n);
    for (int pass = 0; pass < FIT_PASSES; pass++) {
        if (!hold_left(columns, factor, left))
            return false;
        double more = squares > 0.0 ? product(columns->common, left, columns->n) / squares : 0.0;
        variance = product(left, left, columns->n) / (double)columns->n -
                   more * more * squares / (double)columns->n;
        double before = days_an_independent * fmax(variance, 0.0) / (factor_sd * factor_sd);
        weight = squares + before;
        if (weight > 0.0)
            factor = (squares * (factor + more) + before * factor_usual) / weight;
        factor = fmin(fmax(factor, 0.0), factor_most);
    }
    response->factor = factor;
    response->factor_uncertainty =
        weight > 0.0 ? sqrt(days_an_independent * fmax(variance, 0.0) / weight) : factor_sd;
    return true;
}

bool common_change_respond(const double *days, const double *logs, const double *common, size_t n,
                           struct common_change_response *response) {
    double *numbers = malloc((4 * n + 1) * sizeof *numbers);
    if (!numbers)
        return false;
    struct pairs columns = {0, numbers, numbers + n, numbers + 2 * n};
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(logs[i]) || !isfinite(common[i]))
            continue;
        columns.time[columns.n] = days[i];
        columns.common[columns.n] = common[i];
        columns.own[columns.n++] = logs[i];
    }
    bool good = columns.n >= COMMON_CHANGE_LEARN_DAYS;
    if (good) {
        center(columns.time, columns.n);
        center(columns.common, columns.n);
        center(columns.own, columns.n);
        response->common_per_day = take_line(&columns, columns.common);
        take_line(&columns, columns.own);
        good = fit(&columns, numbers + 3 * n, response);
    }
    free(numbers);
    return good;
}
