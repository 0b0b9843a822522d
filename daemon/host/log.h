/*
 * log: lines to standard error, with the journal's level prefix under systemd (sd-daemon(3)).
 * Line breaks, control bytes and terminal escapes in the text become spaces, so that nothing from
 * outside can forge a line.
 */
#ifndef DAEMON_HOST_LOG_H
#define DAEMON_HOST_LOG_H

enum log_level { LOG_LEVEL_ERROR, LOG_LEVEL_WARNING, LOG_LEVEL_NOTICE, LOG_LEVEL_INFO };

/** Writes one line about a subject ("broker", "store"). */
void log_line(enum log_level level, const char *subject, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

#endif
