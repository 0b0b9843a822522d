/*
 * status_line: what `systemctl status` shows of the service: "9 812 in spec, 31 out of spec, broker
 * connected, store works", and "waiting: clock" before it while the clock is not trusted.
 */
#ifndef DAEMON_SERVICE_STATUS_LINE_H
#define DAEMON_SERVICE_STATUS_LINE_H

#include "api/context.h"

enum { STATUS_LINE_BYTES = 240 };

/** As things are now. */
void status_line_of(const struct api *api, char line[STATUS_LINE_BYTES]);

/** A whole number in groups of three: "9 812". Returns its length. */
size_t status_line_number(char *text, size_t size, size_t number);

#endif
