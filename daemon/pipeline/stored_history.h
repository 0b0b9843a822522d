/*
 * stored_history: the past of points from the store, for pure code (monitor/history.h). Daily
 * values that are not kept yet are computed from the readings; within a transaction they are kept,
 * once a later reading of the point tells that the day is over for it.
 */
#ifndef DAEMON_PIPELINE_STORED_HISTORY_H
#define DAEMON_PIPELINE_STORED_HISTORY_H

#include "monitor/history.h"
#include "pipeline/monitor_memory.h"

/** How to ask the store of a monitor's memory. Valid as long as that is open. */
struct history stored_history_view(struct monitor_memory *memory);

#endif
