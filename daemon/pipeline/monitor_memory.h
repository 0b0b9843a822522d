/*
 * monitor_memory: the monitor's memory in the store: loaded at start, written after each turn.
 */
#ifndef DAEMON_PIPELINE_MONITOR_MEMORY_H
#define DAEMON_PIPELINE_MONITOR_MEMORY_H

#include "monitor/monitor.h"
#include "pipeline/month_means.h"
#include "store/records.h"
#include "store/series.h"
#include "store/store.h"

struct monitor_memory {
    struct store *store;     /* borrowed */
    struct monitor *monitor; /* borrowed */
    int64_t *keys;           /* of the points, in the fleet's order */
    struct month_means *months;
    size_t next_system; /* to read, beside the memory at work */
};

/**
 * Brings everything the store knows into a new monitor. Makes rows for new points (so it writes, in
 * a transaction of its own). Frees nothing on failure but its own; call monitor_memory_close in any
 * case.
 */
enum store_status monitor_memory_open(struct monitor_memory *memory, struct store *store,
                                      struct monitor *monitor);
void monitor_memory_close(struct monitor_memory *memory);

/**
 * The same for new settings, beside the memory at work: reads only what is new to `change` or
 * measured in another way, some systems a call until `until_monotonic_ms`; `*more`: there are more
 * to read. Starts with monitor_memory_open_beside, which reads nothing yet. The rest comes with
 * monitor_take_over; just before it, monitor_memory_catch_up reads again what has changed
 * meanwhile.
 */
enum store_status monitor_memory_open_beside(struct monitor_memory *memory,
                                             const struct monitor_memory *former,
                                             struct monitor *monitor,
                                             const struct fleet_change *change);
enum store_status monitor_memory_read_some(struct monitor_memory *memory,
                                           const struct fleet_change *change,
                                           int64_t until_monotonic_ms, bool *more);
enum store_status monitor_memory_catch_up(struct monitor_memory *memory,
                                          const struct monitor *former,
                                          const struct fleet_change *change);

/** Writes what changed, within the caller's transaction. */
enum store_status monitor_memory_write(struct monitor_memory *memory);

/* Hours of a point that the store has already, with its packs (series_load). */
struct monitor_memory_rolled {
    size_t point;
    struct series_span hours;
};
/** Writes the hours that changed and are not among these, which are in order of their points. */
enum store_status monitor_memory_write_hours(struct monitor_memory *memory,
                                             const struct monitor_memory_rolled *rolled,
                                             size_t count);

/** Reads the baselines and dates of a system anew after a commissioning record or a visit. */
enum store_status monitor_memory_read_records(struct monitor_memory *memory, size_t system);

#endif
