#include "monitor/alarm_book_private.h"

#include <stdlib.h>
#include <string.h>

/* ---- what people do ---- */

static bool copy_text(char **to, const char *from) {
    char *copy = from ? strdup(from) : NULL;
    if (from && !copy)
        return false;
    free(*to);
    *to = copy;
    return true;
}

bool alarm_book_acknowledge(struct alarm_book *book, struct alarm *alarm, const char *by,
                            const char *note, int64_t now_ms) {
    if (!copy_text(&alarm->acknowledged.by, by) || !copy_text(&alarm->acknowledged.note, note))
        return false;
    alarm->acknowledged.time_ms = now_ms;
    alarm_book_touch(book, alarm);
    return true;
}

bool alarm_book_shelve(struct alarm_book *book, struct alarm *alarm, int64_t until_ms,
                       const char *by, const char *why) {
    if (!copy_text(&alarm->shelved.by, by) || !copy_text(&alarm->shelved.why, why))
        return false;
    alarm->shelved.until_ms = until_ms;
    alarm_book_touch(book, alarm);
    return true;
}

void alarm_book_unshelve(struct alarm_book *book, struct alarm *alarm) {
    alarm->shelved.until_ms = TIMESTAMP_NONE;
    if (alarm_stands(alarm)) {
        alarm->acknowledged.time_ms = TIMESTAMP_NONE;
        alarm->told = false;
    } else {
        alarm->history = true;
    }
    alarm_book_touch(book, alarm);
}

void alarm_book_set_out_of_service(struct alarm_book *book, size_t system, bool out) {
    for (struct alarm *alarm = *alarm_book_head(book, system); alarm;
         alarm = alarm->next_of_system) {
        if (alarm->out_of_service == out)
            continue;
        alarm->out_of_service = out;
        alarm_book_touch(book, alarm);
    }
}

int64_t alarm_book_expire(struct alarm_book *book, int64_t now_ms) {
    int64_t next_ms = INT64_MAX;
    for (size_t i = 0; i < book->count; i++) {
        struct alarm *alarm = book->alarms[i];
        if (alarm->shelved.until_ms == TIMESTAMP_NONE)
            continue;
        if (alarm->shelved.until_ms <= now_ms)
            alarm_book_unshelve(book, alarm);
        else if (alarm->shelved.until_ms < next_ms)
            next_ms = alarm->shelved.until_ms;
    }
    return next_ms;
}
