/*
 * forget: how a house ends at a daemon, for commands that end it.
 */
#ifndef DAEMON_TOOL_FORGET_H
#define DAEMON_TOOL_FORGET_H

#include "tool/ctl.h"

/** Of a system that another daemon watches now: takes its file away, waits until it is no longer
    watched, and deletes what the store has of it. Asks nobody, prints errors only. */
enum ctl_status ctl_forget_moved(struct ctl *ctl, const char *system, const char *by);

#endif
