#include "page/facts.h"

#include "page/view_text.h"
#include "page/view_words.h"
#include "settings/test_holes.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double reached_pa = 1.0; /* common practice, no source */

void page_back_draft(struct page_view *view, const json_t *record) {
    const char *word = json_string_value(json_object_get(record, "back_draft"));
    if (!word)
        page_write(view, PAGE_BACK_DRAFT_NONE);
    else if (strcmp(word, back_draft_word(BACK_DRAFT_NO_APPLIANCE)) == 0)
        page_write(view, PAGE_BACK_DRAFT_NO_APPLIANCE);
    else
        page_fill(view, PAGE_BACK_DRAFT_IS, slot_text(page_words_of(view, word)));
}

static double number_of(const json_t *object, const char *key) {
    const json_t *number = json_object_get(object, key);
    return json_is_number(number) ? json_number_value(number) : NAN;
}

/* "full speed: suction 1.1 inH2O, flow 41 cfm; hole-1 6 Pa, north 2.5 Pa; 2 of 2 holes at 1 Pa or
   more." */
static void write_setting(struct page_view *view, const json_t *setting, size_t number) {
    static const struct {
        const char *key;
        enum page_text text;
        enum dimension dimension;
    } columns[] = {{"suction", PAGE_SETTING_SUCTION, DIMENSION_PRESSURE},
                   {"flow", PAGE_SETTING_FLOW, DIMENSION_FLOW}};
    const char *words = json_string_value(json_object_get(setting, "setting"));
    json_t *holes = json_object_get(setting, "holes"), *value;
    size_t reached = 0;
    const char *name;
    char text[PAGE_TEXT_SIZE];
    html_markup(&view->html, "<li>");
    if (words)
        html_text(&view->html, words);
    else
        page_fill(view, PAGE_FAN_SETTING, slot_count(number));
    for (size_t i = 0; i < 2; i++) {
        double si = number_of(setting, columns[i].key);
        if (isfinite(si))
            page_fill(view, columns[i].text,
                      slot_text(page_value_text(view, text, si, columns[i].dimension)));
    }
    enum unit_system kept = view->units;
    view->units = UNIT_SYSTEM_SI; /* as read on a micromanometer */
    json_object_foreach(holes, name, value) {
        double pa = json_number_value(value);
        html_format(&view->html, "; %s %s", name,
                    page_value_text(view, text, pa, DIMENSION_PRESSURE));
        reached += pa >= reached_pa;
    }
    view->units = kept;
    if (json_object_size(holes))
        page_fill(view, PAGE_HOLES_REACHED, slot_count(reached),
                  slot_count(json_object_size(holes)));
    html_markup(&view->html, ".</li>");
}

void page_test_holes(struct page_view *view, const json_t *record) {
    const json_t *list = json_object_get(record, "test_holes");
    double exponent = number_of(record, "ground_exponent");
    if (json_array_size(list) == 0)
        return;
    html_markup(&view->html, "<br>");
    page_write(view, PAGE_TEST_HOLES);
    html_markup(&view->html, " <ul>");
    for (size_t i = 0; i < json_array_size(list); i++)
        write_setting(view, json_array_get(list, i), i + 1);
    html_markup(&view->html, "</ul>");
    if (isfinite(exponent)) {
        char text[40];
        snprintf(text, sizeof text, "%.2f", exponent);
        page_fill(view, PAGE_EXPONENT, slot_text(text));
    }
}
