/*
 * log: lines to standard error, with the journal's level prefix where that leads to the journal
 * (sd-daemon(3)), and to the journal itself what has fields of its own.
 * Line breaks, control bytes and terminal escapes in the text become spaces, so that nothing from
 * outside can forge a line.
 */
#ifndef DAEMON_HOST_LOG_H
#define DAEMON_HOST_LOG_H

enum log_level { LOG_LEVEL_ERROR, LOG_LEVEL_WARNING, LOG_LEVEL_NOTICE, LOG_LEVEL_INFO };

/** Writes one line about a subject ("broker", "store"); NULL: the text alone, as it is. */
void log_line(enum log_level level, const char *subject, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/** What others wait for in the journal: each has a MESSAGE_ID, which never changes. */
enum log_event {
    LOG_EVENT_STARTED,
    LOG_EVENT_BROKER_CONNECTED,
    LOG_EVENT_BROKER_LOST,
    LOG_EVENT_SETTINGS_TAKEN,
    LOG_EVENT_SETTINGS_REFUSED,
    LOG_EVENT_STORE_FAILING,
    LOG_EVENT_STORE_WORKS,
    LOG_EVENT_ALARM_RAISED,
    LOG_EVENT_ALARM_RETURNED,
    LOG_EVENTS
};

/** What an event is about; all may be NULL. In the journal SUBSLAB_SYSTEM and so on. */
struct log_about {
    const char *system, *point, *condition;
};

/** Writes the line of an event, in the journal with its fields. `about` NULL: of no system. */
void log_event(enum log_event event, enum log_level level, const struct log_about *about,
               const char *format, ...) __attribute__((format(printf, 4, 5)));

#endif
