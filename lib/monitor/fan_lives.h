/*
 * fan_lives: how long each fan of the fleet has served, and how those ended that were taken out, by
 * the system files, records and visits. Pure.
 *
 * A fan that a record puts in the place of another ends that one's life: a failure, unless the
 * record says `why: other`. It is seen only since its house is watched (its first commissioning),
 * for of fans that failed before nobody would know.
 */
#ifndef MONITOR_FAN_LIVES_H
#define MONITOR_FAN_LIVES_H

#include "analysis/survival.h"
#include "monitor/monitor.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/** One fan. Texts are borrowed from the monitor and its fleet. */
struct fan_life {
    size_t system, branch;
    const char *model, *serial; /* or NULL: not known */
    int64_t installed_ms;       /* TIMESTAMP_NONE: not known, so its age is not either */
    int64_t ended_ms;           /* TIMESTAMP_NONE: it runs on */
    int64_t warranty_until_day; /* TIMESTAMP_NONE */
    bool failed, unsaid;        /* unsaid: it counts as failed, for nobody said why */
    double entry_years, years;  /* of age: first seen, and now or when it ended; NaN: not known */
};

struct fan_lives {
    struct fan_life *lives; /* by model, those without one last */
    size_t count;
};

/** Of all branches that name a fan. False when out of memory; clear in any case. */
bool fan_lives_read(const struct monitor *monitor, int64_t now_ms, struct fan_lives *lives);
void fan_lives_clear(struct fan_lives *lives);

/** The lives as survival works with them; those without a date are left out. Returns how many. */
size_t fan_lives_known(const struct fan_life *lives, size_t count, struct survival_life *known);

/** The condition that says a running fan is next: it stands still, is weak, slows down or draws
    more power. False: none of these is open. */
bool fan_lives_ailing(struct monitor *monitor, const struct fan_life *life,
                      enum condition *condition);

#endif
