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
     .power = POWER_NONE,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},
    /* seized: draws power and moves nothing */
    {.cause = CAUSE_FAN_OFF,
     .weight = 0.15,
     .lever = LEVER_STOP,
     .power = POWER_HELD,
     .radon = RADON_MAY_RISE,
     MISREADS(QUANTITY_FAN_POWER, 0.3, 1.6)},

    {.cause = CAUSE_FAN_WORN,
     .weight = 0.9,
     .lever = LEVER_SPEED,
     .from = 0.94,
     .to = 0.35,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},
    /* dragging bearings: slower at the same power */
    {.cause = CAUSE_FAN_WORN,
     .weight = 0.1,
     .lever = LEVER_SPEED,
     .from = 0.94,
     .to = 0.35,
     .power = POWER_HELD,
     .radon = RADON_MAY_RISE,
     MISREADS(QUANTITY_FAN_POWER, 0.8, 1.25)},

    {.cause = CAUSE_LEAK,
     .weight = 0.5,
     .lever = LEVER_RESISTANCE,
     .from = 0.6,
     .to = 0.004,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},
    {.cause = CAUSE_LEAK,
     .weight = 0.4,
     .lever = LEVER_RESISTANCE,
     .from = 0.6,
     .to = 0.004,
     .field = FIELD_PARTLY_LOST,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},
    {.cause = CAUSE_LEAK,
     .weight = 0.1,
     .lever = LEVER_LEAK_ABOVE,
     .from = 0.6,
     .to = 0.004,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},

    {.cause = CAUSE_BLOCKED_BEFORE,
     .weight = 1.0,
     .lever = LEVER_RESISTANCE,
     .from = 1.7,
     .to = 200.0,
     .field = FIELD_FOLLOWS_SOIL_FLOW,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},

    {.cause = CAUSE_BLOCKED_DISCHARGE,
     .weight = 1.0,
     .lever = LEVER_DISCHARGE,
     .from = 0.25,
     .to = 300.0,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},

    {.cause = CAUSE_GAUGE_TUBE, .weight = 0.75, MISREADS(QUANTITY_SUCTION, 0.0, 0.03)},
    {.cause = CAUSE_GAUGE_TUBE, .weight = 0.20, MISREADS(QUANTITY_SUCTION, 0.05, 0.85)},
    {.cause = CAUSE_GAUGE_TUBE, .weight = 0.05, MISREADS(QUANTITY_SUCTION, 1.2, 2.0)},

    {.cause = CAUSE_FIELD_LOST,
     .weight = 1.0,
     .field = FIELD_SOME_LOST,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},

    {.cause = CAUSE_RADON_ENTRY, .weight = 1.0, .radon = RADON_RISES, NO_MISREADING},

    {.cause = CAUSE_SENSOR_FAULT, .weight = 0.2, MISREADS(QUANTITY_AIRFLOW, 0.0, 0.03)},
    {.cause = CAUSE_SENSOR_FAULT, .weight = 0.2, MISREADS(QUANTITY_AIRFLOW, 0.0, 0.75)},
    {.cause = CAUSE_SENSOR_FAULT, .weight = 0.1, MISREADS(QUANTITY_AIRFLOW, 1.35, 4.0)},
    {.cause = CAUSE_SENSOR_FAULT, .weight = 0.2, MISREADS(QUANTITY_FAN_POWER, 0.0, 0.03)},
    {.cause = CAUSE_SENSOR_FAULT, .weight = 0.2, MISREADS(QUANTITY_FAN_POWER, 0.0, 0.75)},
    {.cause = CAUSE_SENSOR_FAULT, .weight = 0.1, MISREADS(QUANTITY_FAN_POWER, 1.35, 4.0)},

    {.cause = CAUSE_WATER_HIGH, .weight = 0.5, .radon = RADON_MAY_RISE, NO_MISREADING},
    {.cause = CAUSE_WATER_HIGH,
     .weight = 0.5,
     .lever = LEVER_RESISTANCE,
     .from = 1.2,
     .to = 50.0,
     .field = FIELD_FOLLOWS_SOIL_FLOW,
     .radon = RADON_MAY_RISE,
     NO_MISREADING},

    {.cause = CAUSE_UNKNOWN, .weight = 1.0, .lever = LEVER_ANYTHING, NO_MISREADING},
};

/* Units that senders confuse: Pa, hPa, kPa, mmH2O, inH2O; m3/h, cfm, L/s; Bq/m3, pCi/L; W, kW.
 * What is a thousand times too small cannot be told from nothing, so it is not listed. */
static const struct signature_unit_factor unit_factors[] = {
    {QUANTITY_SUCTION, 249.08891},      {QUANTITY_SUCTION, 1.0 / 249.08891},
    {QUANTITY_SUCTION, 100.0},          {QUANTITY_SUCTION, 0.01},
    {QUANTITY_SUCTION, 1000.0},         {QUANTITY_SUCTION, 9.80665},
    {QUANTITY_SUCTION, 1.0 / 9.80665},  {QUANTITY_SUCTION, 25.4},
    {QUANTITY_SUCTION, 1.0 / 25.4},     {QUANTITY_AIRFLOW, 1.699011},
    {QUANTITY_AIRFLOW, 1.0 / 1.699011}, {QUANTITY_AIRFLOW, 2.118880},
    {QUANTITY_AIRFLOW, 1.0 / 2.118880}, {QUANTITY_AIRFLOW, 3.6},
    {QUANTITY_AIRFLOW, 1.0 / 3.6},      {QUANTITY_RADON, 37.0},
    {QUANTITY_RADON, 1.0 / 37.0},       {QUANTITY_FAN_POWER, 1000.0},
};

const struct signature *signature_table(size_t *count) {
    *count = sizeof(signatures) / sizeof(signatures[0]);
    return signatures;
}

const struct signature_unit_factor *signature_unit_factors(size_t *count) {
    *count = sizeof(unit_factors) / sizeof(unit_factors[0]);
    return unit_factors;
}
