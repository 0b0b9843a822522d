#include "analysis/survival.h"

#include <math.h>
#include <stdlib.h>

static const double z_95 = 1.959963984540054;
static const double tail_95 = 0.025;

static int by_end(const void *left, const void *right) {
    const struct survival_life *a = left, *b = right;
    if (a->end != b->end)
        return a->end < b->end ? -1 : 1;
    return (int)b->failed - (int)a->failed; /* at one age failures come first */
}

enum survival_status survival_sort(struct survival_life *lives, size_t count) {
    for (size_t i = 0; i < count; i++) {
        if (!(lives[i].entry >= 0.0) || !isfinite(lives[i].end) || lives[i].end < lives[i].entry)
            return SURVIVAL_INVALID;
    }
    if (count > 1)
        qsort(lives, count, sizeof *lives, by_end);
    return SURVIVAL_OK;
}

/* Seen just before `age`, and so in danger of failing at it. */
static size_t seen_at(const struct survival_life *lives, size_t count, double age) {
    size_t seen = 0;
    for (size_t i = 0; i < count; i++)
        seen += lives[i].entry < age && lives[i].end >= age;
    return seen;
}

/* How far somebody is seen without a gap, from an age on. */
static double seen_up_to(const struct survival_life *lives, size_t count, double age) {
    bool grown = true;
    while (grown) {
        grown = false;
        for (size_t i = 0; i < count; i++) {
            if (lives[i].entry <= age && lives[i].end > age) {
                age = lives[i].end;
                grown = true;
            }
        }
    }
    return age;
}

struct product {
    double share, variance; /* variance: the sum of d / (n (n - d)) */
};

/* Over the failures behind the age `from` and up to `to`. */
static struct product multiply(const struct survival_life *lives, size_t count, double from,
                               double to) {
    struct product product = {1.0, 0.0};
    for (size_t i = 0; i < count && lives[i].end <= to;) {
        size_t failures = 0, first = i;
        for (; i < count && lives[i].end == lives[first].end; i++)
            failures += lives[i].failed;
        if (failures == 0 || lives[first].end <= from)
            continue;
        double n = (double)seen_at(lives, count, lives[first].end), d = (double)failures;
        product.share *= 1.0 - d / n;
        product.variance += d / (n * (n - d));
    }
    return product;
}

enum survival_status survival_within(const struct survival_life *lives, size_t count, double from,
                                     double to, struct survival *result) {
    if (!(from >= 0.0) || !(to >= from) || !isfinite(to))
        return SURVIVAL_INVALID;
    size_t seen = seen_at(lives, count, to > 0.0 ? to : 5e-324);
    if (seen == 0 || seen_up_to(lives, count, from) < to)
        return SURVIVAL_TOO_YOUNG;
    struct product product = multiply(lives, count, from, to);
    *result = (struct survival){product.share, product.share, product.share, seen};
    if (product.share >= 1.0) {
        result->lower = pow(tail_95, 1.0 / (double)seen);
    } else if (product.share > 0.0) {
        double wide = z_95 * sqrt(product.variance) / log(product.share); /* below 0 */
        result->lower = pow(product.share, exp(-wide));
        result->upper = pow(product.share, exp(wide));
    } else {
        result->upper = 1.0 - pow(tail_95, 1.0 / (double)seen);
    }
    return SURVIVAL_OK;
}

enum survival_status survival_at(const struct survival_life *lives, size_t count, double age,
                                 struct survival *result) {
    return survival_within(lives, count, 0.0, age, result);
}

const char *survival_why(enum survival_status status) {
    static const char *const why[] = {
        [SURVIVAL_OK] = NULL,
        [SURVIVAL_TOO_YOUNG] = "none has been watched at that age yet, or none at an age before",
        [SURVIVAL_INVALID] = "its dates make no sense",
    };
    return why[status];
}
