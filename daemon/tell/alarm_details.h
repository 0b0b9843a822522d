/*
 * alarm_details: what is known of an alarm beyond its numbers (diagnosis, what to check, what to
 * bring), out of the JSON text that it carries.
 */
#ifndef DAEMON_TELL_ALARM_DETAILS_H
#define DAEMON_TELL_ALARM_DETAILS_H

#include "alarm/alarm.h"
#include "words/text_list.h"

#include <jansson.h>

enum { ALARM_DETAILS_LIST_MOST = 32 };

/** The lists point into it and into the parsed JSON: close it where it was opened. */
struct alarm_details {
    json_t *root;
    const char *cause; /* or NULL */
    double confidence; /* or NaN */
    const char *evidence_items[ALARM_DETAILS_LIST_MOST], *check_items[ALARM_DETAILS_LIST_MOST],
        *bring_items[ALARM_DETAILS_LIST_MOST];
    struct text_list evidence, check, bring;
};

/** Nothing but empty lists where the alarm has none. */
void alarm_details_open(struct alarm_details *details, const struct alarm *alarm);
void alarm_details_close(struct alarm_details *details);

#endif
