/*
 * The ranges are wide: what no sensor at a working or failed system can truthfully say. Judging
 * values that are possible but wrong is the work of conditions, not of this table.
 */
#include "measure/quantity.h"

#include <assert.h>
#include <math.h>
#include <stddef.h>
#include <string.h>

#define BQ_PER_PICOCURIE_L 37.0 /* Bq/m3 per pCi/L */

/*
 * Ranges and noise floors are common practice, no source, unless the line says otherwise. Suction:
 * the largest sub-slab blowers stay below 40 inH2O (10 kPa); pressure on the riser of a reversed
 * fan is as large. Barometric pressure: records at sea level are 870 and 1085 hPa (from memory),
 * 4000 m of altitude leave about 600 hPa. Both temperatures end below 85.0 degC, which common
 * digital thermometers hold until their first conversion. A fan's current in steps of 10 mA may
 * honestly stand still. Zeros: a pressure gauge drifts by some tenths of a pascal between two
 * visits (common practice, no source). A radon monitor's background is within 10 Bq/m3, the mean
 * outdoors (UNSCEAR 2000, from memory), so 10 over the root of 3 (JCGM 100:2008 4.3.7).
 */
static const struct quantity_info table[QUANTITY_COUNT] = {
    [QUANTITY_SUCTION] = {"suction", DIMENSION_PRESSURE, -5000.0, 10000.0, 0.01, 0.2},
    [QUANTITY_FIELD] = {"field", DIMENSION_PRESSURE, -500.0, 1000.0, 0.001, 0.2},
    [QUANTITY_VELOCITY_PRESSURE] = {"velocity-pressure", DIMENSION_PRESSURE, -100.0, 2500.0, 0.001,
                                    0.2},
    [QUANTITY_AIRFLOW] = {"airflow", DIMENSION_FLOW, -0.1, 2.0, 1e-6, 0.0},
    [QUANTITY_FAN_POWER] = {"fan-power", DIMENSION_POWER, -5.0, 5000.0, 0.001, 0.0},
    [QUANTITY_FAN_CURRENT] = {"fan-current", DIMENSION_CURRENT, -0.5, 50.0, 0.0, 0.0},
    [QUANTITY_RADON] = {"radon", DIMENSION_RADON, 0.0, 1e6, 0.01, 6.0},
    [QUANTITY_INDOOR_TEMPERATURE] = {"indoor-temperature", DIMENSION_TEMPERATURE, -40.0, 70.0,
                                     0.001, 0.0},
    [QUANTITY_OUTDOOR_TEMPERATURE] = {"outdoor-temperature", DIMENSION_TEMPERATURE, -70.0, 75.0,
                                      0.001, 0.0},
    [QUANTITY_BAROMETRIC_PRESSURE] = {"barometric-pressure", DIMENSION_PRESSURE, 50000.0, 115000.0,
                                      0.1, 0.0},
    [QUANTITY_HUMIDITY] = {"humidity", DIMENSION_RATIO, 0.0, 105.0, 0.001, 0.0},
    [QUANTITY_WATER_LEVEL] = {"water-level", DIMENSION_LENGTH, -5.0, 10.0, 0.0, 0.0},
    [QUANTITY_BATTERY] = {"battery", DIMENSION_RATIO, 0.0, 110.0, 0.0, 0.0},
};

#define BATTERY_LOWEST_V 0.0
#define BATTERY_HIGHEST_V 60.0 /* extra-low voltage; 48 V lead banks charge at up to 58 V */

const struct quantity_info *quantity_info(enum quantity quantity) {
    assert((unsigned)quantity < QUANTITY_COUNT);
    return &table[quantity];
}

bool quantity_find(const char *name, enum quantity *quantity) {
    for (int i = 0; i < QUANTITY_COUNT; i++) {
        if (strcmp(table[i].name, name) == 0) {
            *quantity = (enum quantity)i;
            return true;
        }
    }
    return false;
}

bool quantity_allows(enum quantity quantity, enum dimension dimension) {
    return dimension == quantity_info(quantity)->dimension ||
           (quantity == QUANTITY_BATTERY && dimension == DIMENSION_VOLTAGE);
}

enum unit_system quantity_units(enum quantity quantity, enum unit_system asked) {
    bool small = quantity == QUANTITY_FIELD || quantity == QUANTITY_VELOCITY_PRESSURE;
    return small ? UNIT_SYSTEM_SI : asked;
}

double quantity_resolution(enum quantity quantity) {
    const struct quantity_info *info = quantity_info(quantity);
    return fmax(info->noise_floor, 1e-6 * (info->highest - info->lowest));
}

bool quantity_can_be_baseline(enum quantity quantity, double si) {
    switch (quantity) {
    case QUANTITY_SUCTION:
    case QUANTITY_FIELD:
    case QUANTITY_VELOCITY_PRESSURE:
    case QUANTITY_AIRFLOW:
    case QUANTITY_FAN_POWER:
    case QUANTITY_FAN_CURRENT:
        return si >= quantity_resolution(quantity);
    default:
        return true;
    }
}

/*
 * Codes that sensors send for "no value". Most lie outside every range; these are the ones that a
 * wide range would let through, in the unit that the sensor sends.
 */
static bool is_error_code(double value) {
    static const double codes[] = {-999.0, -9999.0, 9999.0, 32767.0, 65535.0};
    for (size_t i = 0; i < sizeof(codes) / sizeof(codes[0]); i++)
        if (fabs(value - codes[i]) < 1e-6)
            return true;
    return false;
}

bool quantity_plausible(enum quantity quantity, enum dimension dimension, double si) {
    const struct quantity_info *info = quantity_info(quantity);
    if (!isfinite(si) || !quantity_allows(quantity, dimension))
        return false;
    if (quantity == QUANTITY_BATTERY && dimension == DIMENSION_VOLTAGE)
        return si >= BATTERY_LOWEST_V && si <= BATTERY_HIGHEST_V;
    if (quantity == QUANTITY_SUCTION && is_error_code(si))
        return false;
    if (quantity == QUANTITY_RADON && (is_error_code(si) || is_error_code(si / BQ_PER_PICOCURIE_L)))
        return false;
    return si >= info->lowest && si <= info->highest;
}
