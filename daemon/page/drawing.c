#include "page/sections.h"

#include "page/view_text.h"
#include "page/view_words.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { HOLES_MAX = 4, SLAB_Y = 330, TUBE_TOP = 196, TUBE_BOTTOM = 290 };

struct drawing {
    struct page_view *view;
    struct html *html;
    size_t system;
};

struct measured {
    size_t point; /* FLEET_NONE: not measured */
    double value, baseline;
    int64_t time_ms;
};

static struct measured measured_at(const struct drawing *drawing, size_t point) {
    struct measured measured = {point, NAN, NAN, TIMESTAMP_NONE};
    if (point == FLEET_NONE)
        return measured;
    const struct point_state *state =
        monitor_point(pipeline_monitor(drawing->view->api->pipeline), point);
    const struct point_baseline *baseline = point_state_baseline(state, drawing->view->api->now_ms);
    if (state->newest_ms != TIMESTAMP_NONE) {
        measured.value = state->newest_value;
        measured.time_ms = state->newest_ms;
    }
    if (baseline)
        measured.baseline = baseline->value;
    return measured;
}

static struct measured find(const struct drawing *drawing, enum quantity quantity) {
    return measured_at(drawing,
                       fleet_point_of(drawing->view->api->fleet, drawing->system, quantity));
}

/* ---- pieces ---- */

/* A name too long for its place is cut at a whole UTF-8 character. */
static void short_label(struct html *html, double x, double y, const char *text, size_t most) {
    char room[80];
    size_t length = strlen(text);
    if (length > most) {
        length = most - 1;
        while (length > 0 && ((unsigned char)text[length] & 0xc0) == 0x80)
            length--;
        snprintf(room, sizeof room, "%.*s…", (int)length, text);
    } else {
        snprintf(room, sizeof room, "%s", text);
    }
    html_label(html, x, y, "name", room);
}

/* Name, value, commissioning value and age, one below the other. */
static void note(const struct drawing *drawing, double x, double y,
                 const struct measured *measured) {
    char text[PAGE_TEXT_SIZE];
    enum unit_system kept = page_units_of_point(drawing->view, measured->point);
    struct html *html = drawing->html;
    const struct point_description *point =
        drawing->view->api->fleet->points[measured->point].description;
    enum dimension dimension = page_dimension(drawing->view, measured->point);
    short_label(html, x, y, point->name, 24);
    html_label(html, x, y + 19, "number",
               page_value_text(drawing->view, text, measured->value, dimension));
    html_open(html, "text", "x", html_number(x), "y", html_number(y + 34), "class", "small", NULL);
    if (isfinite(measured->baseline))
        page_fill(drawing->view, PAGE_DRAWN_COMMISSIONING,
                  slot_text(page_value_text(drawing->view, text, measured->baseline, dimension)));
    else
        page_write(drawing->view, PAGE_NO_COMMISSIONING_VALUE);
    html_close(html, "text");
    html_open(html, "text", "x", html_number(x), "y", html_number(y + 48), "class", "small", NULL);
    html_text(html, page_age_text(drawing->view, text, measured->time_ms));
    html_close(html, "text");
    drawing->view->units = kept;
}

static void draw_house(struct html *html) {
    html_markup(
        html,
        "<path d=\"M118 330V168L330 84 542 168V330\" class=\"wall\"/>"
        "<path d=\"M104 174L330 82 556 174\" class=\"wall\"/>"
        "<rect x=\"60\" y=\"330\" width=\"350\" height=\"12\" class=\"slab\"/>"
        "<rect x=\"430\" y=\"330\" width=\"160\" height=\"12\" class=\"slab\"/>"
        "<rect x=\"60\" y=\"342\" width=\"530\" height=\"26\" class=\"gravel\" "
        "fill=\"url(#gravel)\"/>"
        "<rect x=\"60\" y=\"368\" width=\"530\" height=\"34\" class=\"soil\" fill=\"url(#hatch)\"/>"
        "<path d=\"M20 330H60M590 330H640\" class=\"wall\"/>");
}

/* From the gravel through the slab to the fan outside the rooms, and out above the roof. */
static void draw_riser(struct html *html) {
    html_markup(html, "<path d=\"M414 360V132H426V360\" class=\"pipe\"/>"
                      "<path d=\"M404 342h32v18h-32z\" class=\"pit\"/>"
                      "<path d=\"M414 98V34M426 98V34\" class=\"pipe\"/>"
                      "<circle cx=\"420\" cy=\"115\" r=\"21\" class=\"fan\"/>"
                      "<path d=\"M420 115c-4-12 6-18 12-14-1 7-5 12-12 14zM420 115c12-4 18 6 14 12"
                      "-7-1-12-5-14-12zM420 115c4 12-6 18-12 14 1-7 5-12 12-14zM420 115c-12 4-18-6"
                      "-14-12 7 1 12 5 14 12z\" class=\"blade\"/>"
                      "<path d=\"M420 30V12m-6 8l6-9 6 9\" class=\"flow\"/>"
                      "<path d=\"M420 320v-24m-5 8l5-9 5 9\" class=\"flow\"/>");
}

/* The leg open to the room falls, the one on the pipe rises, in all by the suction. */
static void draw_u_tube(const struct drawing *drawing, const struct measured *suction) {
    struct html *html = drawing->html;
    double most = fmax(fmax(suction->value, suction->baseline * 1.4), 1.0);
    double middle = (TUBE_TOP + TUBE_BOTTOM) / 2.0 + 6;
    double half = isfinite(suction->value) ? fmax(suction->value, 0.0) / most * 36 : 0.0;
    html_markup(html, "<path d=\"M414 182H392V284a10 10 0 0 1-20 0V196\" class=\"tube\"/>");
    html_line(html, 372, fmin(middle + half, 284), 372, 284, "liquid");
    html_line(html, 392, middle - half, 392, 284, "liquid");
    html_markup(html, "<path d=\"M392 284a10 10 0 0 1-20 0\" class=\"liquid\"/>");
    if (isfinite(suction->baseline)) {
        double mark = suction->baseline / most * 36;
        html_line(html, 396, middle - mark, 406, middle - mark, "mark-line");
        html_line(html, 358, middle + mark, 368, middle + mark, "mark-line");
        html_label(html, 397, middle - mark - 4, "small", "C");
    }
    html_line(html, 350, 184, 370, 197, "leader");
    note(drawing, 226, 142, suction);
}

static void draw_hole(const struct drawing *drawing, const struct measured *hole, size_t i,
                      size_t count) {
    struct html *html = drawing->html;
    double span = 520.0 / (double)count, text_x = 60 + span * (double)i;
    double x = count == 1 ? 270 : 200 + 150.0 * (double)i / (double)(count - 1);
    html_line(html, x, 308, x, 352, "probe");
    html_empty(html, "circle", "cx", html_number(x), "cy", "354", "r", "3.5", "class", "hole",
               NULL);
    char number[24];
    snprintf(number, sizeof number, "%zu", i + 1);
    html_label(html, x - 3, 302, "small", number);
    snprintf(number, sizeof number, "%zu.", i + 1);
    html_label(html, text_x, 424, "name", number);
    note(drawing, text_x + 15, 424, hole);
}

static void draw_holes(const struct drawing *drawing) {
    const struct fleet *fleet = drawing->view->api->fleet;
    const struct fleet_system *system = &fleet->systems[drawing->system];
    size_t holes[HOLES_MAX], count = 0;
    for (size_t i = 0; i < system->point_count && count < HOLES_MAX; i++) {
        if (system->description->points[i].quantity == QUANTITY_FIELD)
            holes[count++] = system->first_point + i;
    }
    for (size_t i = 0; i < count; i++) {
        struct measured hole = measured_at(drawing, holes[i]);
        draw_hole(drawing, &hole, i, count);
    }
}

/* What belongs to fan and pipe stands outside on the right, in order from above. */
static void draw_right_column(const struct drawing *drawing) {
    static const struct {
        enum quantity quantity;
        double x, y; /* where its leader ends */
    } rows[] = {
        {QUANTITY_FAN_POWER, 441, 115},   {QUANTITY_FAN_CURRENT, 441, 120},
        {QUANTITY_AIRFLOW, 426, 160},     {QUANTITY_VELOCITY_PRESSURE, 426, 172},
        {QUANTITY_WATER_LEVEL, 436, 352},
    };
    double y = 60;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct measured measured = find(drawing, rows[i].quantity);
        if (measured.point == FLEET_NONE)
            continue;
        html_line(drawing->html, rows[i].x, rows[i].y, 596, y + 10, "leader");
        note(drawing, 602, y, &measured);
        y += 72;
    }
}

static void draw_room(const struct drawing *drawing) {
    struct html *html = drawing->html;
    struct measured radon = find(drawing, QUANTITY_RADON);
    struct measured outdoors = find(drawing, QUANTITY_OUTDOOR_TEMPERATURE);
    if (radon.point != FLEET_NONE) {
        html_markup(html, "<rect x=\"136\" y=\"276\" width=\"30\" height=\"20\" "
                          "class=\"instrument\"/><path d=\"M128 296h46M134 296v34M168 296v34\" "
                          "class=\"thin\"/>");
        html_line(html, 150, 276, 150, 262, "leader");
        note(drawing, 128, 210, &radon);
    }
    if (outdoors.point != FLEET_NONE)
        note(drawing, 20, 60, &outdoors);
}

void page_drawing(struct page_view *view, size_t system) {
    struct drawing drawing = {view, &view->html, system};
    const struct system_description *about = view->api->fleet->systems[system].description;
    struct measured suction = find(&drawing, QUANTITY_SUCTION);
    html_markup(&view->html, "<figure class=\"drawing\">");
    html_open(&view->html, "div", "class", "wide", "tabindex", "0", "role", "group", "aria-label",
              page_words(view, PAGE_DRAWING), NULL);
    html_markup(&view->html, "<svg viewBox=\"0 0 760 490\" role=\"img\" aria-label=\"");
    page_fill(view, PAGE_DRAWING_OF, slot_text(about->name));
    html_markup(&view->html, "\"><defs><pattern id=\"gravel\" width=\"14\" height=\"13\" "
                             "patternUnits=\"userSpaceOnUse\"><circle cx=\"4\" cy=\"4\" r=\"2.6\" "
                             "class=\"stone\"/><circle cx=\"11\" cy=\"10\" r=\"2.2\" "
                             "class=\"stone\"/></pattern></defs>");
    draw_house(&view->html);
    draw_riser(&view->html);
    if (suction.point != FLEET_NONE)
        draw_u_tube(&drawing, &suction);
    draw_room(&drawing);
    draw_right_column(&drawing);
    draw_holes(&drawing);
    html_markup(&view->html, "</svg></div>");
    page_element(view, "figcaption", PAGE_NOT_TO_SCALE);
    html_markup(&view->html, "</figure>");
}
