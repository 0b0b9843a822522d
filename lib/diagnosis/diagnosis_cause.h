/*
 * diagnosis_cause: what can be wrong, as names, and what to check and to bring for it. Pure.
 */
#ifndef DIAGNOSIS_DIAGNOSIS_CAUSE_H
#define DIAGNOSIS_DIAGNOSIS_CAUSE_H

#include "diagnosis/visit_item.h"

enum diagnosis_cause {
    CAUSE_NONE = 0,          /* nothing but the usual variation */
    CAUSE_FAN_OFF,           /* off, without power, or seized */
    CAUSE_FAN_WORN,          /* runs slower than at commissioning */
    CAUSE_LEAK,              /* before the fan: joint, sump lid, slab opening */
    CAUSE_BLOCKED_BEFORE,    /* before the fan: water in a low spot, soil, a crushed tile */
    CAUSE_BLOCKED_DISCHARGE, /* behind the fan: ice, a nest */
    CAUSE_GAUGE_TUBE,        /* tube of the suction gauge off, blocked or leaking; gauge at fault */
    CAUSE_FIELD_LOST,        /* pressure field lost at one or more test holes only */
    CAUSE_RADON_ENTRY,       /* new entry path, or the radon monitor at fault */
    CAUSE_UNIT_MIX_UP,       /* a sensor reports in another unit than before */
    CAUSE_SENSOR_FAULT,      /* a sensor at fault, a gauge's zero that has wandered */
    CAUSE_WATER_HIGH,        /* water in the sump, the drain tile or the ground under the slab */
    CAUSE_UNKNOWN,           /* what is measured fits none of these */
    CAUSE_UNDECIDED,         /* several fit; only as a claim, never a candidate */
    CAUSE_COUNT
};

/** "fan-worn": for JSON, stores and tables. */
const char *diagnosis_cause_word(enum diagnosis_cause cause);

struct diagnosis_cause_items {
    enum visit_item check[VISIT_ITEMS_MOST], bring[VISIT_ITEMS_MOST];
};
/** What to check first and what to bring; common practice of the trade, no source. */
const struct diagnosis_cause_items *diagnosis_cause_items(enum diagnosis_cause cause);

#endif
