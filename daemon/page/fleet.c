/*
 * The fleet: which systems need somebody, worst first, one screen at a time.
 */
#include "page/chart.h"
#include "page/view_text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { ROWS_A_PAGE = 25, STATUS_COUNT = 5 };

static const enum monitor_status worst_order[STATUS_COUNT] = {
    MONITOR_OUT_OF_SPEC, MONITOR_SILENT, MONITOR_DRIFTING, MONITOR_OUT_OF_SERVICE, MONITOR_IN_SPEC};

struct fleet_list {
    size_t *systems; /* those that are asked for, worst first */
    size_t count;
    size_t tally[STATUS_COUNT]; /* of all, by enum monitor_status */
    size_t page, pages;
};

/* ---- choosing ---- */

static bool holds(const char *text, const char *words) {
    return text && strcasestr(text, words);
}

static bool is_looked_for(const struct system_description *system, const char *words) {
    return !*words || holds(system->id, words) || holds(system->name, words) ||
           holds(system->address, words);
}

static void choose(struct page_view *view, struct fleet_list *list) {
    const struct monitor *monitor = pipeline_monitor(view->api->pipeline);
    const char *status = page_query(view, "status"), *words = page_query(view, "find");
    size_t total = 0, kept = 0;
    list->systems = api_systems_worst_first(view->api, &total);
    for (size_t i = 0; i < total; i++) {
        size_t system = list->systems[i];
        int64_t since_ms = 0;
        enum monitor_status found = monitor_status(monitor, system, &since_ms);
        list->tally[found]++;
        if ((!*status || strcmp(status, monitor_status_word(found)) == 0) &&
            is_looked_for(view->api->fleet->systems[system].description, words))
            list->systems[kept++] = system;
    }
    list->count = kept;
    list->pages = kept ? (kept + ROWS_A_PAGE - 1) / ROWS_A_PAGE : 1;
    long wanted = strtol(page_query(view, "page"), NULL, 10);
    list->page = wanted < 1 ? 1 : (size_t)wanted > list->pages ? list->pages : (size_t)wanted;
}

static struct html_address list_address(const struct page_view *view, const char *status,
                                        size_t page) {
    struct html_address address = page_address(view, "/");
    char number[24];
    html_address_query(&address, "status", status);
    html_address_query(&address, "find", page_query(view, "find"));
    snprintf(number, sizeof number, "%zu", page);
    html_address_query(&address, "page", page > 1 ? number : NULL);
    return address;
}

static void write_tally_entry(struct page_view *view, const char *status, bool here) {
    struct html_address address = list_address(view, status, 1);
    html_open(&view->html, "a", "href", address.text, "aria-current", here ? "true" : NULL, NULL);
}

static void write_tally(struct page_view *view, const struct fleet_list *list) {
    const char *asked = page_query(view, "status");
    html_markup(&view->html, "<nav aria-label=\"By status\"><ul class=\"tally\"><li>");
    write_tally_entry(view, NULL, !*asked);
    html_format(&view->html, "all %zu", view->api->fleet->system_count);
    html_markup(&view->html, "</a></li>");
    for (size_t i = 0; i < STATUS_COUNT; i++) {
        const char *word = monitor_status_word(worst_order[i]);
        html_markup(&view->html, "<li>");
        write_tally_entry(view, word, strcmp(asked, word) == 0);
        page_status(view, worst_order[i]);
        html_format(&view->html, " %zu", list->tally[worst_order[i]]);
        html_markup(&view->html, "</a></li>");
    }
    html_markup(&view->html, "</ul></nav>");
}

static void write_search(struct page_view *view) {
    html_markup(&view->html, "<form method=\"get\" action=\"/\" role=\"search\" class=\"search\">"
                             "<label for=\"find\">Find by name, id or address</label> ");
    html_empty(&view->html, "input", "id", "find", "name", "find", "type", "search", "value",
               page_query(view, "find"), "maxlength", "80", NULL);
    html_empty(&view->html, "input", "type", "hidden", "name", "status", "value",
               page_query(view, "status"), NULL);
    if (view->units_chosen)
        html_empty(&view->html, "input", "type", "hidden", "name", "units", "value",
                   view->units == UNIT_SYSTEM_SI ? "si" : "us", NULL);
    html_markup(&view->html, " <button type=\"submit\">Find</button></form>");
}

/* ---- one row ---- */

static void write_suction(struct page_view *view, size_t system, const json_t *suction,
                          const struct time_zone *zone) {
    double value = page_json_number(suction, "value");
    double share = page_json_number(suction, "of_baseline");
    char percent[PAGE_TEXT_SIZE];
    html_markup(&view->html, "<td data-label=\"Suction\">");
    if (isfinite(share)) {
        html_element(&view->html, "strong", page_percent_text(percent, share), NULL);
        html_markup(&view->html, " of commissioning<br>");
    } else {
        html_element(&view->html, "span", page_json_text(suction, "why"), "class", "unknown", NULL);
        html_markup(&view->html, "<br>");
    }
    if (isfinite(value)) {
        page_value(view, value, DIMENSION_PRESSURE);
        html_markup(&view->html, ", <span class=\"age\">");
        page_age(view, page_json_time(suction, "time"), zone);
        html_markup(&view->html, "</span>");
    }
    html_markup(&view->html, "</td><td data-label=\"90 days\">");
    size_t point = fleet_point_of(view->api->fleet, system, QUANTITY_SUCTION);
    if (point != FLEET_NONE)
        page_chart_small(view, point, isfinite(share) && share > 0 ? value / share : NAN);
    html_markup(&view->html, "</td>");
}

static void write_radon(struct page_view *view, const json_t *radon) {
    double mean = page_json_number(radon, "mean");
    char percent[PAGE_TEXT_SIZE];
    html_markup(&view->html, "<td data-label=\"Radon\">");
    if (isfinite(mean)) {
        page_value(view, mean, DIMENSION_RADON);
        html_format(&view->html, ", mean of %s", page_json_text(radon, "window"));
        html_markup(&view->html, "<br><span class=\"age\">");
        html_format(&view->html, "%s covered",
                    page_percent_text(percent, page_json_number(radon, "coverage")));
        html_markup(&view->html, "</span>");
    } else {
        html_element(&view->html, "span", page_json_text(radon, "why"), "class", "unknown", NULL);
    }
    html_markup(&view->html, "</td>");
}

static void write_row(struct page_view *view, size_t system) {
    const struct system_description *about = view->api->fleet->systems[system].description;
    const struct time_zone *zone = view->api->fleet->systems[system].zone;
    struct html_address address = page_system_address(view, system, "");
    json_t *line = api_system_line(view->api, system);
    int64_t since_ms = 0;
    enum monitor_status status =
        monitor_status(pipeline_monitor(view->api->pipeline), system, &since_ms);
    html_markup(&view->html, "<tr><th scope=\"row\" data-label=\"System\">");
    page_link(view, &address, about->name);
    html_element(&view->html, "span", about->address ? about->address : about->id, "class", "age",
                 NULL);
    html_markup(&view->html, "</th><td data-label=\"Status\">");
    page_status(view, status);
    if (since_ms != TIMESTAMP_NONE) {
        html_markup(&view->html, "<br><span class=\"age\">since ");
        page_date(view, since_ms, zone);
        html_markup(&view->html, "</span>");
    }
    html_markup(&view->html, "</td>");
    write_suction(view, system, json_object_get(line, "suction"), zone);
    write_radon(view, json_object_get(line, "radon"));
    html_markup(&view->html, "<td data-label=\"Last reading\">");
    page_age(view, page_json_time(line, "last_reading"), zone);
    html_markup(&view->html, "</td><td data-label=\"Open alarms\">");
    double open = page_json_number(line, "open_alarms");
    if (open > 0)
        html_format(&view->html, "%.0f, %.0f not acknowledged", open,
                    page_json_number(line, "unacknowledged"));
    else
        html_markup(&view->html, "none");
    html_markup(&view->html, "</td><td data-label=\"Next date\">");
    page_date(view, page_json_time(line, "next_visit"), zone);
    html_markup(&view->html, "</td></tr>");
    json_decref(line);
}

/* ---- the sheet ---- */

static void write_pages(struct page_view *view, const struct fleet_list *list) {
    if (list->pages < 2)
        return;
    const char *status = page_query(view, "status");
    html_markup(&view->html, "<nav class=\"pages\" aria-label=\"Pages of the list\"><p>");
    if (list->page > 1) {
        struct html_address before = list_address(view, status, list->page - 1);
        html_element(&view->html, "a", "← before", "href", before.text, "rel", "prev", "data-key",
                     "ArrowLeft", NULL);
    }
    html_format(&view->html, " page %zu of %zu ", list->page, list->pages);
    if (list->page < list->pages) {
        struct html_address next = list_address(view, status, list->page + 1);
        html_element(&view->html, "a", "next →", "href", next.text, "rel", "next", "data-key",
                     "ArrowRight", NULL);
    }
    html_markup(&view->html, "</p></nav>");
}

static void write_table(struct page_view *view, const struct fleet_list *list) {
    size_t first = (list->page - 1) * ROWS_A_PAGE;
    html_markup(&view->html,
                "<table class=\"fleet\"><caption>Worst first. Suction is held against the value "
                "measured at commissioning; radon means count only what readings "
                "cover.</caption><thead><tr>"
                "<th scope=\"col\">System</th><th scope=\"col\">Status</th>"
                "<th scope=\"col\">Suction</th><th scope=\"col\">90 days</th>"
                "<th scope=\"col\">Radon</th><th scope=\"col\">Last reading</th>"
                "<th scope=\"col\">Open alarms</th><th scope=\"col\">Next date</th>"
                "</tr></thead><tbody>");
    for (size_t i = first; i < list->count && i < first + ROWS_A_PAGE; i++)
        write_row(view, list->systems[i]);
    html_markup(&view->html, "</tbody></table>");
}

void page_fleet(struct page_view *view) {
    const struct page_head head = {.title = "Systems", .current = "/", .system = FLEET_NONE};
    struct fleet_list list = {0};
    choose(view, &list);
    page_begin(view, &head);
    html_markup(&view->html, "<h1>Systems</h1>");
    write_tally(view, &list);
    write_search(view);
    if (list.count)
        write_table(view, &list);
    else
        html_markup(&view->html, "<p class=\"none\">No system fits this.</p>");
    write_pages(view, &list);
    page_end(view, 200);
    free(list.systems);
}
