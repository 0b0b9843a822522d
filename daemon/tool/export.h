/*
 * ctl_export: readings of a system from the daemon, page by page, as CSV or SenML (RFC 8428).
 */
#ifndef DAEMON_TOOL_EXPORT_H
#define DAEMON_TOOL_EXPORT_H

#include "tool/ctl.h"

/** The command `export`. */
enum ctl_status ctl_export(struct ctl *ctl, int argc, char **argv);

#endif
