#include "words/event.h"

#include "measure/decimal.h"
#include "words/percent.h"
#include "words/text_repair.h"

#include <jansson.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DIGITS = 12 };
#define DUMP_FLAGS (JSON_COMPACT | JSON_REAL_PRECISION(DIGITS))

static json_t *string_or_null(const char *text) {
    if (!text)
        return json_null();
    json_t *string = json_string(text);
    if (string)
        return string;
    char *repaired = text_repair(text);
    string = repaired ? json_string(repaired) : NULL;
    free(repaired);
    return string;
}

/* With so many digits whoever prints it. */
static json_t *number_or_null(double number) {
    char text[32];
    if (!isfinite(number))
        return json_null();
    snprintf(text, sizeof text, "%.*g", DIGITS, number);
    decimal_read(text, strlen(text), &number);
    return json_real(number);
}

static json_t *time_or_null(int64_t time_ms) {
    char text[40];
    return time_ms == TIMESTAMP_NONE ? json_null()
                                     : json_string(timestamp_format(text, sizeof text, time_ms));
}

static json_t *list_of(const struct text_list *list) {
    json_t *array = json_array();
    for (size_t i = 0; array && i < list->count; i++)
        if (json_array_append_new(array, string_or_null(list->items[i])) != 0) {
            json_decref(array);
            array = NULL;
        }
    return array;
}

struct member {
    const char *name;
    json_t *value; /* taken over; NULL: out of memory */
};

/* Puts all members in, or frees them and returns NULL. */
static json_t *object_of(const struct member *members, size_t count) {
    json_t *object = json_object();
    bool good = object != NULL;
    for (size_t i = 0; i < count; i++)
        if (!good)
            json_decref(members[i].value);
        else if (json_object_set_new(object, members[i].name, members[i].value) != 0)
            good = false;
    if (!good) {
        json_decref(object);
        object = NULL;
    }
    return object;
}
static json_t *diagnosis_of(const struct event_alarm *alarm) {
    const struct member members[] = {
        {"cause", string_or_null(alarm->explained.cause)},
        {"confidence", number_or_null(alarm->explained.cause ? alarm->explained.confidence : NAN)},
        {"evidence", list_of(&alarm->explained.evidence)},
        {"why", alarm->explained.cause ? NULL : json_string("no cause was looked for")},
    };
    return object_of(members, alarm->explained.cause ? 3 : 4);
}

static char *dump_and_free(json_t *object) {
    char *text = object ? json_dumps(object, DUMP_FLAGS) : NULL;
    json_decref(object);
    return text;
}

struct json_t *event_alarm_object(const struct event_alarm *alarm) {
    const struct member members[] = {
        {"id", json_integer(alarm->id)},
        {"system", string_or_null(alarm->system)},
        {"point", string_or_null(alarm->point)},
        {"condition", string_or_null(alarm->condition)},
        {"priority", string_or_null(alarm->priority)},
        {"state", string_or_null(alarm->state)},
        {"since", time_or_null(alarm->since_ms)},
        {"raised", time_or_null(alarm->raised_ms)},
        {"returned", time_or_null(alarm->returned_ms)},
        {"value", number_or_null(alarm->value)},
        {"setpoint", number_or_null(alarm->setpoint)},
        {"unit", string_or_null(alarm->unit && *alarm->unit ? alarm->unit : NULL)},
        {"diagnosis", diagnosis_of(alarm)},
        {"check", list_of(&alarm->explained.check)},
        {"bring", list_of(&alarm->explained.bring)},
        {"text", string_or_null(alarm->text)},
    };
    return object_of(members, sizeof members / sizeof members[0]);
}

char *event_alarm_json(const struct event_alarm *alarm) {
    return dump_and_free(event_alarm_object(alarm));
}

static json_t *data_of(const struct event *event) {
    json_t *data =
        event->data ? json_loads(event->data, JSON_REJECT_DUPLICATES, NULL) : json_object();
    if (json_is_object(data) &&
        (!event->text || json_object_set_new(data, "text", string_or_null(event->text)) == 0))
        return data;
    json_decref(data);
    return NULL;
}

char *event_render(const struct event *event) {
    json_t *data = data_of(event);
    if (!data)
        return NULL;
    const struct member members[] = {
        {"specversion", json_string("1.0")},
        {"id", string_or_null(event->id)},
        {"source", string_or_null(event->source)},
        {"type", string_or_null(event->type)},
        {"time", time_or_null(event->time_ms)},
        {"datacontenttype", json_string("application/json")},
        {"data", data},
    };
    json_t *object = object_of(members, sizeof members / sizeof members[0]);
    if (object && event->subject && *event->subject &&
        json_object_set_new(object, "subject", string_or_null(event->subject)) != 0) {
        json_decref(object);
        object = NULL;
    }
    return dump_and_free(object);
}

char *event_source(const char *client_id) {
    static const char prefix[] = "/subslab/";
    char *source = malloc(sizeof prefix + 3 * strlen(client_id)), *end = source;
    if (!source)
        return NULL;
    end = stpcpy(end, prefix);
    for (; *client_id; client_id++)
        end = stpcpy(end, percent_encode(*client_id).text);
    return source;
}
