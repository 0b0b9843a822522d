#include "diagnosis/diagnosis_table.h"

/* All designated, so that a row reads as a sentence; what is left out is "usual" or "by the laws".
 */
#define NO_MISREADING .misread = QUANTITY_COUNT, .misread_from = 1.0, .misread_to = 1.0
#define MISREADS(quantity, low, high)                                                              \
    .misread = (quantity), .misread_from = (low), .misread_to = (high)

static const struct signature signatures[] = {
    {.cause = CAUSE_NONE, .weight = 1.0, NO_MISREADING},

    {.cause = CAUSE_FAN_OFF,
     .weight = 0.85,
     .lever = LEVER_STOP,
     .field = FIELD_GONE,
     .power = POWER_NONE,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},
    /* seized: draws power and moves nothing */
    {.cause = CAUSE_FAN_OFF,
     .weight = 0.15,
     .lever = LEVER_STOP,
     .field = FIELD_GONE,
     .power = POWER_HELD,
     .radon = RADON_MAY_RISE,
     MISREADS(QUANTITY_FAN_POWER, 0.3, 1.6)},

    {.cause = CAUSE_FAN_WORN,
     .weight = 0.98,
     .lever = LEVER_SPEED,
     .from = 0.94,
     .creeping_from = 0.99,
     .to = 0.35,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},
    /* dragging bearings: slower at the same power, until at the slip of its greatest torque, a
       fifth or a quarter, an induction motor stalls */
    {.cause = CAUSE_FAN_WORN,
     .weight = 0.02,
     .lever = LEVER_SPEED,
     .from = 0.94,
     .creeping_from = 0.99,
     .to = 0.75,
     .power = POWER_HELD,
     .radon = RADON_MAY_RISE,
     MISREADS(QUANTITY_FAN_POWER, 0.8, 1.25)},

    {.cause = CAUSE_LEAK,
     .weight = 0.4,
     .lever = LEVER_RESISTANCE,
     .from = 0.75,
     .to = 0.004,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},
    {.cause = CAUSE_LEAK,
     .weight = 0.35,
     .lever = LEVER_RESISTANCE,
     .from = 0.75,
     .to = 0.004,
     .field = FIELD_PARTLY_LOST,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},
    {.cause = CAUSE_LEAK,
     .weight = 0.25,
     .lever = LEVER_LEAK_ABOVE,
     .from = 0.75,
     .creeping_from = 0.97,
     .to = 0.004,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},

    {.cause = CAUSE_BLOCKED_BEFORE,
     .weight = 0.7,
     .lever = LEVER_RESISTANCE,
     .from = 1.4,
     .to = 200.0,
     .field = FIELD_FOLLOWS_SOIL_FLOW,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},
    /* between gauge and fan: to every sensor the same as behind the fan */
    {.cause = CAUSE_BLOCKED_BEFORE,
     .weight = 0.3,
     .lever = LEVER_DISCHARGE,
     .from = 0.25,
     .creeping_from = 0.04,
     .to = 300.0,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},

    {.cause = CAUSE_BLOCKED_DISCHARGE,
     .weight = 1.0,
     .lever = LEVER_DISCHARGE,
     .from = 0.25,
     .creeping_from = 0.04,
     .to = 300.0,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},

    {.cause = CAUSE_GAUGE_TUBE, .weight = 0.75, MISREADS(QUANTITY_SUCTION, 0.0, 0.03)},
    {.cause = CAUSE_GAUGE_TUBE, .weight = 0.20, MISREADS(QUANTITY_SUCTION, 0.05, 0.85)},
    {.cause = CAUSE_GAUGE_TUBE, .weight = 0.05, MISREADS(QUANTITY_SUCTION, 1.2, 2.0)},

    {.cause = CAUSE_FIELD_LOST,
     .weight = 0.15,
     .field = FIELD_ALL_LOST,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},
    {.cause = CAUSE_FIELD_LOST,
     .weight = 0.85,
     .field = FIELD_SOME_LOST,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},

    {.cause = CAUSE_RADON_ENTRY, .weight = 1.0, .radon = RADON_RISES, NO_MISREADING},

    /* a zero that wanders; a tube is told apart by how it came */
    {.cause = CAUSE_SENSOR_FAULT, .weight = 0.3, MISREADS(QUANTITY_SUCTION, -0.5, 0.9)},
    {.cause = CAUSE_SENSOR_FAULT, .weight = 0.3, MISREADS(QUANTITY_SUCTION, 1.1, 2.5)},
    {.cause = CAUSE_SENSOR_FAULT, .weight = 0.2, MISREADS(QUANTITY_AIRFLOW, 0.0, 0.03)},
    {.cause = CAUSE_SENSOR_FAULT, .weight = 0.2, MISREADS(QUANTITY_AIRFLOW, 0.0, 0.75)},
    {.cause = CAUSE_SENSOR_FAULT, .weight = 0.1, MISREADS(QUANTITY_AIRFLOW, 1.35, 4.0)},
    {.cause = CAUSE_SENSOR_FAULT, .weight = 0.2, MISREADS(QUANTITY_FAN_POWER, 0.0, 0.03)},
    {.cause = CAUSE_SENSOR_FAULT, .weight = 0.2, MISREADS(QUANTITY_FAN_POWER, 0.0, 0.75)},
    {.cause = CAUSE_SENSOR_FAULT, .weight = 0.1, MISREADS(QUANTITY_FAN_POWER, 1.35, 4.0)},

    {.cause = CAUSE_WATER_HIGH, .weight = 0.05, .radon = RADON_MAY_RISE, NO_MISREADING},
    /* wet ground lets less air through, and what is under water carries no suction any more */
    {.cause = CAUSE_WATER_HIGH,
     .weight = 0.95,
     .lever = LEVER_RESISTANCE,
     .from = 1.2,
     .to = 50.0,
     .field = FIELD_PARTLY_LOST,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},

    {.cause = CAUSE_UNKNOWN, .weight = 1.0, .lever = LEVER_ANYTHING, NO_MISREADING},
};

const struct signature *signature_table(size_t *count) {
    *count = sizeof(signatures) / sizeof(signatures[0]);
    return signatures;
}
