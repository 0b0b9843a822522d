/*
 * Charts of a system: several points on one axis of time, with links that move along it and look
 * closer without losing the place.
 */
#include "measure/duration.h"
#include "page/chart.h"
#include "page/sections.h"
#include "page/view_text.h"
#include "page/view_words.h"
#include "store/records.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PAST_ALARMS_MOST = 40, EVENTS_MOST = 400, POINTS_USUAL = 4, ZOOM_PARTS = 6 };

/* ---- ranges ---- */

static const struct range {
    const char *word;
    enum page_text text;
    int64_t span_ms;
} ranges[] = {
    {"24h", PAGE_HOURS_24, DURATION_DAY_MS},     {"7d", PAGE_DAYS_7, 7 * DURATION_DAY_MS},
    {"30d", PAGE_DAYS_30, 30 * DURATION_DAY_MS}, {"91d", PAGE_DAYS_91, 91 * DURATION_DAY_MS},
    {"1y", PAGE_YEAR_1, 365 * DURATION_DAY_MS},  {"5y", PAGE_YEARS_5, 5 * 365 * DURATION_DAY_MS},
};
enum { RANGES = sizeof ranges / sizeof ranges[0], RANGE_USUAL = 2 };

struct span {
    size_t range;
    int64_t from_ms, to_ms;
    bool until_now;
};

static struct span find_span(const struct page_view *view) {
    struct span span = {.range = RANGE_USUAL, .to_ms = view->api->now_ms, .until_now = true};
    const char *word = page_query(view, "range"), *to = page_query(view, "to");
    int64_t to_ms = 0;
    for (size_t i = 0; i < RANGES; i++) {
        if (strcmp(ranges[i].word, word) == 0)
            span.range = i;
    }
    if (timestamp_parse(to, strlen(to), &to_ms) && to_ms < view->api->now_ms &&
        to_ms > DURATION_YEAR_MS) {
        span.to_ms = to_ms;
        span.until_now = false;
    }
    span.from_ms = span.to_ms - ranges[span.range].span_ms;
    return span;
}

static void write_span_link(struct page_view *view, size_t system, size_t range, int64_t to_ms,
                            const char *text, const char *key, bool here) {
    char to[40];
    struct html_address address = page_system_address(view, system, "");
    html_address_query(&address, "range", ranges[range].word);
    html_address_query(&address, "points", page_query(view, "points"));
    if (to_ms < view->api->now_ms)
        html_address_query(&address, "to", timestamp_format(to, sizeof to, to_ms / 1000 * 1000));
    html_address_path(&address, "#charts");
    html_markup(&view->html, "<li>");
    html_element(&view->html, "a", text, "href", address.text, "aria-current", here ? "true" : NULL,
                 "data-key", key, NULL);
    html_markup(&view->html, "</li>");
}

static void write_ranges(struct page_view *view, size_t system, const struct span *span) {
    int64_t half_ms = ranges[span->range].span_ms / 2, middle_ms = span->to_ms - half_ms;
    html_open(&view->html, "nav", "aria-label", page_words(view, PAGE_TIME_SHOWN), NULL);
    html_markup(&view->html, "<ul class=\"tally\">");
    for (size_t i = 0; i < RANGES; i++)
        write_span_link(view, system, i, span->to_ms, page_words(view, ranges[i].text), NULL,
                        i == span->range);
    html_markup(&view->html, "</ul><ul class=\"tally\">");
    write_span_link(view, system, span->range, middle_ms, page_words(view, PAGE_EARLIER),
                    "ArrowLeft", false);
    if (!span->until_now) {
        write_span_link(view, system, span->range, span->to_ms + half_ms,
                        page_words(view, PAGE_LATER), "ArrowRight", false);
        write_span_link(view, system, span->range, view->api->now_ms, page_words(view, PAGE_TO_NOW),
                        "End", false);
    }
    /* Closer and wider keep the middle where it is. */
    if (span->range > 0)
        write_span_link(view, system, span->range - 1,
                        span->until_now ? span->to_ms
                                        : middle_ms + ranges[span->range - 1].span_ms / 2,
                        page_words(view, PAGE_CLOSER), "+", false);
    if (span->range + 1 < RANGES)
        write_span_link(view, system, span->range + 1,
                        span->until_now ? span->to_ms
                                        : middle_ms + ranges[span->range + 1].span_ms / 2,
                        page_words(view, PAGE_WIDER), "-", false);
    html_markup(&view->html, "</ul></nav>");
}

/* ---- charts ---- */

struct event_list {
    struct api *api;
    size_t system;
    struct page_event *rows;
    size_t count;
};

static void add_event(struct event_list *list, struct page_event event) {
    if (list->count < EVENTS_MOST && event.from_ms != TIMESTAMP_NONE)
        list->rows[list->count++] = event;
}

static bool add_visit(void *context, const struct record_visit *visit) {
    add_event(context,
              (struct page_event){PAGE_EVENT_VISIT, visit->on_ms, visit->on_ms, FLEET_NONE});
    return true;
}

static bool add_commissioning(void *context, const struct record_commissioning *record) {
    add_event(context,
              (struct page_event){PAGE_EVENT_RECORD, record->from_ms, record->from_ms, FLEET_NONE});
    return true;
}

static bool add_alarm(void *context, const struct record_alarm *row, const struct alarm *open) {
    const struct event_list *list = context;
    size_t point = fleet_find_point(list->api->fleet, list->system, row->point);
    (void)open;
    /* Of a point that the settings no longer have there is no chart. */
    if (!*row->point || point != FLEET_NONE)
        add_event(context,
                  (struct page_event){PAGE_EVENT_ALARM, row->since_ms,
                                      row->returned_ms == TIMESTAMP_NONE ? list->api->now_ms
                                                                         : row->returned_ms,
                                      point});
    return true;
}

static void add_events(struct event_list *list) {
    struct store *store = pipeline_store(list->api->pipeline);
    const char *id = fleet_system_id(list->api->fleet, list->system);
    const struct api_alarm_choice past = {
        .all = true, .system = list->system, .since_ms = TIMESTAMP_NONE, .limit = PAST_ALARMS_MOST};
    if (!store)
        return;
    record_visit_list(store, id, RECORD_OLDEST_FIRST, add_visit, list);
    record_commissioning_list(store, id, RECORD_OLDEST_FIRST, add_commissioning, list);
    api_alarms_each(list->api, &past, add_alarm, list);
}

/* ---- which points ---- */

/* What tells most of a system comes first. */
static const enum quantity telling[] = {QUANTITY_SUCTION,   QUANTITY_RADON,   QUANTITY_FIELD,
                                        QUANTITY_FAN_POWER, QUANTITY_AIRFLOW, QUANTITY_WATER_LEVEL};
enum { TELLING = sizeof telling / sizeof telling[0] };

static size_t rank_of(const struct page_view *view, size_t point) {
    const struct fleet_point *about = &view->api->fleet->points[point];
    const struct alarm_book *book = pipeline_alarms(view->api->pipeline);
    size_t rank = 0;
    while (rank < TELLING && telling[rank] != about->description->quantity)
        rank++;
    for (const struct alarm *alarm = alarm_book_of_system(book, about->system); alarm;
         alarm = alarm->next_of_system) {
        if (alarm->point == point && alarm_open(alarm))
            return rank; /* before all without an alarm */
    }
    return rank + TELLING + 1;
}

/* Is the point's id one of those that stand between commas? */
static bool is_listed(const char *list, const char *id) {
    size_t length = strlen(id);
    for (const char *at = list; *at; at += strcspn(at, ",") + (at[strcspn(at, ",")] == ',')) {
        if (strcspn(at, ",") == length && strncmp(at, id, length) == 0)
            return true;
    }
    return false;
}

/* Places of the points to draw, in the system's order; returns how many. */
static size_t choose_points(const struct page_view *view, const struct fleet_system *owner,
                            size_t *points) {
    const char *asked = page_query(view, "points");
    bool all = strcmp(asked, "all") == 0;
    size_t count = 0, listed = 0;
    for (size_t i = 0; i < owner->point_count; i++)
        listed += is_listed(asked, owner->description->points[i].id);
    for (size_t i = 0; i < owner->point_count; i++) {
        size_t before = 0, rank = rank_of(view, owner->first_point + i);
        for (size_t j = 0; j < owner->point_count; j++) {
            size_t other = rank_of(view, owner->first_point + j);
            before += other < rank || (other == rank && j < i);
        }
        if (all ||
            (listed ? is_listed(asked, owner->description->points[i].id) : before < POINTS_USUAL))
            points[count++] = owner->first_point + i;
    }
    return count;
}

static void write_points_link(struct page_view *view, size_t system, const char *points,
                              const char *text, bool here) {
    struct html_address address = page_system_address(view, system, "");
    html_address_query(&address, "range", page_query(view, "range"));
    html_address_query(&address, "to", page_query(view, "to"));
    html_address_query(&address, "points", points);
    html_address_path(&address, "#charts");
    html_markup(&view->html, "<li>");
    html_element(&view->html, "a", text, "href", address.text, "aria-current", here ? "true" : NULL,
                 NULL);
    html_markup(&view->html, "</li>");
}

/* A link for each point, and for all of them. */
static void write_choice(struct page_view *view, size_t system, size_t shown) {
    const struct fleet_system *owner = &view->api->fleet->systems[system];
    const char *asked = page_query(view, "points");
    if (owner->point_count < 2)
        return;
    page_open_details(view, PAGE_OTHER_POINTS);
    html_open(&view->html, "nav", "aria-label", page_words(view, PAGE_POINTS_SHOWN), NULL);
    html_markup(&view->html, "<ul class=\"tally\">");
    write_points_link(view, system, NULL, page_words(view, PAGE_TELLS_MOST), !*asked);
    write_points_link(view, system, "all", page_words(view, PAGE_ALL_POINTS),
                      shown == owner->point_count);
    for (size_t i = 0; i < owner->point_count; i++)
        write_points_link(view, system, owner->description->points[i].id,
                          owner->description->points[i].name,
                          strcmp(asked, owner->description->points[i].id) == 0);
    html_markup(&view->html, "</ul></nav></details>");
}

/* ---- the section ---- */

/* Below the axis: a closer look at each part of the time shown. */
static void write_zoom(struct page_view *view, size_t system, const struct span *span) {
    int64_t part_ms = ranges[span->range].span_ms / ZOOM_PARTS;
    char date[PAGE_TEXT_SIZE], text[PAGE_TEXT_SIZE + 16];
    if (span->range == 0)
        return;
    html_open(&view->html, "nav", "aria-label", page_words(view, PAGE_CLOSER_AT), NULL);
    html_markup(&view->html, "<ul class=\"tally zoom\">");
    for (int i = 0; i < ZOOM_PARTS; i++) {
        int64_t middle_ms = span->from_ms + i * part_ms + part_ms / 2;
        int64_t to_ms = middle_ms + ranges[span->range - 1].span_ms / 2;
        snprintf(text, sizeof text, "+ %s",
                 page_date_text(date, middle_ms, page_zone(view, system)));
        write_span_link(view, system, span->range - 1,
                        to_ms < view->api->now_ms ? to_ms : view->api->now_ms, text, NULL, false);
    }
    html_markup(&view->html, "</ul></nav>");
}

static void write_span(struct page_view *view, const struct span *span,
                       const struct time_zone *zone) {
    page_fill_element(view, "p", NULL, PAGE_SPAN_IS, slot_time(span->from_ms, zone),
                      slot_time(span->to_ms, zone));
}

void page_charts(struct page_view *view, size_t system) {
    const struct fleet_system *owner = &view->api->fleet->systems[system];
    const struct span span = find_span(view);
    struct event_list events = {
        .api = view->api, .system = system, .rows = calloc(EVENTS_MOST, sizeof *events.rows)};
    size_t *points = calloc(owner->point_count + 1, sizeof *points);
    size_t count = points ? choose_points(view, owner, points) : 0;
    html_markup(&view->html, "<section id=\"charts\">");
    page_element(view, "h2", PAGE_CHARTS);
    write_ranges(view, system, &span);
    write_choice(view, system, count);
    write_span(view, &span, owner->zone);
    if (events.rows)
        add_events(&events);
    const struct page_chart chart = {points,     count,       span.from_ms,
                                     span.to_ms, events.rows, events.count};
    if (count)
        page_chart_draw(view, &chart);
    write_zoom(view, system, &span);
    html_markup(&view->html, "</section>");
    free(points);
    free(events.rows);
}
