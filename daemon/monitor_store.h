/*
 * monitor_store: the monitor's memory in the store: loaded at start, written after each turn.
 */
#ifndef DAEMON_MONITOR_STORE_H
#define DAEMON_MONITOR_STORE_H

#include "monitor/monitor.h"
#include "store/records.h"
#include "store/series.h"
#include "store/store.h"

struct monitor_store {
    struct store *store;      /* borrowed */
    struct monitor *monitor;  /* borrowed */
    int64_t *keys;            /* of the points, in the fleet's order */
    enum store_status failed; /* why the last write failed */
};

/**
 * Brings everything the store knows into a new monitor. Makes rows for new points (so it writes, in
 * a transaction of its own). Frees nothing on failure but its own; call monitor_store_close in any
 * case.
 */
enum store_status monitor_store_open(struct monitor_store *link, struct store *store,
                                     struct monitor *monitor);
void monitor_store_close(struct monitor_store *link);

/** Writes what changed, within the caller's transaction. */
enum store_status monitor_store_write(struct monitor_store *link);

/** Reads the baselines and dates of a system anew after a commissioning record or a visit. */
enum store_status monitor_store_read_records(struct monitor_store *link, size_t system);

#endif
