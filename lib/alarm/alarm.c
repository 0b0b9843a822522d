#include "alarm/alarm.h"

#include <stdlib.h>

bool alarm_stands(const struct alarm *alarm) {
    return alarm->returned_ms == TIMESTAMP_NONE;
}

enum alarm_state alarm_state(const struct alarm *alarm) {
    bool stands = alarm_stands(alarm);
    bool acknowledged = alarm->acknowledged.time_ms != TIMESTAMP_NONE;
    if ((alarm->history || alarm->unwatched) && !stands)
        return ALARM_NORMAL;
    if (alarm->out_of_service && stands)
        return ALARM_OUT_OF_SERVICE;
    if (alarm->shelved.until_ms != TIMESTAMP_NONE)
        return ALARM_SHELVED;
    if (alarm->suppressed && stands)
        return ALARM_SUPPRESSED_BY_DESIGN;
    if (stands)
        return acknowledged ? ALARM_ACKNOWLEDGED : ALARM_UNACKNOWLEDGED;
    /* What was never told to anybody asks nobody for an acknowledgement. */
    return acknowledged || !alarm->told ? ALARM_NORMAL : ALARM_RETURNED_UNACKNOWLEDGED;
}

const char *alarm_state_word(enum alarm_state state) {
    static const char *const words[] = {
        "normal",  "unacknowledged",       "acknowledged",  "returned unacknowledged",
        "shelved", "suppressed by design", "out of service"};
    return words[state];
}

bool alarm_open(const struct alarm *alarm) {
    return alarm_state(alarm) != ALARM_NORMAL;
}

bool alarm_annunciates(const struct alarm *alarm) {
    return alarm->shelved.until_ms == TIMESTAMP_NONE && !alarm->suppressed &&
           !alarm->out_of_service;
}

void alarm_clear(struct alarm *alarm) {
    free(alarm->subject);
    free(alarm->acknowledged.by);
    free(alarm->acknowledged.note);
    free(alarm->shelved.by);
    free(alarm->shelved.why);
    free(alarm->details);
}
