#include "diagnosis/diagnosis_cause.h"

#include <assert.h>

static const struct {
    const char *word;
    struct diagnosis_cause_items items;
} causes[CAUSE_COUNT] = {
    [CAUSE_NONE] = {"none", {{VISIT_NONE}, {VISIT_NONE}}},
    [CAUSE_FAN_OFF] = {"fan-off",
                       {{VISIT_FAN_TURNS, VISIT_SWITCH, VISIT_MOTOR},
                        {VISIT_FAN, VISIT_CAPACITOR, VISIT_VOLTAGE_TESTER, VISIT_MANOMETER}}},
    [CAUSE_FAN_WORN] = {"fan-worn",
                        {{VISIT_BEARINGS, VISIT_WHEEL, VISIT_VOLTAGE, VISIT_AGAINST_RECORD},
                         {VISIT_FAN, VISIT_CAPACITOR, VISIT_PITOT_TUBE, VISIT_POWER_METER}}},
    [CAUSE_LEAK] = {"leak",
                    {{VISIT_SUMP_LID, VISIT_JOINTS, VISIT_OPENINGS, VISIT_CRACKS},
                     {VISIT_SMOKE, VISIT_SEALANT, VISIT_GASKET, VISIT_CEMENT, VISIT_MANOMETER}}},
    [CAUSE_BLOCKED_BEFORE] = {"blocked-before-fan",
                              {{VISIT_LOW_SPOTS, VISIT_WATER_SUMP, VISIT_PIT, VISIT_BRANCH_FIELD},
                               {VISIT_WET_VACUUM, VISIT_CAMERA, VISIT_SLOPE, VISIT_MANOMETER}}},
    [CAUSE_BLOCKED_DISCHARGE] = {"blocked-discharge",
                                 {{VISIT_DISCHARGE, VISIT_PIPE_ABOVE, VISIT_CONDENSATE},
                                  {VISIT_LADDER, VISIT_CAP, VISIT_INSULATION, VISIT_MANOMETER}}},
    [CAUSE_GAUGE_TUBE] = {"gauge-tube",
                          {{VISIT_GAUGE_TUBE, VISIT_GAUGE_ZERO, VISIT_SECOND_INSTRUMENT},
                           {VISIT_TUBING, VISIT_MANOMETER, VISIT_SPARE_SENSOR}}},
    [CAUSE_FIELD_LOST] = {"field-lost",
                          {{VISIT_HOLE, VISIT_HOLE_OPENINGS, VISIT_HOLE_WATER, VISIT_EXHAUST},
                           {VISIT_MANOMETER, VISIT_HOLE_PLUGS, VISIT_SMOKE, VISIT_SEALANT,
                            VISIT_DRILL}}},
    [CAUSE_RADON_ENTRY] = {"radon-entry",
                           {{VISIT_MONITOR, VISIT_ENTRY, VISIT_HOUSE_CHANGES},
                            {VISIT_SECOND_MONITOR, VISIT_SMOKE, VISIT_MANOMETER, VISIT_HOLE_PLUGS,
                             VISIT_SEALANT}}},
    [CAUSE_UNIT_MIX_UP] = {"unit-mix-up",
                           {{VISIT_UNIT_SETTING, VISIT_READING_BY_HAND},
                            {VISIT_HAND_INSTRUMENT, VISIT_SETUP}}},
    [CAUSE_SENSOR_FAULT] = {"sensor-fault",
                            {{VISIT_READING_BY_HAND, VISIT_SENSOR_PLACE, VISIT_GAUGE_ZERO,
                              VISIT_PITOT, VISIT_METER, VISIT_MONITOR},
                             {VISIT_HAND_INSTRUMENT, VISIT_PITOT_TUBE, VISIT_POWER_METER,
                              VISIT_TUBING, VISIT_SPARE_SENSOR}}},
    [CAUSE_WATER_HIGH] = {"water-high",
                          {{VISIT_PUMP, VISIT_DRAIN_OUTLET, VISIT_WATER_INLET},
                           {VISIT_WET_VACUUM, VISIT_SUMP_PUMP, VISIT_GASKET}}},
    [CAUSE_UNKNOWN] = {"unknown",
                       {{VISIT_HAND_AGAINST_RECORD},
                        {VISIT_PITOT_TUBE, VISIT_POWER_METER, VISIT_SMOKE}}},
    [CAUSE_UNDECIDED] = {"undecided",
                         {{VISIT_HAND_AGAINST_RECORD},
                          {VISIT_PITOT_TUBE, VISIT_POWER_METER, VISIT_SMOKE}}},
};

const char *diagnosis_cause_word(enum diagnosis_cause cause) {
    assert(cause >= 0 && cause < CAUSE_COUNT);
    return causes[cause].word;
}

const struct diagnosis_cause_items *diagnosis_cause_items(enum diagnosis_cause cause) {
    assert(cause >= 0 && cause < CAUSE_COUNT);
    return &causes[cause].items;
}
