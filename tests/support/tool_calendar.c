/*
 * tool_calendar: events as a JSON array on standard input to an iCalendar text on standard output,
 * so that an independent parser can check it. Fields as in struct calendar_event.
 */
#include "words/calendar.h"

#include "measure/timestamp.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>

static const char *text_of(const json_t *event, const char *name) {
    return json_string_value(json_object_get(event, name));
}

static int64_t integer_of(const json_t *event, const char *name, int64_t otherwise) {
    const json_t *value = json_object_get(event, name);
    return json_is_integer(value) ? json_integer_value(value) : otherwise;
}

static struct calendar_event event_of(const json_t *event) {
    return (struct calendar_event){.uid = text_of(event, "uid"),
                                   .summary = text_of(event, "summary"),
                                   .description = text_of(event, "description"),
                                   .location = text_of(event, "location"),
                                   .categories = text_of(event, "categories"),
                                   .all_day = json_is_true(json_object_get(event, "all_day")),
                                   .start_day = integer_of(event, "start_day", 0),
                                   .end_day = integer_of(event, "end_day", 0),
                                   .start_ms = integer_of(event, "start_ms", 0),
                                   .end_ms = integer_of(event, "end_ms", 0),
                                   .created_ms = integer_of(event, "created_ms", TIMESTAMP_NONE),
                                   .sequence = (unsigned)integer_of(event, "sequence", 0),
                                   .priority = (int)integer_of(event, "priority", 0)};
}

int main(int argc, char **argv) {
    json_error_t error;
    json_t *list = json_loadf(stdin, 0, &error);
    if (!json_is_array(list)) {
        fprintf(stderr, "tool_calendar: no JSON array: %s\n", error.text);
        json_decref(list);
        return 2;
    }
    size_t count = json_array_size(list);
    struct calendar_event *events = calloc(count ? count : 1, sizeof(*events));
    if (!events)
        return 1;
    for (size_t i = 0; i < count; i++)
        events[i] = event_of(json_array_get(list, i));
    int64_t now_ms = argc > 1 ? strtoll(argv[1], NULL, 10) : 0;
    struct text_buffer calendar = {0};
    calendar_begin(&calendar, argc > 2 ? argv[2] : NULL);
    for (size_t i = 0; i < count; i++)
        calendar_add_event(&calendar, &events[i], now_ms);
    calendar_end(&calendar);
    char *text = text_buffer_take(&calendar);
    if (text)
        fputs(text, stdout);
    free(text);
    free(events);
    json_decref(list);
    return text ? 0 : 1;
}
