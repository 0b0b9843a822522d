#include "analysis/average.h"

#include "analysis/statistics.h"
#include "measure/root_sum.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

const struct average_window average_windows[] = {
    {"24 h", 24 * AVERAGE_HOUR_MS}, {"7 d", 7 * AVERAGE_DAY_MS},     {"30 d", 30 * AVERAGE_DAY_MS},
    {"91 d", 91 * AVERAGE_DAY_MS},  {"365 d", 365 * AVERAGE_DAY_MS},
};
const size_t average_window_count = sizeof(average_windows) / sizeof(average_windows[0]);

const char *average_why(enum average_status status) {
    static const char *const why[] = {
        [AVERAGE_OK] = "computed",
        [AVERAGE_NOTHING] = "no readings",
        [AVERAGE_TOO_FEW] = "too few readings",
        [AVERAGE_NOT_FINITE] = "a value is missing or not a finite number",
        [AVERAGE_OUT_OF_ORDER] = "the readings are not in order of time",
        [AVERAGE_OUT_OF_RANGE] = "a setting of the computation is out of range",
        [AVERAGE_NO_MEMORY] = "out of memory",
    };
    size_t row = (size_t)status;
    return row < sizeof(why) / sizeof(why[0]) ? why[row] : "unknown";
}

const char *average_seasonal_text(void) {
    return "less than a year: radon is usually higher in winter, so this is not yet a yearly mean";
}

static int64_t larger(int64_t a, int64_t b) {
    return a > b ? a : b;
}

static int64_t smaller(int64_t a, int64_t b) {
    return a < b ? a : b;
}

/* Every instant within 292 million years of 1970: differences never overflow. */
static bool instant_ok(int64_t time_ms) {
    return time_ms > INT64_MIN / 4 && time_ms < INT64_MAX / 4;
}

static enum average_status check_window(int64_t interval_ms, int64_t from_ms, int64_t to_ms) {
    if (interval_ms <= 0 || !instant_ok(interval_ms) || !instant_ok(from_ms) || !instant_ok(to_ms))
        return AVERAGE_OUT_OF_RANGE;
    return from_ms > to_ms ? AVERAGE_OUT_OF_ORDER : AVERAGE_OK;
}

static enum average_status check_readings(const struct average_reading *readings, size_t n) {
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(readings[i].value))
            return AVERAGE_NOT_FINITE;
        if (!instant_ok(readings[i].time_ms))
            return AVERAGE_OUT_OF_RANGE;
        if (i > 0 && readings[i].time_ms < readings[i - 1].time_ms)
            return AVERAGE_OUT_OF_ORDER;
    }
    return AVERAGE_OK;
}

/* Start of the time that reading i stands for; it ends at the reading's own time. */
static int64_t span_start(const struct average_reading *readings, size_t i, int64_t interval_ms) {
    int64_t earliest = readings[i].time_ms - interval_ms;
    return i == 0 ? earliest : larger(earliest, readings[i - 1].time_ms);
}

enum average_status average_readings(const struct average_reading *readings, size_t n,
                                     int64_t interval_ms, int64_t from_ms, int64_t to_ms,
                                     struct average_bucket *sum) {
    assert(sum);
    enum average_status status = check_window(interval_ms, from_ms, to_ms);
    if (status == AVERAGE_OK)
        status = check_readings(readings, n);
    if (status != AVERAGE_OK)
        return status;
    struct average_bucket total = {.start_ms = from_ms, .end_ms = to_ms};
    for (size_t i = 0; i < n; i++) {
        int64_t start = larger(span_start(readings, i, interval_ms), from_ms);
        int64_t span = smaller(readings[i].time_ms, to_ms) - start;
        if (span <= 0)
            continue;
        total.value_ms += readings[i].value * (double)span;
        total.covered_ms += span;
    }
    if (!isfinite(total.value_ms))
        return AVERAGE_NOT_FINITE;
    *sum = total;
    return AVERAGE_OK;
}

static enum average_status check_buckets(const struct average_bucket *buckets, size_t n) {
    for (size_t i = 0; i < n; i++) {
        const struct average_bucket *bucket = &buckets[i];
        if (!isfinite(bucket->value_ms))
            return AVERAGE_NOT_FINITE;
        if (!instant_ok(bucket->start_ms) || !instant_ok(bucket->end_ms))
            return AVERAGE_OUT_OF_RANGE;
        if (bucket->end_ms < bucket->start_ms ||
            (i > 0 && bucket->start_ms < buckets[i - 1].end_ms))
            return AVERAGE_OUT_OF_ORDER;
        if (bucket->covered_ms < 0 || bucket->covered_ms > bucket->end_ms - bucket->start_ms)
            return AVERAGE_OUT_OF_RANGE;
    }
    return AVERAGE_OK;
}

/* Sums of checked buckets from *next on; *next is moved past those that end before `to`. */
static struct average_bucket sum_from(const struct average_bucket *buckets, size_t n, size_t *next,
                                      int64_t from_ms, int64_t to_ms) {
    struct average_bucket total = {.start_ms = from_ms, .end_ms = to_ms};
    double covered = 0.0;
    while (*next < n && buckets[*next].end_ms <= from_ms)
        ++*next;
    for (size_t i = *next; i < n && buckets[i].start_ms < to_ms; i++) {
        int64_t length = buckets[i].end_ms - buckets[i].start_ms;
        int64_t inside = smaller(buckets[i].end_ms, to_ms) - larger(buckets[i].start_ms, from_ms);
        if (length <= 0 || inside <= 0)
            continue;
        double share = inside == length ? 1.0 : (double)inside / (double)length;
        total.value_ms += buckets[i].value_ms * share;
        covered += (double)buckets[i].covered_ms * share;
    }
    total.covered_ms = smaller((int64_t)llround(covered), to_ms - from_ms);
    return total;
}

enum average_status average_sum(const struct average_bucket *buckets, size_t n, int64_t from_ms,
                                int64_t to_ms, struct average_bucket *sum) {
    assert(sum);
    size_t next = 0;
    enum average_status status = check_window(1, from_ms, to_ms);
    if (status == AVERAGE_OK)
        status = check_buckets(buckets, n);
    if (status != AVERAGE_OK)
        return status;
    struct average_bucket total = sum_from(buckets, n, &next, from_ms, to_ms);
    if (!isfinite(total.value_ms))
        return AVERAGE_NOT_FINITE;
    *sum = total;
    return AVERAGE_OK;
}

struct daily { /* means of the days that count and where they stand, 1 apart for neighbours */
    size_t n;
    double *means;
    int64_t *places;
};

static void take_days(const struct average_bucket *days, size_t n, double least_coverage,
                      struct daily *daily) {
    int64_t before_ms = 0;
    for (size_t i = 0; i < n; i++) {
        int64_t length = days[i].end_ms - days[i].start_ms;
        if (days[i].covered_ms <= 0 || (double)days[i].covered_ms < least_coverage * (double)length)
            continue;
        double apart = (double)(days[i].start_ms - before_ms) / (double)AVERAGE_DAY_MS;
        int64_t steps = apart < 1.5 ? 1 : (int64_t)rint(apart);
        daily->places[daily->n] = daily->n == 0 ? 0 : daily->places[daily->n - 1] + steps;
        daily->means[daily->n++] = days[i].value_ms / (double)days[i].covered_ms;
        before_ms = days[i].start_ms;
    }
}

bool average_random_part(const int64_t *places, const double *means, size_t n,
                         struct average_random *random) {
    struct statistics_summary summary;
    double r1 = 0.0, count = (double)n;
    if (statistics_summarize(means, n, &summary) != STATISTICS_OK)
        return false;
    *random = (struct average_random){0};
    if (statistics_autocorrelation_at(places, means, n, 1, &r1) == STATISTICS_OK)
        random->r1 = statistics_unbiased_r1(r1, n);
    random->effective_days = fmax(2.0, statistics_effective_size(count, random->r1));
    random->variance =
        summary.sd * summary.sd * (count - 1.0) / (count * (random->effective_days - 1.0));
    return true;
}

/* The random part from the daily means; false (with a text) when they don't suffice. */
static bool random_part(const struct daily *daily, struct average *average) {
    struct average_random random;
    average->days = daily->n;
    if (daily->n < AVERAGE_LEAST_DAYS) {
        average->why = "an uncertainty needs at least 5 days that are well covered";
        return false;
    }
    if (!average_random_part(daily->places, daily->means, daily->n, &random)) {
        average->why = "the daily means are not finite numbers";
        return false;
    }
    average->r1 = random.r1;
    average->effective_days = random.effective_days;
    average->random_uncertainty = sqrt(random.variance);
    return true;
}

/* JCGM 100 5.1.2 and G.4.1; with no random part at all the degrees of freedom are unlimited. */
static bool combine(double level, struct average *average) {
    const double unlimited = 1e9;
    double random = average->random_uncertainty, fixed = average->calibration_uncertainty;
    double combined = root_sum(random, fixed), ratio = combined > 0.0 ? random / combined : 0.0;
    double fourth = ratio * ratio * ratio * ratio;
    double degrees = average->effective_days - 1.0;
    average->degrees_of_freedom = fourth > 0.0 ? fmin(unlimited, degrees / fourth) : unlimited;
    average->standard_uncertainty = combined;
    double above = average->mean - level;
    if (combined > 0.0)
        average->probability_at_or_above =
            statistics_t_cdf(above / combined, average->degrees_of_freedom);
    else
        average->probability_at_or_above = above >= 0.0 ? 1.0 : 0.0;
    return isfinite(combined);
}

static enum average_status check_assess(const struct average_bucket *sum, int64_t from_ms,
                                        int64_t to_ms, const struct average_settings *settings) {
    enum average_status status = check_window(1, from_ms, to_ms);
    if (status != AVERAGE_OK)
        return status;
    if (!isfinite(sum->value_ms) || !isfinite(settings->level))
        return AVERAGE_NOT_FINITE;
    if (!(settings->calibration_relative >= 0.0 && settings->calibration_relative <= 10.0) ||
        !(settings->calibration_absolute >= 0.0 && isfinite(settings->calibration_absolute)) ||
        !(settings->least_coverage >= 0.0 && settings->least_coverage <= 1.0) ||
        sum->covered_ms > to_ms - from_ms)
        return AVERAGE_OUT_OF_RANGE;
    return sum->covered_ms <= 0 ? AVERAGE_NOTHING : AVERAGE_OK;
}

/* Uncertainty and probability of an average whose mean is known. */
static enum average_status add_uncertainty(const struct average_bucket *days, size_t day_count,
                                           const struct average_settings *settings,
                                           struct average *average) {
    struct daily daily = {.means = malloc((day_count + 1) * sizeof(double)),
                          .places = malloc((day_count + 1) * sizeof(int64_t))};
    enum average_status status = AVERAGE_NO_MEMORY;
    if (daily.means && daily.places) {
        take_days(days, day_count, settings->least_coverage, &daily);
        average->calibration_uncertainty = root_sum(settings->calibration_relative * average->mean,
                                                    settings->calibration_absolute);
        status = AVERAGE_OK;
        if (random_part(&daily, average)) {
            average->has_uncertainty = combine(settings->level, average);
            status = average->has_uncertainty ? AVERAGE_OK : AVERAGE_NOT_FINITE;
        }
    }
    free(daily.means);
    free(daily.places);
    return status;
}

enum average_status average_assess(const struct average_bucket *sum, int64_t from_ms, int64_t to_ms,
                                   const struct average_bucket *days, size_t day_count,
                                   const struct average_settings *settings,
                                   struct average *average) {
    assert(sum && settings && average && (days || day_count == 0));
    enum average_status status = check_assess(sum, from_ms, to_ms, settings);
    if (status == AVERAGE_OK)
        status = check_buckets(days, day_count);
    if (status != AVERAGE_OK)
        return status;
    struct average found = {
        .mean = sum->value_ms / (double)sum->covered_ms,
        .coverage = (double)sum->covered_ms / (double)(to_ms - from_ms),
        .covered_ms = sum->covered_ms,
        .seasonal_caution = to_ms - from_ms < 365 * AVERAGE_DAY_MS,
    };
    if (found.coverage < settings->least_coverage) {
        found.why = average_why(AVERAGE_TOO_FEW);
        *average = found;
        return AVERAGE_TOO_FEW;
    }
    status = add_uncertainty(days, day_count, settings, &found);
    if (status == AVERAGE_OK)
        *average = found;
    return status;
}
