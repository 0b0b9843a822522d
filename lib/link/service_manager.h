/*
 * service_manager: what systemd is told and asks for (sd_notify(3), sd_watchdog_enabled(3),
 * systemd.exec(5) on credentials). Started by hand, without a notify socket, all of it does
 * nothing.
 */
#ifndef LINK_SERVICE_MANAGER_H
#define LINK_SERVICE_MANAGER_H

#include <stdbool.h>
#include <stdint.h>

/** Store and page work; `status` is one line for `systemctl status`. */
void service_manager_ready(const char *status);
/** Settings are being read again; `monotonic_ms` is now on CLOCK_MONOTONIC. Ends with ready. */
void service_manager_reloading(int64_t monotonic_ms);
void service_manager_stopping(const char *status);
/** One line for `systemctl status`; line breaks in it become spaces. */
void service_manager_status(const char *status);
/** A whole turn of the loop was made. */
void service_manager_watchdog(void);
/** A start, stop or reload needs up to this much longer from now on. */
void service_manager_extend_timeout(int64_t more_ms);

/**
 * How often service_manager_watchdog must be called at the latest: half the interval that
 * WATCHDOG_USEC asks for (the manual's advice); 0 when nobody asks this process.
 */
int64_t service_manager_watchdog_interval_ms(void);

/** Path of a credential in $CREDENTIALS_DIRECTORY; NULL when there is none. The caller frees. */
char *service_manager_credential(const char *name);

#endif
