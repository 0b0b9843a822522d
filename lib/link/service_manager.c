#include "link/service_manager.h"

#include "link/datagram.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define STATUS_BYTES 256

/** A line break would begin another assignment of the protocol. */
static void one_line(const char *text, char line[STATUS_BYTES]) {
    snprintf(line, STATUS_BYTES, "%s", text ? text : "");
    for (char *at = line; *at; at++) {
        if ((unsigned char)*at < ' ')
            *at = ' ';
    }
}

static void notify(const char *format, ...) __attribute__((format(printf, 1, 2)));
static void notify(const char *format, ...) {
    char text[STATUS_BYTES + 64];
    const char *manager = getenv("NOTIFY_SOCKET");
    va_list arguments;
    if (!manager)
        return;
    va_start(arguments, format);
    int length = vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    if (length > 0 && (size_t)length < sizeof text)
        datagram_send(manager, text, (size_t)length);
}

static void notify_with_status(const char *state, const char *status) {
    char line[STATUS_BYTES];
    one_line(status, line);
    notify("%s%s%s", state, line[0] ? "STATUS=" : "", line);
}

void service_manager_ready(const char *status) {
    notify_with_status("READY=1\n", status);
}

void service_manager_reloading(int64_t monotonic_ms) {
    notify("RELOADING=1\nMONOTONIC_USEC=%" PRId64, monotonic_ms * 1000);
}

void service_manager_stopping(const char *status) {
    notify_with_status("STOPPING=1\n", status);
}

void service_manager_status(const char *status) {
    char line[STATUS_BYTES];
    one_line(status, line);
    notify("STATUS=%s", line);
}

void service_manager_watchdog(void) {
    notify("WATCHDOG=1");
}

void service_manager_extend_timeout(int64_t more_ms) {
    notify("EXTEND_TIMEOUT_USEC=%" PRId64, more_ms * 1000);
}

/* A whole number of an environment variable; -1: it is missing or no number. */
static int64_t number_of(const char *name) {
    const char *text = getenv(name);
    size_t length = text ? strlen(text) : 0;
    if (length == 0 || length > 18 || strspn(text, "0123456789") != length)
        return -1;
    return strtoll(text, NULL, 10);
}

int64_t service_manager_watchdog_interval_ms(void) {
    int64_t interval_us = number_of("WATCHDOG_USEC");
    bool for_us = !getenv("WATCHDOG_PID") || number_of("WATCHDOG_PID") == getpid();
    int64_t half_ms = interval_us / 2000;
    if (interval_us <= 0 || !for_us)
        return 0;
    return half_ms > 0 ? half_ms : 1;
}

char *service_manager_credential(const char *name) {
    const char *folder = getenv("CREDENTIALS_DIRECTORY");
    char *path = NULL;
    if (!folder || folder[0] != '/' || !name[0] || strchr(name, '/') || name[0] == '.')
        return NULL;
    if (asprintf(&path, "%s/%s", folder, name) < 0)
        return NULL;
    if (access(path, R_OK) == 0)
        return path;
    free(path);
    return NULL;
}
