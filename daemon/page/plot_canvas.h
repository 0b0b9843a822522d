/*
 * plot_canvas: a plot with what follows from it, and what is written beside its drawing. Private to
 * plot.c and plot_words.c.
 */
#ifndef PAGE_PLOT_CANVAS_H
#define PAGE_PLOT_CANVAS_H

#include "page/axis.h"
#include "page/plot.h"

#include <stdbool.h>
#include <stddef.h>

enum { PLOT_VALUE_SIZE = 96 };

struct plot_canvas {
    const struct page_plot *plot;
    struct page_view *view;
    struct html *html;  /* of the view */
    double top, bottom; /* of the values */
    bool last;          /* of the panels: with the words of the axis of time */
    const struct unit *unit;
    struct page_axis axis; /* shown units */
    size_t undrawn;        /* samples that no axis can hold */
};

/** A value of the plot in the unit that its axis shows. */
double plot_shown(const struct plot_canvas *canvas, double si);
/** Can an axis hold it? */
bool plot_can_draw(const struct plot_canvas *canvas, double si);

/** What a panel shows, in a few sentences. */
void plot_write_description(const struct plot_canvas *canvas);
/** The panels in words, for whoever does not see them. */
void plot_write_words(struct page_view *view, const struct plot_canvas *canvases, size_t count);
/** The panels as a table of means. */
void plot_write_table(struct page_view *view, const struct plot_canvas *canvases, size_t count);

#endif
