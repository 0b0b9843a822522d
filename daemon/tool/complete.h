/*
 * complete: what may stand next on a line of subslabctl, for the completion of shells
 * (daemon/tool/completion). All of it comes from the table of the commands; ids from a daemon that
 * answers.
 */
#ifndef DAEMON_TOOL_COMPLETE_H
#define DAEMON_TOOL_COMPLETE_H

#include "tool/ctl.h"

/**
 * `subslabctl --complete WORD…`: prints what may stand in place of the last word, one a line, with
 * a tab and what it is behind it; the line COMPLETE_FILES: names of files.
 */
enum ctl_status ctl_complete(struct ctl *ctl, int argc, char **argv);

#define COMPLETE_FILES ":files"

#endif
