/*
 * page_chart: charts of points: their series and limits from the daemon, drawn by page_plot.
 */
#ifndef DAEMON_PAGE_CHART_H
#define DAEMON_PAGE_CHART_H

#include "page/plot.h"
#include "page/view.h"

struct page_chart {
    const size_t *points;
    size_t count; /* 1 or more */
    int64_t from_ms, to_ms;
    const struct page_event *events;
    size_t event_count;
};

/** A figure of all the points on one axis of time. */
void page_chart_draw(struct page_view *view, const struct page_chart *chart);

/** A small line of the last 90 days; `baseline` is a dashed line at its height, NaN: none. */
void page_chart_small(struct page_view *view, size_t point, double baseline);

#endif
