/* Checks and tools: common practice of the trade, no source. */
#include "words/visit_texts.h"

#include "diagnosis/diagnosis_texts.h"

#include <assert.h>

#define TEXTS(...)                                                                                 \
    {                                                                                              \
        .items = (const char *const[]){__VA_ARGS__},                                               \
        .count = sizeof((const char *const[]){__VA_ARGS__}) / sizeof(const char *)                 \
    }

#define PRESSURE_TOOL "Micromanometer"

static const struct visit_condition_texts texts[CONDITION_COUNT] = {
    [CONDITION_SUCTION_LOST] = {"suction lost",
                                TEXTS("Does the fan turn, and has it power",
                                      "Tube at the gauge and at the riser"),
                                TEXTS("Replacement fan of the same model with couplings",
                                      "Tubing and barbed fittings", PRESSURE_TOOL)},
    [CONDITION_SUCTION_LOW] = {"suction low",
                               TEXTS("Suction and air flow against the commissioning record",
                                     "Sump lid, joints and slab openings for leaks"),
                               TEXTS(PRESSURE_TOOL, "Smoke pencil")},
    [CONDITION_SUCTION_HIGH] = {"suction high",
                                TEXTS("Low spots of the pipe for standing water",
                                      "Suction pit and drain tile for a blockage"),
                                TEXTS(PRESSURE_TOOL, "Drain hose and pump or wet vacuum")},
    [CONDITION_SUCTION_FADING] = {"suction fading",
                                  TEXTS("Suction and air flow against the commissioning record",
                                        "Fan noise and vibration: bearings"),
                                  TEXTS(PRESSURE_TOOL,
                                        "Replacement fan of the same model with couplings")},
    [CONDITION_FIELD_WEAK] = {"pressure field weak",
                              TEXTS("Field at every test hole",
                                    "New openings, cracks or drains in the slab near the hole"),
                              TEXTS(PRESSURE_TOOL, "Smoke pencil")},
    [CONDITION_FAN_STOPPED] = {"fan stopped",
                               TEXTS("Does the fan turn, and has it power",
                                     "Switch, plug, breaker and any ground-fault outlet on the "
                                     "fan's circuit"),
                               TEXTS("Replacement fan of the same model with couplings",
                                     "Non-contact voltage tester")},
    [CONDITION_FAN_WEAK] = {"fan weak",
                            TEXTS("Fan noise and vibration: bearings",
                                  "Line voltage and speed control setting"),
                            TEXTS("Replacement fan of the same model with couplings",
                                  PRESSURE_TOOL)},
    [CONDITION_FAN_FADING] = {"fan gets slower",
                              TEXTS("Fan noise and vibration: bearings",
                                    "Line voltage and speed control setting",
                                    "Discharge for a nest, leaves or a loose cap"),
                              TEXTS("Replacement fan of the same model with couplings",
                                    PRESSURE_TOOL)},
    [CONDITION_GROUND_CHANGED] = {"resistance of the ground changed",
                                  TEXTS("Sump lid, joints and slab openings for leaks",
                                        "Water in the sump, the drain tile or low spots"),
                                  TEXTS(PRESSURE_TOOL, "Smoke pencil")},
    [CONDITION_RADON_HIGH] = {"radon high",
                              TEXTS("Suction, air flow and field against the commissioning record",
                                    "Radon monitor with a second one beside it"),
                              TEXTS("Second radon monitor in calibration", PRESSURE_TOOL)},
    [CONDITION_RADON_ABOVE_ACTION] =
        {"radon above the action level",
         TEXTS("Suction, air flow and field against the commissioning record",
               "New entry paths: cracks, drains, additions",
               "Radon monitor with a second one beside it"),
         TEXTS("Second radon monitor in calibration", PRESSURE_TOOL, "Smoke pencil")},
    [CONDITION_RADON_RISING] = {"radon rising",
                                TEXTS("New entry paths: cracks, drains, additions",
                                      "Radon monitor with a second one beside it"),
                                TEXTS("Second radon monitor in calibration", PRESSURE_TOOL)},
    [CONDITION_WATER_HIGH] = {"water high",
                              TEXTS("Sump pump: power, float, check valve",
                                    "Outlet of the drain tile"),
                              TEXTS("Pump or wet vacuum", "Replacement sump pump and check valve")},
    [CONDITION_SENSOR_SILENT] = {"sensor silent", TEXTS("Battery, supply and radio of the sensor"),
                                 TEXTS("Batteries", "Spare sensor")},
    [CONDITION_SENSOR_STUCK] = {"sensor stuck",
                                TEXTS("The sensor and its tubing against a hand-held instrument"),
                                TEXTS("Spare sensor", "Tubing and barbed fittings")},
    [CONDITION_SENSOR_IMPLAUSIBLE] = {"sensor implausible",
                                      TEXTS("Unit setting of the sensor and of its point",
                                            "The reading against a hand-held instrument"),
                                      TEXTS("Spare sensor", PRESSURE_TOOL)},
    [CONDITION_SENSOR_CLOCK] = {"clock of a sensor wrong",
                                TEXTS("Clock and time setting of the sensor or gateway"),
                                TEXTS("Laptop or phone to set up the sensor")},
    [CONDITION_BATTERY_LOW] = {"battery low", TEXTS("Battery of the sensor"), TEXTS("Batteries")},
    [CONDITION_SYSTEM_SILENT] = {"gateway silent",
                                 TEXTS("Power of the gateway: its supply, its outlet, its lamps",
                                       "Connection of the gateway: network, internet, broker",
                                       "Power of the house and of the fan"),
                                 TEXTS("Spare gateway and power supply")},
    [CONDITION_RETEST_DUE] = {"radon retest due",
                              TEXTS("Place the radon test as local protocol requires"),
                              TEXTS("Radon test devices")},
    [CONDITION_VISIT_DUE] = {"regular visit due",
                             TEXTS("Suction, air flow and field against the commissioning record",
                                   "Fan, pipe, seals, labels and alarm device by eye and ear"),
                             TEXTS(PRESSURE_TOOL, "Commissioning record")},
    [CONDITION_CALIBRATION_DUE] = {"calibration due",
                                   TEXTS("Exchange or calibrate the instrument named in the "
                                         "commissioning record"),
                                   TEXTS("Calibrated replacement instrument")},
};

const struct visit_condition_texts *visit_condition_texts(enum condition condition) {
    assert(condition >= 0 && condition < CONDITION_COUNT);
    return &texts[condition];
}

const struct visit_calendar_texts visit_calendar_english = {
    .calendar_name = "Radon system visits",
    .visit = "Visit",
    .reasons = "Reasons",
    .check = "Check first",
    .bring = "Bring",
    .baseline = "At commissioning",
    .last_visit = "Last visit",
    .never = "none recorded",
    .latest = "At the latest",
    .priority = "Priority",
};
