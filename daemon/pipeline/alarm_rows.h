/*
 * alarm_rows: the alarms of a monitor as rows of the store, one row an occurrence.
 */
#ifndef DAEMON_PIPELINE_ALARM_ROWS_H
#define DAEMON_PIPELINE_ALARM_ROWS_H

#include "monitor/fleet_change.h"
#include "monitor/monitor.h"
#include "store/records.h"

/**
 * Brings all open alarms into the monitor's book and numbers new ones from the highest of the store
 * on. Alarms of a system or point that the settings no longer have are closed, in a transaction of
 * its own.
 */
enum store_status alarm_rows_load(struct store *store, struct monitor *monitor);

/** The same for systems that are new with changed settings: they were moved here from another
    daemon. Nothing is closed. */
enum store_status alarm_rows_load_new(struct store *store, struct monitor *monitor,
                                      const struct fleet_change *change);

/** The row of an alarm as it is now; its texts are the fleet's and the alarm's. */
struct record_alarm alarm_row_of(const struct fleet *fleet, const struct alarm *alarm);
/** Writes it, within the caller's transaction. */
enum store_status alarm_rows_put(struct store *store, const struct fleet *fleet,
                                 const struct alarm *alarm);

#endif
