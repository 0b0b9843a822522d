/*
 * The drawing of one chart. Values go on the axis in shown units; what an axis can't hold is
 * counted and said in words, never drawn.
 */
#include "page/plot.h"

#include "measure/duration.h"
#include "page/axis.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WIDTH = 720, HEIGHT = 230, LEFT = 52, RIGHT = 84, TOP = 34, BOTTOM = 26, VALUE_SIZE = 96 };

/* A plot with what follows from it. */
struct canvas {
    const struct page_plot *plot;
    struct html *html;
    const struct unit *unit;
    struct page_axis axis; /* shown units */
    size_t undrawn;        /* samples that no axis can hold */
};

static double shown(const struct canvas *canvas, double si) {
    return unit_from_si(canvas->unit, si);
}

static bool can_draw(const struct canvas *canvas, double si) {
    return page_axis_can_draw(shown(canvas, si));
}

static double x_of(const struct canvas *canvas, int64_t time_ms) {
    const struct page_plot *plot = canvas->plot;
    double part = (double)(time_ms - plot->from_ms) / (double)(plot->to_ms - plot->from_ms);
    return LEFT + fmin(fmax(part, 0.0), 1.0) * (WIDTH - LEFT - RIGHT);
}

static double y_of(const struct canvas *canvas, double si) {
    return HEIGHT - BOTTOM -
           page_axis_part(&canvas->axis, shown(canvas, si)) * (HEIGHT - TOP - BOTTOM);
}

static char *value_text(const struct canvas *canvas, char text[VALUE_SIZE], double si) {
    return unit_format(text, VALUE_SIZE, si, canvas->unit->dimension, canvas->plot->units);
}

/* ---- what belongs on the axis ---- */

struct extent {
    double lowest, highest;
};

static void widen(const struct canvas *canvas, struct extent *extent, double si) {
    if (!can_draw(canvas, si))
        return;
    extent->lowest = fmin(extent->lowest, shown(canvas, si));
    extent->highest = fmax(extent->highest, shown(canvas, si));
}

static bool starts_at_zero(enum quantity quantity) {
    return quantity != QUANTITY_FIELD && quantity != QUANTITY_INDOOR_TEMPERATURE &&
           quantity != QUANTITY_OUTDOOR_TEMPERATURE && quantity != QUANTITY_BAROMETRIC_PRESSURE &&
           quantity != QUANTITY_WATER_LEVEL;
}

static void fit_axis(struct canvas *canvas) {
    const struct page_plot *plot = canvas->plot;
    struct extent extent = {INFINITY, -INFINITY};
    for (size_t i = 0; i < plot->series->count; i++) {
        const struct page_sample *sample = &plot->series->samples[i];
        canvas->undrawn += !can_draw(canvas, sample->value);
        widen(canvas, &extent, sample->value);
        widen(canvas, &extent, sample->lowest);
        widen(canvas, &extent, sample->highest);
    }
    widen(canvas, &extent, plot->baseline);
    double seen = extent.highest;
    for (size_t i = 0; i < plot->limit_count; i++) {
        /* An upper limit far above all values would press them flat. */
        if (plot->limits[i].side == SIDE_BELOW || !(shown(canvas, plot->limits[i].si) > 2.5 * seen))
            widen(canvas, &extent, plot->limits[i].si);
    }
    if (starts_at_zero(plot->quantity))
        widen(canvas, &extent, unit_to_si(canvas->unit, 0.0));
    canvas->axis = page_axis_fit(extent.lowest, extent.highest,
                                 quantity_resolution(plot->quantity) / canvas->unit->scale);
}

/* ---- parts ---- */

static void draw_values_axis(const struct canvas *canvas) {
    for (size_t i = 0; i < page_axis_tick_count(&canvas->axis); i++) {
        char text[40];
        double y = y_of(canvas, unit_to_si(canvas->unit, page_axis_tick(&canvas->axis, i)));
        html_line(canvas->html, LEFT, y, WIDTH - RIGHT, y, "grid");
        html_label(canvas->html, LEFT - 6, y + 4, "tick end",
                   page_axis_tick_text(&canvas->axis, i, text, sizeof text));
    }
    html_label(canvas->html, 2, TOP - 18, "tick", canvas->unit->spelling);
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

static void draw_time_mark(const struct canvas *canvas, const struct time_step *step,
                           int64_t at_ms) {
    char text[VALUE_SIZE];
    double x = x_of(canvas, at_ms);
    time_zone_format(text, sizeof text, canvas->plot->zone, at_ms);
    text[step->first + step->length] = '\0';
    html_line(canvas->html, x, TOP, x, HEIGHT - BOTTOM + 4, "grid");
    html_label(canvas->html, x, HEIGHT - 8, x < LEFT + 20 ? "tick" : "tick middle",
               text + step->first);
}

static void draw_time_axis(const struct canvas *canvas) {
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
    html_empty(canvas->html, "rect", "x", html_number(LEFT), "y", html_number(TOP), "width",
               html_number(WIDTH - LEFT - RIGHT), "height", html_number(HEIGHT - TOP - BOTTOM),
               "class", "frame", NULL);
}

/* ---- levels ---- */

static bool is_on_axis(const struct canvas *canvas, double si) {
    return can_draw(canvas, si) && shown(canvas, si) >= canvas->axis.low &&
           shown(canvas, si) <= canvas->axis.high;
}

/* A name in the margin; one that would cover another is left to the caption. */
static void name_level(const struct canvas *canvas, double y, double taken[], size_t *count,
                       const char *name) {
    for (size_t i = 0; i < *count; i++) {
        if (fabs(taken[i] - y) < 11.0)
            return;
    }
    taken[(*count)++] = y;
    html_label(canvas->html, WIDTH - RIGHT + 5, y + 4, "tick", name);
}

static void draw_limit(const struct canvas *canvas, const struct page_limit *limit, double y) {
    double top = limit->side == SIDE_ABOVE ? TOP : y;
    double bottom = limit->side == SIDE_ABOVE ? y : HEIGHT - BOTTOM;
    html_empty(canvas->html, "rect", "x", html_number(LEFT), "y", html_number(top), "width",
               html_number(WIDTH - LEFT - RIGHT), "height", html_number(fmax(bottom - top, 0.0)),
               "class", "beyond", "fill", "url(#hatch)", NULL);
    html_line(canvas->html, LEFT, y, WIDTH - RIGHT, y, "limit");
}

static void draw_levels(const struct canvas *canvas) {
    const struct page_plot *plot = canvas->plot;
    double taken[PAGE_LIMITS_MAX + 1];
    size_t named = 0;
    if (is_on_axis(canvas, plot->baseline)) {
        double y = y_of(canvas, plot->baseline);
        html_line(canvas->html, LEFT, y, WIDTH - RIGHT, y, "baseline");
        name_level(canvas, y, taken, &named, "commissioning");
    }
    for (size_t i = 0; i < plot->limit_count; i++) {
        const struct page_limit *limit = &plot->limits[i];
        if (!is_on_axis(canvas, limit->si))
            continue;
        double y = y_of(canvas, limit->si);
        draw_limit(canvas, limit, y);
        name_level(canvas, y, taken, &named, limit->side == SIDE_ABOVE ? "not above" : "not below");
    }
}

/* ---- values ---- */

static bool gap_between(const struct page_series *series, size_t i) {
    return series->samples[i].from_ms - series->samples[i - 1].to_ms > series->gap_ms;
}

static double middle_x(const struct canvas *canvas, const struct page_sample *sample) {
    return x_of(canvas, sample->from_ms + (sample->to_ms - sample->from_ms) / 2);
}

/* One path: M begins anew behind each gap; a lone sample becomes a short stroke. */
static void draw_values(const struct canvas *canvas) {
    const struct page_series *series = canvas->plot->series;
    struct text_buffer path = {0};
    bool starts = true;
    for (size_t i = 0; i < series->count; i++) {
        const struct page_sample *sample = &series->samples[i];
        starts = starts || gap_between(series, i);
        if (!can_draw(canvas, sample->value)) {
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

static void draw_spread(const struct canvas *canvas) {
    const struct page_series *series = canvas->plot->series;
    struct text_buffer path = {0};
    for (size_t i = 0; i < series->count; i++) {
        const struct page_sample *sample = &series->samples[i];
        if (can_draw(canvas, sample->lowest) && can_draw(canvas, sample->highest))
            text_buffer_format(&path, "M%s %sV%s", html_number(middle_x(canvas, sample)),
                               html_number(y_of(canvas, sample->lowest)),
                               html_number(y_of(canvas, sample->highest)));
    }
    char *text = text_buffer_take(&path);
    if (text && *text)
        html_empty(canvas->html, "path", "d", text, "class", "spread", NULL);
    free(text);
}

static void draw_gap(const struct canvas *canvas, int64_t from_ms, int64_t to_ms) {
    double left = x_of(canvas, from_ms), right = x_of(canvas, to_ms);
    if (right - left < 4)
        return;
    html_line(canvas->html, left, HEIGHT - BOTTOM - 3, right, HEIGHT - BOTTOM - 3, "gap");
    if (right - left > 76)
        html_label(canvas->html, (left + right) / 2, HEIGHT - BOTTOM - 8, "tick middle",
                   "no readings");
}

static void draw_gaps(const struct canvas *canvas) {
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
        html_label(canvas->html, (LEFT + WIDTH - RIGHT) / 2.0, (TOP + HEIGHT - BOTTOM) / 2.0,
                   "tick middle", "no readings in this time");
    }
}

static void draw_event(const struct canvas *canvas, const struct page_event *event) {
    struct html *html = canvas->html;
    double x = x_of(canvas, event->from_ms), right = x_of(canvas, event->to_ms);
    if (event->kind == PAGE_EVENT_ALARM) {
        html_empty(html, "rect", "x", html_number(x), "y", html_number(TOP - 10), "width",
                   html_number(fmax(right - x, 2.0)), "height", "7", "class", "alarm-bar", NULL);
        return;
    }
    html_line(html, x, TOP, x, HEIGHT - BOTTOM, "event");
    html_open(html, "text", "x", html_number(x), "y", html_number(TOP - 14), "class",
              "event-letter", NULL);
    html_text(html, event->kind == PAGE_EVENT_VISIT ? "V" : "C");
    html_close(html, "text");
}

static void draw_events(const struct canvas *canvas) {
    const struct page_plot *plot = canvas->plot;
    for (size_t i = 0; i < plot->event_count; i++) {
        const struct page_event *event = &plot->events[i];
        bool ours = event->kind != PAGE_EVENT_ALARM || strcmp(event->point, plot->point_id) == 0 ||
                    !*event->point;
        if (ours && event->to_ms >= plot->from_ms && event->from_ms < plot->to_ms)
            draw_event(canvas, event);
    }
}

/* ---- in words ---- */

static void write_values(const struct canvas *canvas) {
    const struct page_series *series = canvas->plot->series;
    struct extent extent = {INFINITY, -INFINITY}; /* SI */
    char low[VALUE_SIZE], high[VALUE_SIZE];
    for (size_t i = 0; i < series->count; i++) {
        double si = series->samples[i].value;
        extent.lowest = can_draw(canvas, si) ? fmin(extent.lowest, si) : extent.lowest;
        extent.highest = can_draw(canvas, si) ? fmax(extent.highest, si) : extent.highest;
    }
    if (series->count > canvas->undrawn)
        html_format(canvas->html, "%s from %s to %s.", series->is_reading ? "Readings" : "Means",
                    value_text(canvas, low, extent.lowest),
                    value_text(canvas, high, extent.highest));
    else if (series->count == 0)
        html_text(canvas->html, "No readings in this time.");
    if (canvas->undrawn)
        html_format(canvas->html, " %zu of %zu can't be drawn: no number, or far too large.",
                    canvas->undrawn, series->count);
}

static void write_description(const struct canvas *canvas) {
    const struct page_plot *plot = canvas->plot;
    char text[VALUE_SIZE];
    write_values(canvas);
    if (isfinite(plot->baseline))
        html_format(canvas->html, " Long dashes: commissioning value %s.",
                    value_text(canvas, text, plot->baseline));
    for (size_t i = 0; i < plot->limit_count; i++) {
        const struct page_limit *limit = &plot->limits[i];
        html_format(canvas->html, " Limit: not %s %s%s.",
                    limit->side == SIDE_BELOW ? "below" : "above",
                    value_text(canvas, text, limit->si),
                    shown(canvas, limit->si) > canvas->axis.high ? " (off the top)" : "");
    }
}

static void write_caption(const struct canvas *canvas) {
    html_markup(canvas->html, "<figcaption>");
    html_element(canvas->html, "strong", canvas->plot->name, NULL);
    html_format(canvas->html, ", %s. ", quantity_info(canvas->plot->quantity)->name);
    write_description(canvas);
    html_markup(canvas->html, "</figcaption>");
}

void page_plot_draw(struct html *html, const struct page_plot *plot) {
    struct canvas canvas = {.plot = plot, .html = html};
    canvas.unit = unit_shown(plot->dimension, plot->units);
    fit_axis(&canvas);
    html_open(html, "figure", "class", "chart", "id", plot->id, NULL);
    write_caption(&canvas);
    html_markup(html, "<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"chart\">"
                      "<svg viewBox=\"0 0 720 230\" role=\"img\" aria-label=\"");
    write_description(&canvas);
    html_markup(html, "\">");
    draw_values_axis(&canvas);
    draw_time_axis(&canvas);
    draw_levels(&canvas);
    draw_events(&canvas);
    draw_spread(&canvas);
    draw_values(&canvas);
    draw_gaps(&canvas);
    html_markup(html, "</svg></div></figure>");
}
