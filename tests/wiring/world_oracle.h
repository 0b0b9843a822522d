/*
 * world_oracle: what must be true after a world, however it went. Each broken promise is told by
 * world_broken.
 */
#ifndef WORLD_ORACLE_H
#define WORLD_ORACLE_H

#include "world_script.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/**
 * Judges the store in the current folder after world_play: the readings, the messages, `verify`.
 * Marks the readings that are stored.
 */
void world_oracle_judge(struct world_script *script);

/** One occurrence of an alarm of a sensor or a system. */
struct world_alarm {
    char what[80];                            /* "SYSTEM/POINT CONDITION" */
    int64_t since_ms, raised_ms, returned_ms; /* returned: 0 while it stands */
    bool told;
};
struct world_alarms {
    struct world_alarm *items;
    size_t count, room;
};
/** Those of the store in the current folder. world_alarms_free frees them. */
struct world_alarms world_oracle_alarms(void);
void world_alarms_free(struct world_alarms *alarms);
/**
 * Each occurrence is that of the world without faults, with its times. Where readings came late,
 * what people had been told by then stays as it was told (monitor/rejudge.c), so only what nobody
 * was told of must agree.
 */
void world_oracle_compare(const struct world_script *script, const struct world_alarms *with_faults,
                          const struct world_alarms *without);

#endif
