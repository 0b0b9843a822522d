/*
 * The fans of the fleet by model, with the share that still runs at some ages, and which are next.
 */
#include "api/fans.h"
#include "page/fan_curve.h"
#include "page/view.h"
#include "page/view_words.h"

#include <math.h>
#include <stdio.h>

static void write_count(struct page_view *view, enum page_text label, size_t count) {
    char text[24];
    snprintf(text, sizeof text, "%zu", count);
    page_cell(view, label, text);
}

static void write_years(struct page_view *view, enum page_text label, double years) {
    char text[40];
    snprintf(text, sizeof text, "%.1f", years);
    page_cell(view, label, isfinite(years) ? text : "–");
}

/* "Running at 5 years". Returns text. */
static const char *age_text(const struct page_view *view, char text[80], double age) {
    char number[24];
    snprintf(number, sizeof number, "%.0f", age);
    return age > 1.0 ? page_name_in(view, text, 80, PAGE_RUNNING_AT_YEARS, number)
                     : page_words(view, PAGE_RUNNING_AT_YEAR);
}

static void write_share(struct page_view *view, double age, const struct survival *share,
                        enum survival_status status) {
    char label[80];
    html_open(&view->html, "td", "data-label", age_text(view, label, age), NULL);
    if (status == SURVIVAL_OK)
        page_fill(view, PAGE_RUNNING_SHARE, slot_count((size_t)lround(100.0 * share->share)),
                  slot_count((size_t)lround(100.0 * share->lower)),
                  slot_count((size_t)lround(100.0 * share->upper)));
    else
        html_markup(&view->html, "–");
    html_markup(&view->html, "</td>");
}

static const char *model_text(const struct page_view *view, const struct fan_model_facts *model) {
    return model->model ? model->model : page_words(view, PAGE_NOT_NAMED);
}

static void write_model(struct page_view *view, const struct fan_model_facts *model) {
    html_markup(&view->html, "<tr>");
    html_element(&view->html, "th", model_text(view, model), "scope", "row", NULL);
    write_count(view, PAGE_RUNNING, model->running);
    write_years(view, PAGE_YEARS_IN_SERVICE, model->years);
    write_count(view, PAGE_FAILED, model->failures);
    for (size_t i = 0; i < FAN_AGES; i++)
        write_share(view, fan_ages_years[i], &model->share[i], model->known[i]);
    html_markup(&view->html, "</tr>");
}

static void write_models(struct page_view *view, const struct fan_facts *facts) {
    char text[80];
    html_markup(&view->html, "<table><thead><tr>");
    page_column(view, PAGE_MODEL);
    page_column(view, PAGE_RUNNING);
    page_column(view, PAGE_YEARS_IN_SERVICE);
    page_column(view, PAGE_FAILED);
    for (size_t i = 0; i < FAN_AGES; i++)
        html_element(&view->html, "th", age_text(view, text, fan_ages_years[i]), "scope", "col",
                     NULL);
    html_markup(&view->html, "</tr></thead><tbody>");
    for (size_t i = 0; i < facts->count; i++)
        write_model(view, &facts->models[i]);
    html_markup(&view->html, "</tbody></table>");
}

static void write_chance(struct page_view *view, const struct fan_next *next) {
    page_open_cell(view, PAGE_CHANCE_IN_YEAR);
    if (next->chance > 0.0)
        page_fill(view, PAGE_CHANCE_IS, slot_percent(next->chance),
                  slot_percent(next->chance_lower), slot_percent(next->chance_upper));
    else if (isfinite(next->chance)) /* 0 of some is no chance of 0 */
        page_fill(view, PAGE_CHANCE_NONE_FAILED, slot_count(next->at_risk),
                  slot_percent(next->chance_upper));
    else
        html_markup(&view->html, "–");
    html_markup(&view->html, "</td>");
}

static void write_next(struct page_view *view, const struct fan_model_facts *model,
                       const struct fan_next *next) {
    const struct fan_life *life = next->life;
    const struct system_description *about = view->api->fleet->systems[life->system].description;
    struct html_address address = page_system_address(view, life->system, "");
    html_markup(&view->html, "<tr><th scope=\"row\">");
    page_link(view, &address, about->name);
    if (about->branch_count > 1)
        html_format(&view->html, ", %s", about->branches[life->branch].id);
    html_markup(&view->html, "</th>");
    page_cell(view, PAGE_MODEL, model_text(view, model));
    write_years(view, PAGE_YEARS, life->years);
    write_chance(view, next);
    page_cell(view, PAGE_ALARM, next->ailing ? page_condition(view, next->condition) : "–");
    html_markup(&view->html, "</tr>");
}

/* How many there are, and of how many an alarm speaks. */
static void write_summary(struct page_view *view, const struct fan_facts *facts) {
    size_t running = 0, ailing = 0;
    for (size_t i = 0; i < facts->count; i++) {
        running += facts->models[i].running;
        ailing += facts->models[i].ailing;
    }
    page_fill_element(view, "p", NULL, ailing ? PAGE_FANS_AILING : PAGE_FANS_WELL,
                      slot_count(running), slot_count(ailing));
}

static void write_all_next(struct page_view *view, const struct fan_facts *facts) {
    static const enum page_text columns[] = {PAGE_SYSTEM, PAGE_MODEL, PAGE_YEARS,
                                             PAGE_CHANCE_IN_YEAR, PAGE_ALARM};
    page_element(view, "h2", PAGE_NEXT_FANS);
    html_markup(&view->html, "<table>");
    page_table_head(view, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < facts->count; i++)
        for (size_t n = 0; n < facts->models[i].next_count; n++)
            write_next(view, &facts->models[i], &facts->models[i].next[n]);
    html_markup(&view->html, "</tbody></table>");
    page_element(view, "p", PAGE_NEXT_FANS_MEANS);
}

static void write_worth(struct page_view *view, const struct fan_facts *facts) {
    size_t undated = 0, unsaid = 0;
    for (size_t i = 0; i < facts->count; i++) {
        undated += facts->models[i].undated;
        unsaid += facts->models[i].unsaid;
    }
    html_markup(&view->html, "<p>");
    page_write(view, PAGE_FANS_WORTH);
    if (undated)
        page_fill(view, PAGE_FANS_UNDATED, slot_count(undated));
    if (unsaid)
        page_fill(view, PAGE_FANS_UNSAID, slot_count(unsaid));
    html_markup(&view->html, "</p>");
}

void page_fans(struct page_view *view) {
    const struct page_head head = {
        .title = page_words(view, PAGE_FANS), .current = "/fans", .system = FLEET_NONE};
    struct fan_facts facts;
    if (!fan_facts_open(&facts, view->api)) {
        fan_facts_close(&facts);
        page_say(view, 503, PAGE_NO_MEMORY_TITLE, PAGE_NO_MEMORY);
        return;
    }
    page_begin(view, &head);
    page_element(view, "h1", PAGE_FANS);
    if (facts.count) {
        write_summary(view, &facts);
        write_all_next(view, &facts);
        page_element(view, "h2", PAGE_FANS_BY_MODEL);
        write_models(view, &facts);
        for (size_t i = 0; i < facts.count; i++)
            page_fan_curve(view, &facts.models[i], model_text(view, &facts.models[i]));
        write_worth(view, &facts);
    } else {
        page_element(view, "p", PAGE_NO_FAN);
    }
    fan_facts_close(&facts);
    page_end(view, 200);
}
