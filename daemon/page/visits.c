/*
 * Visits: where to go, in which order, what to check first and what to bring.
 */
#include "api/visits.h"
#include "page/text.h"

#include <math.h>
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

static void write_visit(struct page_view *view, const json_t *visit) {
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
    if (view->session) {
        html_markup(&view->html, "<p>");
        struct html_address form = page_system_address(view, system, "");
        html_address_path(&form, "#visit-done");
        page_link(view, &form, "Write down this visit");
        html_markup(&view->html, "</p>");
    }
    html_markup(&view->html, "</article>");
}

void page_visits(struct page_view *view) {
    const struct page_head head = {.title = "Visits", .current = "/visits", .system = FLEET_NONE};
    json_t *visits = pipeline_store(view->api->pipeline) ? api_visits(view->api) : NULL;
    size_t count = json_array_size(visits);
    page_begin(view, &head);
    html_markup(&view->html,
                "<h1>Visits</h1><p>Most urgent first; what can wait is done in one journey. The "
                "same list for a calendar program: <a href=\"/visits.ics\">visits.ics</a>.</p>");
    if (!visits)
        html_markup(&view->html, "<p>The store can't be read now.</p>");
    else if (count == 0)
        html_markup(&view->html, "<p class=\"none\">No visit is called for.</p>");
    for (size_t i = 0; i < count && i < VISITS_MOST; i++)
        write_visit(view, json_array_get(visits, i));
    if (count > VISITS_MOST) {
        html_markup(&view->html, "<p>");
        html_format(&view->html, "%zu further visits are less urgent.", count - VISITS_MOST);
        html_markup(&view->html, "</p>");
    }
    html_markup(&view->html,
                "<section class=\"cautions\"><h2>On every visit</h2><ul>"
                "<li>Depressurization can draw combustion gases into the house: after any change "
                "to fan, pipe or openings a back-draft test of the combustion appliances is "
                "due.</li><li>Electrical work belongs to a licensed electrician.</li>"
                "<li>Local codes and licensed practice come first.</li></ul></section>");
    json_decref(visits);
    page_end(view, 200);
}
