/*
 * page_plot: the drawing of one chart as inline SVG, whatever the numbers are: a line that breaks
 * where nothing was measured, the spread of each sample behind it, the commissioning value,
 * hatching beyond the limits, and above them what happened: alarms as bars, visits and records as
 * marks.
 */
#ifndef DAEMON_PAGE_PLOT_H
#define DAEMON_PAGE_PLOT_H

#include "alarm/condition.h"
#include "measure/quantity.h"
#include "measure/time_zone.h"
#include "page/html.h"
#include "page/series.h"

#define PAGE_LIMITS_MAX 6

struct page_event {
    enum { PAGE_EVENT_ALARM, PAGE_EVENT_VISIT, PAGE_EVENT_RECORD } kind;
    int64_t from_ms, to_ms; /* visit, record: both the same; a standing alarm: to is now */
    const char *point;      /* of an alarm; "" where it is about the system */
};

struct page_limit {
    double si; /* finite */
    enum condition_side side;
};

struct page_plot {
    const char *id, *name, *point_id; /* of the element; what people call the point; its id */
    enum quantity quantity;
    enum dimension dimension;
    enum unit_system units; /* that values are shown in */
    const struct time_zone *zone;
    int64_t from_ms, to_ms;
    const struct page_series *series; /* SI */
    double baseline;                  /* SI; NaN: none */
    struct page_limit limits[PAGE_LIMITS_MAX];
    size_t limit_count;
    const struct page_event *events;
    size_t event_count;
};

/** A figure with its caption. */
void page_plot_draw(struct html *html, const struct page_plot *plot);

#endif
