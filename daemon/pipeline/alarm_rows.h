/*
 * alarm_rows: the alarms of a monitor as rows of the store, one row an occurrence.
 */
#ifndef DAEMON_PIPELINE_ALARM_ROWS_H
#define DAEMON_PIPELINE_ALARM_ROWS_H

#include "monitor/monitor.h"
#include "store/store.h"

/**
 * Brings all open alarms into the monitor's book and numbers new ones from the highest of the store
 * on. Alarms of a system or point that the settings no longer have are closed, in a transaction of
 * its own.
 */
enum store_status alarm_rows_load(struct store *store, struct monitor *monitor);

/** Writes one alarm as it is now, within the caller's transaction. */
enum store_status alarm_rows_put(struct store *store, const struct fleet *fleet,
                                 const struct alarm *alarm);

#endif
