#include "page/fan_curve.h"

#include "page/view_words.h"
#include "words/text_buffer.h"

/* The drawing's own measures; a share of 1 is at the top. */
enum { LEFT = 48, RIGHT = 620, TOP = 14, BOTTOM = 194, SHARES_MARKED = 4 };

enum curve_part { LOWER_END, SHARE, UPPER_END };

struct curve {
    struct text_buffer *to;
    const struct fan_model_facts *model;
    double years; /* at the right end */
};

static double x_of(const struct curve *curve, double years) {
    return LEFT + (RIGHT - LEFT) * years / curve->years;
}

static double y_of(double share) {
    return BOTTOM - (BOTTOM - TOP) * share;
}

static double share_at(const struct curve *curve, size_t i, enum curve_part part) {
    const struct survival *at = &curve->model->curve[i];
    return part == LOWER_END ? at->lower : part == UPPER_END ? at->upper : at->share;
}

static void draw_grid(const struct curve *curve) {
    int step = curve->years > 8.0 ? 2 : 1;
    for (int i = 0; i <= SHARES_MARKED; i++) {
        double share = (double)i / SHARES_MARKED;
        text_buffer_format(curve->to,
                           "<path class=\"grid\" d=\"M%d %.1fH%d\"/>"
                           "<text class=\"tick end\" x=\"%d\" y=\"%.1f\">%.0f %%</text>",
                           LEFT, y_of(share), RIGHT, LEFT - 6, y_of(share) + 4.0, 100.0 * share);
    }
    for (int years = 0; years <= curve->years; years += step)
        text_buffer_format(curve->to, "<text class=\"tick middle\" x=\"%.1f\" y=\"%d\">%d</text>",
                           x_of(curve, years), BOTTOM + 18, years);
}

/* Level from one age to the next, and down where a fan failed in between. */
static void draw_steps(const struct curve *curve, const char *look, enum curve_part part) {
    text_buffer_format(curve->to, "<path class=\"%s\" d=\"M%d %.1f", look, LEFT,
                       y_of(share_at(curve, 0, part)));
    for (size_t i = 1; i < curve->model->curve_count; i++)
        text_buffer_format(curve->to, "H%.1fV%.1f", x_of(curve, (double)i * FAN_CURVE_STEP_YEARS),
                           y_of(share_at(curve, i, part)));
    text_buffer_add(curve->to, "\"/>");
}

void page_fan_curve(struct page_view *view, const struct fan_model_facts *model, const char *name) {
    double years = ((double)model->curve_count - 1.0) * FAN_CURVE_STEP_YEARS;
    const struct curve curve = {&view->html.text, model, years};
    if (model->curve_count < 2)
        return;
    html_markup(&view->html, "<figure class=\"chart fan-curve\"><svg viewBox=\"0 0 640 226\" "
                             "role=\"img\" aria-label=\"");
    page_fill(view, PAGE_FAN_CURVE_OF, slot_text(name));
    html_markup(&view->html, "\">");
    draw_grid(&curve);
    draw_steps(&curve, "spread", LOWER_END);
    draw_steps(&curve, "spread", UPPER_END);
    draw_steps(&curve, "values", SHARE);
    html_markup(&view->html, "</svg><figcaption>");
    page_fill(view, PAGE_FAN_CURVE_OF, slot_text(name));
    html_markup(&view->html, "</figcaption></figure>");
}
