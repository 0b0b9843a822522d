/*
 * fitted_fans: which fan stood in a branch at what time, by the records. What held at a time judges
 * that time; before the first the system file holds. Pure.
 */
#ifndef MONITOR_FITTED_FANS_H
#define MONITOR_FITTED_FANS_H

#include "settings/branch_description.h"
#include "settings/equipment.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct fitted_fan {
    int64_t since_ms;
    char *model, *serial; /* serial may be NULL */
    char *why;            /* the one before was taken out (settings/equipment.h), or NULL */
    int64_t installed_day, warranty_until_day; /* TIMESTAMP_NONE: not given */
};

/** In order of time. Zero is empty. */
struct fitted_fans {
    struct fitted_fan *fans;
    size_t count;
};

/** Adds one (copied); another of the same instant is replaced. False: out of memory. */
bool fitted_fans_add(struct fitted_fans *fans, int64_t since_ms, const struct equipment *equipment);
void fitted_fans_clear(struct fitted_fans *fans);

/** The one in force, NULL: that of the system file. */
const struct fitted_fan *fitted_fans_at(const struct fitted_fans *fans, int64_t time_ms);
/** Has another fan been put in after `from_ms`, up to `to_ms`? A record that only names again what
    stood there is none. `file`: the fan of the system file. */
bool fitted_fans_replaced(const struct fitted_fans *fans, const struct fan_description *file,
                          int64_t from_ms, int64_t to_ms);

#endif
