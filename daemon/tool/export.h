/*
 * ctl_export: readings of a system from the daemon, page by page, as CSV or SenML (RFC 8428).
 */
#ifndef DAEMON_TOOL_EXPORT_H
#define DAEMON_TOOL_EXPORT_H

#include "tool/ctl.h"

#include <stdio.h>

/** The command `export`. */
enum ctl_status ctl_export(struct ctl *ctl, const struct ctl_arguments *given);
/** All readings of a system since `from` (RFC 3339) to `out`, as CSV that `import` reads.
 * CTL_FAILED after an error was printed, also where a damaged day is left out. */
enum ctl_status ctl_export_csv(struct ctl *ctl, const char *system, const char *from, FILE *out);

#endif
