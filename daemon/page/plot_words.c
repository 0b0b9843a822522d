/* What stands beside the drawing of a chart, for whoever can't see it or wants the figures. */
#include "measure/duration.h"
#include "page/plot_canvas.h"
#include "page/view_words.h"

#include <math.h>
#include <stdint.h>

enum { TABLE_ROWS = 48 };

double plot_shown(const struct plot_canvas *canvas, double si) {
    return unit_from_si(canvas->unit, si);
}

bool plot_can_draw(const struct plot_canvas *canvas, double si) {
    return page_axis_can_draw(plot_shown(canvas, si));
}

static char *value_text(const struct plot_canvas *canvas, char text[PLOT_VALUE_SIZE], double si) {
    return unit_format(text, PLOT_VALUE_SIZE, si, canvas->unit->dimension, canvas->plot->units);
}

/* ---- in words ---- */

static void write_values(const struct plot_canvas *canvas) {
    const struct page_series *series = canvas->plot->series;
    double lowest = INFINITY, highest = -INFINITY; /* SI */
    char low[PLOT_VALUE_SIZE], high[PLOT_VALUE_SIZE];
    for (size_t i = 0; i < series->count; i++) {
        double si = series->samples[i].value;
        lowest = plot_can_draw(canvas, si) ? fmin(lowest, si) : lowest;
        highest = plot_can_draw(canvas, si) ? fmax(highest, si) : highest;
    }
    if (series->count > canvas->undrawn)
        page_fill(canvas->view, series->is_reading ? PAGE_READINGS_FROM_TO : PAGE_MEANS_FROM_TO,
                  slot_text(value_text(canvas, low, lowest)),
                  slot_text(value_text(canvas, high, highest)));
    else if (series->count == 0)
        page_write(canvas->view, PAGE_NO_READINGS_SENTENCE);
    if (canvas->undrawn)
        page_fill(canvas->view, PAGE_UNDRAWN, slot_count(canvas->undrawn),
                  slot_count(series->count));
}

void plot_write_description(const struct plot_canvas *canvas) {
    const struct page_plot *plot = canvas->plot;
    char text[PLOT_VALUE_SIZE];
    page_fill(canvas->view, PAGE_PLOT_OF, slot_text(plot->name),
              slot_text(page_quantity(canvas->view, plot->quantity)),
              slot_text(canvas->unit->spelling));
    write_values(canvas);
    if (isfinite(plot->baseline))
        page_fill(canvas->view, PAGE_PLOT_BASELINE,
                  slot_text(value_text(canvas, text, plot->baseline)));
    for (size_t i = 0; i < plot->limit_count; i++) {
        const struct page_limit *limit = &plot->limits[i];
        bool off = plot_shown(canvas, limit->si) > canvas->axis.high,
             below = limit->side == SIDE_BELOW;
        page_fill(canvas->view,
                  below ? off ? PAGE_LIMIT_BELOW_OFF_TOP : PAGE_LIMIT_BELOW
                  : off ? PAGE_LIMIT_OFF_TOP
                        : PAGE_LIMIT_ABOVE,
                  slot_text(limit->name), slot_text(value_text(canvas, text, limit->si)));
    }
}

void plot_write_words(struct page_view *view, const struct plot_canvas *canvases, size_t count) {
    page_open_details(view, PAGE_IN_WORDS);
    page_element(view, "p", PAGE_IN_WORDS_MEANS);
    html_markup(&view->html, "<ul>");
    for (size_t i = 0; i < count; i++) {
        html_markup(&view->html, "<li>");
        plot_write_description(&canvases[i]);
        html_markup(&view->html, "</li>");
    }
    html_markup(&view->html, "</ul></details>");
}

/* ---- as a table ---- */

/* Mean of the samples whose middle lies in [from, to); NaN where there is none. */
static double mean_between(const struct page_series *series, int64_t from_ms, int64_t to_ms) {
    double sum = 0.0;
    size_t count = 0;
    for (size_t i = 0; i < series->count; i++) {
        const struct page_sample *sample = &series->samples[i];
        int64_t middle_ms = sample->from_ms + (sample->to_ms - sample->from_ms) / 2;
        if (middle_ms >= from_ms && middle_ms < to_ms && isfinite(sample->value)) {
            sum += sample->value;
            count++;
        }
    }
    return count ? sum / (double)count : NAN;
}

static void write_table_row(struct html *html, const struct plot_canvas *canvases, size_t count,
                            int row) {
    const struct page_plot *first = canvases[0].plot;
    int64_t part_ms = (first->to_ms - first->from_ms) / TABLE_ROWS;
    int64_t from_ms = first->from_ms + row * part_ms;
    char text[PLOT_VALUE_SIZE];
    html_markup(html, "<tr>");
    html_element(html, "th", time_zone_format(text, sizeof text, first->zone, from_ms), "scope",
                 "row", NULL);
    for (size_t i = 0; i < count; i++) {
        double mean = mean_between(canvases[i].plot->series, from_ms, from_ms + part_ms);
        html_element(html, "td",
                     plot_can_draw(&canvases[i], mean) ? value_text(&canvases[i], text, mean) : "–",
                     NULL);
    }
    html_markup(html, "</tr>");
}

/* Of equal parts of the time, so that whoever points at the chart (keys.js) finds the row. */
void plot_write_table(struct page_view *view, const struct plot_canvas *canvases, size_t count) {
    char span[32];
    struct html *html = &view->html;
    const struct page_plot *first = canvases[0].plot;
    page_open_details(view, PAGE_VALUES_TABLE);
    html_open(html, "div", "class", "wide", "tabindex", "0", "role", "group", "aria-label",
              page_words(view, PAGE_VALUES), NULL);
    html_markup(html, "<table class=\"values-table\"><caption>");
    duration_format(span, sizeof span, (first->to_ms - first->from_ms) / TABLE_ROWS);
    page_fill(view, PAGE_VALUES_CAPTION, slot_text(span));
    html_markup(html, "</caption><thead><tr>");
    page_column(view, PAGE_FROM);
    for (size_t i = 0; i < count; i++)
        html_element(html, "th", canvases[i].plot->name, "scope", "col", NULL);
    html_markup(html, "</tr></thead><tbody>");
    for (int row = 0; row < TABLE_ROWS; row++)
        write_table_row(html, canvases, count, row);
    html_markup(html, "</tbody></table></div></details>");
}
