/*
 * Visits: where to go, in which order, what to check first and what to bring.
 */
#include "api/visits.h"
#include "api/list.h"
#include "api/visit_queue.h"
#include "page/view_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { VISITS_MOST = 100 };

static void write_reasons(struct page_view *view, const json_t *reasons) {
    html_markup(&view->html, "<ul>");
    for (size_t i = 0; i < json_array_size(reasons); i++) {
        const json_t *reason = json_array_get(reasons, i);
        const char *text = page_json_text(reason, "text");
        html_markup(&view->html, "<li>");
        html_format(&view->html, "%.*s", text ? (int)strcspn(text, "\n") : 0, text ? text : "");
        html_markup(&view->html, " <span class=\"age\">");
        html_text(&view->html, page_json_text(reason, "condition"));
        html_markup(&view->html, "</span></li>");
    }
    html_markup(&view->html, "</ul>");
}

static void write_list(struct page_view *view, const char *heading, const json_t *list) {
    if (json_array_size(list) == 0)
        return;
    html_element(&view->html, "h3", heading, NULL);
    page_json_list(view, list);
}

static double value_of(const json_t *entry, const struct unit **unit) {
    const char *word = json_is_object(entry) ? page_json_text(entry, "unit") : NULL;
    *unit = word ? unit_find(word, strlen(word)) : NULL;
    return json_is_object(entry)   ? page_json_number(entry, "value")
           : json_is_number(entry) ? json_number_value(entry)
                                   : NAN;
}

static void write_baseline(struct page_view *view, size_t system, json_t *baseline) {
    const char *id;
    json_t *entry;
    if (json_object_size(baseline) == 0)
        return;
    html_markup(&view->html, "<h3>Measured at commissioning</h3><ul>");
    json_object_foreach(baseline, id, entry) {
        const struct unit *unit = NULL;
        double value = value_of(entry, &unit);
        size_t point =
            system == FLEET_NONE ? FLEET_NONE : fleet_find_point(view->api->fleet, system, id);
        if (!isfinite(value) || (!unit && point == FLEET_NONE))
            continue;
        html_markup(&view->html, "<li>");
        html_text(&view->html,
                  point == FLEET_NONE ? id : view->api->fleet->points[point].description->name);
        html_markup(&view->html, ": ");
        enum unit_system kept =
            point == FLEET_NONE ? view->units : page_units_of_point(view, point);
        page_value(view, value, unit ? unit->dimension : page_dimension(view, point));
        view->units = kept;
        html_markup(&view->html, "</li>");
    }
    html_markup(&view->html, "</ul>");
}

static void write_visit(struct page_view *view, const json_t *visit, bool signed_in) {
    const char *id = page_json_text(visit, "system"), *address = page_json_text(visit, "address");
    size_t system = id ? fleet_find_system(view->api->fleet, id) : FLEET_NONE;
    const struct time_zone *zone = page_zone(view, system);
    if (system == FLEET_NONE)
        return;
    struct html_address to = page_system_address(view, system, "");
    html_markup(&view->html, "<article class=\"visit\"><h2>");
    page_link(view, &to, page_json_text(visit, "name"));
    html_markup(&view->html, "</h2><p class=\"facts\">Plan for <strong>");
    page_date(view, page_json_time(visit, "due"), zone);
    html_markup(&view->html, "</strong>");
    if (page_json_time(visit, "due") < view->api->now_ms)
        html_markup(&view->html, " (overdue)");
    html_markup(&view->html, ", from ");
    page_date(view, page_json_time(visit, "earliest"), zone);
    html_markup(&view->html, " to ");
    page_date(view, page_json_time(visit, "latest"), zone);
    html_format(&view->html, ", %s priority. ", page_json_text(visit, "priority"));
    if (address)
        html_format(&view->html, "Address: %s. ", address);
    const json_t *last = json_object_get(visit, "last_visit");
    html_markup(&view->html, "Last visit: ");
    page_date(view, page_json_time(last, "on"), zone);
    if (page_json_text(last, "did"))
        html_format(&view->html, ", done: %s", page_json_text(last, "did"));
    html_markup(&view->html, ".</p><h3>Why</h3>");
    write_reasons(view, json_object_get(visit, "reasons"));
    write_list(view, "Check first", json_object_get(visit, "check"));
    write_list(view, "Bring", json_object_get(visit, "bring"));
    write_baseline(view, system, json_object_get(visit, "baseline"));
    if (signed_in) {
        html_markup(&view->html, "<p>");
        struct html_address form = page_system_address(view, system, "");
        html_address_path(&form, "#visit-done");
        page_link(view, &form, "Write down this visit");
        html_markup(&view->html, "</p>");
    }
    html_markup(&view->html, "</article>");
}

/* ---- the sheet, in parts ---- */

struct visit_sheet {
    struct page_view view; /* of a request that is over: api, units and the HTML so far */
    bool signed_in;
    struct visit_queue *queue;
    size_t written;
    char *foot; /* what stands below the list */
};

static void free_sheet(void *context) {
    struct visit_sheet *sheet = context;
    text_buffer_clear(&sheet->view.html.text);
    visit_queue_destroy(sheet->queue);
    free(sheet->foot);
    free(sheet);
}

static void write_end(struct visit_sheet *sheet) {
    struct html *html = &sheet->view.html;
    size_t left = visit_queue_left(sheet->queue);
    if (sheet->written == 0)
        html_markup(html, "<p class=\"none\">No visit is called for.</p>");
    if (left > 0) {
        html_markup(html, "<p>");
        html_format(html, "%zu further visits are less urgent.", left);
        html_markup(html, "</p>");
    }
    text_buffer_add(&html->text, sheet->foot);
}

/* One visit, or the end. */
static enum api_list_step write_next(struct visit_sheet *sheet, struct api *api) {
    bool failed = false;
    struct planned_visit *plan =
        sheet->written < VISITS_MOST ? visit_queue_take(sheet->queue, api, &failed) : NULL;
    json_t *visit = plan ? api_visit_json(api, plan) : NULL;
    if (visit)
        write_visit(&sheet->view, visit, sheet->signed_in);
    else if (!plan && !failed)
        write_end(sheet);
    sheet->written += visit != NULL;
    json_decref(visit);
    planned_visit_free(plan);
    if (failed || (plan && !visit))
        return API_LIST_FAILED;
    return plan ? API_LIST_MORE : API_LIST_END;
}

static enum api_list_step step_sheet(void *context, struct api *api, struct api_list *rows) {
    struct visit_sheet *sheet = context;
    struct text_buffer *html = &sheet->view.html.text;
    enum api_list_step step = API_LIST_MORE;
    sheet->view.api = api;
    enum visit_queue_state state = visit_queue_place(sheet->queue, api);
    if (state == VISIT_QUEUE_IN_ORDER)
        step = write_next(sheet, api);
    if (state == VISIT_QUEUE_FAILED || html->failed)
        return API_LIST_FAILED;
    text_buffer_add_bytes(api_list_text(rows), html->length ? html->bytes : "", html->length);
    html->length = 0;
    return step;
}

static void write_foot(struct page_view *view) {
    html_markup(&view->html,
                "<section class=\"cautions\"><h2>On every visit</h2><ul>"
                "<li>Depressurization can draw combustion gases into the house: after any change "
                "to fan, pipe or openings a back-draft test of the combustion appliances is "
                "due.</li><li>Electrical work belongs to a licensed electrician.</li>"
                "<li>Local codes and licensed practice come first.</li></ul></section>");
    page_foot(view);
}

/* Takes over the HTML so far. NULL when memory is out. */
static struct visit_sheet *begin_sheet(struct page_view *view) {
    struct visit_sheet *sheet = calloc(1, sizeof *sheet);
    if (!sheet)
        return NULL;
    sheet->view = (struct page_view){
        .html = view->html, .units = view->units, .units_chosen = view->units_chosen};
    sheet->signed_in = view->session != NULL;
    view->html = (struct html){0};
    write_foot(view);
    sheet->foot = text_buffer_take(&view->html.text);
    sheet->queue = visit_queue_create(NULL);
    if (sheet->foot && sheet->queue)
        return sheet;
    free_sheet(sheet);
    return NULL;
}

void page_visits(struct page_view *view) {
    static const struct api_list_source source = {step_sheet, free_sheet};
    const struct page_head head = {.title = "Visits", .current = "/visits", .system = FLEET_NONE};
    page_begin(view, &head);
    html_markup(&view->html,
                "<h1>Visits</h1><p>Most urgent first; what can wait is done in one journey. The "
                "same list for a calendar program: <a href=\"/visits.ics\">visits.ics</a>.</p>");
    if (pipeline_store(view->api->pipeline)) {
        struct api_call call = {.api = view->api, .request = view->request, .answer = view->answer};
        api_list_answer_text(&call, "text/html; charset=utf-8", &source, begin_sheet(view));
    } else {
        html_markup(&view->html, "<p>The store can't be read now.</p>");
        page_end(view, 200);
    }
}
