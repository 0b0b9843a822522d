/*
 * page_axis: the axis of values of a chart, for whatever the values are. Pure.
 *
 * However still a sensor stands, the axis spans what is worth telling apart, so that noise in the
 * last digit neither fills the chart nor leaves an axis without a length.
 */
#ifndef DAEMON_PAGE_AXIS_H
#define DAEMON_PAGE_AXIS_H

#include <stdbool.h>
#include <stddef.h>

/** Values up to this size, of either sign, can be drawn. Physical ranges end far below it. */
#define PAGE_AXIS_MOST 1e12
#define PAGE_AXIS_TICKS_MOST 12

/** In the units that are shown. low < high, both whole multiples of step. */
struct page_axis {
    double low, high, step;
};

/** Is it a number, and not larger than any axis? */
bool page_axis_can_draw(double value);

/**
 * The axis for values from `lowest` to `highest`, which can be drawn (lowest > highest: there are
 * none), that spans `least_span` (above 0) or more, and a thousandth of the largest value.
 */
struct page_axis page_axis_fit(double lowest, double highest, double least_span);

/** Where a value stands: 0 at the low end to 1 at the high end, what lies beyond at the end. */
double page_axis_part(const struct page_axis *axis, double value);

/** How many ticks there are, PAGE_AXIS_TICKS_MOST at most. */
size_t page_axis_tick_count(const struct page_axis *axis);
/** Value of the i-th from below. */
double page_axis_tick(const struct page_axis *axis, size_t i);
/** Its number, with as many decimals as tell it from its neighbours. Returns text. */
char *page_axis_tick_text(const struct page_axis *axis, size_t i, char *text, size_t size);

#endif
