#include "page/alarm_items.h"

#include "page/view_text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static size_t system_of(const struct page_view *view, const json_t *alarm) {
    const char *id = page_json_text(alarm, "system");
    return id && *id ? fleet_find_system(view->api->fleet, id) : FLEET_NONE;
}

/* ---- what can be done ---- */

static void begin_form(struct page_view *view, const char *id, const char *action, size_t only) {
    struct html_address address = html_address("/alarms/");
    html_address_part(&address, id);
    html_address_path(&address, "/");
    html_address_path(&address, action);
    html_open(&view->html, "form", "method", "post", "action", address.text, "class", "do", NULL);
    page_token(view);
    if (only != FLEET_NONE)
        html_empty(&view->html, "input", "type", "hidden", "name", "system", "value",
                   fleet_system_id(view->api->fleet, only), NULL);
}

static void field(struct page_view *view, const char *alarm, const char *name, const char *text,
                  bool needed) {
    char id[80];
    snprintf(id, sizeof id, "%s-%s", name, alarm);
    html_element(&view->html, "label", text, "for", id, NULL);
    html_markup(&view->html, " ");
    html_empty(&view->html, "input", "id", id, "name", name, "maxlength", "300", "required",
               needed ? "" : NULL, NULL);
    html_markup(&view->html, " ");
}

static void write_shelving(struct page_view *view, const char *id, const json_t *alarm,
                           size_t only) {
    char select[80];
    if (json_object_get(alarm, "shelved")) {
        begin_form(view, id, "unshelve", only);
        html_markup(&view->html, "<button type=\"submit\">Unshelve</button></form>");
        return;
    }
    snprintf(select, sizeof select, "until-%s", id);
    html_markup(&view->html, "<details><summary>Shelve</summary>");
    begin_form(view, id, "shelve", only);
    html_element(&view->html, "label", "For", "for", select, NULL);
    html_open(&view->html, "select", "id", select, "name", "until", NULL);
    html_markup(&view->html, "<option value=\"2 h\">2 hours</option><option value=\"1 d\">1 day"
                             "</option><option value=\"3 d\" selected>3 days</option><option "
                             "value=\"7 d\">7 days</option><option value=\"30 d\">30 days</option>"
                             "</select> ");
    field(view, id, "why", "Why", true);
    html_markup(&view->html, "<button type=\"submit\">Shelve</button></form></details>");
}

static void write_actions(struct page_view *view, const json_t *alarm, size_t only) {
    char id[32];
    const char *state = page_json_text(alarm, "state");
    if (!view->session || view->share)
        return;
    snprintf(id, sizeof id, "%.0f", page_json_number(alarm, "id"));
    html_markup(&view->html, "<div class=\"actions\">");
    if (state && strstr(state, "unacknowledged")) {
        begin_form(view, id, "acknowledge", only);
        field(view, id, "note", "Note", false);
        html_markup(&view->html, "<button type=\"submit\">Acknowledge</button></form>");
    }
    write_shelving(view, id, alarm, only);
    html_markup(&view->html, "</div>");
}

/* ---- what it says ---- */

static void write_diagnosis(struct page_view *view, const json_t *alarm) {
    const json_t *diagnosis = json_object_get(alarm, "diagnosis");
    const char *cause = page_json_text(diagnosis, "cause");
    char percent[PAGE_TEXT_SIZE];
    if (cause && strcmp(cause, "none") != 0) {
        html_markup(&view->html, "<h4>Likely cause</h4><p>");
        html_element(&view->html, "strong", page_cause_text(cause), NULL);
        if (isfinite(page_json_number(diagnosis, "confidence")))
            html_format(&view->html, ", confidence %s",
                        page_percent_text(percent, page_json_number(diagnosis, "confidence")));
        html_markup(&view->html, "</p>");
        page_json_list(view, json_object_get(diagnosis, "evidence"));
    }
    if (json_array_size(json_object_get(alarm, "check"))) {
        html_markup(&view->html, "<h4>Check first</h4>");
        page_json_list(view, json_object_get(alarm, "check"));
    }
    if (json_array_size(json_object_get(alarm, "bring"))) {
        html_markup(&view->html, "<h4>Bring</h4>");
        page_json_list(view, json_object_get(alarm, "bring"));
    }
}

/* The first line of the text is its subject. */
static void write_heading(struct page_view *view, const json_t *alarm, const char *id) {
    const char *text = page_json_text(alarm, "text");
    size_t length = text ? strcspn(text, "\n") : 0;
    html_open(&view->html, "h3", "id", id, NULL);
    if (length)
        html_format(&view->html, "%.*s", (int)length, text);
    else
        html_text(&view->html, page_json_text(alarm, "condition"));
    html_markup(&view->html, "</h3>");
}

static void write_facts(struct page_view *view, const json_t *alarm, size_t system) {
    const struct time_zone *zone = page_zone(view, system);
    const char *unit = page_json_text(alarm, "unit"), *by;
    const struct unit *known = unit ? unit_find(unit, strlen(unit)) : NULL;
    const char *point_id = page_json_text(alarm, "point");
    size_t point = system == FLEET_NONE || !point_id
                       ? FLEET_NONE
                       : fleet_find_point(view->api->fleet, system, point_id);
    enum unit_system kept = point == FLEET_NONE ? view->units : page_units_of_point(view, point);
    html_markup(&view->html, "<p class=\"facts\">Priority ");
    html_element(&view->html, "span", page_json_text(alarm, "priority"), "class", "priority", NULL);
    html_format(&view->html, " · %s · %s since ", page_json_text(alarm, "state"),
                page_json_text(alarm, "condition"));
    page_time(view, page_json_time(alarm, "since"), zone);
    if (known && isfinite(page_json_number(alarm, "value"))) {
        html_markup(&view->html, ": ");
        page_value(view, page_json_number(alarm, "value"), known->dimension);
        if (isfinite(page_json_number(alarm, "setpoint"))) {
            html_markup(&view->html, " against a limit of ");
            page_value(view, page_json_number(alarm, "setpoint"), known->dimension);
        }
    }
    html_markup(&view->html, ".");
    view->units = kept;
    const json_t *acknowledged = json_object_get(alarm, "acknowledged");
    if ((by = page_json_text(acknowledged, "by"))) {
        html_format(&view->html, " Acknowledged by %s", by);
        if (page_json_text(acknowledged, "note"))
            html_format(&view->html, ": %s", page_json_text(acknowledged, "note"));
        html_markup(&view->html, ".");
    }
    const json_t *shelved = json_object_get(alarm, "shelved");
    if ((by = page_json_text(shelved, "by"))) {
        html_format(&view->html, " Shelved by %s until ", by);
        page_time(view, page_json_time(shelved, "until"), zone);
        html_format(&view->html, ": %s.", page_json_text(shelved, "why"));
    }
    html_markup(&view->html, "</p>");
}

static void write_item(struct page_view *view, const json_t *alarm, size_t only) {
    char id[48];
    size_t system = system_of(view, alarm);
    const char *text = page_json_text(alarm, "text");
    snprintf(id, sizeof id, "alarm-%.0f", page_json_number(alarm, "id"));
    html_open(&view->html, "article", "class", "alarm", "aria-labelledby", id, NULL);
    write_heading(view, alarm, id);
    if (only == FLEET_NONE && system != FLEET_NONE) {
        struct html_address address = page_system_address(view, system, "");
        html_markup(&view->html, "<p>System: ");
        page_link(view, &address, view->api->fleet->systems[system].description->name);
        html_markup(&view->html, "</p>");
    }
    write_facts(view, alarm, system);
    /* What another alarm explains needs no explanation of its own. */
    const char *state = page_json_text(alarm, "state");
    if (!state || strcmp(state, "suppressed by design") != 0)
        write_diagnosis(view, alarm);
    const char *rest = text ? strstr(text, "\n\n") : NULL;
    if (rest) {
        html_markup(&view->html, "<details><summary>The whole message</summary><p "
                                 "class=\"message\">");
        html_text(&view->html, rest + 2);
        html_markup(&view->html, "</p></details>");
    }
    write_actions(view, alarm, only);
    html_markup(&view->html, "</article>");
}

/* What a homeowner reads by a link: the message in a homeowner's words, and nothing beside it. */
static void write_shared_item(struct page_view *view, const json_t *alarm) {
    const struct api *api = view->api;
    int64_t id = json_integer_value(json_object_get(alarm, "id"));
    const struct alarm *known =
        alarm_book_find(monitor_alarms(pipeline_monitor(api->pipeline)), id);
    char *text = known ? announce_homeowner_text(api->fleet, known) : NULL;
    char *rest = text ? strstr(text, "\n\n") : NULL;
    if (rest) {
        *rest = '\0';
        html_markup(&view->html, "<article class=\"alarm\">");
        html_element(&view->html, "h3", text, NULL);
        html_element(&view->html, "p", rest + 2, "class", "message", NULL);
        html_markup(&view->html, "</article>");
    }
    free(text);
}

void page_alarm_items(struct page_view *view, const json_t *alarms, size_t only) {
    if (json_array_size(alarms) == 0)
        html_markup(&view->html, "<p class=\"none\">No open alarm.</p>");
    for (size_t i = 0; i < json_array_size(alarms); i++) {
        if (view->share)
            write_shared_item(view, json_array_get(alarms, i));
        else
            write_item(view, json_array_get(alarms, i), only);
    }
}

static void write_past(struct page_view *view, const json_t *alarm, size_t only) {
    size_t system = system_of(view, alarm);
    const struct time_zone *zone = page_zone(view, system);
    const json_t *diagnosis = json_object_get(alarm, "diagnosis");
    const char *cause = page_json_text(diagnosis, "cause");
    html_markup(&view->html, "<tr><th scope=\"row\" data-label=\"Condition\">");
    html_text(&view->html, page_json_text(alarm, "condition"));
    html_markup(&view->html, "</th>");
    if (only == FLEET_NONE) {
        html_markup(&view->html, "<td data-label=\"System\">");
        if (system != FLEET_NONE) {
            struct html_address address = page_system_address(view, system, "");
            page_link(view, &address, view->api->fleet->systems[system].description->name);
        } else
            html_text(&view->html, page_json_text(alarm, "system"));
        html_markup(&view->html, "</td>");
    }
    html_element(&view->html, "td", page_json_text(alarm, "point"), "data-label", "Point", NULL);
    html_element(&view->html, "td", page_json_text(alarm, "priority"), "data-label", "Priority",
                 NULL);
    html_markup(&view->html, "<td data-label=\"From\">");
    page_time(view, page_json_time(alarm, "since"), zone);
    html_markup(&view->html, "</td><td data-label=\"To\">");
    if (page_json_time(alarm, "returned") == TIMESTAMP_NONE)
        html_markup(&view->html, "still stands");
    else
        page_time(view, page_json_time(alarm, "returned"), zone);
    html_markup(&view->html, "</td>");
    html_element(&view->html, "td",
                 cause && strcmp(cause, "none") != 0 ? page_cause_text(cause) : "–", "data-label",
                 "Likely cause", NULL);
    html_markup(&view->html, "</tr>");
}

void page_alarm_history(struct page_view *view, const json_t *alarms, size_t only) {
    if (json_array_size(alarms) == 0) {
        html_markup(&view->html, "<p class=\"none\">No alarm so far.</p>");
        return;
    }
    html_markup(&view->html,
                "<table class=\"history\"><thead><tr><th scope=\"col\">Condition</th>");
    if (only == FLEET_NONE)
        html_markup(&view->html, "<th scope=\"col\">System</th>");
    html_markup(&view->html, "<th scope=\"col\">Point</th><th scope=\"col\">Priority</th><th "
                             "scope=\"col\">From</th><th scope=\"col\">To</th><th "
                             "scope=\"col\">Likely cause</th></tr></thead><tbody>");
    for (size_t i = 0; i < json_array_size(alarms); i++)
        write_past(view, json_array_get(alarms, i), only);
    html_markup(&view->html, "</tbody></table>");
}
