/*
 * condition: the table of everything that can be wrong, with its defaults.
 * A setting may change setpoint, deadband, delays and priority of any row for the fleet, a system
 * or a point. Words follow ISA-18.2. Pure.
 */
#ifndef ALARM_CONDITION_H
#define ALARM_CONDITION_H

#include "measure/quantity.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum condition {
    CONDITION_SUCTION_LOST,
    CONDITION_SUCTION_LOW,
    CONDITION_SUCTION_HIGH,
    CONDITION_SUCTION_FADING,
    CONDITION_FIELD_WEAK,
    CONDITION_FIELD_REVERSED,
    CONDITION_FAN_STOPPED,
    CONDITION_POWER_HIGH,
    CONDITION_FAN_WEAK,
    CONDITION_FAN_FADING,
    CONDITION_GROUND_CHANGED,
    CONDITION_RADON_HIGH,
    CONDITION_RADON_ABOVE_ACTION,
    CONDITION_RADON_RISING,
    CONDITION_WATER_HIGH,
    CONDITION_SENSOR_SILENT,
    CONDITION_SENSOR_STUCK,
    CONDITION_SENSOR_IMPLAUSIBLE,
    CONDITION_SENSOR_CLOCK,
    CONDITION_BATTERY_LOW,
    CONDITION_READING_DUE,
    CONDITION_SYSTEM_SILENT,
    CONDITION_FLEET_SILENT,
    CONDITION_RETEST_DUE,
    CONDITION_VISIT_DUE,
    CONDITION_CALIBRATION_DUE,
    CONDITION_BROKER_LOST,
    CONDITION_MESSAGES_REFUSED,
    CONDITION_STORE_FAILING,
    CONDITION_STORE_DAMAGED,
    CONDITION_DELIVERY_FAILING,
    CONDITION_CLOCK_JUMPED,
    CONDITION_READINGS_GAP,
    CONDITION_BACKUP_FAILING,
    CONDITION_COUNT
};

/** SCOPE_BRANCH: each riser with its fan on its own (fleet_branch_place). */
enum condition_scope { SCOPE_POINT, SCOPE_BRANCH, SCOPE_SYSTEM, SCOPE_FLEET, SCOPE_DAEMON };

/** What is compared with the setpoint. */
enum condition_measure {
    MEASURE_VALUE,     /* the newest reading */
    MEASURE_MEAN_24H,  /* time-weighted mean of the last 24 h, coverage at least half */
    MEASURE_DAILY,     /* decided once a local day by analysis */
    MEASURE_AGE,       /* time since the newest reading */
    MEASURE_UNCHANGED, /* time since the value last moved */
    MEASURE_DATE,      /* a date has come */
    MEASURE_EVENT      /* the daemon says so */
};

enum condition_side { SIDE_BELOW, SIDE_ABOVE };

enum setpoint_kind {
    SETPOINT_NONE,
    SETPOINT_OF_BASELINE,     /* number: fraction, 0.70 */
    SETPOINT_VALUE,           /* number: SI (a deadband: SI difference) */
    SETPOINT_OF_ACTION_LEVEL, /* number: factor */
    SETPOINT_OF_DRAFT,        /* number: factor of what the riser pulls without a fan */
    SETPOINT_DURATION,        /* number: ms */
    SETPOINT_FRACTION         /* number: plain fraction (probability, speed ratio) */
};

struct setpoint {
    enum setpoint_kind kind;
    double number;
};

enum priority { PRIORITY_LOW, PRIORITY_MEDIUM, PRIORITY_HIGH };

/** Bits of the roles that hear of a condition. */
enum { HEARS_CONTRACTOR = 1, HEARS_HOMEOWNER = 2, HEARS_TECHNICIAN = 4 };

/** What a standing alarm says of its system. 0: the row is not complete. */
enum condition_says {
    SAYS_NOTHING = 1, /* it is about a sensor, a date, the fleet or the daemon */
    SAYS_DRIFTING,
    SAYS_OUT_OF_SPEC,
    SAYS_SILENT
};

struct condition_info {
    const char *name; /* "suction-lost" */
    enum condition_scope scope;
    enum condition_measure measure;
    enum condition_side side;
    uint32_t quantities; /* bit per enum quantity of the points it is judged on; 0: any or none */
    struct setpoint setpoint;
    struct setpoint second_setpoint; /* suction-lost: or below the draft of the riser; field-weak:
                                        or below 1 Pa; ground-changed: the upper end */
    struct setpoint deadband;
    int64_t on_delay_ms, off_delay_ms;
    enum priority priority;
    unsigned hears;      /* HEARS_ bits; high priority is heard by all three */
    uint64_t suppresses; /* bit per enum condition that is suppressed by design while this stands */
    enum condition_says says; /* of the system it stands at */
    bool has_cause;           /* a likely cause is looked for (alarm/diagnosis) */
};

const struct condition_info *condition_info(enum condition condition);
/** Finds by name; false when there is none. */
bool condition_find(const char *name, enum condition *condition);

const char *priority_word(enum priority priority); /* "high", "medium", "low" */
bool priority_find(const char *word, enum priority *priority);

/** A changed row, as the settings say it: only the parts whose `has_` is true count. */
struct condition_override {
    enum condition condition;
    bool has_setpoint, has_deadband, has_on_delay, has_off_delay, has_priority, has_enabled,
        has_tell;
    struct setpoint setpoint, deadband;
    int64_t on_delay_ms, off_delay_ms;
    enum priority priority;
    bool enabled;
    unsigned tell; /* HEARS_ bits of the roles told, whatever the priority; 0: nobody */
};

/** The row in force: defaults, then each override list in turn (fleet, system, point). */
struct condition_rule {
    enum condition condition;
    struct setpoint setpoint, second_setpoint, deadband;
    int64_t on_delay_ms, off_delay_ms;
    enum priority priority;
    bool enabled;
    bool off_delay_given; /* by a setting: a shortened on-delay no longer shortens it */
    unsigned hears;       /* HEARS_ bits */
    bool tell_given;      /* by a setting: high priority no longer reaches every role */
};
struct condition_rule condition_rule_default(enum condition condition);
void condition_rule_apply(struct condition_rule *rule, const struct condition_override *overrides,
                          size_t count);

#endif
