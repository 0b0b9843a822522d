/*
 * ctl_show: the page about one system, for a person in front of a terminal.
 */
#ifndef DAEMON_TOOL_SHOW_H
#define DAEMON_TOOL_SHOW_H

#include "tool/ctl.h"

#include <jansson.h>

/** Prints the page of a show object. */
void ctl_show_print(const struct ctl *ctl, const json_t *system);
/** Prints one visit: reasons, what to check and to bring. */
void ctl_show_visit(const struct ctl *ctl, const json_t *visit);

#endif
