/*
 * tool_event: writes events as the daemon would send them, one JSON object a line, for validators
 * from outside: {"name", "contentType", "headers": {webhook-…}, "body", "secret"}. The timestamp is
 * an argument (seconds since 1970), so that a validator's tolerance can be met.
 */
#include "link/signing.h"
#include "words/event.h"
#include "words/wording.h"

#include <inttypes.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char secret[] = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";
static const char *const evidence[] = {"suction 5 Pa of 274 Pa", "fan power 0 W of 19 W"};
static const char *const check[] = {"switch and breaker"};

struct sample {
    const char *name, *type, *subject;
    enum wording_kind kind;
    enum wording_role role;
    const char *language;
    enum condition condition;
};

static const struct sample samples[] = {
    {"raised", EVENT_TYPE_RAISED, "birch-lane-12", WORDING_RAISED, WORDING_TECHNICIAN, "en",
     CONDITION_SUCTION_LOST},
    {"returned", EVENT_TYPE_RETURNED, "birch-lane-12", WORDING_RETURNED, WORDING_HOMEOWNER, "es",
     CONDITION_RADON_HIGH},
    {"acknowledged", EVENT_TYPE_ACKNOWLEDGED, "birch-lane-12", WORDING_ACKNOWLEDGED,
     WORDING_CONTRACTOR, "en", CONDITION_FAN_STOPPED},
    {"reminder", EVENT_TYPE_REMINDER, "birch-lane-12", WORDING_REMINDER, WORDING_CONTRACTOR, "es",
     CONDITION_WATER_HIGH},
    {"escalated", EVENT_TYPE_ESCALATED, "birch-lane-12", WORDING_ESCALATED, WORDING_CONTRACTOR,
     "en", CONDITION_SUCTION_LOST},
    {"daemon", EVENT_TYPE_RAISED, "", WORDING_RAISED, WORDING_CONTRACTOR, "en",
     CONDITION_STORE_FAILING},
    {"digest", EVENT_TYPE_DIGEST, "", WORDING_DIGEST, WORDING_CONTRACTOR, "en", CONDITION_COUNT},
    {"visit", EVENT_TYPE_VISIT_DUE, "birch-lane-12", WORDING_VISIT_DUE, WORDING_TECHNICIAN, "en",
     CONDITION_COUNT},
    {"test", EVENT_TYPE_TEST, "", WORDING_TEST, WORDING_CONTRACTOR, "en", CONDITION_COUNT},
};

static char *text_of(const struct sample *sample, const struct time_zone *zone, int64_t now_ms) {
    struct wording_facts facts = {
        .role = sample->role,
        .zone = zone,
        .kind = sample->kind,
        .condition = sample->condition,
        .place.system_id = sample->subject,
        .place.system_name = *sample->subject ? "12 Birch Lane \xe2\x80\x93 \"annex\"" : "",
        .quantity = QUANTITY_SUCTION,
        .dimension = DIMENSION_PRESSURE,
        .value = 5.0,
        .setpoint = 27.4,
        .baseline = 274.0,
        .since_ms = now_ms - 3600000,
        .raised_ms = now_ms,
        .returned_ms = TIMESTAMP_NONE,
        .explained.cause = "fan-off",
        .explained.confidence = 0.85,
        .explained.evidence = {evidence, 2},
        .explained.check = {check, 1},
        .lines = {check, 1},
    };
    wording_language_find(sample->language, &facts.language);
    return wording_render(&facts);
}

static char *body_of(const struct sample *sample, const char *id, const char *text,
                     int64_t now_ms) {
    char *data = NULL;
    if (sample->condition < CONDITION_COUNT) {
        const struct event_alarm alarm = {.id = 42,
                                          .system = sample->subject,
                                          .point = "suction",
                                          .condition = condition_info(sample->condition)->name,
                                          .priority = "high",
                                          .state = "unacknowledged",
                                          .since_ms = now_ms - 3600000,
                                          .raised_ms = now_ms,
                                          .returned_ms = TIMESTAMP_NONE,
                                          .value = 5.0,
                                          .setpoint = (double)NAN,
                                          .unit = "Pa",
                                          .explained.cause = "fan-off",
                                          .explained.confidence = 0.85,
                                          .explained.evidence = {evidence, 2},
                                          .explained.check = {check, 1}};
        data = event_alarm_json(&alarm);
    }
    char *source = event_source("subslabd test");
    const struct event event = {.id = id,
                                .source = source,
                                .type = sample->type,
                                .subject = sample->subject,
                                .time_ms = now_ms,
                                .data = data,
                                .text = text};
    char *body = event_render(&event);
    free(source);
    free(data);
    return body;
}

static bool write_sample(const struct sample *sample, const struct time_zone *zone,
                         int64_t timestamp_s) {
    char id[64], timestamp[32], signature[SIGNING_TEXT_SIZE];
    struct signing_key key;
    snprintf(id, sizeof id, "msg_%s", sample->name);
    snprintf(timestamp, sizeof timestamp, "%" PRId64, timestamp_s);
    char *text = text_of(sample, zone, timestamp_s * 1000);
    char *body = text ? body_of(sample, id, text, timestamp_s * 1000) : NULL;
    bool good = body && signing_key_parse(secret, &key) &&
                signing_sign(&key, id, timestamp_s, body, strlen(body), signature);
    json_t *line = good ? json_pack("{s:s, s:s, s:s, s:s, s:{s:s, s:s, s:s}, s:s, s:s}", "name",
                                    sample->name, "type", sample->type, "subject", sample->subject,
                                    "contentType", "application/cloudevents+json", "headers",
                                    "webhook-id", id, "webhook-timestamp", timestamp,
                                    "webhook-signature", signature, "body", body, "secret", secret)
                        : NULL;
    good = line && json_dumpf(line, stdout, JSON_COMPACT) == 0 && puts("") >= 0;
    json_decref(line);
    free(text);
    free(body);
    return good;
}

int main(int count, char **arguments) {
    if (count != 2) {
        fprintf(stderr, "usage: tool_event SECONDS-SINCE-1970\n");
        return 2;
    }
    struct time_zone *zone = time_zone_create_utc();
    bool good = zone != NULL;
    for (size_t i = 0; good && i < sizeof samples / sizeof samples[0]; i++)
        good = write_sample(&samples[i], zone, strtoll(arguments[1], NULL, 10));
    time_zone_destroy(zone);
    return good ? 0 : 1;
}
