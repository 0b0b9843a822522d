/*
 * The U-tube: how to read it, what it showed, and what that gives.
 */
#include "api/home_reports.h"
#include "measure/duration.h"
#include "page/home_forms.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- the drawing ---- */

/* Marks of the scale between the legs, so many up from y, and a number at every second one. */
static void draw_scale(struct html *html, double y, double step, int from, int to) {
    char number[16];
    for (int mark = from; mark <= to; mark++) {
        double at = y - step * (mark - from);
        html_line(html, 69, at, 73, at, "grid");
        html_line(html, 87, at, 91, at, "grid");
        snprintf(number, sizeof number, "%d", abs(mark));
        if (mark % 2 == 0)
            html_label(html, 80, at + 4, "tick middle", number);
    }
}

/* Both legs stand four marks apart. */
static void draw_tube(struct html *html, const char *label, int from, int to) {
    html_open(html, "svg", "viewBox", "0 0 170 226", "role", "img", "aria-label", label, NULL);
    html_markup(html, "<path d=\"M52 14V180a28 28 0 0 0 56 0V14M68 14V180a12 12 0 0 0 24 0V14\" "
                      "class=\"tube\"/><path d=\"M60 70V180a20 20 0 0 0 40 0V142\" "
                      "class=\"liquid\"/><path d=\"M60 70H136M100 142H136\" class=\"mark-line\"/>"
                      "<path d=\"M130 72V140m-4-8l4 8 4-8m-8-52l4-8 4 8\" class=\"flow\"/>");
    draw_scale(html, 178, 18, from, to);
    html_label(html, 140, 111, "number", "4");
    html_close(html, "svg");
}

static void write_drawing(struct page_view *view) {
    html_markup(&view->html, "<div class=\"how\"><figure>");
    draw_tube(&view->html, home_words(view, HOME_TUBE_DRAWING), -4, 4);
    home_element(view, "figcaption", HOME_TUBE_MIDDLE_CAPTION, NULL);
    html_markup(&view->html, "</figure><figure>");
    draw_tube(&view->html, home_words(view, HOME_TUBE_BOTTOM_CAPTION), 0, 8);
    home_element(view, "figcaption", HOME_TUBE_BOTTOM_CAPTION, NULL);
    html_markup(&view->html, "</figure></div>");
}

/* ---- what was typed ---- */

struct tube_form {
    struct page_view *view;
    struct entry *entry;
    size_t system;
    struct home_gauge gauge;
    const struct unit *unit; /* of the scale: the gauge's own, else that of the page */
    bool asks_sure;          /* what it gives is far from the day of setting up */
    char in_unit[80];
};

static size_t branches_of(const struct tube_form *form) {
    return form->view->api->fleet->systems[form->system].description->branch_count;
}

static size_t typed_branch(const struct tube_form *form) {
    const char *typed = form->entry->typed ? page_form_value(form->entry->typed, "pipe") : "";
    long number = strtol(typed, NULL, 10);
    return number >= 1 && (size_t)number <= branches_of(form) ? (size_t)number - 1
           : branches_of(form) > 1                            ? FLEET_NONE
                                                              : 0;
}

static void open_form(struct tube_form *form) {
    const struct fleet *fleet = form->view->api->fleet;
    size_t branch = typed_branch(form);
    form->gauge = home_gauge_of(fleet, form->system, branch == FLEET_NONE ? 0 : branch);
    form->unit = form->gauge.by_hand == FLEET_NONE
                     ? unit_shown(DIMENSION_PRESSURE, form->view->units)
                     : fleet->points[form->gauge.by_hand].description->binding.unit;
    home_fill(form->view, form->in_unit, sizeof form->in_unit, HOME_TUBE_IN, form->unit->spelling,
              NULL);

    if (form->entry->typed && branch == FLEET_NONE)
        entry_wrong_home(form->entry, "pipe", HOME_WRONG_CHOICE);
}

/* A number of the scale; a comma is a point. NaN where nothing was typed or it is none. */
static double typed_number(const struct tube_form *form, const char *name) {
    const char *typed = page_form_value(form->entry->typed, name), *end = NULL;
    char text[40], wrong[200];
    double value = NAN;
    snprintf(text, sizeof text, "%s", typed);
    if (strchr(text, ','))
        *strchr(text, ',') = '.';
    if (!*typed)
        return NAN;
    if (strlen(typed) < sizeof text &&
        unit_parse_number(text, strlen(text), &value, &end) == UNIT_OK && !*end)
        return value;
    entry_wrong(
        form->entry, name,
        home_fill(form->view, wrong, sizeof wrong, HOME_WRONG_NUMBER, form->unit->spelling, NULL));
    return NAN;
}

/* Zero in the middle: one side stands above it and the other below, whatever sign people write. */
static double from_sides(const struct tube_form *form) {
    double left = typed_number(form, "left"), right = typed_number(form, "right");
    const char *zero = page_form_value(form->entry->typed, "zero");
    bool middle = strcmp(zero, "middle") == 0;
    if (isnan(left) && isnan(right))
        return NAN;
    if (isnan(left) || isnan(right))
        entry_wrong_home(form->entry, isnan(left) ? "left" : "right", HOME_WRONG_BOTH);
    else if (!middle && strcmp(zero, "bottom") != 0)
        entry_wrong_home(form->entry, "zero", HOME_WRONG_ZERO);
    return middle ? fabs(left) + fabs(right) : fabs(left - right);
}

/* The pull in pascals; NaN: the entry says why not. */
static double read_pull(const struct tube_form *form) {
    double sides = from_sides(form), difference = typed_number(form, "difference");
    if (form->entry->wrong_count)
        return NAN;
    if (isnan(sides) && isnan(difference)) {
        entry_wrong_home(form->entry, "difference", HOME_WRONG_NOTHING);
        return NAN;
    }
    bool both = !isnan(sides) && !isnan(difference);
    if (both && fabs(sides - difference) > 0.1 * fmax(sides, fabs(difference)))
        entry_wrong_home(form->entry, "difference", HOME_WRONG_TWO_WAYS);
    double pa = unit_to_si(form->unit, isnan(difference) ? sides : difference);
    if (pa < 0.0 || !quantity_plausible(QUANTITY_SUCTION, DIMENSION_PRESSURE, pa))
        entry_wrong_home(form->entry, isnan(difference) ? "left" : "difference",
                         HOME_WRONG_IMPOSSIBLE);
    return pa;
}

/* Today is now; of another day it is noon that is taken. */
static int64_t read_day(const struct tube_form *form) {
    const struct page_view *view = form->view;
    const struct time_zone *zone = page_zone(view, form->system);
    const char *typed = page_form_value(form->entry->typed, "day");
    int64_t now_ms = view->api->now_ms, today = time_zone_local_day(zone, now_ms), day = today;
    /* All points of a house keep theirs alike. */
    const struct system_description *house = view->api->fleet->systems[form->system].description;
    int year = 0, month = 0, of_month = 0;
    if (timestamp_parse_date(typed, strlen(typed), &year, &month, &of_month))
        day = timestamp_days_from_civil(year, month, of_month);
    else if (*typed)
        entry_wrong_home(form->entry, "day", HOME_WRONG_DAY);
    int64_t noon_ms = time_zone_day_start_ms(zone, day) + 12 * DURATION_HOUR_MS;
    if (day > today)
        entry_wrong_home(form->entry, "day", HOME_WRONG_AHEAD);
    else if (noon_ms < now_ms - house->points[0].binding.keep_ms)
        entry_wrong_home(form->entry, "day", HOME_WRONG_OLD);
    return day == today ? now_ms : noon_ms;
}

/* A slip of the eye must not call anybody out: what is far from the day of setting up is looked at
   twice. Half and twice are far: common practice, no source. */
static void ask_if_sure(struct tube_form *form, double pa) {
    struct page_view *view = form->view;
    const struct point_baseline *baseline = api_baseline(view->api, form->gauge.point);
    char gives[PAGE_TEXT_SIZE], was[PAGE_TEXT_SIZE], unsure[400];
    if (!baseline || (pa >= 0.5 * baseline->value && pa <= 2.0 * baseline->value))
        return;
    form->asks_sure = true;
    if (*page_form_value(form->entry->typed, "sure"))
        return;
    page_value_text(view, gives, pa, DIMENSION_PRESSURE);
    page_value_text(view, was, baseline->value, DIMENSION_PRESSURE);
    entry_wrong(form->entry, "sure",
                home_fill(view, unsure, sizeof unsure, HOME_WRONG_UNSURE, gives, was));
}

static bool take(struct tube_form *form) {
    struct page_view *view = form->view;
    double pa = read_pull(form);
    int64_t time_ms = read_day(form);
    if (form->entry->wrong_count == 0)
        ask_if_sure(form, pa);
    if (form->entry->wrong_count || !home_form_may(view, form->system, form->entry))
        return false;
    if (home_reports_u_tube(view->api, form->system, &form->gauge, pa, time_ms) ==
        HOME_KEPT_CONFLICT) {
        entry_wrong_home(form->entry, "day", HOME_WRONG_THAT_DAY);
        return false;
    }
    return home_form_done(view, form->entry);
}

/* ---- the form ---- */

static void write_number(const struct tube_form *form, const char *name, enum home_text label) {
    entry_input(form->entry, &(struct entry_field){name, home_words(form->view, label),
                                                   form->in_unit, .mode = "decimal", .most = "20"});
}

static void write_pipes(const struct tube_form *form) {
    enum { MOST = 16 };
    struct entry_choice choices[MOST];
    char words[MOST][24], texts[MOST][80];
    size_t count = branches_of(form) < MOST ? branches_of(form) : MOST;
    for (size_t i = 0; i < count; i++) {
        snprintf(words[i], sizeof words[i], "%zu", i + 1);
        home_fill(form->view, texts[i], sizeof texts[i], HOME_PIPE, words[i], NULL);
        choices[i] = (struct entry_choice){words[i], texts[i]};
    }
    if (count > 1)
        entry_choices(
            form->entry,
            &(struct entry_field){"pipe", home_words(form->view, HOME_TUBE_WHICH), .needed = true},
            choices, count);
}

static void write_sides(const struct tube_form *form) {
    const struct page_view *view = form->view;
    const struct entry_choice zeros[] = {{"middle", home_words(view, HOME_TUBE_ZERO_MIDDLE)},
                                         {"bottom", home_words(view, HOME_TUBE_ZERO_BOTTOM)}};
    home_element(form->view, "h2", HOME_TUBE_SIDES, NULL);
    write_number(form, "left", HOME_TUBE_LEFT);
    write_number(form, "right", HOME_TUBE_RIGHT);
    entry_choices(form->entry,
                  &(struct entry_field){.name = "zero", .label = home_words(view, HOME_TUBE_ZERO)},
                  zeros, 2);
    home_element(form->view, "h2", HOME_TUBE_OR, NULL);
    write_number(form, "difference", HOME_TUBE_DIFFERENCE);
}

static void write_how(struct page_view *view) {
    html_markup(&view->html, "<ol>");
    home_element(view, "li", HOME_TUBE_HOW_1, NULL);
    home_element(view, "li", HOME_TUBE_HOW_2, NULL);
    home_element(view, "li", HOME_TUBE_HOW_3, NULL);
    html_markup(&view->html, "</ol>");
    write_drawing(view);
    home_element(view, "p", HOME_TUBE_CAUTION, NULL);
}

void home_u_tube(struct page_view *view, size_t system, const struct page_form *typed) {
    struct entry entry = {.view = view, .typed = typed};
    struct tube_form form = {.view = view, .entry = &entry, .system = system};
    char today[PAGE_TEXT_SIZE];
    open_form(&form);
    if (typed && take(&form))
        return;
    home_form_begin(view, &entry, HOME_TUBE_TITLE, "/u-tube");
    write_how(view);
    write_pipes(&form);
    write_sides(&form);
    entry_input(&entry,
                &(struct entry_field){"day", home_words(view, HOME_TUBE_DAY), .type = "date",
                                      .otherwise = page_date_text(today, view->api->now_ms,
                                                                  page_zone(view, system))});
    if (form.asks_sure)
        entry_box(&entry,
                  &(struct entry_field){.name = "sure", .label = home_words(view, HOME_TUBE_SURE)});
    home_form_end(view, &entry);
}
