/*
 * systems: one line a system, worst first, for the list and the page.
 */
#ifndef DAEMON_API_SYSTEMS_H
#define DAEMON_API_SYSTEMS_H

#include "api/context.h"

/** The newest reading, held against commissioning. */
struct system_line_suction {
    size_t point;           /* FLEET_NONE: none */
    double pa, of_baseline; /* NaN: not known */
    int64_t time_ms;
    const char *why; /* something is not known, or NULL */
};

/** Of one monitor, over the last 30 days. Places are never averaged with each other. */
struct system_line_radon {
    size_t point;                /* FLEET_NONE: there is none */
    double mean_bq_m3, coverage; /* NaN: no reading, see why */
    const char *why;
};

#define SYSTEM_LINE_RADONS 8

struct system_line {
    enum monitor_status status;
    int64_t since_ms;
    size_t open, unacknowledged; /* alarms */
    struct system_line_suction suction;
    struct system_line_radon radons[SYSTEM_LINE_RADONS]; /* the highest first, at least one */
    size_t radon_count;
    int64_t last_reading_ms, next_visit_ms; /* TIMESTAMP_NONE: none */
};

/** How urgent a system is beside others: the lower `order`, below 1024, the worse. */
struct api_system_order {
    enum monitor_status status;
    uint16_t order;
};
struct api_system_order api_system_order(const struct api *api, size_t system);

/** Reads the mean of radon from the store. */
struct system_line api_system_line(const struct api *api, size_t system);

#endif
