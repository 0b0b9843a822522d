/*
 * The table of conditions. Setpoints and delays are the defaults of the contract; deadbands it does
 * not name are a tenth to a half of the setpoint's distance, small enough to notice a real return.
 * Radon swings with the weather of weeks, so it must come down by a half of the action level; a
 * house that still swings around its limit is told as coming and going (chatter.h).
 *
 * The field at a hole is a few pascal, as is what stack and wind do to it, so it must come back
 * well above its limit, by a fifth of its baseline, before it is over.
 *
 * An off-delay is as long as the window that is judged, ten minutes where single readings are
 * (ISA-18.2 names off-delays and deadbands as the means against chattering alarms).
 *
 * Who hears: the contractor of everything, the technician of what needs hands on the system, the
 * homeowner of what a person in the house can see or must know. High priority reaches all three.
 */
#include "alarm/condition.h"

#include "measure/duration.h"

#include <assert.h>
#include <string.h>

#define MINUTES(n) ((n)*DURATION_MINUTE_MS)
#define HOURS(n) ((n)*DURATION_HOUR_MS)
#define DAYS(n) ((n)*DURATION_DAY_MS)
#define QUANTITY_BIT(q) (UINT32_C(1) << QUANTITY_##q)
#define CONDITION_BIT(c) (UINT64_C(1) << CONDITION_##c)
#define OF_BASELINE(x)                                                                             \
    { SETPOINT_OF_BASELINE, (x) }
#define VALUE(x)                                                                                   \
    { SETPOINT_VALUE, (x) }
#define FRACTION(x)                                                                                \
    { SETPOINT_FRACTION, (x) }
#define OF_ACTION_LEVEL(x)                                                                         \
    { SETPOINT_OF_ACTION_LEVEL, (x) }
#define OF_DRAFT(x)                                                                                \
    { SETPOINT_OF_DRAFT, (x) }
#define SPAN(x)                                                                                    \
    { SETPOINT_DURATION, (double)(x) }
#define NOTHING                                                                                    \
    { SETPOINT_NONE, 0.0 }

enum {
    ALL = HEARS_CONTRACTOR | HEARS_HOMEOWNER | HEARS_TECHNICIAN,
    TRADE = HEARS_CONTRACTOR | HEARS_TECHNICIAN,
    OFFICE = HEARS_CONTRACTOR
};

#define ANY_FAN (QUANTITY_BIT(FAN_POWER) | QUANTITY_BIT(FAN_CURRENT))

static const struct condition_info table[CONDITION_COUNT] = {
    /* name, scope, measure, side, quantities, setpoint, second, deadband, on, off, priority, hears,
       suppresses, says, has cause */
    [CONDITION_SUCTION_LOST] = {"suction-lost", SCOPE_POINT, MEASURE_VALUE, SIDE_BELOW,
                                QUANTITY_BIT(SUCTION), OF_BASELINE(0.10), OF_DRAFT(1.0),
                                OF_BASELINE(0.05), MINUTES(30), MINUTES(10), PRIORITY_HIGH, ALL,
                                CONDITION_BIT(SUCTION_LOW) | CONDITION_BIT(FIELD_WEAK) |
                                    CONDITION_BIT(FIELD_REVERSED) | CONDITION_BIT(SUCTION_FADING),
                                SAYS_OUT_OF_SPEC, true},
    [CONDITION_SUCTION_LOW] = {"suction-low", SCOPE_POINT, MEASURE_VALUE, SIDE_BELOW,
                               QUANTITY_BIT(SUCTION), OF_BASELINE(0.70), NOTHING, OF_BASELINE(0.05),
                               HOURS(6), MINUTES(10), PRIORITY_MEDIUM, ALL,
                               CONDITION_BIT(SUCTION_FADING) | CONDITION_BIT(FIELD_WEAK) |
                                   CONDITION_BIT(FIELD_REVERSED),
                               SAYS_OUT_OF_SPEC, true},
    [CONDITION_SUCTION_HIGH] = {"suction-high", SCOPE_POINT, MEASURE_VALUE, SIDE_ABOVE,
                                QUANTITY_BIT(SUCTION), OF_BASELINE(1.40), NOTHING,
                                OF_BASELINE(0.05), HOURS(24), MINUTES(10), PRIORITY_MEDIUM, TRADE,
                                CONDITION_BIT(GROUND_CHANGED) | CONDITION_BIT(FIELD_WEAK),
                                SAYS_OUT_OF_SPEC, true},
    [CONDITION_SUCTION_FADING] = {"suction-fading", SCOPE_POINT, MEASURE_DAILY, SIDE_BELOW,
                                  QUANTITY_BIT(SUCTION), SPAN(DAYS(730)), NOTHING, NOTHING, 0,
                                  DAYS(1), PRIORITY_LOW, TRADE, 0, SAYS_DRIFTING, true},
    [CONDITION_FIELD_WEAK] = {"field-weak", SCOPE_POINT, MEASURE_MEAN_24H, SIDE_BELOW,
                              QUANTITY_BIT(FIELD), OF_BASELINE(0.50), VALUE(1.0), OF_BASELINE(0.20),
                              HOURS(24), HOURS(24), PRIORITY_MEDIUM, TRADE,
                              CONDITION_BIT(FIELD_REVERSED), SAYS_OUT_OF_SPEC, true},
    [CONDITION_FIELD_REVERSED] = {"field-reversed", SCOPE_POINT, MEASURE_DAILY, SIDE_ABOVE,
                                  QUANTITY_BIT(FIELD), FRACTION(0.20), NOTHING, FRACTION(0.05), 0,
                                  DAYS(1), PRIORITY_MEDIUM, TRADE, 0, SAYS_OUT_OF_SPEC, true},
    [CONDITION_FAN_STOPPED] = {"fan-stopped", SCOPE_POINT, MEASURE_VALUE, SIDE_BELOW, ANY_FAN,
                               OF_BASELINE(0.10), NOTHING, OF_BASELINE(0.05), MINUTES(15),
                               MINUTES(10), PRIORITY_HIGH, ALL,
                               CONDITION_BIT(SUCTION_LOST) | CONDITION_BIT(SUCTION_LOW) |
                                   CONDITION_BIT(FIELD_WEAK) | CONDITION_BIT(FIELD_REVERSED) |
                                   CONDITION_BIT(FAN_WEAK) | CONDITION_BIT(FAN_FADING) |
                                   CONDITION_BIT(SUCTION_FADING),
                               SAYS_OUT_OF_SPEC, true},
    [CONDITION_POWER_HIGH] = {"power-high", SCOPE_POINT, MEASURE_VALUE, SIDE_ABOVE, ANY_FAN,
                              OF_BASELINE(1.25), NOTHING, OF_BASELINE(0.05), DAYS(7), MINUTES(10),
                              PRIORITY_LOW, TRADE, 0, SAYS_DRIFTING, false},
    [CONDITION_FAN_WEAK] = {"fan-weak", SCOPE_BRANCH, MEASURE_DAILY, SIDE_BELOW, 0, FRACTION(0.90),
                            NOTHING, FRACTION(0.02), DAYS(7), DAYS(7), PRIORITY_MEDIUM, TRADE,
                            CONDITION_BIT(FAN_FADING) | CONDITION_BIT(SUCTION_FADING),
                            SAYS_OUT_OF_SPEC, true},
    [CONDITION_FAN_FADING] = {"fan-fading", SCOPE_BRANCH, MEASURE_DAILY, SIDE_BELOW, 0,
                              SPAN(DAYS(365)), NOTHING, NOTHING, 0, DAYS(14), PRIORITY_LOW, TRADE,
                              CONDITION_BIT(SUCTION_FADING), SAYS_DRIFTING, true},
    [CONDITION_GROUND_CHANGED] = {"ground-changed", SCOPE_BRANCH, MEASURE_DAILY, SIDE_ABOVE, 0,
                                  FRACTION(0.6), FRACTION(1.7), FRACTION(0.05), DAYS(7), DAYS(7),
                                  PRIORITY_MEDIUM, TRADE, 0, SAYS_OUT_OF_SPEC, true},
    [CONDITION_RADON_HIGH] = {"radon-high", SCOPE_POINT, MEASURE_MEAN_24H, SIDE_ABOVE,
                              QUANTITY_BIT(RADON), OF_ACTION_LEVEL(2.0), NOTHING,
                              OF_ACTION_LEVEL(0.5), HOURS(24), HOURS(24), PRIORITY_MEDIUM, ALL, 0,
                              SAYS_OUT_OF_SPEC, true},
    [CONDITION_RADON_ABOVE_ACTION] = {"radon-above-action", SCOPE_POINT, MEASURE_DAILY, SIDE_ABOVE,
                                      QUANTITY_BIT(RADON), FRACTION(0.95), NOTHING, FRACTION(0.05),
                                      0, DAYS(1), PRIORITY_HIGH, ALL, CONDITION_BIT(RADON_RISING),
                                      SAYS_OUT_OF_SPEC, true},
    [CONDITION_RADON_RISING] = {"radon-rising", SCOPE_POINT, MEASURE_DAILY, SIDE_ABOVE,
                                QUANTITY_BIT(RADON), NOTHING, NOTHING, NOTHING, 0, DAYS(1),
                                PRIORITY_LOW, TRADE, 0, SAYS_DRIFTING, true},
    [CONDITION_WATER_HIGH] = {"water-high", SCOPE_POINT, MEASURE_VALUE, SIDE_ABOVE,
                              QUANTITY_BIT(WATER_LEVEL), NOTHING, NOTHING, VALUE(0.01), MINUTES(30),
                              MINUTES(10), PRIORITY_MEDIUM, ALL,
                              CONDITION_BIT(SUCTION_HIGH) | CONDITION_BIT(GROUND_CHANGED) |
                                  CONDITION_BIT(FIELD_WEAK),
                              SAYS_OUT_OF_SPEC, true},
    [CONDITION_SENSOR_SILENT] = {"sensor-silent", SCOPE_POINT, MEASURE_AGE, SIDE_ABOVE, 0, NOTHING,
                                 NOTHING, NOTHING, 0, 0, PRIORITY_LOW, TRADE, 0, SAYS_NOTHING,
                                 false},
    [CONDITION_SENSOR_STUCK] = {"sensor-stuck", SCOPE_POINT, MEASURE_UNCHANGED, SIDE_ABOVE, 0,
                                SPAN(HOURS(48)), NOTHING, NOTHING, 0, 0, PRIORITY_LOW, TRADE, 0,
                                SAYS_NOTHING, false},
    [CONDITION_SENSOR_IMPLAUSIBLE] = {"sensor-implausible", SCOPE_POINT, MEASURE_EVENT, SIDE_ABOVE,
                                      0, NOTHING, NOTHING, NOTHING, HOURS(1), MINUTES(10),
                                      PRIORITY_LOW, TRADE, 0, SAYS_NOTHING, true},
    [CONDITION_SENSOR_CLOCK] = {"sensor-clock", SCOPE_POINT, MEASURE_EVENT, SIDE_ABOVE, 0, NOTHING,
                                NOTHING, NOTHING, HOURS(1), MINUTES(10), PRIORITY_LOW, TRADE, 0,
                                SAYS_NOTHING, false},
    [CONDITION_BATTERY_LOW] = {"battery-low", SCOPE_POINT, MEASURE_VALUE, SIDE_BELOW,
                               QUANTITY_BIT(BATTERY), NOTHING, NOTHING, NOTHING, HOURS(24),
                               MINUTES(10), PRIORITY_LOW, TRADE, 0, SAYS_NOTHING, false},
    [CONDITION_READING_DUE] = {"reading-due", SCOPE_POINT, MEASURE_DATE, SIDE_ABOVE, 0, NOTHING,
                               NOTHING, NOTHING, 0, 0, PRIORITY_LOW,
                               HEARS_CONTRACTOR | HEARS_HOMEOWNER, 0, SAYS_NOTHING, false},
    [CONDITION_SYSTEM_SILENT] = {"system-silent", SCOPE_SYSTEM, MEASURE_AGE, SIDE_ABOVE, 0, NOTHING,
                                 NOTHING, NOTHING, HOURS(1), 0, PRIORITY_MEDIUM, ALL,
                                 CONDITION_BIT(SENSOR_SILENT), SAYS_SILENT, false},
    [CONDITION_FLEET_SILENT] = {"fleet-silent", SCOPE_FLEET, MEASURE_AGE, SIDE_ABOVE, 0,
                                SPAN(MINUTES(15)), NOTHING, NOTHING, 0, 0, PRIORITY_HIGH, OFFICE,
                                CONDITION_BIT(SYSTEM_SILENT) | CONDITION_BIT(SENSOR_SILENT),
                                SAYS_NOTHING, false},
    [CONDITION_RETEST_DUE] = {"retest-due", SCOPE_SYSTEM, MEASURE_DATE, SIDE_ABOVE, 0, NOTHING,
                              NOTHING, NOTHING, 0, 0, PRIORITY_LOW, ALL, 0, SAYS_NOTHING, false},
    [CONDITION_VISIT_DUE] = {"visit-due", SCOPE_SYSTEM, MEASURE_DATE, SIDE_ABOVE, 0, NOTHING,
                             NOTHING, NOTHING, 0, 0, PRIORITY_LOW, TRADE, 0, SAYS_NOTHING, false},
    [CONDITION_CALIBRATION_DUE] = {"calibration-due", SCOPE_SYSTEM, MEASURE_DATE, SIDE_ABOVE, 0,
                                   NOTHING, NOTHING, NOTHING, 0, 0, PRIORITY_LOW, TRADE, 0,
                                   SAYS_NOTHING, false},
    [CONDITION_BROKER_LOST] = {"broker-lost", SCOPE_DAEMON, MEASURE_EVENT, SIDE_ABOVE, 0, NOTHING,
                               NOTHING, NOTHING, MINUTES(5), 0, PRIORITY_MEDIUM, OFFICE, 0,
                               SAYS_NOTHING, false},
    [CONDITION_MESSAGES_REFUSED] = {"messages-refused", SCOPE_DAEMON, MEASURE_EVENT, SIDE_ABOVE, 0,
                                    NOTHING, NOTHING, NOTHING, MINUTES(5), MINUTES(10),
                                    PRIORITY_MEDIUM, OFFICE, 0, SAYS_NOTHING, false},
    [CONDITION_STORE_FAILING] = {"store-failing", SCOPE_DAEMON, MEASURE_EVENT, SIDE_ABOVE, 0,
                                 NOTHING, NOTHING, NOTHING, 0, 0, PRIORITY_HIGH, OFFICE, 0,
                                 SAYS_NOTHING, false},
    [CONDITION_STORE_DAMAGED] = {"store-damaged", SCOPE_DAEMON, MEASURE_EVENT, SIDE_ABOVE, 0,
                                 NOTHING, NOTHING, NOTHING, 0, 0, PRIORITY_HIGH, OFFICE, 0,
                                 SAYS_NOTHING, false},
    [CONDITION_DELIVERY_FAILING] = {"delivery-failing", SCOPE_DAEMON, MEASURE_EVENT, SIDE_ABOVE, 0,
                                    NOTHING, NOTHING, NOTHING, MINUTES(5), 0, PRIORITY_MEDIUM,
                                    OFFICE, 0, SAYS_NOTHING, false},
    [CONDITION_CLOCK_JUMPED] = {"clock-jumped", SCOPE_DAEMON, MEASURE_EVENT, SIDE_ABOVE, 0, NOTHING,
                                NOTHING, NOTHING, 0, MINUTES(10), PRIORITY_MEDIUM, OFFICE, 0,
                                SAYS_NOTHING, false},
    [CONDITION_READINGS_GAP] = {"readings-gap", SCOPE_DAEMON, MEASURE_EVENT, SIDE_ABOVE, 0, NOTHING,
                                NOTHING, NOTHING, 0, MINUTES(10), PRIORITY_MEDIUM, OFFICE, 0,
                                SAYS_NOTHING, false},
    [CONDITION_BACKUP_FAILING] = {"backup-failing", SCOPE_DAEMON, MEASURE_EVENT, SIDE_ABOVE, 0,
                                  NOTHING, NOTHING, NOTHING, 0, 0, PRIORITY_MEDIUM, OFFICE, 0,
                                  SAYS_NOTHING, false},
};

_Static_assert(CONDITION_COUNT <= 64, "conditions are bits of a uint64_t");

const struct condition_info *condition_info(enum condition condition) {
    assert(condition < CONDITION_COUNT);
    return &table[condition];
}

bool condition_find(const char *name, enum condition *condition) {
    for (size_t i = 0; i < CONDITION_COUNT; i++) {
        if (strcmp(table[i].name, name) == 0) {
            *condition = (enum condition)i;
            return true;
        }
    }
    return false;
}

static const char *const priority_words[] = {"low", "medium", "high"};

const char *priority_word(enum priority priority) {
    return priority_words[priority];
}

bool priority_find(const char *word, enum priority *priority) {
    for (size_t i = 0; i < sizeof priority_words / sizeof priority_words[0]; i++) {
        if (strcmp(priority_words[i], word) == 0) {
            *priority = (enum priority)i;
            return true;
        }
    }
    return false;
}

struct condition_rule condition_rule_default(enum condition condition) {
    const struct condition_info *info = condition_info(condition);
    return (struct condition_rule){
        .condition = condition,
        .setpoint = info->setpoint,
        .second_setpoint = info->second_setpoint,
        .deadband = info->deadband,
        .on_delay_ms = info->on_delay_ms,
        .off_delay_ms = info->off_delay_ms,
        .priority = info->priority,
        .enabled = true,
        .hears = info->hears,
    };
}

/* A default off-delay is no longer than an on-delay that was shortened. */
static int64_t off_delay_with(const struct condition_info *info, int64_t on_delay_ms) {
    bool shortened = on_delay_ms < info->on_delay_ms && on_delay_ms < info->off_delay_ms;
    return shortened ? on_delay_ms : info->off_delay_ms;
}

static void apply_one(struct condition_rule *rule, const struct condition_override *override) {
    const struct condition_info *info = condition_info(rule->condition);
    if (override->has_setpoint) {
        rule->setpoint = override->setpoint;
        /* A limit in the quantity's own unit is the whole limit. */
        if (override->setpoint.kind == SETPOINT_VALUE)
            rule->second_setpoint = (struct setpoint){SETPOINT_NONE, 0.0};
    }
    if (override->has_deadband)
        rule->deadband = override->deadband;
    if (override->has_off_delay) {
        rule->off_delay_ms = override->off_delay_ms;
        rule->off_delay_given = true;
    }
    if (override->has_on_delay) {
        rule->on_delay_ms = override->on_delay_ms;
        if (!rule->off_delay_given)
            rule->off_delay_ms = off_delay_with(info, override->on_delay_ms);
    }
    if (override->has_priority)
        rule->priority = override->priority;
    if (override->has_enabled)
        rule->enabled = override->enabled;
    if (override->has_tell) {
        rule->hears = override->tell;
        rule->tell_given = true;
    }
}

void condition_rule_apply(struct condition_rule *rule, const struct condition_override *overrides,
                          size_t count) {
    for (size_t i = 0; i < count; i++) {
        if (overrides[i].condition == rule->condition)
            apply_one(rule, &overrides[i]);
    }
}
