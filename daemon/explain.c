#include "explain.h"

#include "history_store.h"
#include "monitor/system_diagnosis.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

/* A slow fault is told before it can be told apart from the usual variation: look again later. */
static bool is_settled(const struct alarm *alarm) {
    json_t *root = alarm->details ? json_loads(alarm->details, 0, NULL) : NULL;
    const char *cause = json_string_value(json_object_get(root, "cause"));
    bool settled = cause && strcmp(cause, diagnosis_cause_word(CAUSE_NONE)) != 0 &&
                   strcmp(cause, diagnosis_cause_word(CAUSE_UNKNOWN)) != 0;
    json_decref(root);
    return settled;
}

void explain_alarm(struct pipeline *pipeline, struct alarm *alarm) {
    struct diagnosis diagnosis;
    if (alarm->system == ALARM_NO_INDEX || !alarm_stands(alarm) || !pipeline_store(pipeline) ||
        !system_diagnosis_applies(alarm->condition) || is_settled(alarm))
        return;
    struct monitor *monitor = pipeline_monitor(pipeline);
    const struct history history = history_store_view(pipeline);
    /* Event time: in a backlog the clock on the wall is hours ahead of what was measured. */
    int64_t newest_ms = monitor_system_newest_ms(monitor, alarm->system);
    if (newest_ms == TIMESTAMP_NONE ||
        !system_diagnosis_make(monitor, &history, alarm, newest_ms + 1, &diagnosis))
        return;
    char *details = system_diagnosis_json(&diagnosis);
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
