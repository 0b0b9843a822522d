#include "analysis/drift.h"

#include "analysis/statistics.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    BLOCKS = 128,
    STEPS = 4,
    SIDE = 5,
    NEARBY = 3,
    RED_TIMES = 3,
    WHITE_SHARES = 3,
    SLOPE_SIZES = 2
};
enum drift_column {
    LEVEL,
    SLOPE,
    EARLIER, /* what the slope was more until nine months ago */
    COSINE,
    SINE,
    COSINE_2,
    SINE_2,
    SETTLING_SOON,
    SETTLING_LATE,
    OUTDOOR,
    COMMON, /* by how much more, or less, it follows what the neighbours had as well */
    FIRST_STEP,
    COLUMNS = FIRST_STEP + STEPS
};

const struct drift_usual drift_suction = {
    .slope_per_year = 0.12, .season = 0.04, .settling = 0.10, .noise = 0.015, .wander = 0.01};

static const double two_pi = 6.283185307179586;
static const double block_days = 7.0, recent_days = 270.0, last_days = 28.0;
static const double step_least = 0.04, step_sure = 4.5, usual_change = 0.005;
static const double settling_soon_days = 20.0, settling_late_days = 60.0;
static const double second_harmonic = 0.4;   /* of the first */
static const double season_outdoors = 0.6;   /* left when the temperature is known */
static const double season_neighbours = 0.3; /* left when the neighbours are known */
static const double follows_more = 0.3;      /* than the neighbours, as a factor less 1 */
static const double outdoor_per_10_k = 0.05;
static const double known_share = 0.75;
static const double free_sd = 0.5;            /* of a logarithm: anything */
static const double noise_worth = 6.0;        /* blocks that the usual noise counts for */
static const double wander_slope_share = 1.2; /* variance of the slope that a random walk of
                                                 variance 1 a year shows over a year: 6/5 */
static const double red_days[RED_TIMES] = {10.0, 30.0, 90.0};
static const double white_shares[WHITE_SHARES] = {0.1, 0.4, 0.8};

/* Logarithms of the days that are used. One block of memory, freed by `days`. */
struct logs {
    size_t n;
    double *days, *values, *outdoor_c, *common;
};

struct drift_block {
    double day, value, outdoor_c, common; /* mean day, median, means */
};

/* Blocks from the newest to the oldest, and the rows of the regression. */
struct model {
    size_t n, steps, columns;
    double step_days[STEPS], middle; /* logarithms count from `middle` */
    struct drift_block blocks[BLOCKS];
    double rows[BLOCKS][COLUMNS];
    double usual[COLUMNS];  /* standard deviations */
    double wander_variance; /* of the slope, by the wander of the sensor */
};

/* ---- the days ---- */

static enum trend_status take_logs(const struct trend_series *series, struct logs *logs) {
    double from = series->n ? series->days[series->n - 1] - DRIFT_LONGEST_DAYS : 0.0;
    *logs = (struct logs){0};
    if (series->n < TREND_LEAST_DAYS)
        return TREND_TOO_SHORT;
    logs->days = malloc(4 * series->n * sizeof *logs->days);
    if (!logs->days)
        return TREND_NO_MEMORY;
    logs->values = logs->days + series->n;
    logs->outdoor_c = logs->values + series->n;
    logs->common = logs->outdoor_c + series->n;
    for (size_t i = 0; i < series->n; i++) {
        double common = series->common ? series->common[i] : 0.0;
        if (series->days[i] < from || !isfinite(common))
            continue;
        if (!(series->values[i] > 0.0))
            return TREND_OUT_OF_RANGE;
        logs->days[logs->n] = series->days[i];
        logs->values[logs->n] = log(series->values[i]) - common;
        logs->common[logs->n] = common;
        logs->outdoor_c[logs->n++] = series->outdoor_c ? series->outdoor_c[i] : NAN;
    }
    if (logs->n < TREND_LEAST_DAYS)
        return TREND_TOO_SHORT;
    return statistics_all_finite(logs->days, logs->n) &&
                   statistics_all_finite(logs->values, logs->n)
               ? TREND_OK
               : TREND_NOT_FINITE;
}

/* ---- steps ---- */

static double median_of_side(const double *values) {
    double some[SIDE], median = NAN;
    memcpy(some, values, sizeof some);
    statistics_median_in_place(some, SIDE, &median);
    return median;
}

/* Index of the first day after the largest change of one day within NEARBY of `day`. */
static size_t sharpest(const struct logs *logs, size_t day) {
    size_t best = day;
    for (size_t i = day - NEARBY; i <= day + NEARBY; i++) {
        if (fabs(logs->values[i] - logs->values[i - 1]) >
            fabs(logs->values[best] - logs->values[best - 1]))
            best = i;
    }
    return best;
}

static size_t lowest(const double *changes, size_t count) {
    size_t best = 0;
    for (size_t i = 1; i < count; i++)
        if (changes[i] < changes[best])
            best = i;
    return best;
}

static bool find_steps(const struct logs *logs, struct model *model) {
    size_t count = logs->n - 2 * SIDE + 1;
    double *changes = malloc(2 * count * sizeof *changes), scale = 0.0;
    if (!changes)
        return false;
    double *sizes = changes + count;
    for (size_t i = 0; i < count; i++) {
        changes[i] = median_of_side(logs->values + i + SIDE) - median_of_side(logs->values + i);
        sizes[i] = fabs(changes[i]);
    }
    statistics_median_in_place(sizes, count, &scale);
    double least = fmax(step_least, step_sure * fmax(STATISTICS_MAD_TO_SD * scale, usual_change));
    while (model->steps < STEPS) {
        size_t best = lowest(changes, count);
        if (changes[best] > -least)
            break;
        size_t day = sharpest(logs, best + SIDE);
        model->step_days[model->steps++] = 0.5 * (logs->days[day - 1] + logs->days[day]);
        for (size_t i = best > SIDE ? best - SIDE : 0; i < count && i <= best + SIDE; i++)
            changes[i] = 0.0;
    }
    free(changes);
    return true;
}

/* ---- blocks: weeks counted back from the last day, cut at steps ---- */

static size_t steps_before(const struct model *model, double day) {
    size_t count = 0;
    for (size_t i = 0; i < model->steps; i++)
        count += model->step_days[i] < day ? 1 : 0;
    return count;
}

static struct drift_block block_of(const struct logs *logs, size_t start, size_t end) {
    double sorted[BLOCKS], day = 0.0, outdoor_c = 0.0, known = 0.0, n = (double)(end - start);
    struct drift_block block = {0};
    assert(end - start <= BLOCKS);
    for (size_t i = start; i < end; i++) {
        sorted[i - start] = logs->values[i];
        day += logs->days[i] / n;
        block.common += logs->common[i] / n;
        if (isfinite(logs->outdoor_c[i])) {
            outdoor_c += logs->outdoor_c[i];
            known += 1.0;
        }
    }
    statistics_median_in_place(sorted, end - start, &block.value);
    block.day = day;
    block.outdoor_c = known > 0.0 ? outdoor_c / known : NAN;
    return block;
}

static void make_blocks(const struct logs *logs, struct model *model) {
    double span = logs->days[logs->n - 1] - logs->days[0] + 1.0;
    double width = fmax(block_days, ceil(span / (BLOCKS - STEPS - 1)));
    for (size_t end = logs->n, start; end > 0; end = start) {
        double last = logs->days[end - 1];
        for (start = end - 1;
             start > 0 && last - logs->days[start - 1] < width &&
             steps_before(model, logs->days[start - 1]) == steps_before(model, last);)
            start--;
        assert(model->n < BLOCKS);
        model->blocks[model->n++] = block_of(logs, start, end);
    }
}

/* ---- rows ---- */

/* NaN where it is known too seldom to be of use. */
static double mean_outdoor_c(const struct model *model) {
    double sum = 0.0, known = 0.0;
    for (size_t i = 0; i < model->n; i++) {
        if (isfinite(model->blocks[i].outdoor_c)) {
            sum += model->blocks[i].outdoor_c;
            known += 1.0;
        }
    }
    return known >= known_share * (double)model->n ? sum / known : NAN;
}

static void make_row(const struct model *model, double installed_day, double mean_c,
                     const struct drift_block *block, double row[COLUMNS]) {
    double turn = two_pi * block->day / TREND_YEAR_DAYS;
    double before = block->day - model->blocks[0].day, since = block->day - installed_day;
    double warmer_k = block->outdoor_c - mean_c;
    row[LEVEL] = 1.0;
    row[SLOPE] = before / TREND_YEAR_DAYS;
    row[EARLIER] = fmin(0.0, before + recent_days) / TREND_YEAR_DAYS;
    row[COSINE] = cos(turn);
    row[SINE] = sin(turn);
    row[COSINE_2] = cos(2.0 * turn);
    row[SINE_2] = sin(2.0 * turn);
    row[SETTLING_SOON] = exp(-fmax(since, 0.0) / settling_soon_days);
    row[SETTLING_LATE] = exp(-fmax(since, 0.0) / settling_late_days);
    row[COMMON] = block->common;
    row[OUTDOOR] = isfinite(warmer_k) ? warmer_k / 10.0 : 0.0;
    for (size_t s = 0; s < model->steps; s++)
        row[FIRST_STEP + s] = block->day < model->step_days[s] ? 1.0 : 0.0;
}

static void make_rows(double installed_day, const struct drift_usual *usual, bool has_neighbours,
                      struct model *model) {
    double mean_c = mean_outdoor_c(model), season = usual->season;
    season *= has_neighbours ? season_neighbours : isfinite(mean_c) ? season_outdoors : 1.0;
    for (size_t i = 0; i < model->n; i++)
        make_row(model, installed_day, mean_c, &model->blocks[i], model->rows[i]);
    model->columns = FIRST_STEP + model->steps;
    const double sizes[FIRST_STEP] = {
        [LEVEL] = free_sd,
        [SLOPE] = usual->slope_per_year,
        [EARLIER] = usual->slope_per_year,
        [COSINE] = season,
        [SINE] = season,
        [COSINE_2] = season * second_harmonic,
        [SINE_2] = season * second_harmonic,
        [SETTLING_SOON] = usual->settling,
        [SETTLING_LATE] = usual->settling,
        [OUTDOOR] = outdoor_per_10_k,
        [COMMON] = follows_more,
    };
    for (size_t j = 0; j < COLUMNS; j++)
        model->usual[j] = j < FIRST_STEP ? sizes[j] : free_sd;
    double years = (model->blocks[0].day - model->blocks[model->n - 1].day) / TREND_YEAR_DAYS;
    model->wander_variance = wander_slope_share * usual->wander * usual->wander / years;
    model->middle = model->blocks[model->n / 2].value;
    for (size_t i = 0; i < model->n; i++)
        model->blocks[i].value -= model->middle;
}

/* ---- the fit for one mixture of noise ---- */

/* Sums of products of the whitened rows, for noise of variance 1. */
struct products {
    double xx[COLUMNS][COLUMNS]; /* lower triangle */
    double xy[COLUMNS], yy, log_variance;
};

static void add_products(const double *row, size_t columns, struct products *products) {
    double y = row[columns];
    for (size_t j = 0; j < columns; j++) {
        for (size_t i = 0; i <= j; i++)
            products->xx[j][i] += row[j] * row[i];
        products->xy[j] += row[j] * y;
    }
    products->yy += y * y;
}

/* The innovations filter of red noise (variance 1 - white) seen through white noise: the same
   linear filter for every column and the values. */
static void whiten(const struct model *model, double red, double white, struct products *products) {
    double state[COLUMNS + 1] = {0.0}, row[COLUMNS + 1], variance = 1.0 - white;
    size_t columns = model->columns;
    memset(products, 0, sizeof *products);
    for (size_t k = model->n; k-- > 0;) { /* oldest first */
        double seen = variance + white, gain = variance / seen;
        for (size_t j = 0; j <= columns; j++) {
            double innovation =
                (j < columns ? model->rows[k][j] : model->blocks[k].value) - state[j];
            row[j] = innovation / sqrt(seen);
            state[j] += gain * innovation;
        }
        products->log_variance += log(seen);
        add_products(row, columns, products);
        if (k == 0)
            break;
        double keep = exp(-(model->blocks[k - 1].day - model->blocks[k].day) / red);
        for (size_t j = 0; j <= columns; j++)
            state[j] *= keep;
        variance = keep * keep * variance * (1.0 - gain) + (1.0 - keep * keep) * (1.0 - white);
    }
}

struct solution {
    double beta[COLUMNS];
    double slope_variance, log_determinant, squares_left;
};

static void decompose(const struct model *model, const struct products *products, double variance,
                      double l[COLUMNS][COLUMNS], struct solution *solution) {
    solution->log_determinant = 0.0;
    for (size_t j = 0; j < model->columns; j++) {
        for (size_t i = 0; i <= j; i++) {
            double sum = products->xx[j][i] / variance;
            if (i == j)
                sum += 1.0 / (model->usual[j] * model->usual[j]);
            for (size_t k = 0; k < i; k++)
                sum -= l[j][k] * l[i][k];
            l[j][i] = i == j ? sqrt(sum) : sum / l[i][i];
        }
        solution->log_determinant += 2.0 * log(l[j][j] * model->usual[j]);
    }
}

static double squares_left(const struct products *products, const double *beta, size_t columns) {
    double sum = products->yy;
    for (size_t j = 0; j < columns; j++) {
        sum += beta[j] * (beta[j] * products->xx[j][j] - 2.0 * products->xy[j]);
        for (size_t i = 0; i < j; i++)
            sum += 2.0 * beta[j] * beta[i] * products->xx[j][i];
    }
    return fmax(sum, 0.0);
}

/* Mean of the coefficients and variance of the slope, given the variance of the noise. */
static void solve(const struct model *model, const struct products *products, double variance,
                  struct solution *solution) {
    double l[COLUMNS][COLUMNS], z[COLUMNS], unit[COLUMNS] = {0.0};
    size_t columns = model->columns;
    decompose(model, products, variance, l, solution);
    solution->slope_variance = 0.0;
    for (size_t j = 0; j < columns; j++) {
        z[j] = products->xy[j] / variance;
        unit[j] = j == SLOPE ? 1.0 : 0.0;
        for (size_t k = 0; k < j; k++) {
            z[j] -= l[j][k] * z[k];
            unit[j] -= l[j][k] * unit[k];
        }
        z[j] /= l[j][j];
        unit[j] /= l[j][j];
        solution->slope_variance += unit[j] * unit[j];
    }
    for (size_t j = columns; j-- > 0;) {
        double sum = z[j];
        for (size_t k = j + 1; k < columns; k++)
            sum -= l[k][j] * solution->beta[k];
        solution->beta[j] = sum / l[j][j];
    }
    solution->squares_left = squares_left(products, solution->beta, columns);
}

struct drift_answer {
    double evidence, slope, slope_variance, level, p_rises;
};

static struct drift_answer fit_with(const struct model *model, const struct products *products,
                                    double usual_noise) {
    struct solution solution;
    double n = (double)model->n, usual = noise_worth * usual_noise * usual_noise, penalty = 0.0;
    double variance = usual_noise * usual_noise;
    for (int turn = 0; turn < 3; turn++) {
        solve(model, products, variance, &solution);
        variance = (solution.squares_left + usual) / (fmax(n - 4.0, 1.0) + noise_worth);
    }
    solve(model, products, variance, &solution);
    for (size_t j = 0; j < model->columns; j++)
        penalty += pow(solution.beta[j] / model->usual[j], 2.0);
    return (struct drift_answer){
        .evidence = -0.5 * ((n + noise_worth) * log(variance) + products->log_variance +
                            (solution.squares_left + usual) / variance + penalty +
                            solution.log_determinant),
        .slope = solution.beta[SLOPE],
        .slope_variance = solution.slope_variance + model->wander_variance,
        .level = solution.beta[LEVEL],
    };
}

/* The answers averaged by their evidence. */
static struct drift_answer average(const struct drift_answer *answers, size_t count) {
    struct drift_answer mean = {.evidence = -INFINITY};
    double total = 0.0, square = 0.0;
    for (size_t i = 0; i < count; i++)
        mean.evidence = fmax(mean.evidence, answers[i].evidence);
    for (size_t i = 0; i < count; i++) {
        const struct drift_answer *one = &answers[i];
        double weight = exp(one->evidence - mean.evidence);
        total += weight;
        mean.slope += weight * one->slope;
        mean.level += weight * one->level;
        mean.p_rises += weight * statistics_normal_cdf(one->slope / sqrt(one->slope_variance));
        square += weight * (one->slope_variance + one->slope * one->slope);
    }
    mean.slope /= total;
    mean.level /= total;
    mean.p_rises /= total;
    mean.slope_variance = square / total - mean.slope * mean.slope;
    return mean;
}

static struct drift_answer fit_all(const struct model *model, double usual_noise) {
    struct drift_answer answers[RED_TIMES * WHITE_SHARES];
    struct products products;
    for (size_t i = 0; i < RED_TIMES * WHITE_SHARES; i++) {
        whiten(model, red_days[i / WHITE_SHARES], white_shares[i % WHITE_SHARES], &products);
        answers[i] = fit_with(model, &products, usual_noise);
    }
    return average(answers, RED_TIMES * WHITE_SHARES);
}

/* ---- the result ---- */

static void write_trend(const struct model *model, const struct logs *logs,
                        const struct drift_answer *answer, double z, struct trend *trend) {
    double level = exp(answer->level + model->middle);
    double sd = sqrt(answer->slope_variance);
    double p = 2.0 * fmin(answer->p_rises, 1.0 - answer->p_rises);
    *trend = (struct trend){
        .n = logs->n,
        .first_day = logs->days[0],
        .last_day = logs->days[logs->n - 1],
        .method = TREND_DRIFT,
        .per_year = answer->slope * level,
        .lower = (answer->slope - z * sd) * level,
        .upper = (answer->slope + z * sd) * level,
        .p_value = p,
        .p_value_cautious = p,
        .variance_factor = 1.0,
        .level_day = model->blocks[0].day,
        .level = level,
    };
    trend->lower_independent = trend->lower;
    trend->upper_independent = trend->upper;
}

enum trend_status drift_fit(const struct trend_series *series, double installed_day,
                            const struct drift_usual *usual, double confidence,
                            struct trend *trend) {
    assert(series && usual && trend);
    struct logs logs;
    struct model model;
    double z = 0.0;
    if (!(confidence > 0.0 && confidence < 1.0) ||
        statistics_normal_quantile(0.5 + 0.5 * confidence, &z) != STATISTICS_OK)
        return TREND_OUT_OF_RANGE;
    model.n = model.steps = 0;
    enum trend_status status = take_logs(series, &logs);
    if (status == TREND_OK && !find_steps(&logs, &model))
        status = TREND_NO_MEMORY;
    if (status == TREND_OK) {
        make_blocks(&logs, &model);
        make_rows(installed_day, usual, series->common != NULL, &model);
        const struct drift_answer answer = fit_all(&model, usual->noise);
        write_trend(&model, &logs, &answer, z, trend);
    }
    free(logs.days);
    return status;
}

bool drift_may_fall(const struct trend_series *series) {
    assert(series);
    const struct trend_series last = trend_series_recent(series, last_days);
    double now = 0.0, whole = 0.0;
    if (series->common)
        return true;
    return statistics_median(last.values, last.n, &now) == STATISTICS_OK &&
           statistics_median(series->values, series->n, &whole) == STATISTICS_OK && now < whole;
}
