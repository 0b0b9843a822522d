/*
 * The panels of a chart. Values go on the axis in shown units; what an axis can't hold is counted
 * and said in words, never drawn.
 */
#include "page/plot.h"

#include "measure/duration.h"
#include "page/plot_canvas.h"
#include "page/view_text.h"
#include "page/view_words.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Of a panel: its title, then the bars of alarms, then the values between `top` and `bottom`. */
enum {
    WIDTH = 720,
    LEFT = 52,
    RIGHT = 128, /* room for the names of conditions */
    TITLE = 14,
    TOP = 34,
    VALUES = 104,
    STEP = 152,
    AXIS = 20
};
static double x_of(const struct plot_canvas *canvas, int64_t time_ms) {
    const struct page_plot *plot = canvas->plot;
    double part = (double)(time_ms - plot->from_ms) / (double)(plot->to_ms - plot->from_ms);
    return LEFT + fmin(fmax(part, 0.0), 1.0) * (WIDTH - LEFT - RIGHT);
}

static double y_of(const struct plot_canvas *canvas, double si) {
    return canvas->bottom - page_axis_part(&canvas->axis, plot_shown(canvas, si)) * VALUES;
}

/* ---- what belongs on the axis ---- */

struct extent {
    double lowest, highest;
};

static void widen(const struct plot_canvas *canvas, struct extent *extent, double si) {
    if (!plot_can_draw(canvas, si))
        return;
    extent->lowest = fmin(extent->lowest, plot_shown(canvas, si));
    extent->highest = fmax(extent->highest, plot_shown(canvas, si));
}

static bool starts_at_zero(enum quantity quantity) {
    return quantity != QUANTITY_FIELD && quantity != QUANTITY_INDOOR_TEMPERATURE &&
           quantity != QUANTITY_OUTDOOR_TEMPERATURE && quantity != QUANTITY_BAROMETRIC_PRESSURE &&
           quantity != QUANTITY_WATER_LEVEL;
}

static void fit_axis(struct plot_canvas *canvas) {
    const struct page_plot *plot = canvas->plot;
    struct extent extent = {INFINITY, -INFINITY};
    for (size_t i = 0; i < plot->series->count; i++) {
        const struct page_sample *sample = &plot->series->samples[i];
        canvas->undrawn += !plot_can_draw(canvas, sample->value);
        widen(canvas, &extent, sample->value);
        widen(canvas, &extent, sample->lowest);
        widen(canvas, &extent, sample->highest);
    }
    widen(canvas, &extent, plot->baseline);
    double seen = extent.highest;
    for (size_t i = 0; i < plot->limit_count; i++) {
        /* An upper limit far above all values would press them flat. */
        if (plot->limits[i].side == SIDE_BELOW ||
            !(plot_shown(canvas, plot->limits[i].si) > 2.5 * seen))
            widen(canvas, &extent, plot->limits[i].si);
    }
    if (starts_at_zero(plot->quantity))
        widen(canvas, &extent, unit_to_si(canvas->unit, 0.0));
    canvas->axis = page_axis_fit(extent.lowest, extent.highest,
                                 quantity_resolution(plot->quantity) / canvas->unit->scale);
}

/* ---- parts ---- */

static void draw_values_axis(const struct plot_canvas *canvas) {
    for (size_t i = 0; i < page_axis_tick_count(&canvas->axis); i++) {
        char text[40];
        double y = y_of(canvas, unit_to_si(canvas->unit, page_axis_tick(&canvas->axis, i)));
        html_line(canvas->html, LEFT, y, WIDTH - RIGHT, y, "grid");
        html_label(canvas->html, LEFT - 6, y + 4, "tick end",
                   page_axis_tick_text(&canvas->axis, i, text, sizeof text));
    }
}

/* How the time is divided: one of the three is not 0. */
struct time_step {
    int64_t span_ms; /* for spans up to this */
    int hours, days, months;
    int first, length; /* part of "2026-03-12 08:15" that is shown */
};

static const struct time_step time_steps[] = {
    {26 * DURATION_HOUR_MS, 3, 0, 0, 11, 5},
    {3 * DURATION_DAY_MS, 12, 0, 0, 5, 11},
    {9 * DURATION_DAY_MS, 0, 1, 0, 5, 5},
    {40 * DURATION_DAY_MS, 0, 5, 0, 5, 5},
    {100 * DURATION_DAY_MS, 0, 14, 0, 5, 5},
    {400 * DURATION_DAY_MS, 0, 0, 2, 0, 7},
    {INT64_MAX, 0, 0, 12, 0, 4},
};

/* First mark at or before an instant, and the mark after one. */
static int64_t time_mark(const struct time_zone *zone, const struct time_step *step, int64_t at_ms,
                         bool next) {
    int64_t day = time_zone_local_day(zone, at_ms);
    int year, month, day_of_month;
    if (step->hours)
        return next ? at_ms + step->hours * DURATION_HOUR_MS : time_zone_day_start_ms(zone, day);
    if (step->days)
        return time_zone_day_start_ms(zone,
                                      next ? day + step->days : day / step->days * step->days);
    timestamp_civil_from_days(day, &year, &month, &day_of_month);
    month = (month - 1) / step->months * step->months + 1 + (next ? step->months : 0);
    if (month > 12) {
        month -= 12;
        year++;
    }
    return time_zone_day_start_ms(zone, timestamp_days_from_civil(year, month, 1));
}

static void draw_time_mark(const struct plot_canvas *canvas, const struct time_step *step,
                           int64_t at_ms) {
    char text[PLOT_VALUE_SIZE];
    double x = x_of(canvas, at_ms);
    time_zone_format(text, sizeof text, canvas->plot->zone, at_ms);
    text[step->first + step->length] = '\0';
    html_line(canvas->html, x, canvas->top, x, canvas->bottom + 4, "grid");
    if (canvas->last)
        html_label(canvas->html, x, canvas->bottom + 18, x < LEFT + 20 ? "tick" : "tick middle",
                   text + step->first);
}

static void draw_time_axis(const struct plot_canvas *canvas) {
    const struct page_plot *plot = canvas->plot;
    const struct time_step *step = time_steps;
    while (plot->to_ms - plot->from_ms > step->span_ms)
        step++;
    int64_t at_ms = time_mark(plot->zone, step, plot->from_ms, false);
    for (int i = 0; at_ms < plot->to_ms && i < 400; i++) {
        if (at_ms >= plot->from_ms)
            draw_time_mark(canvas, step, at_ms);
        at_ms = time_mark(plot->zone, step, at_ms, true);
    }
    html_empty(canvas->html, "rect", "x", html_number(LEFT), "y", html_number(canvas->top), "width",
               html_number(WIDTH - LEFT - RIGHT), "height", html_number(VALUES), "class", "frame",
               NULL);
}

/* ---- levels ---- */

static bool is_on_axis(const struct plot_canvas *canvas, double si) {
    return plot_can_draw(canvas, si) && plot_shown(canvas, si) >= canvas->axis.low &&
           plot_shown(canvas, si) <= canvas->axis.high;
}

/* A name in the margin; one that would cover another is left to the caption. */
static void name_level(const struct plot_canvas *canvas, double y, double taken[], size_t *count,
                       const char *name) {
    for (size_t i = 0; i < *count; i++) {
        if (fabs(taken[i] - y) < 11.0)
            return;
    }
    taken[(*count)++] = y;
    html_label(canvas->html, WIDTH - RIGHT + 5, y + 4, "tick", name);
}

static void draw_limit(const struct plot_canvas *canvas, const struct page_limit *limit, double y) {
    double top = limit->side == SIDE_ABOVE ? canvas->top : y;
    double bottom = limit->side == SIDE_ABOVE ? y : canvas->bottom;
    html_empty(canvas->html, "rect", "x", html_number(LEFT), "y", html_number(top), "width",
               html_number(WIDTH - LEFT - RIGHT), "height", html_number(fmax(bottom - top, 0.0)),
               "class", "beyond", "fill", "url(#hatch)", NULL);
    html_line(canvas->html, LEFT, y, WIDTH - RIGHT, y, "limit");
}

static void draw_levels(const struct plot_canvas *canvas) {
    const struct page_plot *plot = canvas->plot;
    double taken[PAGE_LIMITS_MAX + 1];
    size_t named = 0;
    if (is_on_axis(canvas, plot->baseline)) {
        double y = y_of(canvas, plot->baseline);
        html_line(canvas->html, LEFT, y, WIDTH - RIGHT, y, "baseline");
        name_level(canvas, y, taken, &named, page_words(canvas->view, PAGE_COMMISSIONING));
    }
    for (size_t i = 0; i < plot->limit_count; i++) {
        const struct page_limit *limit = &plot->limits[i];
        if (!is_on_axis(canvas, limit->si))
            continue;
        double y = y_of(canvas, limit->si);
        draw_limit(canvas, limit, y);
        name_level(canvas, y, taken, &named, limit->name);
    }
}

/* ---- values ---- */

static bool gap_between(const struct page_series *series, size_t i) {
    return series->samples[i].from_ms - series->samples[i - 1].to_ms > series->gap_ms;
}

static double middle_x(const struct plot_canvas *canvas, const struct page_sample *sample) {
    return x_of(canvas, sample->from_ms + (sample->to_ms - sample->from_ms) / 2);
}

/* One path: M begins anew behind each gap; a lone sample becomes a short stroke. */
static void draw_values(const struct plot_canvas *canvas) {
    const struct page_series *series = canvas->plot->series;
    struct text_buffer path = {0};
    bool starts = true;
    for (size_t i = 0; i < series->count; i++) {
        const struct page_sample *sample = &series->samples[i];
        starts = starts || gap_between(series, i);
        if (!plot_can_draw(canvas, sample->value)) {
            starts = true;
            continue;
        }
        text_buffer_format(&path, "%c%s %s", starts ? 'M' : 'L',
                           html_number(middle_x(canvas, sample)),
                           html_number(y_of(canvas, sample->value)));
        if (starts)
            text_buffer_add(&path, "h1");
        starts = false;
    }
    char *text = text_buffer_take(&path);
    html_empty(canvas->html, "path", "d", text ? text : "", "class", "values", NULL);
    free(text);
}

static void draw_spread(const struct plot_canvas *canvas) {
    const struct page_series *series = canvas->plot->series;
    struct text_buffer path = {0};
    for (size_t i = 0; i < series->count; i++) {
        const struct page_sample *sample = &series->samples[i];
        if (plot_can_draw(canvas, sample->lowest) && plot_can_draw(canvas, sample->highest))
            text_buffer_format(&path, "M%s %sV%s", html_number(middle_x(canvas, sample)),
                               html_number(y_of(canvas, sample->lowest)),
                               html_number(y_of(canvas, sample->highest)));
    }
    char *text = text_buffer_take(&path);
    if (text && *text)
        html_empty(canvas->html, "path", "d", text, "class", "spread", NULL);
    free(text);
}

static void draw_gap(const struct plot_canvas *canvas, int64_t from_ms, int64_t to_ms) {
    double left = x_of(canvas, from_ms), right = x_of(canvas, to_ms);
    if (right - left < 4)
        return;
    html_line(canvas->html, left, canvas->bottom - 3, right, canvas->bottom - 3, "gap");
    if (right - left > 76)
        html_label(canvas->html, (left + right) / 2, canvas->bottom - 8, "tick middle",
                   page_words(canvas->view, PAGE_WHY_NO_READINGS));
}

static void draw_gaps(const struct plot_canvas *canvas) {
    const struct page_series *series = canvas->plot->series;
    const struct page_plot *plot = canvas->plot;
    for (size_t i = 1; i < series->count; i++) {
        if (gap_between(series, i))
            draw_gap(canvas, series->samples[i - 1].to_ms, series->samples[i].from_ms);
    }
    if (series->count) {
        if (series->samples[0].from_ms - plot->from_ms > series->gap_ms)
            draw_gap(canvas, plot->from_ms, series->samples[0].from_ms);
        if (plot->to_ms - series->samples[series->count - 1].to_ms > series->gap_ms)
            draw_gap(canvas, series->samples[series->count - 1].to_ms, plot->to_ms);
    } else {
        html_label(canvas->html, (LEFT + WIDTH - RIGHT) / 2.0, (canvas->top + canvas->bottom) / 2.0,
                   "tick middle", page_words(canvas->view, PAGE_NO_READINGS_IN_TIME));
    }
}

static void draw_event(const struct plot_canvas *canvas, const struct page_event *event) {
    struct html *html = canvas->html;
    double x = x_of(canvas, event->from_ms), right = x_of(canvas, event->to_ms);
    if (event->kind == PAGE_EVENT_ALARM) {
        html_empty(html, "rect", "x", html_number(x), "y", html_number(canvas->top - 10), "width",
                   html_number(fmax(right - x, 2.0)), "height", "7", "class", "alarm-bar", NULL);
        return;
    }
    html_line(html, x, canvas->top, x, canvas->bottom, "event");
    html_label(html, x, canvas->top - 12, "event-letter",
               event->kind == PAGE_EVENT_VISIT ? "V" : "C");
}

static void draw_events(const struct plot_canvas *canvas) {
    const struct page_plot *plot = canvas->plot;
    for (size_t i = 0; i < plot->event_count; i++) {
        const struct page_event *event = &plot->events[i];
        bool ours = event->kind != PAGE_EVENT_ALARM || event->point == plot->point ||
                    event->point == FLEET_NONE;
        if (ours && event->to_ms >= plot->from_ms && event->from_ms < plot->to_ms)
            draw_event(canvas, event);
    }
}

/* ---- the figure ---- */

static void draw_panel(const struct plot_canvas *canvas, size_t i) {
    char id[32];
    snprintf(id, sizeof id, "chart-%zu", i);
    html_open(canvas->html, "g", "id", id, "class", "panel", NULL);
    html_open(canvas->html, "text", "x", "2", "y", html_number(canvas->top - TOP + TITLE), "class",
              "panel-title", NULL);
    html_format(canvas->html, "%s, %s", canvas->plot->name, canvas->unit->spelling);
    html_close(canvas->html, "text");
    draw_values_axis(canvas);
    draw_time_axis(canvas);
    draw_levels(canvas);
    draw_events(canvas);
    draw_spread(canvas);
    draw_values(canvas);
    draw_gaps(canvas);
    html_close(canvas->html, "g");
}

static struct plot_canvas canvas_of(struct page_view *view, const struct page_plot *plot, size_t i,
                                    size_t count) {
    struct plot_canvas canvas = {.plot = plot,
                                 .view = view,
                                 .html = &view->html,
                                 .top = (double)(i * STEP + TOP),
                                 .bottom = (double)(i * STEP + TOP + VALUES),
                                 .last = i + 1 == count};
    canvas.unit = page_unit_of(plot->quantity, plot->dimension, plot->units);
    fit_axis(&canvas);
    return canvas;
}

static void draw_all(struct page_view *view, const struct plot_canvas *canvases, size_t count) {
    char box[64];
    struct html *html = &view->html;
    size_t height = count * STEP - (STEP - TOP - VALUES) + AXIS;
    snprintf(box, sizeof box, "0 0 %d %zu", WIDTH, height);
    html_open(html, "div", "class", "wide drawn", "tabindex", "0", "role", "group", "aria-label",
              page_words(view, PAGE_CHART), NULL);
    html_markup(html, "<svg role=\"img\" aria-label=\"");
    for (size_t i = 0; i < count; i++) {
        plot_write_description(&canvases[i]);
        html_text(html, i + 1 < count ? " " : "");
    }
    html_markup(html, "\" viewBox=\"");
    html_text(html, box);
    html_markup(html, "\">");
    for (size_t i = 0; i < count; i++)
        draw_panel(&canvases[i], i);
    html_empty(html, "line", "class", "cursor", "x1", "-9", "x2", "-9", "y1", html_number(TOP),
               "y2", html_number((double)height - AXIS), "data-left", html_number(LEFT),
               "data-width", html_number(WIDTH - LEFT - RIGHT), NULL);
    html_markup(html, "</svg></div>");
    html_element(html, "p", "", "class", "reading", "aria-live", "polite", "data-how",
                 page_words(view, PAGE_TOUCH_CHART), NULL);
}

void page_plots_draw(struct page_view *view, const struct page_plot *plots, size_t count) {
    struct html *html = &view->html;
    struct plot_canvas *canvases = calloc(count, sizeof *canvases);
    if (!canvases) {
        html->text.failed = true;
        return;
    }
    for (size_t i = 0; i < count; i++)
        canvases[i] = canvas_of(view, &plots[i], i, count);
    html_markup(html, "<figure class=\"chart\">");
    draw_all(view, canvases, count);
    html_markup(html, "<figcaption>");
    plot_write_words(view, canvases, count);
    html_markup(html, "</figcaption>");
    plot_write_table(view, canvases, count);
    html_markup(html, "</figure>");
    free(canvases);
}
