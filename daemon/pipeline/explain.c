#include "pipeline/explain.h"

#include "monitor/system_diagnosis.h"
#include "pipeline/history_store.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static json_t *list_json(const char *const *items, size_t count) {
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++)
        json_array_append_new(list, json_string(items[i]));
    return list;
}

char *explain_json(const struct diagnosis *diagnosis) {
    const char *evidence[DIAGNOSIS_EVIDENCE_MAX];
    for (size_t i = 0; i < diagnosis->evidence_count; i++)
        evidence[i] = diagnosis->evidence[i];
    json_t *root =
        json_pack("{s:s, s:f, s:o, s:o, s:o}", "cause", diagnosis_cause_word(diagnosis->cause),
                  "confidence", isfinite(diagnosis->confidence) ? diagnosis->confidence : 0.0,
                  "evidence", list_json(evidence, diagnosis->evidence_count), "check",
                  list_json(diagnosis->check, diagnosis->check_count), "bring",
                  list_json(diagnosis->bring, diagnosis->bring_count));
    char *text = root ? json_dumps(root, JSON_COMPACT | JSON_REAL_PRECISION(3)) : NULL;
    json_decref(root);
    return text;
}

/* A slow fault is told before it can be told apart from the usual variation: look again later. */
static bool is_settled(const struct alarm *alarm) {
    json_t *root = alarm->details ? json_loads(alarm->details, 0, NULL) : NULL;
    const char *cause = json_string_value(json_object_get(root, "cause"));
    bool settled = cause && strcmp(cause, diagnosis_cause_word(CAUSE_NONE)) != 0 &&
                   strcmp(cause, diagnosis_cause_word(CAUSE_UNKNOWN)) != 0;
    json_decref(root);
    return settled;
}

void explain_alarm(struct monitor_store *memory, struct alarm *alarm) {
    struct diagnosis diagnosis;
    if (alarm->system == ALARM_NO_INDEX || !alarm_stands(alarm) || !memory->store ||
        !system_diagnosis_applies(alarm->condition) || is_settled(alarm))
        return;
    struct monitor *monitor = memory->monitor;
    const struct history history = history_store_view(memory);
    /* Event time: in a backlog the clock on the wall is hours ahead of what was measured. */
    int64_t newest_ms = monitor_system_newest_ms(monitor, alarm->system);
    if (newest_ms == TIMESTAMP_NONE ||
        !system_diagnosis_make(monitor, &history, alarm, newest_ms + 1, &diagnosis))
        return;
    char *details = explain_json(&diagnosis);
    if (!details)
        return;
    if (!alarm->details || strcmp(alarm->details, details) != 0) {
        free(alarm->details);
        alarm->details = details;
        alarm_book_touch(monitor_alarms(monitor), alarm);
    } else {
        free(details);
    }
}
