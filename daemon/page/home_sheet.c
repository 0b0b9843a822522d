/*
 * What a homeowner's link shows: how it stands, what to know, the pull, radon, what was done.
 */
#include "api/routes.h"
#include "page/home.h"
#include "page/view_text.h"
#include "store/records.h"
#include "tell/announce.h"
#include "words/home_report.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { BY_HAND_MOST = 5, SENT_MOST = 12, VISITS_MOST = 12, PAST_MOST = 12, PAST_LOOKED_AT = 200 };

static enum monitor_status status_of(const struct page_view *view, size_t system) {
    int64_t since_ms = 0;
    return monitor_status(pipeline_monitor(view->api->pipeline), system, &since_ms);
}

/* ---- how it stands ---- */

static void write_status(struct page_view *view, size_t system) {
    static const enum home_text words[] = {[MONITOR_IN_SPEC] = HOME_IN_SPEC,
                                           [MONITOR_DRIFTING] = HOME_DRIFTING,
                                           [MONITOR_OUT_OF_SPEC] = HOME_OUT_OF_SPEC,
                                           [MONITOR_SILENT] = HOME_NOT_HEARD,
                                           [MONITOR_OUT_OF_SERVICE] = HOME_OUT_OF_SERVICE};
    const struct monitor *monitor = pipeline_monitor(view->api->pipeline);
    const struct time_zone *zone = page_zone(view, system);
    enum monitor_status status = status_of(view, system);
    enum home_text word = words[status];
    char time[PAGE_TEXT_SIZE] = "";
    int64_t heard_ms = monitor_system_newest_ms(monitor, system);
    if (status == MONITOR_SILENT && heard_ms == TIMESTAMP_NONE)
        word = HOME_NEVER_HEARD;
    else if (status == MONITOR_SILENT)
        page_date_text(time, heard_ms, zone);
    else if (status == MONITOR_OUT_OF_SERVICE)
        page_time_text(time, monitor_out_of_service_until(monitor, system), zone);
    html_markup(&view->html, "<p class=\"lead\"><strong>");
    page_status_mark(view, status);
    html_markup(&view->html, " ");
    home_write_with(view, word, time, NULL, NULL);
    html_markup(&view->html, "</strong></p>");
}

/* To touch: a telephone asks before it calls (RFC 3966; blanks are not part of a number there). */
static void write_telephone(struct page_view *view, const char *telephone) {
    char address[120] = "tel:";
    size_t used = strlen(address);
    for (const char *at = telephone; *at && used + 1 < sizeof address; at++)
        if (strchr("+0123456789", *at))
            address[used++] = *at;
    address[used] = '\0';
    html_element(&view->html, "a", telephone, "href", address, NULL);
}

static void write_whom_to_call(struct page_view *view, size_t system) {
    const struct contractor *whom = fleet_contractor(view->api->fleet, system);
    const char *pattern = home_words(view, HOME_CALL), *open = strchr(pattern, '{');
    if (!whom->name && !whom->telephone)
        return;
    html_markup(&view->html, "<p>");
    html_format(&view->html, "%.*s%s%s", (int)(open - pattern), pattern,
                whom->name ? whom->name : "", whom->name && whom->telephone ? ", " : "");
    if (whom->telephone)
        write_telephone(view, whom->telephone);
    html_text(&view->html, open + 3);
    html_markup(&view->html, "</p>");
}

/* ---- what to know now ---- */

struct standing {
    struct page_view *view;
    size_t count;
};

/* The message in a homeowner's words. What another alarm explains is said by that one. */
static bool write_standing(void *context, const struct record_alarm *row,
                           const struct alarm *alarm) {
    struct standing *standing = context;
    struct page_view *view = standing->view;
    (void)row;
    if (!alarm_stands(alarm) || alarm_state(alarm) == ALARM_SUPPRESSED_BY_DESIGN)
        return true;
    char *text = announce_alarm_text(view->api->fleet, alarm, WORDING_HOMEOWNER, view->language);
    char *rest = text ? strstr(text, "\n\n") : NULL;
    if (rest) {
        *rest = '\0';
        html_markup(&view->html, "<article class=\"alarm\">");
        html_element(&view->html, "h3", text, NULL);
        html_element(&view->html, "p", rest + 2, "class", "message", NULL);
        html_markup(&view->html, "</article>");
        standing->count++;
    }
    free(text);
    return true;
}

static void write_now(struct page_view *view, size_t system) {
    const struct api_alarm_choice open = {.system = system, .since_ms = TIMESTAMP_NONE};
    struct standing standing = {view, 0};
    html_markup(&view->html, "<section>");
    home_element(view, "h2", HOME_NOW, NULL);
    api_alarms_each(view->api, &open, write_standing, &standing);
    if (standing.count == 0)
        home_element(view, "p", HOME_NOTHING_WRONG, NULL);
    html_markup(&view->html, "</section>");
}

/* ---- the pull ---- */

static void write_pull_now(struct page_view *view, size_t point, const struct point_state *state) {
    char time[PAGE_TEXT_SIZE];
    bool by_hand = view->api->fleet->points[point].description->by_hand;
    home_element(view, "dt", HOME_READS_NOW, NULL);
    html_markup(&view->html, "<dd>");
    if (state->newest_ms == TIMESTAMP_NONE) {
        home_write(view, HOME_NO_READING);
    } else {
        page_value(view, state->newest_value, DIMENSION_PRESSURE);
        html_markup(&view->html, ", ");
        page_time_text(time, state->newest_ms,
                       page_zone(view, view->api->fleet->points[point].system));
        home_write_with(view, by_hand ? HOME_HAND_AT : HOME_SENSOR_AT, time, NULL, NULL);
    }
    html_markup(&view->html, "</dd>");
}

static void write_pull_then(struct page_view *view, size_t point, const struct point_state *state) {
    const struct point_baseline *baseline = point_state_baseline(state, view->api->now_ms);
    char percent[PAGE_TEXT_SIZE];
    home_element(view, "dt", HOME_AT_SET_UP, NULL);
    html_markup(&view->html, "<dd>");
    if (baseline) {
        page_value(view, baseline->value, DIMENSION_PRESSURE);
        html_markup(&view->html, " (");
        page_date(view, baseline->from_ms, page_zone(view, view->api->fleet->points[point].system));
        html_markup(&view->html, ")");
    } else {
        home_write(view, HOME_NO_SET_UP);
    }
    if (baseline && baseline->value > 0 && state->newest_ms != TIMESTAMP_NONE) {
        html_markup(&view->html, "; ");
        home_write_with(view, HOME_SHARE_OF_SET_UP,
                        page_ratio_text(percent, state->newest_value / baseline->value), NULL,
                        NULL);
    }
    html_markup(&view->html, "</dd>");
}

static void write_due(struct page_view *view, size_t point) {
    int64_t due_ms = monitor_reading_due_ms(pipeline_monitor(view->api->pipeline), point);
    char date[PAGE_TEXT_SIZE] = "";
    bool known = due_ms != INT64_MAX, over = !known || due_ms <= view->api->now_ms;
    if (!over)
        page_date_text(date, due_ms, page_zone(view, view->api->fleet->points[point].system));
    home_element(view, "p", over ? HOME_READING_DUE : HOME_NEXT_READING, date);
}

struct hand_readings {
    struct page_view *view;
    const struct time_zone *zone;
    size_t rows;
};

static bool write_reading(void *context, const struct record_by_hand *record) {
    struct hand_readings *list = context;
    struct page_view *view = list->view;
    if (list->rows++ == 0) {
        home_element(view, "h4", HOME_BY_HAND, NULL);
        html_markup(&view->html, "<ul>");
    }
    html_markup(&view->html, "<li>");
    page_date(view, record->time_ms, list->zone);
    html_markup(&view->html, ": ");
    page_value(view, record->value, DIMENSION_PRESSURE);
    html_markup(&view->html, "</li>");
    return true;
}

static void write_by_hand(struct page_view *view, size_t point) {
    struct store *store = pipeline_store(view->api->pipeline);
    struct hand_readings list = {view, page_zone(view, view->api->fleet->points[point].system), 0};
    if (store)
        record_by_hand_newest(store, pipeline_key(view->api->pipeline, point), BY_HAND_MOST,
                              write_reading, &list);
    if (list.rows)
        html_markup(&view->html, "</ul>");
}

static void write_gauge(struct page_view *view, size_t point) {
    const struct point_state *state = monitor_point(pipeline_monitor(view->api->pipeline), point);
    const struct fleet_point *about = &view->api->fleet->points[point];
    char number[24];
    if (view->api->fleet->systems[about->system].description->branch_count > 1) {
        snprintf(number, sizeof number, "%zu", about->description->branch + 1);
        home_element(view, "h3", HOME_PIPE, number);
    }
    html_markup(&view->html, "<dl class=\"facts-list\">");
    write_pull_now(view, point, state);
    write_pull_then(view, point, state);
    html_markup(&view->html, "</dl>");
    if (about->description->by_hand)
        write_due(view, point);
    write_by_hand(view, point);
}

static void write_pull(struct page_view *view, size_t system) {
    const struct fleet_system *owner = &view->api->fleet->systems[system];
    size_t gauges = 0;
    html_markup(&view->html, "<section>");
    home_element(view, "h2", HOME_PULL, NULL);
    home_element(view, "p", HOME_PULL_MEANS, NULL);
    for (size_t i = 0; i < owner->point_count; i++) {
        if (owner->description->points[i].quantity != QUANTITY_SUCTION)
            continue;
        write_gauge(view, owner->first_point + i);
        gauges++;
    }
    if (gauges == 0)
        home_element(view, "p", HOME_NO_PULL, NULL);
    html_markup(&view->html, "</section>");
}

/* ---- what was done and what happened ---- */

struct home_rows {
    struct page_view *view;
    size_t system, count;
};

static void begin_row(struct home_rows *rows) {
    if (rows->count++ == 0)
        html_markup(&rows->view->html, "<ul>");
    html_markup(&rows->view->html, "<li>");
}

static void write_radon(struct page_view *view, enum home_text text, const json_t *value) {
    char number[PAGE_TEXT_SIZE];
    if (!json_is_number(value))
        return;
    html_markup(&view->html, " ");
    home_write_with(view, text,
                    page_value_text(view, number, json_number_value(value), DIMENSION_RADON), NULL,
                    NULL);
}

static bool write_commissioning(void *context, const struct record_commissioning *record) {
    struct home_rows *rows = context;
    struct page_view *view = rows->view;
    char date[PAGE_TEXT_SIZE];
    json_t *facts = json_loads(record->text, 0, NULL);
    html_markup(&view->html, "<p>");
    home_write_with(view, HOME_SET_UP,
                    page_date_text(date, record->from_ms, page_zone(view, rows->system)), NULL,
                    NULL);
    write_radon(view, HOME_RADON_BEFORE, json_object_get(facts, "radon_before"));
    write_radon(view, HOME_RADON_AFTER, json_object_get(facts, "radon_after"));
    html_markup(&view->html, "</p>");
    json_decref(facts);
    rows->count++;
    return true;
}

static bool write_visit(void *context, const struct record_visit *visit) {
    struct home_rows *rows = context;
    struct page_view *view = rows->view;
    if (rows->count == VISITS_MOST)
        return false;
    begin_row(rows);
    page_date(view, visit->on_ms, page_zone(view, rows->system));
    html_markup(&view->html, ": ");
    home_write(view, HOME_VISITED);
    html_markup(&view->html, "</li>");
    return true;
}

/* What a homeowner hears of: the watch's own sensors are the contractor's. */
static bool write_past(void *context, const struct record_alarm *row, const struct alarm *open) {
    struct home_rows *rows = context;
    struct page_view *view = rows->view;
    const struct time_zone *zone = page_zone(view, rows->system);
    enum condition condition;
    char from[PAGE_TEXT_SIZE], to[PAGE_TEXT_SIZE];
    (void)open;
    if (rows->count == PAST_MOST || !condition_find(row->condition, &condition) ||
        !(condition_info(condition)->hears & HEARS_HOMEOWNER))
        return rows->count < PAST_MOST;
    begin_row(rows);
    html_format(&view->html, "%s, ", wording_plain_subject(view->language, condition));
    page_date_text(from, row->since_ms, zone);
    if (row->returned_ms == TIMESTAMP_NONE)
        home_write_with(view, HOME_STILL, from, NULL, NULL);
    else
        home_write_with(view, HOME_FROM_TO, from, page_date_text(to, row->returned_ms, zone), NULL);
    html_markup(&view->html, "</li>");
    return true;
}

/* ---- what the household tells us ---- */

static void write_send(struct page_view *view) {
    static const struct {
        const char *behind;
        enum home_text text;
    } forms[] = {
        {"/u-tube", HOME_SEND_U_TUBE}, {"/radon-test", HOME_SEND_TEST}, {"/fan", HOME_SEND_FAN}};
    html_markup(&view->html, "<section>");
    home_element(view, "h2", HOME_SEND, NULL);
    html_markup(&view->html, "<ul class=\"ways\">");
    for (size_t i = 0; i < sizeof forms / sizeof forms[0]; i++) {
        struct html_address address = home_address(view, forms[i].behind);
        html_markup(&view->html, "<li>");
        page_link(view, &address, home_words(view, forms[i].text));
        html_markup(&view->html, "</li>");
    }
    html_markup(&view->html, "</ul></section>");
}

static bool write_sent(void *context, const struct record_home_report *report) {
    static const enum home_text words[HOME_REPORT_COUNT] = {HOME_SENT_U_TUBE, HOME_SENT_TEST,
                                                            HOME_SENT_SOUNDS, HOME_SENT_OFF};
    struct home_rows *rows = context;
    struct page_view *view = rows->view;
    enum home_report kind;
    if (!home_report_find(report->kind, &kind))
        return true;
    if (rows->count == 0)
        home_element(view, "h3", HOME_SENT_BEFORE, NULL);
    begin_row(rows);
    page_date(view, report->time_ms, page_zone(view, rows->system));
    html_markup(&view->html, ": ");
    home_write(view, words[kind]);
    if (isfinite(report->value)) {
        html_markup(&view->html, ", ");
        page_value(view, report->value,
                   kind == HOME_REPORT_U_TUBE ? DIMENSION_PRESSURE : DIMENSION_RADON);
    }
    if (report->note)
        html_format(&view->html, ": %s", report->note);
    html_markup(&view->html, "</li>");
    return true;
}

static void write_all_sent(struct page_view *view, size_t system) {
    struct store *store = pipeline_store(view->api->pipeline);
    struct home_rows rows = {.view = view, .system = system};
    if (store)
        record_home_report_newest(store, fleet_system_id(view->api->fleet, system), SENT_MOST,
                                  write_sent, &rows);
    if (rows.count)
        html_markup(&view->html, "</ul>");
}

static void end_list(struct page_view *view, const struct home_rows *rows, enum home_text none) {
    if (rows->count)
        html_markup(&view->html, "</ul>");
    else
        home_element(view, "p", none, NULL);
}

static void write_happened(struct page_view *view, size_t system) {
    const struct api_alarm_choice past = {
        .all = true, .system = system, .since_ms = TIMESTAMP_NONE, .limit = PAST_LOOKED_AT};
    const char *id = fleet_system_id(view->api->fleet, system);
    struct store *store = pipeline_store(view->api->pipeline);
    struct home_rows records = {.view = view, .system = system}, visits = records, alarms = records;
    html_markup(&view->html, "<section>");
    home_element(view, "h2", HOME_HAPPENED, NULL);
    if (store)
        record_commissioning_list(store, id, RECORD_NEWEST_FIRST, write_commissioning, &records);
    if (records.count == 0)
        home_element(view, "p", HOME_NO_RECORD, NULL);
    home_element(view, "h3", HOME_VISITS, NULL);
    if (store)
        record_visit_list(store, id, RECORD_NEWEST_FIRST, write_visit, &visits);
    end_list(view, &visits, HOME_NO_VISIT);
    home_element(view, "h3", HOME_PAST, NULL);
    api_alarms_each(view->api, &past, write_past, &alarms);
    end_list(view, &alarms, HOME_NO_PAST);
    write_all_sent(view, system);
    html_markup(&view->html, "</section>");
}

/* ---- the sheets ---- */

static void write_cautions(struct page_view *view) {
    static const enum home_text cautions[] = {HOME_CAUTION_ALARM, HOME_CAUTION_RISK,
                                              HOME_CAUTION_LEAVE, HOME_CAUTION_CODES};
    html_markup(&view->html, "<section class=\"cautions\">");
    for (size_t i = 0; i < sizeof cautions / sizeof cautions[0]; i++)
        home_element(view, "p", cautions[i], NULL);
    html_markup(&view->html, "</section>");
}

static void write_body(struct page_view *view, size_t system, const struct system_facts *facts,
                       bool takes) {
    const char *address = view->api->fleet->systems[system].description->address;
    write_status(view, system);
    if (address)
        html_element(&view->html, "p", address, NULL);
    write_whom_to_call(view, system);
    write_now(view, system);
    if (takes)
        write_send(view);
    write_pull(view, system);
    home_radon(view, system, facts);
    write_happened(view, system);
}

static const struct system_facts *facts_of(struct page_view *view, size_t system) {
    const struct system_facts *facts = page_cache_facts(&view->page->cache, view->api, system);
    if (!facts)
        home_say(view, 503, HOME_BUSY_TITLE, HOME_BUSY);
    return facts;
}

void home_sheet(struct page_view *view, size_t system) {
    const struct system_facts *facts = facts_of(view, system);
    struct html_address record = home_address(view, "/record");
    if (!facts)
        return;
    home_begin(view, view->api->fleet->systems[system].description->name, NULL);
    if (strcmp(page_query(view, "sent"), "yes") == 0) {
        html_markup(&view->html, "<p class=\"notice\" role=\"status\">");
        home_write(view, HOME_SENT);
        html_markup(&view->html, "</p>");
    }
    write_body(view, system, facts, true);
    page_link_line(view, &record, home_words(view, HOME_TO_RECORD));
    write_cautions(view);
    home_end(view, 200);
}

static void write_worth(struct page_view *view) {
    html_markup(&view->html, "<section>");
    home_element(view, "h2", HOME_WORTH, NULL);
    home_element(view, "p", HOME_WORTH_SHOWS, NULL);
    home_element(view, "p", HOME_WORTH_NOT, NULL);
    html_markup(&view->html, "</section>");
}

void home_record(struct page_view *view, size_t system) {
    const struct system_facts *facts = facts_of(view, system);
    struct html_address back = home_address(view, "");
    char title[300], time[PAGE_TEXT_SIZE];
    if (!facts)
        return;
    home_fill(view, title, sizeof title, HOME_RECORD_OF,
              view->api->fleet->systems[system].description->name, NULL);
    home_begin(view, title, "record");
    html_markup(&view->html, "<p class=\"no-print\">");
    home_write(view, HOME_PRINT);
    html_markup(&view->html, " ");
    page_link(view, &back, home_words(view, HOME_BACK));
    html_markup(&view->html, "</p>");
    home_element(view, "p", HOME_MADE_ON,
                 page_time_text(time, view->api->now_ms, page_zone(view, system)));
    write_body(view, system, facts, false);
    write_worth(view);
    write_cautions(view);
    home_end(view, 200);
}
