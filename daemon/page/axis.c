#include "page/axis.h"

#include <math.h>
#include <stdio.h>

bool page_axis_can_draw(double value) {
    return isfinite(value) && fabs(value) <= PAGE_AXIS_MOST;
}

/* A step of 1, 2 or 5 times a power of ten that gives about five lines. */
static double nice_step(double span) {
    double power = pow(10.0, floor(log10(span / 5.0))), rest = span / 5.0 / power;
    return power * (rest <= 1.0 ? 1.0 : rest <= 2.0 ? 2.0 : rest <= 5.0 ? 5.0 : 10.0);
}

struct page_axis page_axis_fit(double lowest, double highest, double least_span) {
    struct page_axis axis = {lowest, highest, 0.0};
    if (lowest > highest)
        axis.low = axis.high = 0.0;
    /* A thousandth of the value leaves a double enough digits for steps that add up. */
    double least = fmax(fmax(least_span, 1e-9), 1e-3 * fmax(fabs(axis.low), fabs(axis.high)));
    double lacks = fmax(least - (axis.high - axis.low), 0.0);
    double below = axis.low == 0.0 ? 0.0 : axis.high == 0.0 ? 1.0 : 0.5; /* zero stays an end */
    axis.low -= below * lacks;
    axis.high += (1.0 - below) * lacks;
    axis.step = nice_step(axis.high - axis.low);
    axis.low = floor(axis.low / axis.step + 1e-9) * axis.step;
    axis.high = ceil(axis.high / axis.step + 0.05) * axis.step;
    return axis;
}

double page_axis_part(const struct page_axis *axis, double value) {
    double part = (value - axis->low) / (axis->high - axis->low);
    return fmin(fmax(part, 0.0), 1.0);
}

size_t page_axis_tick_count(const struct page_axis *axis) {
    size_t count = (size_t)lround((axis->high - axis->low) / axis->step) + 1;
    return count < PAGE_AXIS_TICKS_MOST ? count : PAGE_AXIS_TICKS_MOST;
}

double page_axis_tick(const struct page_axis *axis, size_t i) {
    double value = axis->low + (double)i * axis->step;
    return fabs(value) < axis->step / 1e3 ? 0.0 : value;
}

char *page_axis_tick_text(const struct page_axis *axis, size_t i, char *text, size_t size) {
    int decimals = (int)fmax(ceil(-log10(axis->step) - 1e-9), 0.0);
    snprintf(text, size, "%.*f", decimals, page_axis_tick(axis, i));
    return text;
}
