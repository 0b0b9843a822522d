#include "page/chart.h"

#include "measure/duration.h"
#include "page/axis.h"
#include "page/view_text.h"
#include "page/view_words.h"

#include <math.h>
#include <stdlib.h>

enum { SMALL_DAYS = 90, SMALL_WIDTH = 130, SMALL_HEIGHT = 30 };

/* ---- a chart ---- */

static void add_limit(struct page_plot *plot, double si, enum condition_side side,
                      const char *name) {
    if (isfinite(si) && plot->limit_count < PAGE_LIMITS_MAX)
        plot->limits[plot->limit_count++] = (struct page_limit){si, side, name};
}

static void find_levels(const struct page_view *view, struct page_plot *plot) {
    const struct api *api = view->api;
    const struct fleet_point *point = &api->fleet->points[plot->point];
    const struct point_state *state = monitor_point(pipeline_monitor(api->pipeline), plot->point);
    const struct point_baseline *baseline = point_state_baseline(state, plot->to_ms);
    plot->baseline = baseline ? baseline->value : NAN;
    for (size_t i = 0; i < point->rule_count; i++) {
        const struct condition_rule *rule = &point->rules[i];
        const struct condition_info *info = condition_info(rule->condition);
        if (rule->enabled && (info->measure == MEASURE_VALUE || info->measure == MEASURE_MEAN_24H))
            add_limit(plot, judge_setpoint(api->fleet, rule, plot->baseline, NAN), info->side,
                      page_condition(view, rule->condition));
    }
    if (plot->quantity == QUANTITY_RADON)
        add_limit(plot, api->fleet->settings->radon_action_level_bq_m3, SIDE_ABOVE,
                  page_words(view, PAGE_CHART_ACTION_LEVEL));
}

static struct page_plot plot_of(struct page_view *view, const struct page_chart *chart, size_t i,
                                struct page_series *series) {
    const struct fleet_point *point = &view->api->fleet->points[chart->points[i]];
    struct page_plot plot = {.name = point->description->name,
                             .point = chart->points[i],
                             .quantity = point->description->quantity,
                             .dimension = page_dimension(view, chart->points[i]),
                             .units = quantity_units(point->description->quantity, view->units),
                             .zone = page_zone(view, point->system),
                             .from_ms = chart->from_ms,
                             .to_ms = chart->to_ms,
                             .series = series,
                             .events = chart->events,
                             .event_count = chart->event_count};
    find_levels(view, &plot);
    return plot;
}

void page_chart_draw(struct page_view *view, const struct page_chart *chart) {
    struct page_series *series = calloc(chart->count, sizeof *series);
    struct page_plot *plots = calloc(chart->count, sizeof *plots);
    bool read = series && plots;
    for (size_t i = 0; read && i < chart->count; i++) {
        read =
            page_series_read(view->api, chart->points[i], chart->from_ms, chart->to_ms, &series[i]);
        plots[i] = plot_of(view, chart, i, &series[i]);
    }
    if (read)
        page_plots_draw(view, plots, chart->count);
    else
        page_element(view, "p", PAGE_CHART_UNREAD);
    free(plots);
    free(series);
}

/* ---- the small line ---- */

static double small_x(const struct page_sample *sample, int64_t begin_ms) {
    int64_t middle_ms = sample->from_ms + (sample->to_ms - sample->from_ms) / 2;
    double part = (double)(middle_ms - begin_ms) / (SMALL_DAYS * (double)DURATION_DAY_MS);
    return fmin(fmax(part, 0.0), 1.0) * SMALL_WIDTH;
}

static double small_y(const struct page_axis *axis, double value) {
    return SMALL_HEIGHT - 1 - page_axis_part(axis, value) * (SMALL_HEIGHT - 3);
}

/* From 0 to a little above all values and the baseline. */
static struct page_axis small_axis(const struct page_sample *samples, size_t count, double baseline,
                                   double least_span) {
    struct page_axis axis = {.high = least_span};
    if (page_axis_can_draw(baseline))
        axis.high = fmax(axis.high, baseline * 1.1);
    for (size_t i = 0; i < count; i++) {
        if (page_axis_can_draw(samples[i].value))
            axis.high = fmax(axis.high, samples[i].value * 1.05);
    }
    return axis;
}

static char *small_path(const struct page_axis *axis, const struct page_sample *samples,
                        size_t count, int64_t begin_ms) {
    struct text_buffer path = {0};
    bool starts = true;
    for (size_t i = 0; i < count; i++) {
        starts = starts || samples[i].from_ms - samples[i - 1].to_ms > DURATION_DAY_MS / 2;
        if (!page_axis_can_draw(samples[i].value)) {
            starts = true;
            continue;
        }
        text_buffer_format(&path, "%c%s %s%s", starts ? 'M' : 'L',
                           html_number(small_x(&samples[i], begin_ms)),
                           html_number(small_y(axis, samples[i].value)), starts ? "h1" : "");
        starts = false;
    }
    return text_buffer_take(&path);
}

static void small_line(struct html *html, double y, const char *class_name) {
    html_empty(html, "line", "x1", "0", "y1", html_number(y), "x2", html_number(SMALL_WIDTH), "y2",
               html_number(y), "class", class_name, NULL);
}

void page_chart_small(struct page_view *view, size_t point, double baseline) {
    struct page_sample samples[SMALL_DAYS + 2];
    struct html *html = &view->html;
    size_t count =
        page_series_days(view->api, point, SMALL_DAYS, samples, sizeof samples / sizeof samples[0]);
    enum quantity quantity = view->api->fleet->points[point].description->quantity;
    if (count == 0) {
        html_element(html, "span", page_words(view, PAGE_SMALL_NONE), "class", "unknown", NULL);
        return;
    }
    struct page_axis axis = small_axis(samples, count, baseline, quantity_resolution(quantity));
    char *text =
        small_path(&axis, samples, count, view->api->now_ms - SMALL_DAYS * DURATION_DAY_MS);
    html_open(html, "svg", "class", "small-line", "viewBox", "0 0 130 30", "role", "img",
              "aria-label", page_words(view, PAGE_SMALL_CHART), NULL);
    if (page_axis_can_draw(baseline))
        small_line(html, small_y(&axis, baseline), "baseline");
    small_line(html, SMALL_HEIGHT - 0.5, "ground");
    html_empty(html, "path", "d", text ? text : "", "class", "values", NULL);
    html_markup(html, "</svg>");
    free(text);
}
