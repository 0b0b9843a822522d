/*
 * alarm_details: what is known of an alarm beyond its numbers (diagnosis, what to check, what to
 * bring), out of the JSON text that it carries, in the words of whoever reads it.
 */
#ifndef DAEMON_TELL_ALARM_DETAILS_H
#define DAEMON_TELL_ALARM_DETAILS_H

#include "words/explanation.h"
#include "words/wording.h"

#include <jansson.h>

enum { ALARM_DETAILS_LIST_MOST = 32 };

/** The lists point into it and into the parsed JSON: close it where it was opened. */
struct alarm_details {
    json_t *root;
    struct explanation explained;
    const char *evidence_items[ALARM_DETAILS_LIST_MOST], *check_items[ALARM_DETAILS_LIST_MOST],
        *bring_items[ALARM_DETAILS_LIST_MOST];
    char *sentences[ALARM_DETAILS_LIST_MOST]; /* owned */
};

/** Of an alarm's `details`; nothing but empty lists for NULL. */
void alarm_details_open(struct alarm_details *details, const char *text,
                        struct wording_reader reader);
void alarm_details_close(struct alarm_details *details);

#endif
