#include "link/service_manager.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <systemd/sd-daemon.h>

#define STATUS_BYTES 256

/** A line break would begin another assignment of the protocol. */
static void one_line(const char *text, char line[STATUS_BYTES]) {
    snprintf(line, STATUS_BYTES, "%s", text ? text : "");
    for (char *at = line; *at; at++) {
        if ((unsigned char)*at < ' ')
            *at = ' ';
    }
}

static void notify_with_status(const char *state, const char *status) {
    char line[STATUS_BYTES];
    one_line(status, line);
    sd_notifyf(0, "%s%s%s", state, line[0] ? "STATUS=" : "", line);
}

void service_manager_ready(const char *status) {
    notify_with_status("READY=1\n", status);
}

void service_manager_reloading(int64_t monotonic_ms) {
    sd_notifyf(0, "RELOADING=1\nMONOTONIC_USEC=%" PRId64, monotonic_ms * 1000);
}

void service_manager_stopping(const char *status) {
    notify_with_status("STOPPING=1\n", status);
}

void service_manager_status(const char *status) {
    char line[STATUS_BYTES];
    one_line(status, line);
    sd_notifyf(0, "STATUS=%s", line);
}

void service_manager_watchdog(void) {
    sd_notify(0, "WATCHDOG=1");
}

void service_manager_extend_timeout(int64_t more_ms) {
    sd_notifyf(0, "EXTEND_TIMEOUT_USEC=%" PRId64, more_ms * 1000);
}

int64_t service_manager_watchdog_interval_ms(void) {
    uint64_t interval_us = 0;
    if (sd_watchdog_enabled(0, &interval_us) <= 0)
        return 0;
    int64_t half_ms = (int64_t)(interval_us / 2000);
    return half_ms > 0 ? half_ms : 1;
}
