#include "page_chart.h"

#include "measure/duration.h"
#include "page_text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WIDTH = 720, HEIGHT = 230, LEFT = 52, RIGHT = 84, TOP = 34, BOTTOM = 26 };
enum { LIMITS_MAX = 6, SMALL_DAYS = 90, SMALL_WIDTH = 130, SMALL_HEIGHT = 30 };

struct limit {
    double si;
    enum condition_side side;
};

/* Everything in shown units, since the scale of the axis is theirs. */
struct plot {
    struct page_view *view;
    const struct page_chart *chart;
    const struct unit *unit;
    struct page_series *series;
    struct limit limits[LIMITS_MAX];
    size_t limit_count;
    double baseline;
    double low, high, step; /* of the axis, shown units */
};

static double x_of(const struct plot *plot, int64_t time_ms) {
    double part = (double)(time_ms - plot->chart->from_ms) /
                  (double)(plot->chart->to_ms - plot->chart->from_ms);
    part = part < 0.0 ? 0.0 : part > 1.0 ? 1.0 : part;
    return LEFT + part * (WIDTH - LEFT - RIGHT);
}

static double y_of(const struct plot *plot, double si) {
    double part = (unit_from_si(plot->unit, si) - plot->low) / (plot->high - plot->low);
    part = part < 0.0 ? 0.0 : part > 1.0 ? 1.0 : part;
    return HEIGHT - BOTTOM - part * (HEIGHT - TOP - BOTTOM);
}

/* ---- what belongs on the axis ---- */

static void add_limit(struct plot *plot, const struct condition_rule *rule, double si) {
    const struct condition_info *info = condition_info(rule->condition);
    if (isfinite(si) && rule->enabled && plot->limit_count < LIMITS_MAX)
        plot->limits[plot->limit_count++] = (struct limit){si, info->side};
}

static void find_limits(struct plot *plot) {
    const struct api *api = plot->view->api;
    const struct fleet_point *point = &api->fleet->points[plot->chart->point];
    const struct point_state *state =
        monitor_point(pipeline_monitor(api->pipeline), plot->chart->point);
    const struct point_baseline *baseline = point_state_baseline(state, plot->chart->to_ms);
    plot->baseline = baseline ? baseline->value : NAN;
    for (size_t i = 0; i < point->rule_count; i++) {
        const struct condition_rule *rule = &point->rules[i];
        enum condition_measure measure = condition_info(rule->condition)->measure;
        if (measure == MEASURE_VALUE || measure == MEASURE_MEAN_24H)
            add_limit(plot, rule, judge_setpoint(api->fleet, rule, plot->baseline));
    }
    if (point->description->quantity == QUANTITY_RADON && plot->limit_count < LIMITS_MAX)
        plot->limits[plot->limit_count++] =
            (struct limit){api->fleet->settings->radon_action_level_bq_m3, SIDE_ABOVE};
}

static void widen(struct plot *plot, double si) {
    double shown = unit_from_si(plot->unit, si);
    if (!isfinite(shown))
        return;
    plot->low = fmin(plot->low, shown);
    plot->high = fmax(plot->high, shown);
}

/* A step of 1, 2 or 5 times a power of ten that gives about five lines. */
static double nice_step(double span) {
    double power = pow(10.0, floor(log10(span / 5.0))), rest = span / 5.0 / power;
    return power * (rest <= 1.0 ? 1.0 : rest <= 2.0 ? 2.0 : rest <= 5.0 ? 5.0 : 10.0);
}

static bool starts_at_zero(enum quantity quantity) {
    return quantity != QUANTITY_FIELD && quantity != QUANTITY_INDOOR_TEMPERATURE &&
           quantity != QUANTITY_OUTDOOR_TEMPERATURE && quantity != QUANTITY_BAROMETRIC_PRESSURE &&
           quantity != QUANTITY_WATER_LEVEL;
}

static void scale_axis(struct plot *plot) {
    const struct page_series *series = plot->series;
    enum quantity quantity =
        plot->view->api->fleet->points[plot->chart->point].description->quantity;
    plot->low = INFINITY;
    plot->high = -INFINITY;
    for (size_t i = 0; i < series->count; i++) {
        widen(plot, series->samples[i].value);
        widen(plot, series->samples[i].lowest);
        widen(plot, series->samples[i].highest);
    }
    widen(plot, plot->baseline);
    double seen = plot->high;
    for (size_t i = 0; i < plot->limit_count; i++) {
        /* An upper limit far above all values would press them flat. */
        if (plot->limits[i].side == SIDE_BELOW ||
            !(unit_from_si(plot->unit, plot->limits[i].si) > 2.5 * seen))
            widen(plot, plot->limits[i].si);
    }
    if (starts_at_zero(quantity))
        widen(plot, unit_to_si(plot->unit, 0.0));
    if (!(plot->low < plot->high)) {
        plot->low = isfinite(plot->low) ? plot->low - 1.0 : 0.0;
        plot->high = plot->low + 2.0;
    }
    plot->step = nice_step(plot->high - plot->low);
    plot->low = floor(plot->low / plot->step + 1e-9) * plot->step;
    plot->high = ceil(plot->high / plot->step + 0.05) * plot->step;
}

/* ---- parts ---- */

static void line(struct html *html, double x1, double y1, double x2, double y2,
                 const char *class_name) {
    html_empty(html, "line", "x1", html_number(x1), "y1", html_number(y1), "x2", html_number(x2),
               "y2", html_number(y2), "class", class_name, NULL);
}

static void label(struct html *html, double x, double y, const char *class_name, const char *text) {
    html_element(html, "text", text, "x", html_number(x), "y", html_number(y), "class", class_name,
                 NULL);
}

static void draw_values_axis(const struct plot *plot) {
    struct html *html = &plot->view->html;
    int decimals = plot->step < 0.0999 ? 2 : plot->step < 0.999 ? 1 : 0;
    for (int i = 0; plot->low + i * plot->step <= plot->high + plot->step / 2; i++) {
        double shown = plot->low + i * plot->step, y = y_of(plot, unit_to_si(plot->unit, shown));
        char text[40];
        snprintf(text, sizeof text, "%.*f", plot->step < 0.00999 ? 3 : decimals,
                 fabs(shown) < plot->step / 1e3 ? 0.0 : shown);
        line(html, LEFT, y, WIDTH - RIGHT, y, "grid");
        label(html, LEFT - 6, y + 4, "tick end", text);
    }
    label(html, 2, TOP - 18, "tick", plot->unit->spelling);
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

static void draw_time_mark(const struct plot *plot, const struct time_zone *zone,
                           const struct time_step *step, int64_t at_ms) {
    char text[PAGE_TEXT_SIZE];
    struct html *html = &plot->view->html;
    double x = x_of(plot, at_ms);
    time_zone_format(text, sizeof text, zone, at_ms);
    text[step->first + step->length] = '\0';
    line(html, x, TOP, x, HEIGHT - BOTTOM + 4, "grid");
    label(html, x, HEIGHT - 8, x < LEFT + 20 ? "tick" : "tick middle", text + step->first);
}

static void draw_time_axis(const struct plot *plot) {
    const struct page_chart *chart = plot->chart;
    const struct time_zone *zone =
        page_zone(plot->view, plot->view->api->fleet->points[chart->point].system);
    const struct time_step *step = time_steps;
    while (chart->to_ms - chart->from_ms > step->span_ms)
        step++;
    int64_t at_ms = time_mark(zone, step, chart->from_ms, false);
    for (int i = 0; at_ms < chart->to_ms && i < 400; i++) {
        if (at_ms >= chart->from_ms)
            draw_time_mark(plot, zone, step, at_ms);
        at_ms = time_mark(zone, step, at_ms, true);
    }
    html_empty(&plot->view->html, "rect", "x", html_number(LEFT), "y", html_number(TOP), "width",
               html_number(WIDTH - LEFT - RIGHT), "height", html_number(HEIGHT - TOP - BOTTOM),
               "class", "frame", NULL);
}

/* Names in the margin; one that would cover another is left to the caption. */
static void name_levels(const struct plot *plot) {
    double taken[LIMITS_MAX + 1];
    size_t count = 0;
    for (size_t i = 0; i <= plot->limit_count; i++) {
        bool base = i == 0;
        double si = base ? plot->baseline : plot->limits[i - 1].si;
        double y = isfinite(si) ? y_of(plot, si) : NAN, shown = unit_from_si(plot->unit, si);
        bool fits = isfinite(si) && shown >= plot->low && shown <= plot->high;
        for (size_t k = 0; k < count; k++)
            fits = fits && fabs(taken[k] - y) >= 11.0;
        if (!fits)
            continue;
        taken[count++] = y;
        label(&plot->view->html, WIDTH - RIGHT + 5, y + 4, "tick",
              base                                     ? "commissioning"
              : plot->limits[i - 1].side == SIDE_ABOVE ? "not above"
                                                       : "not below");
    }
}

static void draw_limits(const struct plot *plot) {
    struct html *html = &plot->view->html;
    for (size_t i = 0; i < plot->limit_count; i++) {
        const struct limit *limit = &plot->limits[i];
        double shown = unit_from_si(plot->unit, limit->si), y = y_of(plot, limit->si);
        if (shown < plot->low || shown > plot->high)
            continue;
        double top = limit->side == SIDE_ABOVE ? TOP : y;
        double bottom = limit->side == SIDE_ABOVE ? y : HEIGHT - BOTTOM;
        html_empty(html, "rect", "x", html_number(LEFT), "y", html_number(top), "width",
                   html_number(WIDTH - LEFT - RIGHT), "height",
                   html_number(fmax(bottom - top, 0.0)), "class", "beyond", "fill", "url(#hatch)",
                   NULL);
        line(html, LEFT, y, WIDTH - RIGHT, y, "limit");
    }
    if (isfinite(plot->baseline)) {
        double y = y_of(plot, plot->baseline);
        line(html, LEFT, y, WIDTH - RIGHT, y, "baseline");
    }
    name_levels(plot);
}

static bool gap_between(const struct page_series *series, size_t i) {
    return series->samples[i].from_ms - series->samples[i - 1].to_ms > series->gap_ms;
}

static double middle_x(const struct plot *plot, const struct page_sample *sample) {
    return x_of(plot, sample->from_ms + (sample->to_ms - sample->from_ms) / 2);
}

/* One path: M begins anew behind each gap; a lone sample becomes a short stroke. */
static void draw_values(const struct plot *plot) {
    const struct page_series *series = plot->series;
    struct text_buffer path = {0};
    for (size_t i = 0; i < series->count; i++) {
        const struct page_sample *sample = &series->samples[i];
        bool starts = i == 0 || gap_between(series, i);
        text_buffer_format(&path, "%c%s %s", starts ? 'M' : 'L',
                           html_number(middle_x(plot, sample)),
                           html_number(y_of(plot, sample->value)));
        if (starts)
            text_buffer_add(&path, "h1");
    }
    char *text = text_buffer_take(&path);
    html_empty(&plot->view->html, "path", "d", text ? text : "", "class", "values", NULL);
    free(text);
}

static void draw_spread(const struct plot *plot) {
    const struct page_series *series = plot->series;
    struct text_buffer path = {0};
    for (size_t i = 0; i < series->count; i++) {
        const struct page_sample *sample = &series->samples[i];
        if (isfinite(sample->lowest) && isfinite(sample->highest))
            text_buffer_format(&path, "M%s %sV%s", html_number(middle_x(plot, sample)),
                               html_number(y_of(plot, sample->lowest)),
                               html_number(y_of(plot, sample->highest)));
    }
    char *text = text_buffer_take(&path);
    if (text && *text)
        html_empty(&plot->view->html, "path", "d", text, "class", "spread", NULL);
    free(text);
}

static void draw_gap(const struct plot *plot, int64_t from_ms, int64_t to_ms) {
    double left = x_of(plot, from_ms), right = x_of(plot, to_ms);
    if (right - left < 4)
        return;
    line(&plot->view->html, left, HEIGHT - BOTTOM - 3, right, HEIGHT - BOTTOM - 3, "gap");
    if (right - left > 76)
        label(&plot->view->html, (left + right) / 2, HEIGHT - BOTTOM - 8, "tick middle",
              "no readings");
}

static void draw_gaps(const struct plot *plot) {
    const struct page_series *series = plot->series;
    const struct page_chart *chart = plot->chart;
    for (size_t i = 1; i < series->count; i++) {
        if (gap_between(series, i))
            draw_gap(plot, series->samples[i - 1].to_ms, series->samples[i].from_ms);
    }
    if (series->count) {
        if (series->samples[0].from_ms - chart->from_ms > series->gap_ms)
            draw_gap(plot, chart->from_ms, series->samples[0].from_ms);
        if (chart->to_ms - series->samples[series->count - 1].to_ms > series->gap_ms)
            draw_gap(plot, series->samples[series->count - 1].to_ms, chart->to_ms);
    } else {
        label(&plot->view->html, (LEFT + WIDTH - RIGHT) / 2.0, (TOP + HEIGHT - BOTTOM) / 2.0,
              "tick middle", "no readings in this time");
    }
}

static void draw_event(const struct plot *plot, const struct page_event *event) {
    struct html *html = &plot->view->html;
    double x = x_of(plot, event->from_ms), right = x_of(plot, event->to_ms);
    if (event->kind == PAGE_EVENT_ALARM) {
        html_empty(html, "rect", "x", html_number(x), "y", html_number(TOP - 10), "width",
                   html_number(fmax(right - x, 2.0)), "height", "7", "class", "alarm-bar", NULL);
        return;
    }
    line(html, x, TOP, x, HEIGHT - BOTTOM, "event");
    html_open(html, "text", "x", html_number(x), "y", html_number(TOP - 14), "class",
              "event-letter", NULL);
    html_text(html, event->kind == PAGE_EVENT_VISIT ? "V" : "C");
    html_close(html, "text");
}

static void draw_events(const struct plot *plot) {
    const struct page_chart *chart = plot->chart;
    const char *id = fleet_point_id(plot->view->api->fleet, chart->point);
    for (size_t i = 0; i < chart->event_count; i++) {
        const struct page_event *event = &chart->events[i];
        bool ours =
            event->kind != PAGE_EVENT_ALARM || strcmp(event->point, id) == 0 || !*event->point;
        if (ours && event->to_ms >= chart->from_ms && event->from_ms < chart->to_ms)
            draw_event(plot, event);
    }
}

/* ---- in words ---- */

static void write_description(const struct plot *plot) {
    const struct page_series *series = plot->series;
    struct html *html = &plot->view->html;
    enum dimension dimension = page_dimension(plot->view, plot->chart->point);
    char low[PAGE_TEXT_SIZE], high[PAGE_TEXT_SIZE], base[PAGE_TEXT_SIZE];
    double lowest = INFINITY, highest = -INFINITY;
    for (size_t i = 0; i < series->count; i++) {
        lowest = fmin(lowest, series->samples[i].value);
        highest = fmax(highest, series->samples[i].value);
    }
    if (series->count)
        html_format(html, "%s from %s to %s.", series->is_reading ? "Readings" : "Means",
                    page_value_text(plot->view, low, lowest, dimension),
                    page_value_text(plot->view, high, highest, dimension));
    else
        html_text(html, "No readings in this time.");
    if (isfinite(plot->baseline))
        html_format(html, " Long dashes: commissioning value %s.",
                    page_value_text(plot->view, base, plot->baseline, dimension));
    for (size_t i = 0; i < plot->limit_count; i++) {
        double shown = unit_from_si(plot->unit, plot->limits[i].si);
        html_format(html, " Limit: not %s %s%s.",
                    plot->limits[i].side == SIDE_BELOW ? "below" : "above",
                    page_value_text(plot->view, base, plot->limits[i].si, dimension),
                    shown > plot->high ? " (off the top)" : "");
    }
}

static void write_caption(const struct plot *plot) {
    struct html *html = &plot->view->html;
    const struct point_description *point =
        plot->view->api->fleet->points[plot->chart->point].description;
    html_markup(html, "<figcaption>");
    html_element(html, "strong", point->name, NULL);
    html_format(html, ", %s. ", quantity_info(point->quantity)->name);
    write_description(plot);
    html_markup(html, "</figcaption>");
}

void page_chart_draw(struct page_view *view, const struct page_chart *chart) {
    struct plot plot = {.view = view, .chart = chart, .baseline = NAN};
    struct html *html = &view->html;
    enum unit_system kept = page_units_of_point(view, chart->point);
    plot.unit = unit_shown(page_dimension(view, chart->point), view->units);
    plot.series = malloc(sizeof *plot.series);
    if (!plot.series ||
        !page_series_read(view->api, chart->point, chart->from_ms, chart->to_ms, plot.series)) {
        html_markup(html, "<p>The readings can't be read from the store now.</p>");
        free(plot.series);
        view->units = kept;
        return;
    }
    find_limits(&plot);
    scale_axis(&plot);
    html_open(html, "figure", "class", "chart", "id", chart->id, NULL);
    write_caption(&plot);
    html_markup(html, "<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"chart\">"
                      "<svg viewBox=\"0 0 720 230\" role=\"img\" aria-label=\"");
    write_description(&plot);
    html_markup(html, "\">");
    draw_values_axis(&plot);
    draw_time_axis(&plot);
    draw_limits(&plot);
    draw_events(&plot);
    draw_spread(&plot);
    draw_values(&plot);
    draw_gaps(&plot);
    html_markup(html, "</svg></div></figure>");
    free(plot.series);
    view->units = kept;
}

/* ---- the small line ---- */

void page_chart_small(struct page_view *view, size_t point, double baseline) {
    struct page_sample samples[SMALL_DAYS + 2];
    struct html *html = &view->html;
    size_t count =
        page_series_days(view->api, point, SMALL_DAYS, samples, sizeof samples / sizeof samples[0]);
    int64_t begin_ms = view->api->now_ms - SMALL_DAYS * DURATION_DAY_MS;
    double top = isfinite(baseline) && baseline > 0 ? baseline * 1.1 : 0.0;
    struct text_buffer path = {0};
    if (count == 0) {
        html_markup(html, "<span class=\"unknown\">no readings in 90 days</span>");
        return;
    }
    for (size_t i = 0; i < count; i++)
        top = fmax(top, samples[i].value * 1.05);
    for (size_t i = 0; i < count; i++) {
        int64_t middle_ms = samples[i].from_ms + (samples[i].to_ms - samples[i].from_ms) / 2;
        double x = (double)(middle_ms - begin_ms) / (SMALL_DAYS * (double)DURATION_DAY_MS);
        double y = top > 0 ? fmax(samples[i].value, 0.0) / top : 0.0;
        bool starts = i == 0 || samples[i].from_ms - samples[i - 1].to_ms > DURATION_DAY_MS / 2;
        text_buffer_format(&path, "%c%s %s%s", starts ? 'M' : 'L',
                           html_number(fmin(fmax(x, 0.0), 1.0) * SMALL_WIDTH),
                           html_number(SMALL_HEIGHT - 1 - y * (SMALL_HEIGHT - 3)),
                           starts ? "h1" : "");
    }
    char *text = text_buffer_take(&path);
    html_markup(html, "<svg class=\"small-line\" viewBox=\"0 0 130 30\" role=\"img\" "
                      "aria-label=\"suction over the last 90 days\">");
    if (isfinite(baseline) && top > 0) {
        double y = SMALL_HEIGHT - 1 - baseline / top * (SMALL_HEIGHT - 3);
        line(html, 0, y, SMALL_WIDTH, y, "baseline");
    }
    line(html, 0, SMALL_HEIGHT - 0.5, SMALL_WIDTH, SMALL_HEIGHT - 0.5, "ground");
    html_empty(html, "path", "d", text ? text : "", "class", "values", NULL);
    html_markup(html, "</svg>");
    free(text);
}
