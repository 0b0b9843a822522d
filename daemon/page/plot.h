/*
 * page_plot: a chart of one or several points on one axis of time as inline SVG, whatever the
 * numbers are. Of each point a panel: a line that breaks where nothing was measured, the spread of
 * each sample behind it, the commissioning value, hatching beyond the limits, and above them what
 * happened: alarms as bars, visits and records as marks. Behind the chart its words and a table of
 * its values.
 */
#ifndef DAEMON_PAGE_PLOT_H
#define DAEMON_PAGE_PLOT_H

#include "alarm/condition.h"
#include "measure/quantity.h"
#include "measure/time_zone.h"
#include "monitor/fleet.h"
#include "page/series.h"
#include "page/view.h"

#define PAGE_LIMITS_MAX 6

struct page_event {
    enum { PAGE_EVENT_ALARM, PAGE_EVENT_VISIT, PAGE_EVENT_RECORD } kind;
    int64_t from_ms, to_ms; /* visit, record: both the same; a standing alarm: to is now */
    size_t point;           /* of an alarm; FLEET_NONE where it is about the system */
};

struct page_limit {
    double si; /* finite */
    enum condition_side side;
    const char *name; /* of the condition */
};

struct page_plot {
    const char *name; /* what people call the point */
    size_t point;     /* place in the fleet */
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

/** A figure of all of them, one below the other; zone, time and events are those of the first. The
 * panels have the ids "chart-0" and on. */
void page_plots_draw(struct page_view *view, const struct page_plot *plots, size_t count);

#endif
