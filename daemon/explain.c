#include "explain.h"

#include "history_store.h"
#include "monitor/system_diagnosis.h"

void explain_alarm(struct pipeline *pipeline, struct alarm *alarm) {
    struct diagnosis diagnosis;
    if (alarm->details || !alarm_stands(alarm) || alarm->system == ALARM_NO_INDEX ||
        !pipeline_store(pipeline))
        return;
    struct monitor *monitor = pipeline_monitor(pipeline);
    const struct history history = history_store_view(pipeline);
    /* Event time: in a backlog the clock on the wall is hours ahead of what was measured. */
    int64_t newest_ms = monitor_system_newest_ms(monitor, alarm->system);
    if (newest_ms == TIMESTAMP_NONE ||
        !system_diagnosis_make(monitor, &history, alarm, newest_ms + 1, &diagnosis))
        return;
    alarm->details = system_diagnosis_json(&diagnosis);
    if (alarm->details)
        alarm_book_touch(monitor_alarms(monitor), alarm);
}
