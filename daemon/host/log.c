#include "host/log.h"

#include "link/journal.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { TEXT_BYTES = 2048 };

static const struct {
    const char *message_id, *subject;
} events[LOG_EVENTS] = {
    [LOG_EVENT_STARTED] = {"c138fefe79af42fd801c7e907aa3b774", "start"},
    [LOG_EVENT_BROKER_CONNECTED] = {"476623da927f4e9bbf5807755cabfbd0", "broker"},
    [LOG_EVENT_BROKER_LOST] = {"64dd2bf2b0ff4d6fa7c774d3cc26a285", "broker"},
    [LOG_EVENT_SETTINGS_TAKEN] = {"e8e9985974b94f999c1205a6acaaebdc", "settings"},
    [LOG_EVENT_SETTINGS_REFUSED] = {"fb9930c21b34427fae091d5983bb4285", "settings"},
    [LOG_EVENT_STORE_FAILING] = {"0fa9454827dd4396b689470b91d888c9", "store"},
    [LOG_EVENT_STORE_WORKS] = {"bf507138e5434b9996feddd7fe2a7e45", "store"},
    [LOG_EVENT_ALARM_RAISED] = {"6e211fd30e814511b4a2f8a05505d298", "alarm"},
    [LOG_EVENT_ALARM_RETURNED] = {"a00b69d4de4440de9d525a689d950df7", "alarm"},
};

/* Those of syslog(3), as a digit. */
static const char *const priorities[] = {"3", "4", "5", "6"};

static void write_line(enum log_level level, const char *subject, char *text) {
    static const char *const plain[] = {"error: ", "warning: ", "", ""};
    for (char *c = text; *c; c++) {
        if ((unsigned char)*c < 0x20 || *c == 0x7f)
            *c = ' ';
    }
    if (journal_is_at(STDERR_FILENO))
        fprintf(stderr, "<%s>", priorities[level]);
    else if (subject)
        fputs(plain[level], stderr);
    fprintf(stderr, "%s%s%s\n", subject ? subject : "", subject ? ": " : "", text);
}

void log_line(enum log_level level, const char *subject, const char *format, ...) {
    char text[TEXT_BYTES];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    write_line(level, subject, text);
}

static bool send_event(enum log_event event, enum log_level level, const struct log_about *about,
                       const char *text) {
    char message[TEXT_BYTES + 16];
    snprintf(message, sizeof message, "%s: %s", events[event].subject, text);
    const struct journal_field fields[] = {
        {"MESSAGE", message},
        {"PRIORITY", priorities[level]},
        {"SYSLOG_IDENTIFIER", "subslabd"},
        {"MESSAGE_ID", events[event].message_id},
        {"SUBSLAB_SYSTEM", about ? about->system : NULL},
        {"SUBSLAB_POINT", about ? about->point : NULL},
        {"SUBSLAB_CONDITION", about ? about->condition : NULL},
    };
    return journal_send(JOURNAL_SOCKET, fields, sizeof fields / sizeof fields[0]);
}

void log_event(enum log_event event, enum log_level level, const struct log_about *about,
               const char *format, ...) {
    char text[TEXT_BYTES];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    if (!journal_is_at(STDERR_FILENO) || !send_event(event, level, about, text))
        write_line(level, events[event].subject, text);
}
