/*
 * The record: one or two printed pages for the homeowner's files or the sale of a house. What was
 * installed and measured, the averages with what they are worth, what happened, and what all this
 * does and does not prove.
 */
#include "api/in_spec.h"
#include "measure/duration.h"
#include "page/alarm_items.h"
#include "page/facts.h"
#include "page/view_text.h"
#include "page/view_words.h"
#include "store/records.h"

#include <math.h>
#include <string.h>

enum {
    ALARMS_MOST = 8,
    LOOKED_AT_MOST = 200,
    VISITS_MOST = 5,
    RECORDS_MOST = 2,
    BY_HAND_MOST = 5,
    OUTAGES_MOST = 10
};

static void write_installed(struct page_view *view, size_t system) {
    const struct system_description *about = view->api->fleet->systems[system].description;
    char text[PAGE_TEXT_SIZE];
    html_markup(&view->html, "<section>");
    page_element(view, "h2", PAGE_WHAT_IS_INSTALLED);
    html_markup(&view->html, "<dl class=\"facts-list\">");
    if (about->address) {
        page_element(view, "dt", PAGE_ADDRESS);
        html_element(&view->html, "dd", about->address, NULL);
    }
    if (about->foundation) {
        page_element(view, "dt", PAGE_FOUNDATION);
        html_element(&view->html, "dd", about->foundation, NULL);
    }
    if (about->branches[0].pipe_inside_diameter_m > 0) {
        page_element(view, "dt", PAGE_PIPE);
        page_fill_element(
            view, "dd", NULL, PAGE_PIPE_INSIDE,
            slot_text(unit_format(text, sizeof text, about->branches[0].pipe_inside_diameter_m,
                                  DIMENSION_LENGTH, view->units)));
    }
    page_element(view, "dt", PAGE_WATCHED_BY);
    html_markup(&view->html, "<dd>");
    for (size_t i = 0; i < about->point_count; i++)
        html_format(&view->html, "%s%s", i ? "; " : "", about->points[i].name);
    html_markup(&view->html, "</dd></dl></section>");
}

static void write_equipment(struct page_view *view, size_t system) {
    const struct system_description *about = view->api->fleet->systems[system].description;
    for (size_t b = 0; b < about->branch_count; b++) {
        if (about->branch_count > 1)
            html_element(&view->html, "h3", about->branches[b].id, NULL);
        page_equipment(view, system, b);
    }
}

/* ---- in order, and not ---- */

static void write_outages(struct page_view *view, size_t system, const struct in_spec_part *part) {
    const struct time_zone *zone = page_zone(view, system);
    size_t first = part->count > OUTAGES_MOST ? part->count - OUTAGES_MOST : 0;
    html_markup(&view->html, "<ul class=\"records\">");
    for (size_t i = part->count; i > first; i--) {
        page_fill_element(view, "li", NULL, PAGE_FROM_TO,
                          slot_time(part->outages[i - 1].from_ms, zone),
                          slot_time(part->outages[i - 1].to_ms, zone));
    }
    html_markup(&view->html, "</ul>");
    if (first) {
        page_fill_element(view, "p", NULL, PAGE_AND_BEFORE, slot_count(first));
    }
}

static void write_in_spec(struct page_view *view, size_t system) {
    struct in_spec spec;
    int64_t now_ms = view->api->now_ms;
    bool read = in_spec_read(&spec, view->api, system, now_ms - 365 * DURATION_DAY_MS, now_ms);
    const struct in_spec_part *part = &spec.parts[IN_SPEC_SYSTEM];
    html_markup(&view->html, "<section>");
    page_element(view, "h2", PAGE_SHARE_IN_SPEC);
    html_markup(&view->html, "<p>");
    if (!read || !isfinite(part->share))
        page_write(view,
                   spec.commissioned && spec.by_hand ? PAGE_SHARE_BY_HAND : PAGE_SHARE_UNKNOWN);
    else
        page_fill(view, part->count ? PAGE_SHARE_OUTAGES : PAGE_SHARE_NO_OUTAGE,
                  slot_percent(part->share), slot_date(spec.from_ms, page_zone(view, system)),
                  slot_percent(part->covered));
    html_markup(&view->html, "</p>");
    if (part->count)
        write_outages(view, system, part);
    html_markup(&view->html, "</section>");
    in_spec_clear(&spec);
}

static void write_radon(struct page_view *view, size_t system, const struct system_facts *facts) {
    static const char *const windows[] = {"91 d", "365 d", "since commissioning"};
    const struct fleet_system *owner = &view->api->fleet->systems[system];
    size_t radon = fleet_point_of(view->api->fleet, system, QUANTITY_RADON);
    html_markup(&view->html, "<section>");
    page_element(view, "h2", PAGE_RADON_ON_AVERAGE);
    if (radon == FLEET_NONE)
        page_element(view, "p", PAGE_RADON_NOT_MEASURED);
    else
        for (size_t i = 0; i < owner->point_count; i++) {
            if (owner->description->points[i].quantity != QUANTITY_RADON)
                continue;
            page_radon_name(view, system, owner->first_point + i);
            page_year(view, &facts->points[i]);
            page_average_sentences(view, &facts->points[i], windows,
                                   sizeof windows / sizeof windows[0], DIMENSION_RADON);
        }
    html_markup(&view->html, "</section>");
}

static void write_suction(struct page_view *view, size_t system, const struct system_facts *facts) {
    static const char *const windows[] = {"30 d", "365 d"};
    const struct api *api = view->api;
    size_t first_point = api->fleet->systems[system].first_point;
    size_t suction = fleet_point_of(api->fleet, system, QUANTITY_SUCTION);
    if (suction == FLEET_NONE)
        return;
    const struct point_baseline *baseline = api_baseline(api, suction);
    html_markup(&view->html, "<section>");
    page_element(view, "h2", PAGE_SUCTION_ON_AVERAGE);
    page_fill_element(view, "p", NULL, PAGE_AT_COMMISSIONING_IS,
                      slot_value(baseline ? baseline->value : NAN, DIMENSION_PRESSURE));
    page_average_sentences(view, &facts->points[suction - first_point], windows,
                           sizeof windows / sizeof windows[0], DIMENSION_PRESSURE);
    html_markup(&view->html, "</section>");
}

struct by_hand {
    struct page_records records;
    size_t point;
};

static bool write_by_hand(void *context, const struct record_by_hand *record) {
    struct by_hand *by_hand = context;
    struct page_view *view = by_hand->records.view;
    size_t point = by_hand->point;
    if (by_hand->records.rows == 0)
        page_element(view, "h3", PAGE_READINGS_BY_HAND);
    page_records_next(&by_hand->records);
    enum unit_system kept = page_units_of_point(view, point);
    page_date(view, record->time_ms, page_zone(view, by_hand->records.system));
    html_markup(&view->html, "</strong> ");
    page_fill(view, PAGE_READ_BY, slot_text(view->api->fleet->points[point].description->name),
              slot_value(record->value, page_dimension(view, point)), slot_text(record->by));
    html_markup(&view->html, "</li>");
    view->units = kept;
    return true;
}

static void write_all_by_hand(struct page_view *view, size_t system) {
    const struct fleet_system *owner = &view->api->fleet->systems[system];
    struct store *store = pipeline_store(view->api->pipeline);
    struct by_hand by_hand = {.records = {view, system, SIZE_MAX, 0}};
    for (size_t i = 0; store && i < owner->point_count; i++) {
        by_hand.point = owner->first_point + i;
        record_by_hand_newest(store, pipeline_key(view->api->pipeline, by_hand.point), BY_HAND_MOST,
                              write_by_hand, &by_hand);
    }
    page_records_end(&by_hand.records, NULL);
}

struct happened {
    struct page_past_alarms table;
    size_t of_sensors;
    bool more;
};

/* Trouble of the sensors alone says nothing of the house; how many there were is told. */
static bool take_alarm(void *context, const struct record_alarm *row, const struct alarm *open) {
    struct happened *happened = context;
    (void)open;
    if (strncmp(row->condition, "sensor-", 7) == 0 || strncmp(row->condition, "battery-", 8) == 0)
        happened->of_sensors++;
    else if (happened->table.rows < ALARMS_MOST)
        page_past_alarm(&happened->table, row);
    else
        happened->more = true;
    return true;
}

static void write_alarms(struct page_view *view, size_t system) {
    const struct api_alarm_choice past = {
        .all = true, .system = system, .since_ms = TIMESTAMP_NONE, .limit = LOOKED_AT_MOST};
    struct happened happened = {.table = {view, system, 0}};
    page_element(view, "h3", PAGE_ALARMS);
    api_alarms_each(view->api, &past, take_alarm, &happened);
    page_past_alarms_end(&happened.table);
    if (happened.more)
        page_element(view, "p", PAGE_EARLIER_ALARMS);
    if (happened.of_sensors) {
        page_fill_element(view, "p", NULL, PAGE_SENSOR_ALARMS, slot_count(happened.of_sensors));
    }
}

static void write_happened(struct page_view *view, size_t system) {
    html_markup(&view->html, "<section>");
    page_element(view, "h2", PAGE_WHAT_HAPPENED);
    page_radon_tests(view, system, VISITS_MOST);
    page_element(view, "h3", PAGE_VISITS);
    page_past_visits(view, system, VISITS_MOST);
    write_all_by_hand(view, system);
    write_alarms(view, system);
    html_markup(&view->html, "</section>");
}

/* EPA: A Citizen's Guide to Radon (EPA 402/K-12/002); WHO Handbook on Indoor Radon, 2009. */
static void write_worth(struct page_view *view) {
    html_markup(&view->html, "<section>");
    page_element(view, "h2", PAGE_WHAT_IT_PROVES);
    page_fill_element(
        view, "p", NULL, PAGE_PROVES_LEVEL,
        slot_value(view->api->fleet->settings->radon_action_level_bq_m3, DIMENSION_RADON));
    page_element(view, "p", PAGE_PROVES_SENSORS);
    page_element(view, "p", PAGE_PROVES_NO_TEST);
    html_markup(&view->html, "</section>");
}

static void write_links(struct page_view *view, size_t system) {
    struct html_address back = page_system_address(view, system, "");
    struct html_address sheet = page_system_address(view, system, "/fan-sheet");
    struct html_address letter = page_system_address(view, system, "/report");
    struct html_address text = page_system_address(view, system, "/record");
    html_address_query(&text, "as", "text");
    html_markup(&view->html, "<p class=\"no-print\">");
    page_write(view, PAGE_TO_KEEP);
    html_markup(&view->html, " ");
    page_link(view, &back, page_words(view, PAGE_BACK_TO_SYSTEM));
    html_markup(&view->html, " · ");
    page_link(view, &letter, page_words(view, PAGE_YEARS_LETTER));
    html_markup(&view->html, " · ");
    page_link(view, &sheet, page_words(view, PAGE_SHEET_AT_FAN));
    html_markup(&view->html, " · ");
    page_link(view, &text, page_words(view, PAGE_AS_PLAIN_TEXT));
    html_markup(&view->html, "</p>");
}

void page_record(struct page_view *view, size_t system) {
    const struct system_description *about = view->api->fleet->systems[system].description;
    char title[200];
    page_name_in(view, title, sizeof title, PAGE_RECORD_OF, about->name);
    const struct page_head head = {.title = title, .style = "record", .system = system};
    int64_t since_ms = 0;
    const struct system_facts *facts = page_facts(view, system);
    if (!facts)
        return;
    page_begin(view, &head);
    html_element(&view->html, "h1", title, NULL);
    if (!view->paper)
        write_links(view, system);
    html_markup(&view->html, "<p class=\"lead\">");
    page_fill(view, PAGE_MADE_ON, slot_time(view->api->now_ms, page_zone(view, system)));
    page_status(view, monitor_status(pipeline_monitor(view->api->pipeline), system, &since_ms));
    html_markup(&view->html, ".</p>");
    write_installed(view, system);
    write_equipment(view, system);
    html_markup(&view->html, "<section>");
    page_element(view, "h2", PAGE_MEASURED_COMMISSIONING);
    page_commissioning(view, system, RECORDS_MOST);
    html_markup(&view->html, "</section>");
    write_radon(view, system, facts);
    write_suction(view, system, facts);
    write_in_spec(view, system);
    write_happened(view, system);
    write_worth(view);
    page_end(view, 200);
}
