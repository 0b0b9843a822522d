/*
 * page_chart: charts as inline SVG: a line that breaks where nothing was measured, the spread of
 * each sample behind it, the commissioning value, hatching beyond the limits, and above them what
 * happened: alarms as bars, visits and records as marks.
 */
#ifndef DAEMON_PAGE_CHART_H
#define DAEMON_PAGE_CHART_H

#include "page_series.h"
#include "page_view.h"

struct page_event {
    enum { PAGE_EVENT_ALARM, PAGE_EVENT_VISIT, PAGE_EVENT_RECORD } kind;
    int64_t from_ms, to_ms; /* visit, record: both the same; a standing alarm: to is now */
    const char *point;      /* of an alarm; "" where it is about the system */
};

struct page_chart {
    size_t point;
    int64_t from_ms, to_ms;
    const struct page_event *events;
    size_t event_count;
    const char *id; /* of the element */
};

/** A figure with its caption. */
void page_chart_draw(struct page_view *view, const struct page_chart *chart);

/** A small line of the last 90 days; `baseline` is a dashed line at its height, NaN: none. */
void page_chart_small(struct page_view *view, size_t point, double baseline);

#endif
