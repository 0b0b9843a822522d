#include "page/alarm_items.h"

#include "measure/duration.h"
#include "page/alarm_group.h"
#include "page/forms.h"
#include "page/view_text.h"
#include "page/view_words.h"
#include "tell/alarm_details.h"
#include "words/evidence.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- what it says ---- */

static struct wording_reader reader_of(const struct page_view *view) {
    return (struct wording_reader){view->language, view->units};
}

static bool has_cause(const struct alarm_details *details) {
    return details->explained.cause && strcmp(details->explained.cause, "none") != 0;
}

/* Texts of several alarms, each once. */
struct merged {
    const char *items[2 * ALARM_DETAILS_LIST_MOST];
    size_t count;
};

static void merge(struct merged *merged, struct text_list texts) {
    for (size_t i = 0; i < texts.count; i++) {
        size_t at = 0;
        while (at < merged->count && strcmp(merged->items[at], texts.items[i]) != 0)
            at++;
        if (at == merged->count && at < sizeof merged->items / sizeof merged->items[0])
            merged->items[merged->count++] = texts.items[i];
    }
}

static void write_texts(struct page_view *view, enum page_text heading,
                        const struct merged *texts) {
    if (texts->count == 0)
        return;
    page_element(view, "h4", heading);
    page_list(view, (struct text_list){texts->items, texts->count});
}

static void write_evidence(struct page_view *view, const struct merged *evidence) {
    if (evidence->count == 0)
        return;
    page_open_details(view, PAGE_EVIDENCE);
    page_list(view, (struct text_list){evidence->items, evidence->count});
    html_markup(&view->html, "</details>");
}

static void write_cause_of(struct page_view *view, const struct explanation *explained) {
    char text[EVIDENCE_CLAIM_BYTES];
    bool decided = strcmp(explained->cause, "undecided") != 0;
    html_markup(&view->html, "<p class=\"cause\">");
    page_fill(view, decided ? PAGE_LIKELY_CAUSE_IS : PAGE_CAUSE_IS,
              slot_strong(evidence_claim_text(text, view->language, explained->cause)));
    if (isfinite(explained->confidence) && decided)
        page_fill(view, PAGE_HOW_SURE, slot_percent(explained->confidence));
    html_markup(&view->html, "</p>");
}

/* The first of its cause that stands; of_cause: all are over. */
static size_t first_standing(const struct alarm_group *group) {
    size_t i = 0;
    while (i < group->of_cause && !alarm_stands(group->members[i]))
        i++;
    return i;
}

/* Of the first that stands: what is over asks for nothing more than it does alone. */
static void write_do(struct page_view *view, const struct alarm_group *group,
                     const struct alarm_details *details) {
    size_t standing = first_standing(group), first = standing < group->of_cause ? standing : 0;
    const struct alarm *alarm = group->members[first];
    page_fill_element(view, "p", NULL, PAGE_WHAT_TO_DO,
                      slot_strong(wording_do(view->language, alarm->condition,
                                             &details[first].explained, !alarm_stands(alarm))));
}

/* What to do, and how sure: said once for all alarms of the cause. */
static void write_diagnosis(struct page_view *view, const struct alarm_group *group) {
    struct alarm_details details[ALARM_GROUP_MOST] = {0};
    struct merged evidence = {.count = 0}, check = {.count = 0}, bring = {.count = 0};
    for (size_t i = 0; i < group->of_cause; i++) {
        alarm_details_open(&details[i], group->members[i]->details, reader_of(view));
        if (!alarm_stands(group->members[i]))
            continue;
        merge(&check, details[i].explained.check);
        merge(&bring, details[i].explained.bring);
    }
    /* What speaks for it is of the most urgent one: the others say the same of other days. */
    merge(&evidence, details[0].explained.evidence);
    if (has_cause(&details[0]))
        write_cause_of(view, &details[0].explained);
    write_do(view, group, details);
    write_texts(view, PAGE_CHECK_FIRST, &check);
    write_texts(view, PAGE_BRING, &bring);
    if (has_cause(&details[0]))
        write_evidence(view, &evidence);
    for (size_t i = 0; i < group->of_cause; i++)
        alarm_details_close(&details[i]);
}

/* The first line of the text is its subject. */
static void write_heading(struct page_view *view, const struct alarm *alarm, const char *text,
                          const char *id) {
    size_t length = text ? strcspn(text, "\n") : 0;
    html_open(&view->html, "h3", "id", id, NULL);
    if (length)
        html_format(&view->html, "%.*s", (int)length, text);
    else
        html_text(&view->html, page_condition(view, alarm->condition));
    html_markup(&view->html, "</h3>");
}

static void write_people(struct page_view *view, const struct alarm *alarm) {
    if (alarm->acknowledged.time_ms != TIMESTAMP_NONE && alarm->acknowledged.by) {
        page_fill(view, alarm->acknowledged.note ? PAGE_ACKNOWLEDGED_NOTE : PAGE_ACKNOWLEDGED_BY,
                  slot_text(alarm->acknowledged.by), slot_text(alarm->acknowledged.note));
    }
    if (alarm->shelved.until_ms != TIMESTAMP_NONE && alarm->shelved.by)
        page_fill(view, PAGE_SHELVED_BY, slot_text(alarm->shelved.by),
                  slot_time(alarm->shelved.until_ms, page_zone(view, alarm->system)),
                  slot_text(alarm->shelved.why));
}

/* What the point of a value read on the day it was commissioned; NaN where there is none. */
static double baseline_of(const struct page_view *view, const struct alarm *alarm) {
    if (alarm->point == FLEET_NONE || condition_info(alarm->condition)->measure != MEASURE_VALUE)
        return NAN;
    const struct point_baseline *baseline = api_baseline(view->api, alarm->point);
    return baseline ? baseline->value : NAN;
}

static void write_numbers(struct page_view *view, const struct alarm *alarm,
                          enum dimension dimension) {
    double baseline = baseline_of(view, alarm);
    enum page_text text = !isfinite(alarm->setpoint)                         ? PAGE_VALUE_IS
                          : alarm->condition == CONDITION_SENSOR_IMPLAUSIBLE ? PAGE_READ_BEFORE
                          : isfinite(baseline) ? PAGE_AGAINST_LIMIT_THEN
                                               : PAGE_AGAINST_LIMIT;
    page_fill(view, text, slot_value(alarm->value, dimension),
              slot_value(alarm->setpoint, dimension), slot_value(baseline, dimension));
}

static void write_facts(struct page_view *view, const struct alarm *alarm) {
    const char *unit = announce_unit(view->api->fleet, alarm);
    const struct unit *known = unit_find(unit, strlen(unit));
    enum unit_system kept =
        alarm->point == FLEET_NONE ? view->units : page_units_of_point(view, alarm->point);
    const struct time_zone *zone = page_zone(view, alarm->system);
    bool at_point = alarm->point != FLEET_NONE;
    html_markup(&view->html, "<p class=\"facts\">");
    page_fill(view, at_point ? PAGE_ALARM_FACTS_AT : PAGE_ALARM_FACTS,
              slot_priority(page_words_of(view, priority_word(alarm->priority))),
              slot_text(page_words_of(view, alarm_state_word(alarm_state(alarm)))),
              slot_text(page_condition(view, alarm->condition)), slot_time(alarm->since_ms, zone),
              slot_text(at_point ? view->api->fleet->points[alarm->point].description->name : ""));
    if (alarm->raised_ms - alarm->since_ms >= DURATION_MINUTE_MS)
        page_fill(view, PAGE_RAISED, slot_time(alarm->raised_ms, zone));
    if (known && isfinite(alarm->value))
        write_numbers(view, alarm, known->dimension);
    html_markup(&view->html, ".");
    view->units = kept;
    write_people(view, alarm);
    html_markup(&view->html, "</p>");
}

static void write_whole_message(struct page_view *view, const char *text) {
    const char *rest = text ? strstr(text, "\n\n") : NULL;
    if (!rest)
        return;
    page_open_details(view, PAGE_WHOLE_MESSAGE);
    html_element(&view->html, "p", rest + 2, "class", "message", NULL);
    html_markup(&view->html, "</details>");
}

static void write_member(struct page_view *view, const struct alarm *alarm, size_t only) {
    char *text = announce_alarm_text(view->api->fleet, alarm, WORDING_CONTRACTOR, view->language);
    html_markup(&view->html, "<li>");
    if (only == FLEET_NONE && alarm->system != FLEET_NONE) {
        struct html_address address = page_system_address(view, alarm->system, "");
        page_link(view, &address, view->api->fleet->systems[alarm->system].description->name);
    }
    write_facts(view, alarm);
    write_whole_message(view, text);
    page_alarm_forms(view, alarm, only);
    html_markup(&view->html, "</li>");
    free(text);
}

static void write_members_summary(struct page_view *view, size_t further, size_t explained) {
    html_markup(&view->html, "<summary>");
    if (further)
        page_fill(view, further > 1 ? PAGE_FURTHER : PAGE_FURTHER_ONE, slot_count(further));
    if (explained && further)
        page_fill(view, explained > 1 ? PAGE_AND_EXPLAINS : PAGE_AND_EXPLAINS_ONE,
                  slot_count(explained));
    else if (explained)
        page_fill(view, explained > 1 ? PAGE_EXPLAINS : PAGE_EXPLAINS_ONE, slot_count(explained));
    html_markup(&view->html, "</summary>");
}

/* What belongs to it, folded: further alarms of the same cause, then those that it explains. */
static void write_members(struct page_view *view, const struct alarm_group *group, size_t only) {
    size_t explained = group->total - group->of_cause;
    if (group->total < 2)
        return;
    html_markup(&view->html, "<details class=\"below\">");
    write_members_summary(view, group->of_cause - 1, explained);
    html_markup(&view->html, "<ul class=\"records\">");
    for (size_t i = 1; i < group->count; i++)
        write_member(view, group->members[i], only);
    html_markup(&view->html, "</ul>");
    if (group->total > group->count)
        page_fill(view, PAGE_AND_MORE, slot_count(group->total - group->count));
    html_markup(&view->html, "</details>");
}

void page_alarm_item(struct page_view *view, const struct alarm *alarm, size_t only) {
    char id[48];
    const struct fleet *fleet = view->api->fleet;
    const struct alarm_book *book = pipeline_alarms(view->api->pipeline);
    const struct alarm_group group = alarm_group_of(book, alarm);
    char *text = announce_alarm_text(fleet, alarm, WORDING_CONTRACTOR, view->language);
    snprintf(id, sizeof id, "alarm-%lld", (long long)alarm->id);
    html_open(&view->html, "article", "class", "alarm", "aria-labelledby", id, NULL);
    write_heading(view, alarm, text, id);
    if (only == FLEET_NONE && alarm->system != FLEET_NONE) {
        struct html_address address = page_system_address(view, alarm->system, "");
        page_fill_element(view, "p", NULL, PAGE_SYSTEM_IS,
                          slot_link(&address, fleet->systems[alarm->system].description->name));
    }
    write_diagnosis(view, &group);
    write_facts(view, alarm);
    write_whole_message(view, text);
    page_alarm_forms(view, alarm, only);
    write_members(view, &group, only);
    html_markup(&view->html, "</article>");
    free(text);
}

void page_alarm_causes(struct page_view *view, size_t system) {
    const struct alarm_book *book = pipeline_alarms(view->api->pipeline);
    for (const struct alarm *alarm = alarm_book_of_system(book, system); alarm;
         alarm = alarm->next_of_system) {
        struct alarm_details details;
        if (!alarm_open(alarm) || alarm_group_leader(book, alarm) != alarm)
            continue;
        const struct alarm_group group = alarm_group_of(book, alarm);
        if (first_standing(&group) == group.of_cause)
            continue;
        alarm_details_open(&details, alarm->details, reader_of(view));
        if (has_cause(&details))
            write_cause_of(view, &details.explained);
        alarm_details_close(&details);
    }
}

void page_no_open_alarm(struct page_view *view) {
    page_none(view, PAGE_NO_OPEN_ALARM);
}

/* ---- the table ---- */

static void begin_table(struct page_view *view, size_t only) {
    static const enum page_text columns[] = {PAGE_POINT, PAGE_PRIORITY, PAGE_FROM, PAGE_TO,
                                             PAGE_LIKELY_CAUSE};
    html_markup(&view->html, "<table class=\"history\"><thead><tr>");
    page_column(view, PAGE_CONDITION);
    if (only == FLEET_NONE)
        page_column(view, PAGE_SYSTEM);
    for (size_t i = 0; i < sizeof columns / sizeof columns[0]; i++)
        page_column(view, columns[i]);
    html_markup(&view->html, "</tr></thead><tbody>");
}

static void write_system(struct page_view *view, size_t system, const char *id) {
    page_open_cell(view, PAGE_SYSTEM);
    if (system == FLEET_NONE) {
        html_text(&view->html, id);
    } else {
        struct html_address address = page_system_address(view, system, "");
        page_link(view, &address, view->api->fleet->systems[system].description->name);
    }
    html_markup(&view->html, "</td>");
}

static void write_cause(struct page_view *view, const char *text) {
    struct alarm_details details;
    char room[EVIDENCE_CLAIM_BYTES];
    alarm_details_open(&details, text, reader_of(view));
    page_cell(view, PAGE_LIKELY_CAUSE,
              has_cause(&details)
                  ? evidence_claim_text(room, view->language, details.explained.cause)
                  : "–");
    alarm_details_close(&details);
}

/* As people say it: "Pressure field weak". */
static const char *condition_text(const struct page_view *view, const char *word) {
    enum condition condition;
    if (!condition_find(word, &condition))
        return word;
    return page_condition(view, condition);
}

/* Its name; the id of one that the settings no longer have. */
static const char *point_text(const struct page_view *view, size_t system, const char *id) {
    const struct fleet *fleet = view->api->fleet;
    size_t point = system == FLEET_NONE ? FLEET_NONE : fleet_find_point(fleet, system, id);
    return point != FLEET_NONE ? fleet->points[point].description->name : *id ? id : "–";
}

void page_past_alarm(struct page_past_alarms *table, const struct record_alarm *row) {
    struct page_view *view = table->view;
    size_t system = *row->system ? fleet_find_system(view->api->fleet, row->system) : FLEET_NONE;
    const struct time_zone *zone = page_zone(view, system);
    if (table->rows++ == 0)
        begin_table(view, table->only);
    html_markup(&view->html, "<tr>");
    html_element(&view->html, "th", condition_text(view, row->condition), "scope", "row",
                 "data-label", page_words(view, PAGE_CONDITION), NULL);
    if (table->only == FLEET_NONE)
        write_system(view, system, row->system);
    page_cell(view, PAGE_POINT, point_text(view, system, row->point));
    page_cell(view, PAGE_PRIORITY, page_words_of(view, row->priority));
    page_open_cell(view, PAGE_FROM);
    page_time(view, row->since_ms, zone);
    html_markup(&view->html, "</td>");
    page_open_cell(view, PAGE_TO);
    if (row->returned_ms == TIMESTAMP_NONE)
        page_write(view, PAGE_STILL_STANDS);
    else
        page_time(view, row->returned_ms, zone);
    html_markup(&view->html, "</td>");
    write_cause(view, row->details);
    html_markup(&view->html, "</tr>");
}

void page_past_alarms_end(const struct page_past_alarms *table) {
    if (table->rows)
        html_markup(&table->view->html, "</tbody></table>");
    else
        page_none(table->view, PAGE_NO_ALARM);
}
