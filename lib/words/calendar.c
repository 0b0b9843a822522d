#include "words/calendar.h"

#include "measure/duration.h"
#include "measure/timestamp.h"
#include "words/text_repair.h"
#include "words/wording_texts.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LINE_OCTETS 75

/* ---- lines ---- */

static bool continues_character(char byte) {
    return ((unsigned char)byte & 0xC0u) == 0x80u;
}

/* Writes one content line folded; a fold takes one octet, the space, of the next line. */
static void line_add(struct text_buffer *text, const char *line) {
    size_t length = strlen(line), room = LINE_OCTETS;
    while (length > room) {
        size_t cut = room;
        while (cut > 0 && continues_character(line[cut]))
            cut--;
        text_buffer_add_bytes(text, line, cut);
        text_buffer_add(text, "\r\n ");
        line += cut;
        length -= cut;
        room = LINE_OCTETS - 1;
    }
    text_buffer_add_bytes(text, line, length);
    text_buffer_add(text, "\r\n");
}

static void escaped_add(struct text_buffer *line, const char *value) {
    for (const char *at = value; *at; at++) {
        if (*at == '\r' && at[1] == '\n')
            continue;
        if (*at == '\n' || *at == '\r')
            text_buffer_add(line, "\\n");
        else if (*at == ',' || *at == ';' || *at == '\\')
            text_buffer_add_bytes(line, (const char[]){'\\', *at}, 2);
        else if ((unsigned char)*at >= 0x20 ? *at != 0x7F : *at == '\t')
            text_buffer_add_bytes(line, at, 1);
    }
}

/* A property whose value is TEXT; nothing for NULL. */
static void text_property(struct text_buffer *text, const char *name, const char *value) {
    if (!value)
        return;
    char *repaired = text_repair(value);
    struct text_buffer line = {0};
    text_buffer_format(&line, "%s:", name);
    if (repaired)
        escaped_add(&line, repaired);
    char *whole = text_buffer_take(&line);
    if (repaired && whole)
        line_add(text, whole);
    else
        text->failed = true;
    free(repaired);
    free(whole);
}

/* ---- dates ---- */

static void date_property(struct text_buffer *text, const char *name, int64_t day) {
    int year = 0, month = 0, day_of_month = 0;
    timestamp_civil_from_days(day, &year, &month, &day_of_month);
    text_buffer_format(text, "%s;VALUE=DATE:%04d%02d%02d\r\n", name, year, month, day_of_month);
}

static void instant_property(struct text_buffer *text, const char *name, int64_t time_ms) {
    int year = 0, month = 0, day_of_month = 0;
    int64_t seconds = timestamp_floor(time_ms, 1000), day = timestamp_floor(seconds, 86400);
    int second = (int)(seconds - day * 86400);
    timestamp_civil_from_days(day, &year, &month, &day_of_month);
    text_buffer_format(text, "%s:%04d%02d%02dT%02d%02d%02dZ\r\n", name, year, month, day_of_month,
                       second / 3600, second / 60 % 60, second % 60);
}

/* ---- the calendar ---- */

void calendar_begin(struct text_buffer *text, const char *name) {
    text_buffer_add(text, "BEGIN:VCALENDAR\r\n"
                          "VERSION:2.0\r\n"
                          "PRODID:-//subslabd//visits//EN\r\n"
                          "CALSCALE:GREGORIAN\r\n");
    text_property(text, "NAME", name);
}

void calendar_end(struct text_buffer *text) {
    text_buffer_add(text, "END:VCALENDAR\r\n");
}

void calendar_add_event(struct text_buffer *text, const struct calendar_event *event,
                        int64_t now_ms) {
    assert(event->uid && event->uid[0] && event->summary);
    text_buffer_add(text, "BEGIN:VEVENT\r\n");
    text_property(text, "UID", event->uid);
    instant_property(text, "DTSTAMP", now_ms);
    if (event->created_ms != TIMESTAMP_NONE)
        instant_property(text, "CREATED", event->created_ms);
    text_buffer_format(text, "SEQUENCE:%u\r\n", event->sequence);
    if (event->all_day) {
        assert(event->end_day > event->start_day);
        date_property(text, "DTSTART", event->start_day);
        date_property(text, "DTEND", event->end_day);
        text_buffer_add(text, "TRANSP:TRANSPARENT\r\n");
    } else {
        assert(event->end_ms > event->start_ms);
        instant_property(text, "DTSTART", event->start_ms);
        instant_property(text, "DTEND", event->end_ms);
    }
    text_property(text, "SUMMARY", event->summary);
    text_property(text, "DESCRIPTION", event->description);
    text_property(text, "LOCATION", event->location);
    text_property(text, "CATEGORIES", event->categories);
    if (event->priority > 0)
        text_buffer_format(text, "PRIORITY:%d\r\n", event->priority);
    text_buffer_add(text, "END:VEVENT\r\n");
}

unsigned calendar_sequence(int64_t changed_ms) {
    const int64_t year_2020_ms = INT64_C(1577836800000);
    int64_t minutes = timestamp_floor(changed_ms - year_2020_ms, DURATION_MINUTE_MS);
    return minutes < 0 ? 0 : minutes > INT32_MAX ? (unsigned)INT32_MAX : (unsigned)minutes;
}

/* ---- visits ---- */

static int64_t local_day(const struct visit *visit, int64_t time_ms) {
    return visit->zone ? time_zone_local_day(visit->zone, time_ms)
                       : timestamp_floor(time_ms, DURATION_DAY_MS);
}

static void day_add(struct text_buffer *text, const struct visit *visit, int64_t time_ms) {
    char day[32];
    text_buffer_add(text, timestamp_format_day(day, sizeof day, local_day(visit, time_ms)));
}

static void list_section(struct text_buffer *text, const char *title, const char *const *items,
                         size_t count) {
    if (count == 0)
        return;
    text_buffer_format(text, "\n%s:\n", title);
    for (size_t i = 0; i < count; i++)
        text_buffer_format(text, "- %s\n", items[i]);
}

static void baseline_section(struct text_buffer *text, const struct visit *visit,
                             const char *title) {
    char value[80];
    if (visit->baseline_count > 0)
        text_buffer_format(text, "\n%s:\n", title);
    for (size_t i = 0; i < visit->baseline_count; i++) {
        const struct visit_baseline *baseline = &visit->baseline[i];
        if (isfinite(baseline->value))
            text_buffer_format(
                text, "- %s: %s\n", baseline->name ? baseline->name : baseline->point,
                unit_format(value, sizeof value, baseline->value, baseline->dimension,
                            quantity_units(baseline->quantity, visit->reader.units)));
    }
}

static char *description_of(const struct visit *visit, const struct wording_texts *texts) {
    const struct wording_calendar_text *words = &texts->calendar;
    struct text_buffer text = {0};
    const char *reasons[VISIT_REASONS_MAX];
    for (size_t i = 0; i < visit->reason_count; i++)
        reasons[i] = visit->reasons[i].text;
    text_buffer_format(&text, "%s: %s. %s: ", words->priority, words->priorities[visit->priority],
                       words->latest);
    day_add(&text, visit, visit->latest_ms);
    text_buffer_add(&text, ".\n");
    list_section(&text, texts->reasons, reasons, visit->reason_count);
    list_section(&text, texts->check, visit->check, visit->check_count);
    list_section(&text, texts->bring, visit->bring, visit->bring_count);
    baseline_section(&text, visit, words->at_commissioning);
    text_buffer_format(&text, "\n%s: ", words->last_visit);
    if (visit->last_visit_ms == TIMESTAMP_NONE)
        text_buffer_add(&text, words->never);
    else
        day_add(&text, visit, visit->last_visit_ms);
    return text_buffer_take(&text);
}

static char *summary_of(const struct visit *visit, const struct wording_calendar_text *words) {
    struct text_buffer text = {0};
    text_buffer_format(&text, "%s %s: %s", words->visit, visit->name ? visit->name : visit->system,
                       visit->reasons[0].text);
    for (size_t i = 1; i < visit->reason_count && i < 3; i++)
        if (strcmp(visit->reasons[i].text, visit->reasons[i - 1].text) != 0)
            text_buffer_format(&text, ", %s", visit->reasons[i].text);
    return text_buffer_take(&text);
}

static char *uid_of(const struct visit *visit, const char *domain) {
    struct text_buffer text = {0};
    text_buffer_format(&text, "%s@%s", visit->id, domain);
    return text_buffer_take(&text);
}

/* RFC 5545, 3.8.1.9: 1 to 4 high, 5 medium, 6 to 9 low. */
static int calendar_priority(enum priority priority) {
    return priority == PRIORITY_HIGH ? 1 : priority == PRIORITY_MEDIUM ? 5 : 9;
}

static bool event_of(const struct visit *visit, const char *domain, struct calendar_event *event) {
    const struct wording_texts *texts = wording_languages[visit->reader.language].texts;
    const struct wording_calendar_text *words = &texts->calendar;
    int64_t oldest_ms = visit->reasons[0].from_ms;
    for (size_t i = 1; i < visit->reason_count; i++)
        oldest_ms = visit->reasons[i].from_ms < oldest_ms ? visit->reasons[i].from_ms : oldest_ms;
    int64_t day = local_day(visit, visit->due_ms);
    *event = (struct calendar_event){.uid = uid_of(visit, domain),
                                     .summary = summary_of(visit, words),
                                     .description = description_of(visit, texts),
                                     .location = visit->address,
                                     .categories = words->visit,
                                     .all_day = true,
                                     .start_day = day,
                                     .end_day = day + 1,
                                     .created_ms = oldest_ms,
                                     .sequence = calendar_sequence(visit->changed_ms),
                                     .priority = calendar_priority(visit->priority)};
    return event->uid && event->summary && event->description;
}

static void event_free(struct calendar_event *event) {
    free((char *)event->uid); /* made by event_of */
    free((char *)event->summary);
    free((char *)event->description);
}

void calendar_add_visit(struct text_buffer *text, const struct visit *visit, const char *domain,
                        int64_t now_ms) {
    struct calendar_event event;
    if (event_of(visit, domain, &event))
        calendar_add_event(text, &event, now_ms);
    else
        text->failed = true;
    event_free(&event);
}
