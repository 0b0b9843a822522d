/*
 * Visits as a sheet for a day, to look at or to print: how many are asked for, where to go in which
 * order, what to check first; on top what to bring for all of them.
 */
#include "api/list.h"
#include "api/visit_queue.h"
#include "page/alarm_items.h"
#include "page/choice.h"
#include "page/view_text.h"
#include "page/view_words.h"
#include "store/records.h"
#include "words/wording.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { VISITS_USUAL = 10, VISITS_MOST = 100, PARTS_MOST = 200 };

static void write_reasons(struct page_view *view, const struct visit *visit) {
    html_markup(&view->html, "<ul>");
    for (size_t i = 0; i < visit->reason_count; i++) {
        const char *text = visit->reasons[i].text;
        html_markup(&view->html, "<li>");
        html_format(&view->html, "%.*s", (int)strcspn(text, "\n"), text);
        html_markup(&view->html, "</li>");
    }
    html_markup(&view->html, "</ul>");
}

/* To tick off on paper. */
static void write_list(struct page_view *view, enum page_text heading, const char *const *texts,
                       size_t count) {
    if (count == 0)
        return;
    html_markup(&view->html, "<div>");
    page_element(view, "h3", heading);
    html_markup(&view->html, "<ul class=\"to-tick\">");
    for (size_t i = 0; i < count; i++)
        html_element(&view->html, "li", texts[i], NULL);
    html_markup(&view->html, "</ul></div>");
}

static void write_baseline(struct page_view *view, size_t system, const struct visit *visit) {
    const struct fleet *fleet = view->api->fleet;
    if (visit->baseline_count == 0)
        return;
    html_markup(&view->html, "<div>");
    page_element(view, "h3", PAGE_MEASURED_COMMISSIONING);
    html_markup(&view->html, "<ul>");
    for (size_t i = 0; i < visit->baseline_count; i++) {
        size_t point = fleet_find_point(fleet, system, visit->baseline[i].point);
        if (!isfinite(visit->baseline[i].value))
            continue;
        html_markup(&view->html, "<li>");
        html_text(&view->html, fleet->points[point].description->name);
        html_markup(&view->html, ": ");
        enum unit_system kept = page_units_of_point(view, point);
        page_value(view, visit->baseline[i].value, page_dimension(view, point));
        view->units = kept;
        html_markup(&view->html, "</li>");
    }
    html_markup(&view->html, "</ul></div>");
}

static void write_days(struct page_view *view, const struct visit *visit) {
    page_fill(view, visit->due_ms < view->api->now_ms ? PAGE_PLAN_FOR_OVERDUE : PAGE_PLAN_FOR,
              slot_strong_date(visit->due_ms, visit->zone),
              slot_date(visit->earliest_ms, visit->zone), slot_date(visit->latest_ms, visit->zone),
              slot_text(page_words_of(view, priority_word(visit->priority))));
}

struct last_visit {
    struct page_view *view;
    const struct time_zone *zone;
    bool known;
};

static bool write_last(void *context, const struct record_visit *visit) {
    struct last_visit *last = context;
    last->known = true;
    page_fill(last->view, visit->did ? PAGE_LAST_VISIT_DID : PAGE_LAST_VISIT,
              slot_date(visit->on_ms, last->zone), slot_text(visit->did));
    return false;
}

static void write_last_visit(struct page_view *view, const struct visit *visit) {
    struct store *store = pipeline_store(view->api->pipeline);
    struct last_visit last = {view, visit->zone, false};
    if (store)
        record_visit_list(store, visit->system, RECORD_NEWEST_FIRST, write_last, &last);
    if (!last.known)
        page_fill(view, PAGE_LAST_VISIT, slot_text("–"));
}

static void write_visit(struct page_view *view, const struct planned_visit *plan, bool signed_in) {
    const struct visit *visit = planned_visit_of(plan);
    size_t system = planned_visit_system(plan);
    struct html_address to = page_system_address(view, system, "");
    html_markup(&view->html, "<article class=\"visit\"><h2>");
    page_link(view, &to, visit->name);
    html_markup(&view->html, "</h2><p class=\"facts\">");
    write_days(view, visit);
    if (visit->address)
        page_fill(view, PAGE_ADDRESS_IS, slot_text(visit->address));
    write_last_visit(view, visit);
    html_markup(&view->html, "</p><div class=\"beside\"><div>");
    page_element(view, "h3", PAGE_WHY);
    write_reasons(view, visit);
    page_alarm_causes(view, system);
    html_markup(&view->html, "</div>");
    write_list(view, PAGE_CHECK_FIRST, visit->check, visit->check_count);
    write_list(view, PAGE_BRING, visit->bring, visit->bring_count);
    write_baseline(view, system, visit);
    html_markup(&view->html, "</div>");
    html_element(&view->html, "p", page_words(view, PAGE_FOUND_PAPER), "class", "paper", NULL);
    html_element(&view->html, "p", page_words(view, PAGE_DONE_PAPER), "class", "paper", NULL);
    if (signed_in) {
        html_markup(&view->html, "<p class=\"no-print\">");
        html_address_path(&to, "#visit-done");
        page_link(view, &to, page_words(view, PAGE_WRITE_THIS_VISIT));
        html_markup(&view->html, "</p>");
    }
    html_markup(&view->html, "</article>");
}

/* ---- what to bring for all ---- */

struct part_to_bring {
    char *text;
    size_t visits;
};

struct parts {
    struct part_to_bring rows[PARTS_MOST];
    size_t count;
};

static void add_part(struct parts *parts, const char *text) {
    size_t at = 0;
    while (at < parts->count && strcmp(parts->rows[at].text, text) != 0)
        at++;
    if (at == PARTS_MOST)
        return;
    if (at == parts->count) {
        char *copy = strdup(text);
        if (!copy)
            return;
        parts->rows[parts->count++] = (struct part_to_bring){copy, 0};
    }
    parts->rows[at].visits++;
}

static void write_parts(struct page_view *view, const struct parts *parts, size_t visits) {
    if (parts->count == 0)
        return;
    html_markup(&view->html, "<section class=\"visit\">");
    page_element(view, "h2", PAGE_BRING_FOR_ALL);
    html_markup(&view->html, "<ul class=\"to-tick\">");
    for (size_t i = 0; i < parts->count; i++) {
        html_markup(&view->html, "<li>");
        if (visits > 1)
            page_fill(view, PAGE_OF_VISITS, slot_text(parts->rows[i].text),
                      slot_count(parts->rows[i].visits), slot_count(visits));
        else
            html_text(&view->html, parts->rows[i].text);
        html_markup(&view->html, "</li>");
    }
    html_markup(&view->html, "</ul></section>");
}

/* ---- which ---- */

static size_t asked_count(const struct page_view *view) {
    long count = strtol(page_query(view, "count"), NULL, 10);
    return count < 1 ? VISITS_USUAL : count > VISITS_MOST ? VISITS_MOST : (size_t)count;
}

static void write_choice(struct page_view *view) {
    static const char *const counts[] = {"5", "10", "25", "100"};
    struct html_address here = page_path(view, "/visits");
    html_open(&view->html, "form", "method", "get", "action", here.text, "class", "search", NULL);
    page_label(view, "count", PAGE_VISITS_ON_SHEET);
    html_markup(&view->html, "<select id=\"count\" name=\"count\">");
    for (size_t i = 0; i < sizeof counts / sizeof counts[0]; i++)
        page_option(view, counts[i], counts[i],
                    (size_t)strtoul(counts[i], NULL, 10) == asked_count(view));
    html_markup(&view->html, "</select> ");
    page_region_choice(view);
    page_keep_choices(view);
    html_markup(&view->html, "<button type=\"submit\">");
    page_write(view, PAGE_SHOW);
    html_markup(&view->html, "</button></form>");
}

/* ---- the sheet, made in parts ---- */

struct visit_sheet {
    struct page_view view; /* of a request that is over: api, units and the HTML of the visits */
    bool signed_in;
    struct visit_queue *queue;
    size_t written, most;
    char *region; /* only of this one; "": all */
    struct parts parts;
    char *head, *foot; /* what stands above and below */
};

static void free_sheet(void *context) {
    struct visit_sheet *sheet = context;
    for (size_t i = 0; i < sheet->parts.count; i++)
        free(sheet->parts.rows[i].text);
    text_buffer_clear(&sheet->view.html.text);
    visit_queue_destroy(sheet->queue);
    free(sheet->region);
    free(sheet->head);
    free(sheet->foot);
    free(sheet);
}

static void write_end(struct visit_sheet *sheet) {
    struct page_view *view = &sheet->view;
    size_t left = visit_queue_left(sheet->queue);
    if (sheet->written == 0)
        page_none(view, PAGE_NO_VISIT_CALLED);
    if (left > 0) {
        page_fill_element(view, "p", NULL,
                          *sheet->region ? PAGE_FURTHER_VISITS_REGIONS : PAGE_FURTHER_VISITS,
                          slot_count(left));
    }
    text_buffer_add(&view->html.text, sheet->foot);
}

static void take_visit(struct visit_sheet *sheet, const struct planned_visit *plan) {
    const struct visit *visit = planned_visit_of(plan);
    if (!page_is_in_region(sheet->view.api, planned_visit_system(plan), sheet->region))
        return;
    write_visit(&sheet->view, plan, sheet->signed_in);
    for (size_t i = 0; i < visit->bring_count; i++)
        add_part(&sheet->parts, visit->bring[i]);
    sheet->written++;
}

/* One visit, or the end. */
static enum api_list_step write_next(struct visit_sheet *sheet, struct api *api) {
    bool failed = false;
    struct planned_visit *plan =
        sheet->written < sheet->most ? visit_queue_take(sheet->queue, api, &failed) : NULL;
    if (plan)
        take_visit(sheet, plan);
    else if (!failed)
        write_end(sheet);
    planned_visit_free(plan);
    if (failed)
        return API_LIST_FAILED;
    return plan ? API_LIST_MORE : API_LIST_END;
}

/* The parts stand above the visits that they are for, so all goes out at the end. */
static void hand_out(struct visit_sheet *sheet, struct text_buffer *to) {
    struct page_view parts = {.language = sheet->view.language};
    struct text_buffer *visits = &sheet->view.html.text, *above = &parts.html.text;
    write_parts(&parts, &sheet->parts, sheet->written);
    text_buffer_add(to, sheet->head);
    text_buffer_add_bytes(to, above->length ? above->bytes : "", above->length);
    text_buffer_add_bytes(to, visits->length ? visits->bytes : "", visits->length);
    text_buffer_clear(above);
}

static enum api_list_step step_sheet(void *context, struct api *api, struct api_list *rows) {
    struct visit_sheet *sheet = context;
    enum api_list_step step = API_LIST_MORE;
    sheet->view.api = api;
    enum visit_queue_state state = visit_queue_place(sheet->queue, api);
    if (state == VISIT_QUEUE_IN_ORDER)
        step = write_next(sheet, api);
    if (state == VISIT_QUEUE_FAILED || sheet->view.html.text.failed)
        return API_LIST_FAILED;
    if (step == API_LIST_END)
        hand_out(sheet, api_list_text(rows));
    return step;
}

static void write_foot(struct page_view *view) {
    html_markup(&view->html, "<section class=\"cautions\">");
    page_element(view, "h2", PAGE_ON_EVERY_VISIT);
    html_markup(&view->html, "<ul>");
    page_element(view, "li", PAGE_VISIT_BACK_DRAFT);
    page_element(view, "li", PAGE_VISIT_ELECTRIC);
    page_element(view, "li", PAGE_VISIT_CODES);
    html_markup(&view->html, "</ul></section>");
    page_foot(view);
}

/* Takes over the HTML so far. NULL when memory is out. */
static struct visit_sheet *begin_sheet(struct page_view *view) {
    struct visit_sheet *sheet = calloc(1, sizeof *sheet);
    if (!sheet)
        return NULL;
    sheet->view = (struct page_view){.units = view->units,
                                     .units_chosen = view->units_chosen,
                                     .language = view->language,
                                     .language_chosen = view->language_chosen};
    sheet->signed_in = view->session != NULL;
    sheet->most = asked_count(view);
    sheet->region = strdup(page_query(view, "region"));
    sheet->head = text_buffer_take(&view->html.text);
    view->html = (struct html){0};
    write_foot(view);
    sheet->foot = text_buffer_take(&view->html.text);
    sheet->queue = visit_queue_create(NULL, (struct wording_reader){view->language, view->units});
    if (sheet->head && sheet->foot && sheet->queue && sheet->region)
        return sheet;
    free_sheet(sheet);
    return NULL;
}

void page_visits(struct page_view *view) {
    static const struct api_list_source source = {step_sheet, free_sheet};
    const struct page_head head = {
        .title = page_words(view, PAGE_VISITS), .current = "/visits", .system = FLEET_NONE};
    page_begin(view, &head);
    struct html_address calendar = page_path(view, "/visits.ics");
    if (view->language != WORDING_ENGLISH)
        html_address_query(&calendar, "language", wording_language_code(view->language));
    page_element(view, "h1", PAGE_VISITS);
    page_fill_element(view, "p", "no-print", PAGE_VISITS_INTRO, slot_link(&calendar, "visits.ics"));
    write_choice(view);
    if (pipeline_store(view->api->pipeline)) {
        struct api_call call = {.api = view->api, .request = view->request, .answer = view->answer};
        api_list_answer_text(&call, "text/html; charset=utf-8", &source, begin_sheet(view));
    } else {
        page_element(view, "p", PAGE_VISITS_UNREAD);
        page_end(view, 200);
    }
}
