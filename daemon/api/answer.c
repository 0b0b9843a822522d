#include "api/answer.h"

#include "complaints.h"
#include "measure/duration.h"
#include "words/text_repair.h"
#include "words/wording.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- answers ---- */

void api_text(struct api_call *call, int status, const char *content_type, char *text) {
    call->answer->status = text ? status : 500;
    call->answer->content_type = content_type;
    call->answer->body = text;
    call->answer->body_length = text ? strlen(text) : 0;
}

void api_json(struct api_call *call, int status, json_t *json) {
    char *text = json ? json_dumps(json, JSON_COMPACT) : NULL;
    json_decref(json);
    api_text(call, status, "application/json", text);
}

void api_error(struct api_call *call, int status, const char *format, ...) {
    char text[1024];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    free(call->answer->body);
    call->answer->body = NULL;
    char *sentence = text_repair(text); /* it may hold any bytes of the request */
    api_json(call, status, json_pack("{s:s?}", "error", sentence));
    free(sentence);
}

void api_errors(struct api_call *call, int status, const struct settings_errors *errors) {
    json_t *list = json_array();
    for (size_t i = 0; i < errors->count; i++) {
        char *line = text_repair(errors->lines[i]);
        json_array_append_new(list, json_string(line ? line : SAY_OUT_OF_MEMORY));
        free(line);
    }
    const char *first = json_string_value(json_array_get(list, 0));
    api_json(call, status,
             json_pack("{s:s,s:o}", "error", first ? first : SAY_OUT_OF_MEMORY, "errors", list));
}

bool api_language(struct api_call *call, size_t *language) {
    const char *code = web_query(call->request, "language");
    *language = WORDING_ENGLISH;
    if (!code || wording_language_find(code, language))
        return true;
    api_error(call, 400, "language: \"%s\" is not known, only the languages of messages", code);
    return false;
}

const struct point_baseline *api_baseline(const struct api *api, size_t point) {
    return point == FLEET_NONE
               ? NULL
               : point_state_baseline(monitor_point(pipeline_monitor(api->pipeline), point),
                                      api->now_ms);
}

json_t *api_texts(const char *const *texts, size_t count) {
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++)
        json_array_append_new(list, json_string(texts[i]));
    return list;
}

json_t *api_time(int64_t time_ms) {
    char text[40];
    return time_ms == TIMESTAMP_NONE ? json_null()
                                     : json_string(timestamp_format(text, sizeof text, time_ms));
}

json_t *api_number(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

void api_zone(json_t *object, const struct api *api, size_t system) {
    if (system != FLEET_NONE)
        json_object_set_new(object, "time_zone",
                            json_string(time_zone_name(api->fleet->systems[system].zone)));
}

/* ---- what a request gives ---- */

const char *api_given(const struct api_call *call, const char *name) {
    const char *text = json_string_value(json_object_get(call->body, name));
    return text && *text ? text : NULL;
}

const char *api_needed(struct api_call *call, const char *name) {
    const char *text = api_given(call, name);
    if (!text)
        api_error(call, 400, SAY_NOT_SAID, name);
    return text;
}

size_t api_system(struct api_call *call, const char *id) {
    size_t system = fleet_find_system(call->api->fleet, id);
    if (system == FLEET_NONE)
        api_error(call, 404, "there is no system \"%s\"; see: subslabctl systems", id);
    return system;
}

bool api_time_read(const char *text, const struct time_zone *zone, int64_t *time_ms) {
    int year = 0, month = 0, day = 0;
    size_t length = strlen(text);
    if (timestamp_parse(text, length, time_ms))
        return true;
    if (!timestamp_parse_date(text, length, &year, &month, &day))
        return false;
    *time_ms = time_zone_day_start_ms(zone, timestamp_days_from_civil(year, month, day));
    return true;
}

bool api_instant(struct api_call *call, const char *name, const char *text,
                 const struct time_zone *zone, bool ahead, int64_t *time_ms) {
    int64_t span_ms = 0;
    if (api_time_read(text, zone, time_ms))
        return true;
    if (ahead && duration_parse(text, &span_ms)) {
        *time_ms = call->api->now_ms + span_ms;
        return true;
    }
    if (ahead)
        api_error(call, 400, "%s: " SAY_NO_TIME_OR_SPAN, name, text);
    else
        api_error(call, 400, "%s: " SAY_NO_TIME, name, text);
    return false;
}

bool api_count(struct api_call *call, const char *name, int64_t most, int64_t *count) {
    const char *text = web_query(call->request, name);
    *count = 0;
    if (!text)
        return true;
    size_t length = strlen(text);
    if (length > 0 && length < 19 && strspn(text, "0123456789") == length)
        *count = strtoll(text, NULL, 10);
    if (*count >= 1 && *count <= most)
        return true;
    api_error(call, 400, "%s: \"%s\" is not allowed; allowed: a whole number from 1 to %lld", name,
              text, (long long)most);
    return false;
}

bool api_commit(struct api_call *call) {
    struct api *api = call->api;
    if (pipeline_store(api->pipeline) && !api->store_failing &&
        pipeline_settle(api->pipeline, api->now_ms) == STORE_OK) {
        api->changes++;
        return true;
    }
    api_error(call, 503, SAY_STORE_FAILS, api->store_why);
    return false;
}

struct store *api_store(struct api_call *call) {
    struct store *store = pipeline_store(call->api->pipeline);
    if (!store)
        api_error(call, 503, "the store fails: %s", call->api->store_why);
    return store;
}
