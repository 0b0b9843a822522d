/*
 * The sheet of one system: what is wrong and what to do, what it is and does now, how it has been,
 * and what was done; what is not needed first is folded.
 */
#include "page/alarm_items.h"
#include "page/facts.h"
#include "page/forms.h"
#include "page/sections.h"
#include "page/share.h"
#include "page/view_text.h"
#include "page/view_words.h"
#include "store/records.h"

#include <string.h>

enum { PAST_ALARMS_MOST = 40, RECORDS_MOST = 12 };

/* ---- radon ---- */

static void write_radon(struct page_view *view, size_t system, const struct system_facts *facts) {
    const struct fleet *fleet = view->api->fleet;
    const struct fleet_system *owner = &fleet->systems[system];
    if (fleet_point_of(fleet, system, QUANTITY_RADON) == FLEET_NONE)
        return;
    html_markup(&view->html, "<section>");
    page_element(view, "h2", PAGE_RADON_ON_AVERAGE);
    page_fill_element(view, "p", NULL, PAGE_ACTION_LEVEL,
                      slot_value(fleet->settings->radon_action_level_bq_m3, DIMENSION_RADON));
    for (size_t i = 0; i < owner->point_count; i++) {
        if (owner->description->points[i].quantity != QUANTITY_RADON)
            continue;
        page_radon_name(view, system, owner->first_point + i);
        page_year(view, &facts->points[i]);
        page_open_details(view, PAGE_ALL_MEANS);
        page_averages(view, &facts->points[i], DIMENSION_RADON);
        html_markup(&view->html, "</details>");
    }
    html_markup(&view->html, "</section>");
}

/* ---- what people can do ---- */

static void write_share_form(struct page_view *view, size_t system) {
    char token[PAGE_SHARE_SIZE];
    struct store *store = pipeline_store(view->api->pipeline);
    html_markup(&view->html, "<details id=\"share\">");
    page_element(view, "summary", PAGE_LINK_FOR_HOME);
    if (store && page_share_current(store, fleet_system_id(view->api->fleet, system), token)) {
        struct html_address address = page_path(view, "/share/");
        html_address_part(&address, token);
        html_markup(&view->html, "<p>");
        page_write(view, PAGE_LINK_SHOWS);
        html_markup(&view->html, "<br>");
        page_link(view, &address, address.text);
        html_markup(&view->html, "</p>");
        page_begin_form(view, system, "/withdraw-share");
        page_end_form(view, PAGE_WITHDRAW_LINK);
    } else {
        page_element(view, "p", PAGE_NO_LINK);
        page_begin_form(view, system, "/share");
        page_end_form(view, PAGE_MAKE_LINK);
    }
    html_markup(&view->html, "</details>");
}

static void write_actions(struct page_view *view, size_t system) {
    if (!view->session)
        return;
    struct html_address commission = page_system_address(view, system, "/commission");
    html_markup(&view->html, "<section class=\"actions no-print\">");
    page_element(view, "h2", PAGE_CHANGES);
    page_link_line(view, &commission, page_words(view, PAGE_COMMISSION_LINK));
    page_visit_form(view, system);
    page_radon_test_form(view, system);
    page_take_back_form(view, system);
    page_service_form(view, system);
    write_share_form(view, system);
    html_markup(&view->html, "</section>");
}

/* ---- the sheet ---- */

struct service_note {
    struct page_view *view;
    size_t system;
};

static bool write_service(void *context, const struct record_service *service) {
    const struct service_note *note = context;
    struct page_view *view = note->view;
    if (strcmp(service->system, fleet_system_id(view->api->fleet, note->system)) != 0)
        return true;
    page_fill_element(view, "p", "notice", PAGE_SERVICE_NOTE,
                      slot_time(service->until_ms, page_zone(view, note->system)),
                      slot_text(service->by), slot_text(service->why));
    return false;
}

static void write_top(struct page_view *view, size_t system) {
    const struct system_description *about = view->api->fleet->systems[system].description;
    const struct time_zone *zone = page_zone(view, system);
    struct html_address record = page_system_address(view, system, "/record");
    int64_t since_ms = 0;
    enum monitor_status status =
        monitor_status(pipeline_monitor(view->api->pipeline), system, &since_ms);
    html_element(&view->html, "h1", about->name, NULL);
    html_markup(&view->html, "<p class=\"lead\">");
    page_status(view, status);
    html_markup(&view->html, " ");
    page_status_since(view, system, status, since_ms);
    page_write(view, PAGE_LAST_READING_IS);
    page_age(view, monitor_system_newest_ms(pipeline_monitor(view->api->pipeline), system), zone);
    html_markup(&view->html, " · ");
    page_link(view, &record, page_words(view, PAGE_RECORD_LINK));
    html_markup(&view->html, "</p>");
    if (about->address || about->foundation) {
        html_markup(&view->html, "<p>");
        html_text(&view->html, about->address);
        html_text(&view->html, about->address && about->foundation ? " · " : "");
        html_text(&view->html, about->foundation);
        html_markup(&view->html, "</p>");
    }
    struct store *store = pipeline_store(view->api->pipeline);
    struct service_note note = {view, system};
    if (store && page_out_of_service(view, system))
        record_service_list(store, write_service, &note);
}

static bool write_past(void *context, const struct record_alarm *row, const struct alarm *open) {
    (void)open;
    page_past_alarm(context, row);
    return true;
}

static void write_records(struct page_view *view, size_t system) {
    const struct api_alarm_choice past = {
        .all = true, .system = system, .since_ms = TIMESTAMP_NONE, .limit = PAST_ALARMS_MOST};
    struct page_past_alarms table = {view, system, 0};
    html_markup(&view->html, "<section class=\"past\">");
    page_element(view, "h2", PAGE_WHAT_WAS_DONE);
    page_open_details(view, PAGE_COMMISSIONING_TESTS);
    page_commissioning(view, system, RECORDS_MOST);
    page_radon_tests(view, system, RECORDS_MOST);
    html_markup(&view->html, "</details>");
    page_open_details(view, PAGE_VISITS);
    page_past_visits(view, system, RECORDS_MOST);
    html_markup(&view->html, "</details>");
    page_open_details(view, PAGE_ALARMS_SO_FAR);
    api_alarms_each(view->api, &past, write_past, &table);
    page_past_alarms_end(&table);
    html_markup(&view->html, "</details></section>");
}

static void write_cautions(struct page_view *view) {
    html_markup(&view->html, "<section class=\"cautions\">");
    page_element(view, "p", PAGE_CAUTIONS);
    html_markup(&view->html, "</section>");
}

void page_system(struct page_view *view, size_t system) {
    const struct system_description *about = view->api->fleet->systems[system].description;
    const struct page_head head = {.title = about->name, .system = system};
    const struct system_facts *facts = page_facts(view, system);
    if (!facts)
        return;
    page_begin(view, &head);
    write_top(view, system);
    page_wrong(view, system);
    page_household(view, system);
    html_markup(&view->html, "<section>");
    page_element(view, "h2", PAGE_SYSTEM_NOW);
    page_drawing(view, system);
    html_markup(&view->html, "</section>");
    page_points(view, system, facts);
    html_markup(&view->html, "<section>");
    page_element(view, "h2", PAGE_FAN_AND_GROUND);
    page_fan_and_ground(view, system, facts);
    html_markup(&view->html, "</section>");
    write_radon(view, system, facts);
    page_charts(view, system);
    write_actions(view, system);
    write_records(view, system);
    write_cautions(view);
    page_end(view, 200);
}
