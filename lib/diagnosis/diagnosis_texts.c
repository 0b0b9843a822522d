/*
 * Checks and tools by cause: common practice of the trade, no source. Electrical work is left to a
 * licensed electrician, and a changed system is to be tested for back-drafting, under local codes.
 */
#include "diagnosis/diagnosis_texts.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>

const char *const diagnosis_text_back_draft =
    "After any change to the system: back-draft test of every combustion appliance, as local codes "
    "and licensed practice require";
const char *const diagnosis_text_electrician =
    "Leave wiring, switch and breaker to a licensed electrician";

static const struct diagnosis_cause_texts causes[CAUSE_COUNT] = {
    [CAUSE_NONE] = {.word = "none", .text = "nothing beyond the usual variation"},
    [CAUSE_FAN_OFF] =
        {.word = "fan-off",
         .text = "fan off, without power, or seized",
         .reasoning = "No suction, no air flow or no power: the fan does not move air.",
         .check = {"Listen and feel at the fan: does it turn",
                   "Switch, plug, breaker and any ground-fault outlet on the fan's circuit",
                   "Capacitor and motor, when there is power at the fan but it does not turn"},
         .bring = {"Replacement fan of the same model with couplings",
                   "Start capacitor for the fan", "Non-contact voltage tester",
                   "U-tube or micromanometer"}},
    [CAUSE_FAN_WORN] =
        {.word = "fan-worn",
         .text = "fan slower than at commissioning",
         .reasoning =
             "A slower fan lowers suction, air flow and power together; a leak would raise "
             "the air flow and a blockage the suction.",
         .check = {"Fan noise and vibration: bearings", "Dirt or ice on the wheel",
                   "Line voltage and speed control setting",
                   "Suction and air flow against the commissioning record"},
         .bring = {"Replacement fan of the same model with couplings",
                   "Start capacitor for the fan", "Micromanometer with pitot tube", "Power meter"}},
    [CAUSE_LEAK] =
        {.word = "leak",
         .text = "leak before the fan: joint, sump lid or slab opening",
         .reasoning = "Air enters before the fan: suction falls while the fan moves as much air as "
                      "before or more, and draws as much power or more.",
         .check = {"Sump lid, its seal and the pipe through it",
                   "Joints and couplings of the riser, "
                   "with smoke",
                   "Floor drains, cleanouts and new openings in the slab",
                   "Cracks and the floor-to-wall joint near the suction point"},
         .bring = {"Smoke pencil", "Polyurethane sealant and backer rod",
                   "Sump lid gasket and bolts", "Couplings and pipe cement", "Micromanometer"}},
    [CAUSE_BLOCKED_BEFORE] =
        {.word = "blocked-before-fan",
         .text = "blockage before the fan: water in a low spot, soil, or a crushed tile",
         .reasoning = "The fan pulls harder and moves less air: something closes the way between "
                      "ground and gauge.",
         .check = {"Low spots of the pipe for standing water",
                   "Water in the sump or the drain tile",
                   "Suction pit for soil or collapsed gravel",
                   "Field at the test holes: which branch is cut off"},
         .bring = {"Drain hose and pump or wet vacuum", "Pipe camera",
                   "Pipe, couplings and hangers to "
                   "correct the slope",
                   "Micromanometer"}},
    [CAUSE_BLOCKED_DISCHARGE] =
        {.word = "blocked-discharge",
         .text = "blockage after the gauge: ice or a nest at the discharge, or water between gauge "
                 "and fan",
         .reasoning = "Suction falls as for a slower fan, but power falls less: the fan spends its "
                      "pressure behind the gauge.",
         .check = {"Discharge opening: ice, nest, leaves",
                   "Pipe above the gauge for low spots and "
                   "water",
                   "Condensate bypass and insulation of the pipe outdoors"},
         .bring = {"Ladder", "Discharge screen or cap", "Pipe insulation", "Micromanometer"}},
    [CAUSE_GAUGE_TUBE] =
        {.word = "gauge-tube",
         .text = "tube of the suction gauge off, blocked or leaking, or the gauge at fault",
         .reasoning = "The suction reading has changed but nothing else has: the reading is in "
                      "doubt, not the system.",
         .check = {"Tube at the gauge and at the riser: off, kinked, cracked, water in it",
                   "Zero of the gauge with the tube off", "Suction with a second instrument"},
         .bring = {"Tubing and barbed fittings", "U-tube or micromanometer",
                   "Spare pressure "
                   "sensor"}},
    [CAUSE_FIELD_LOST] =
        {.word = "field-lost",
         .text = "pressure field lost at a test hole while the system runs as before",
         .reasoning =
             "The riser and the fan are as at commissioning; only the reach under the slab "
             "has changed.",
         .check = {"Test hole open to the soil and its plug tight",
                   "New openings, cracks or drains in "
                   "the slab near the hole",
                   "Wet soil or water under the slab at the hole",
                   "Exhaust fans and open doors that draw down the room"},
         .bring = {"Micromanometer and hole plugs", "Smoke pencil",
                   "Polyurethane sealant and backer "
                   "rod",
                   "Hammer drill with masonry bit"}},
    [CAUSE_RADON_ENTRY] =
        {.word = "radon-entry",
         .text = "new entry path for radon, or the radon monitor at fault",
         .reasoning = "The system does what it did at commissioning, yet radon has risen.",
         .check = {"Place and calibration of the radon monitor, with a second one beside it",
                   "New cracks, drains, additions or a crawl space outside the field",
                   "Changes of the house: windows, ventilation, heating season"},
         .bring = {"Second radon monitor in calibration", "Smoke pencil",
                   "Micromanometer and hole "
                   "plugs",
                   "Sealant"}},
    [CAUSE_UNIT_MIX_UP] =
        {.word = "unit-mix-up",
         .text = "a sensor reports in another unit than before",
         .reasoning = "One reading has jumped by a factor between two units and nothing else has "
                      "changed.",
         .check = {"Unit setting of the sensor and of its point", "The reading against a hand-held "
                                                                  "instrument"},
         .bring = {"Hand-held instrument for the same quantity", "Laptop or phone to set up the "
                                                                 "sensor"}},
    [CAUSE_SENSOR_FAULT] = {.word = "sensor-fault",
                            .text = "air flow or power sensor at fault",
                            .reasoning = "One sensor contradicts the others.",
                            .check = {"The sensor against a hand-held instrument",
                                      "Pitot tube and its tubing: water, "
                                      "dirt, turned",
                                      "Power meter: does it measure the fan and only the fan"},
                            .bring = {"Micromanometer with pitot tube", "Power meter",
                                      "Tubing and barbed fittings", "Spare sensor"}},
    [CAUSE_WATER_HIGH] = {.word = "water-high",
                          .text = "water in the sump or drain tile above its limit",
                          .reasoning = "Water under the slab closes the way of the air.",
                          .check = {"Sump pump: power, float, check valve",
                                    "Outlet of the drain tile",
                                    "Water level against the suction inlet"},
                          .bring = {"Pump or wet vacuum", "Replacement sump pump and check valve",
                                    "Sump lid gasket"}},
    [CAUSE_UNKNOWN] =
        {.word = "unknown",
         .text = "what is measured fits no known cause",
         .check =
             {"Suction, air flow and power with hand-held instruments against the commissioning "
              "record"},
         .bring = {"Micromanometer with pitot tube", "Power meter", "Smoke pencil"}},
};

const struct diagnosis_cause_texts *diagnosis_cause_texts(enum diagnosis_cause cause) {
    assert(cause >= 0 && cause < CAUSE_COUNT);
    return &causes[cause];
}

const char *diagnosis_cause_word(enum diagnosis_cause cause) {
    return diagnosis_cause_texts(cause)->word;
}

const char *diagnosis_cause_text(enum diagnosis_cause cause) {
    return diagnosis_cause_texts(cause)->text;
}

/* ---- names ---- */

static const char *quantity_name(enum quantity quantity) {
    switch (quantity) {
    case QUANTITY_SUCTION:
        return "suction";
    case QUANTITY_FIELD:
        return "field";
    case QUANTITY_AIRFLOW:
        return "air flow";
    case QUANTITY_FAN_POWER:
        return "fan power";
    case QUANTITY_RADON:
        return "radon";
    default:
        return quantity_info(quantity)->name;
    }
}

static enum dimension dimension_of(enum quantity quantity) {
    switch (quantity) {
    case QUANTITY_AIRFLOW:
        return DIMENSION_FLOW;
    case QUANTITY_FAN_POWER:
        return DIMENSION_POWER;
    case QUANTITY_RADON:
        return DIMENSION_RADON;
    default:
        return DIMENSION_PRESSURE;
    }
}

/* "Suction is", or "Field at north hole is". */
static void subject(char *text, size_t size, enum quantity quantity, const char *name) {
    const char *word = quantity_name(quantity);
    char first = word[0] >= 'a' && word[0] <= 'z' ? (char)(word[0] - 'a' + 'A') : word[0];
    if (name)
        snprintf(text, size, "%c%s at %.60s", first, word + 1, name);
    else
        snprintf(text, size, "%c%s", first, word + 1);
}

/* ---- sentences ---- */

void diagnosis_text_ratio(char *text, size_t size, enum quantity quantity, const char *name,
                          const struct diagnosis_signal *signal, enum unit_system units) {
    char what[96], now[48], then[48];
    enum unit_system shown = quantity_units(quantity, units);
    subject(what, sizeof(what), quantity, name);
    unit_format(now, sizeof(now), signal->now, dimension_of(quantity), shown);
    unit_format(then, sizeof(then), signal->baseline, dimension_of(quantity), shown);
    double percent = 100.0 * signal->now / signal->baseline;
    if (percent >= -0.5 && percent < 1000.0)
        snprintf(text, size, "%s is %s, %.0f %% of the %s at commissioning.", what, now,
                 fabs(percent), then);
    else
        snprintf(text, size, "%s is %s; at commissioning it was %s.", what, now, then);
}

void diagnosis_text_silent(char *text, size_t size, enum quantity quantity, const char *name) {
    char what[96];
    subject(what, sizeof(what), quantity, name);
    snprintf(text, size, "%s: its sensor is silent, so it could not be compared.", what);
}

void diagnosis_text_speed(char *text, size_t size, const struct fan_speed_ratio *speed) {
    snprintf(text, size, "Fan speed comes out at %.2f of that at commissioning (%.2f to %.2f, %s).",
             speed->ratio, speed->lower, speed->upper, fan_method_text(speed->method));
}

void diagnosis_text_ground(char *text, size_t size, const struct ground_ratio *ground) {
    snprintf(
        text, size,
        "Resistance before the gauge comes out at %.2f of that at commissioning (%.2f to %.2f).",
        ground->ratio, ground->lower, ground->upper);
}

void diagnosis_text_frost(char *text, size_t size, double lowest_celsius, enum unit_system units) {
    char lowest[48];
    unit_format(lowest, sizeof(lowest), lowest_celsius, DIMENSION_TEMPERATURE, units);
    snprintf(text, size, "It was down to %s outdoors: ice at the discharge is possible.", lowest);
}

void diagnosis_text_stack(char *text, size_t size, double more_pa) {
    snprintf(
        text, size,
        "It is colder than at commissioning: the stack effect alone takes about %.1f Pa off the "
        "field.",
        more_pa);
}

void diagnosis_text_water(char *text, size_t size, double level_m, double limit_m,
                          enum unit_system units) {
    char level[48], limit[48];
    unit_format(level, sizeof(level), level_m, DIMENSION_LENGTH, units);
    unit_format(limit, sizeof(limit), limit_m, DIMENSION_LENGTH, units);
    snprintf(text, size, "Water stands at %s, above the limit of %s.", level, limit);
}

static const struct {
    enum quantity quantity;
    double factor;
    const char *units;
} unit_pairs[] = {
    {QUANTITY_SUCTION, 249.08891, "Pa and inH2O"}, {QUANTITY_SUCTION, 100.0, "Pa and hPa"},
    {QUANTITY_SUCTION, 1000.0, "Pa and kPa"},      {QUANTITY_SUCTION, 9.80665, "Pa and mmH2O"},
    {QUANTITY_SUCTION, 25.4, "mmH2O and inH2O"},   {QUANTITY_AIRFLOW, 1.699011, "m3/h and cfm"},
    {QUANTITY_AIRFLOW, 2.118880, "L/s and cfm"},   {QUANTITY_AIRFLOW, 3.6, "L/s and m3/h"},
    {QUANTITY_RADON, 37.0, "Bq/m3 and pCi/L"},     {QUANTITY_FAN_POWER, 1000.0, "W and kW"},
};

void diagnosis_text_unit(char *text, size_t size, enum quantity quantity, double factor) {
    double larger = factor < 1.0 ? 1.0 / factor : factor;
    const char *units = "two units";
    for (size_t i = 0; i < sizeof(unit_pairs) / sizeof(unit_pairs[0]); i++)
        if (unit_pairs[i].quantity == quantity && fabs(unit_pairs[i].factor / larger - 1.0) < 1e-6)
            units = unit_pairs[i].units;
    char what[96];
    subject(what, sizeof(what), quantity, NULL);
    snprintf(text, size, "%s has changed by about the factor %.4g between %s.", what, larger,
             units);
}

void diagnosis_text_span(char *text, size_t size, double span_days) {
    if (span_days < 2.0)
        snprintf(text, size, "The change came at once, within %.0f h.",
                 fmax(1.0, span_days * 24.0));
    else
        snprintf(text, size, "The change came over %.0f days.", span_days);
}

void diagnosis_text_deciding(char *text, size_t size, enum quantity quantity,
                             enum diagnosis_cause one, enum diagnosis_cause other) {
    snprintf(text, size, "A reading of %s would decide between \"%s\" and \"%s\".",
             quantity_name(quantity), causes[one].text, causes[other].text);
}

void diagnosis_text_alternative(char *text, size_t size, enum diagnosis_cause cause,
                                double confidence) {
    snprintf(text, size, "Also possible (%.0f %%): %s.", 100.0 * confidence, causes[cause].text);
}

void diagnosis_text_refused(char *sentence, size_t size) {
    snprintf(sentence, size, "%s",
             "The sensor sends values that are physically impossible: another unit than its point "
             "says, or a code for an error.");
}

void diagnosis_text_nothing(char *text, size_t size) {
    snprintf(text, size,
             "Nothing can be compared: no suction, air flow, fan power, field or radon with both a "
             "reading and a value of commissioning.");
}

void diagnosis_text_fading(char *sentence, size_t size, double per_year) {
    snprintf(sentence, size,
             "Day by day the fan's speed, told from suction and air flow, falls by %.0f %% a year, "
             "slowly and without a step.",
             -100.0 * per_year);
}
