/*
 * The sheet that stays at the fan: what was measured on the day the system was set up, what the
 * U-tube should read, whom to call, and what to leave alone. In the language of the household.
 */
#include "api/back_draft.h"
#include "api/letter.h"
#include "page/facts.h"
#include "page/view.h"
#include "page/view_text.h"
#include "words/fill.h"
#include "words/home_texts.h"
#include "words/letter_texts.h"
#include "words/wording.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

struct sheet {
    struct page_view *view;
    size_t system, language;
};

static void write_words(const struct sheet *sheet, const char *tag, const char *text, const char *a,
                        const char *b, const char *c) {
    const struct fill_value values[] = {{"a", a}, {"b", b}, {"c", c}};
    struct text_buffer out = {0};
    fill_text(&out, text, values, sizeof values / sizeof values[0]);
    char *bytes = text_buffer_take(&out);
    html_element(&sheet->view->html, tag, bytes ? bytes : "", NULL);
    free(bytes);
}

static void write_letter(const struct sheet *sheet, const char *tag, enum letter_text text,
                         const char *a, const char *b, const char *c) {
    write_words(sheet, tag, letter_text(sheet->language, text), a, b, c);
}

static void write_home(const struct sheet *sheet, const char *tag, enum home_text text,
                       const char *a) {
    write_words(sheet, tag, home_text(sheet->language, text), a, NULL, NULL);
}

/* A limit that is a part of the commissioning value; others are said by the alarms. */
static double limit_of(const struct sheet *sheet, size_t point, enum condition condition,
                       double baseline) {
    const struct condition_rule *rule = fleet_point_rule(sheet->view->api->fleet, point, condition);
    if (!rule || !rule->enabled)
        return NAN;
    return rule->setpoint.kind == SETPOINT_OF_BASELINE ? rule->setpoint.number * baseline
           : rule->setpoint.kind == SETPOINT_VALUE     ? rule->setpoint.number
                                                       : NAN;
}

static void write_tube(const struct sheet *sheet, size_t point, double baseline) {
    struct page_view *view = sheet->view;
    char normal[PAGE_TEXT_SIZE], low[PAGE_TEXT_SIZE], high[PAGE_TEXT_SIZE];
    double least = limit_of(sheet, point, CONDITION_SUCTION_LOW, baseline);
    double most = limit_of(sheet, point, CONDITION_SUCTION_HIGH, baseline);
    enum letter_text text = isfinite(least)
                                ? isfinite(most) ? LETTER_SHEET_TUBE : LETTER_SHEET_TUBE_LOW
                            : isfinite(most) ? LETTER_SHEET_TUBE_HIGH
                                             : LETTER_SHEET_TUBE_ALONE;
    write_letter(sheet, "p", text, page_value_text(view, normal, baseline, DIMENSION_PRESSURE),
                 page_value_text(view, low, least, DIMENSION_PRESSURE),
                 page_value_text(view, high, most, DIMENSION_PRESSURE));
}

/* Of each riser what its U-tube should read. */
static void write_tubes(const struct sheet *sheet) {
    const struct api *api = sheet->view->api;
    const struct fleet_system *owner = &api->fleet->systems[sheet->system];
    size_t tubes = 0;
    write_letter(sheet, "h2", LETTER_SHEET_TUBE_TITLE, NULL, NULL, NULL);
    write_home(sheet, "p", HOME_PULL_MEANS, NULL);
    for (size_t i = 0; i < owner->point_count; i++) {
        size_t point = owner->first_point + i;
        const struct point_baseline *baseline = api_baseline(api, point);
        if (!baseline || owner->description->points[i].quantity != QUANTITY_SUCTION)
            continue;
        if (owner->description->branch_count > 1)
            html_element(&sheet->view->html, "h3", owner->description->points[i].name, NULL);
        write_tube(sheet, point, baseline->value);
        tubes++;
    }
    if (tubes == 0)
        write_letter(sheet, "p", LETTER_NOT_SET_UP, NULL, NULL, NULL);
    write_letter(sheet, "p", LETTER_SHEET_LEVEL, NULL, NULL, NULL);
}

static void write_start_up(const struct sheet *sheet) {
    struct page_view *view = sheet->view;
    const struct fleet_system *owner = &view->api->fleet->systems[sheet->system];
    char text[PAGE_TEXT_SIZE];
    write_letter(sheet, "h2", LETTER_SHEET_SET_UP, NULL, NULL, NULL);
    html_markup(&view->html, "<dl class=\"facts-list\">");
    for (size_t i = 0; i < owner->point_count; i++) {
        size_t point = owner->first_point + i;
        const struct point_baseline *baseline = api_baseline(view->api, point);
        if (!baseline)
            continue;
        enum unit_system kept = page_units_of_point(view, point);
        html_element(&view->html, "dt", owner->description->points[i].name, NULL);
        html_markup(&view->html, "<dd>");
        page_value(view, baseline->value, page_dimension(view, point));
        html_format(&view->html, " (%s)", page_date_text(text, baseline->from_ms, owner->zone));
        html_markup(&view->html, "</dd>");
        view->units = kept;
    }
    html_markup(&view->html, "</dl>");
    for (size_t b = 0; b < owner->description->branch_count; b++)
        page_equipment(view, sheet->system, b);
}

static void write_care(const struct sheet *sheet) {
    static const enum letter_text care[] = {LETTER_SHEET_SHOWS_NOT, LETTER_SHEET_ON,
                                            LETTER_SHEET_WIRES, LETTER_SHEET_CHANGES,
                                            LETTER_SHEET_TEST};
    static const enum home_text cautions[] = {HOME_CAUTION_ALARM, HOME_CAUTION_RISK,
                                              HOME_CAUTION_CODES};
    write_letter(sheet, "h2", LETTER_KEEP_IN_MIND, NULL, NULL, NULL);
    enum letter_text back_draft = back_draft_text(sheet->view->api, sheet->system);
    if (back_draft != LETTER_TEXT_COUNT)
        write_letter(sheet, "p", back_draft, NULL, NULL, NULL);
    for (size_t i = 0; i < sizeof care / sizeof care[0]; i++)
        write_letter(sheet, "p", care[i], NULL, NULL, NULL);
    for (size_t i = 0; i < sizeof cautions / sizeof cautions[0]; i++)
        write_home(sheet, "p", cautions[i], NULL);
}

static void write_whom_to_call(const struct sheet *sheet) {
    const struct contractor *whom = fleet_contractor(sheet->view->api->fleet, sheet->system);
    char text[400];
    snprintf(text, sizeof text, "%s%s%s", whom->name ? whom->name : "",
             whom->name && whom->telephone ? ", " : "", whom->telephone ? whom->telephone : "");
    if (*text)
        write_home(sheet, "p", HOME_CALL, text);
}

void page_fan_sheet(struct page_view *view, size_t system) {
    const struct system_description *about = view->api->fleet->systems[system].description;
    struct sheet sheet = {view, system, letter_language(view->api->fleet, system)};
    const struct page_head head = {.title = about->name, .style = "record", .system = system};
    if (*page_query(view, "language"))
        wording_language_find(page_query(view, "language"), &sheet.language);
    size_t reader = view->language;
    page_begin(view, &head);
    view->language = sheet.language;
    html_open(&view->html, "div", "lang", wording_language_code(sheet.language), NULL);
    write_letter(&sheet, "h1", LETTER_SHEET_TITLE, about->name, NULL, NULL);
    write_whom_to_call(&sheet);
    write_tubes(&sheet);
    write_start_up(&sheet);
    write_care(&sheet);
    html_markup(&view->html, "</div>");
    view->language = reader;
    page_end(view, 200);
}
