/*
 * visit_item: what a technician checks first or brings, as names; the words are each language's
 * (`items` of its file). Common practice of the trade, no source. Pure.
 */
#ifndef DIAGNOSIS_VISIT_ITEM_H
#define DIAGNOSIS_VISIT_ITEM_H

#include "measure/quantity.h"

#include <stdbool.h>

/* X(NAME, "word in stores", the quantities whose sensors it is about; 0: any) */
#define VISIT_PRESSURE                                                                             \
    (1U << QUANTITY_SUCTION | 1U << QUANTITY_FIELD | 1U << QUANTITY_VELOCITY_PRESSURE)
#define VISIT_FLOW (1U << QUANTITY_AIRFLOW | 1U << QUANTITY_VELOCITY_PRESSURE)
#define VISIT_POWER (1U << QUANTITY_FAN_POWER | 1U << QUANTITY_FAN_CURRENT)
#define VISIT_RADON (1U << QUANTITY_RADON)
#define VISIT_AIR                                                                                  \
    (1U << QUANTITY_INDOOR_TEMPERATURE | 1U << QUANTITY_OUTDOOR_TEMPERATURE |                      \
     1U << QUANTITY_HUMIDITY | 1U << QUANTITY_BAROMETRIC_PRESSURE)

#define VISIT_ITEMS(X)                                                                             \
    X(NONE, "", 0)                                                                                 \
    /* to check */                                                                                 \
    X(FAN_TURNS, "fan-turns", 0)                                                                   \
    X(SWITCH, "switch", 0)                                                                         \
    X(MOTOR, "motor", 0)                                                                           \
    X(BEARINGS, "bearings", 0)                                                                     \
    X(WHEEL, "wheel", 0)                                                                           \
    X(VOLTAGE, "voltage", 0)                                                                       \
    X(AGAINST_RECORD, "against-record", 0)                                                         \
    X(ALL_AGAINST_RECORD, "all-against-record", 0)                                                 \
    X(HAND_AGAINST_RECORD, "hand-against-record", 0)                                               \
    X(SUMP_LID, "sump-lid", 0)                                                                     \
    X(JOINTS, "joints", 0)                                                                         \
    X(OPENINGS, "openings", 0)                                                                     \
    X(CRACKS, "cracks", 0)                                                                         \
    X(LEAKS, "leaks", 0)                                                                           \
    X(LEAKS_AND_BLOCKS, "leaks-and-blocks", 0)                                                     \
    X(LOW_SPOTS, "low-spots", 0)                                                                   \
    X(WATER_SUMP, "water-sump", 0)                                                                 \
    X(PIT, "pit", 0)                                                                               \
    X(BRANCH_FIELD, "branch-field", 0)                                                             \
    X(DISCHARGE, "discharge", 0)                                                                   \
    X(PIPE_ABOVE, "pipe-above", 0)                                                                 \
    X(CONDENSATE, "condensate", 0)                                                                 \
    X(FAN_WATER, "fan-water", 0)                                                                   \
    X(GAUGE_TUBE, "gauge-tube", VISIT_PRESSURE)                                                    \
    X(GAUGE_ZERO, "gauge-zero", VISIT_PRESSURE)                                                    \
    X(SECOND_INSTRUMENT, "second-instrument", 1U << QUANTITY_SUCTION)                              \
    X(HOLE, "hole", 1U << QUANTITY_FIELD)                                                          \
    X(HOLE_OPENINGS, "hole-openings", 0)                                                           \
    X(HOLE_WATER, "hole-water", 0)                                                                 \
    X(EXHAUST, "exhaust", 0)                                                                       \
    X(EXHAUST_HOURS, "exhaust-hours", 0)                                                           \
    X(FIELD_ALL, "field-all", 0)                                                                   \
    X(MONITOR, "monitor", VISIT_RADON)                                                             \
    X(ENTRY, "entry", 0)                                                                           \
    X(HOUSE_CHANGES, "house-changes", 0)                                                           \
    X(UNIT_SETTING, "unit-setting", 0)                                                             \
    X(READING_BY_HAND, "reading-by-hand", 0)                                                       \
    X(PITOT, "pitot", VISIT_FLOW)                                                                  \
    X(METER, "meter", VISIT_POWER)                                                                 \
    X(SENSOR_PLACE, "sensor-place", VISIT_AIR)                                                     \
    X(SENSOR_POWER, "sensor-power", 0)                                                             \
    X(SENSOR_CLOCK, "sensor-clock", 0)                                                             \
    X(BATTERY, "battery", 0)                                                                       \
    X(GATEWAY_POWER, "gateway-power", 0)                                                           \
    X(GATEWAY_LINK, "gateway-link", 0)                                                             \
    X(HOUSE_POWER, "house-power", 0)                                                               \
    X(PUMP, "pump", 0)                                                                             \
    X(DRAIN_OUTLET, "drain-outlet", 0)                                                             \
    X(WATER_INLET, "water-inlet", 0)                                                               \
    X(PLACE_TEST, "place-test", 0)                                                                 \
    X(LOOK_OVER, "look-over", 0)                                                                   \
    X(READ_GAUGE, "read-gauge", 0)                                                                 \
    X(INSTRUMENT_DUE, "instrument-due", 0)                                                         \
    /* cautions, at the end of every list that they belong to */                                   \
    X(ELECTRICIAN, "electrician", 0)                                                               \
    X(BACK_DRAFT, "back-draft", 0)                                                                 \
    X(LEAVE_RUNNING, "leave-running", 0)                                                           \
    /* to bring */                                                                                 \
    X(FAN, "fan", 0)                                                                               \
    X(CAPACITOR, "capacitor", 0)                                                                   \
    X(VOLTAGE_TESTER, "voltage-tester", 0)                                                         \
    X(MANOMETER, "manometer", VISIT_PRESSURE)                                                      \
    X(PITOT_TUBE, "pitot-tube", VISIT_PRESSURE | VISIT_FLOW)                                       \
    X(POWER_METER, "power-meter", VISIT_POWER)                                                     \
    X(SMOKE, "smoke", 0)                                                                           \
    X(SEALANT, "sealant", 0)                                                                       \
    X(GASKET, "gasket", 0)                                                                         \
    X(CEMENT, "cement", 0)                                                                         \
    X(WET_VACUUM, "wet-vacuum", 0)                                                                 \
    X(CAMERA, "camera", 0)                                                                         \
    X(SLOPE, "slope", 0)                                                                           \
    X(LADDER, "ladder", 0)                                                                         \
    X(CAP, "cap", 0)                                                                               \
    X(INSULATION, "insulation", 0)                                                                 \
    X(TUBING, "tubing", VISIT_PRESSURE)                                                            \
    X(HOLE_PLUGS, "hole-plugs", 0)                                                                 \
    X(DRILL, "drill", 0)                                                                           \
    X(SECOND_MONITOR, "second-monitor", VISIT_RADON)                                               \
    X(HAND_INSTRUMENT, "hand-instrument", 0)                                                       \
    X(SETUP, "setup", 0)                                                                           \
    X(SPARE_SENSOR, "spare-sensor", 0)                                                             \
    X(SUMP_PUMP, "sump-pump", 0)                                                                   \
    X(BATTERIES, "batteries", 0)                                                                   \
    X(GATEWAY, "gateway", 0)                                                                       \
    X(TEST_DEVICES, "test-devices", 0)                                                             \
    X(RECORD, "record", 0)                                                                         \
    X(CALIBRATED, "calibrated", 0)

#define VISIT_ENUM_ROW(name, word, quantities) VISIT_##name,
enum visit_item { VISIT_ITEMS(VISIT_ENUM_ROW) VISIT_ITEM_COUNT };
#undef VISIT_ENUM_ROW

#define VISIT_ITEMS_MOST 6 /* of one cause or condition; unused places are VISIT_NONE */

/** "fan-turns": as a store keeps it. */
const char *visit_item_word(enum visit_item item);
/** VISIT_NONE when it is none of them. */
enum visit_item visit_item_find(const char *word);
/** Has this to do with a sensor of that quantity? QUANTITY_COUNT: no sensor is meant, all fit. */
bool visit_item_fits(enum visit_item item, enum quantity quantity);

#endif
