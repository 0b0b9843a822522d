/*
 * monitor_store: the monitor's memory in the store: loaded at start, written after each turn.
 */
#ifndef DAEMON_PIPELINE_MONITOR_STORE_H
#define DAEMON_PIPELINE_MONITOR_STORE_H

#include "monitor/monitor.h"
#include "store/records.h"
#include "store/series.h"
#include "store/store.h"

struct monitor_store {
    struct store *store;      /* borrowed */
    struct monitor *monitor;  /* borrowed */
    int64_t *keys;            /* of the points, in the fleet's order */
    size_t next_system;       /* to read, beside the memory at work */
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

/**
 * The same for new settings, beside the memory at work: reads only what is new to `change` or
 * measured in another way, some systems a call until `until_monotonic_ms`; `*more`: there are more
 * to read. Starts with monitor_store_open_beside, which reads nothing yet. The rest comes with
 * monitor_take_over; just before it, monitor_store_catch_up reads again what has changed meanwhile.
 */
enum store_status monitor_store_open_beside(struct monitor_store *link,
                                            const struct monitor_store *former,
                                            struct monitor *monitor,
                                            const struct fleet_change *change);
enum store_status monitor_store_read_some(struct monitor_store *link,
                                          const struct fleet_change *change,
                                          int64_t until_monotonic_ms, bool *more);
enum store_status monitor_store_catch_up(struct monitor_store *link, const struct monitor *former,
                                         const struct fleet_change *change);

/** Writes what changed, within the caller's transaction. */
enum store_status monitor_store_write(struct monitor_store *link);

/** Reads the baselines and dates of a system anew after a commissioning record or a visit. */
enum store_status monitor_store_read_records(struct monitor_store *link, size_t system);

#endif
