/*
 * event: what goes to a webhook, as CloudEvents 1.0 in structured JSON mode
 * (CloudEvents specification 1.0.2 and its JSON event format). Pure.
 * Content type: application/cloudevents+json.
 *
 * Text that is not UTF-8 has its bad bytes replaced by U+FFFD: a message with a blemish is better
 * than none.
 */
#ifndef WORDS_EVENT_H
#define WORDS_EVENT_H

#include "measure/timestamp.h"
#include "words/explanation.h"

#include <stdint.h>

#define EVENT_TYPE_RAISED "subslab.alarm.raised"
#define EVENT_TYPE_RETURNED "subslab.alarm.returned"
#define EVENT_TYPE_ACKNOWLEDGED "subslab.alarm.acknowledged"
#define EVENT_TYPE_REMINDER "subslab.alarm.reminder"
#define EVENT_TYPE_ESCALATED "subslab.alarm.escalated"
#define EVENT_TYPE_DIGEST "subslab.digest"
#define EVENT_TYPE_VISIT_DUE "subslab.visit.due"
#define EVENT_TYPE_TEST "subslab.test"
#define EVENT_TYPE_HOME_REPORT "subslab.home.report"

/** The alarm object of `alarms --json`. Strings are borrowed; NULL becomes null. */
struct event_alarm {
    int64_t id;
    const char *system, *point; /* "" where the scope is wider */
    const char *condition, *priority, *state;
    int64_t since_ms, raised_ms, returned_ms; /* TIMESTAMP_NONE: null */
    double value, setpoint;                   /* SI, NaN: null */
    const char *unit;                         /* SI word; "" or NULL: null */
    struct explanation explained;             /* without a cause: the diagnosis is null */
    const char *text;
};

/** The object (jansson's json_t), numbers with 12 digits; the caller's. NULL when out of memory. */
struct json_t *event_alarm_object(const struct event_alarm *alarm);
/** The same as JSON text; the caller frees. */
char *event_alarm_json(const struct event_alarm *alarm);

struct event {
    const char *id;      /* the same for every try; equals webhook-id */
    const char *source;  /* from event_source */
    const char *type;    /* EVENT_TYPE_… */
    const char *subject; /* the system's id; "" or NULL: left out */
    int64_t time_ms;
    const char *data; /* text of a JSON object, or NULL for an empty one */
    const char *text; /* the message in the contact's words: data.text; NULL: as `data` has it */
};

/** The event as JSON text; the caller frees. NULL when `data` is no object, or out of memory. */
char *event_render(const struct event *event);

/** "/subslab/CLIENT_ID", percent-encoded (RFC 3986). The caller frees. */
char *event_source(const char *client_id);

#endif
