/*
 * quantity: the kinds of things a point can measure, with the range that is physically possible.
 * A table; pure.
 */
#ifndef MEASURE_QUANTITY_H
#define MEASURE_QUANTITY_H

#include "measure/unit.h"

#include <stdbool.h>

enum quantity {
    QUANTITY_SUCTION, /* riser U-tube, positive when the riser is below the room */
    QUANTITY_FIELD,   /* sub-slab at a test hole, positive when the soil is below the room */
    QUANTITY_VELOCITY_PRESSURE, /* in the pipe */
    QUANTITY_AIRFLOW,
    QUANTITY_FAN_POWER,
    QUANTITY_FAN_CURRENT,
    QUANTITY_RADON,
    QUANTITY_INDOOR_TEMPERATURE,
    QUANTITY_OUTDOOR_TEMPERATURE,
    QUANTITY_BAROMETRIC_PRESSURE,
    QUANTITY_HUMIDITY,
    QUANTITY_WATER_LEVEL,
    QUANTITY_BATTERY, /* % or V, by the unit of its point */
    QUANTITY_COUNT
};

struct quantity_info {
    const char *name;         /* the contract's word: "velocity-pressure" */
    enum dimension dimension; /* of its unit; a battery may also be DIMENSION_VOLTAGE */
    double lowest, highest;   /* SI: outside is impossible, the reading is refused */
    double noise_floor;       /* SI: a live sensor moves at least this much within two days; 0: it
                                 may honestly stand still (water level, battery) */
    double zero_uncertainty;  /* SI: standard uncertainty of what a sensor says where there is
                                 nothing to measure: a drifting zero, a background */
};

/** Row of the table; never NULL for a valid enum. */
const struct quantity_info *quantity_info(enum quantity quantity);

/** Finds by the contract's word; false when there is none. */
bool quantity_find(const char *name, enum quantity *quantity);

/** May a point of this quantity be in units of this dimension? */
bool quantity_allows(enum quantity quantity, enum dimension dimension);

/**
 * The units that values of this quantity are shown in: those asked for, but SI for the pressure
 * field and the velocity pressure. Both are read on a micromanometer in pascals; in inches of water
 * a field of 1 Pa would be 0.004.
 */
enum unit_system quantity_units(enum quantity quantity, enum unit_system asked);

/**
 * The least difference that is worth telling apart, SI, above 0: the noise floor, or a millionth of
 * the range of what may honestly stand still.
 */
double quantity_resolution(enum quantity quantity);

/**
 * Can a value in SI be what a point is judged against? Of pressure, flow, power and current limits
 * are parts of the value at commissioning, which mean nothing where that can't be told from 0.
 */
bool quantity_can_be_baseline(enum quantity quantity, double si);

/**
 * Is a value in SI of that dimension possible? False also for the error codes that sensors send
 * (-999, 65535 and their like are outside every range; 85.0 degC is a power-on value).
 */
bool quantity_plausible(enum quantity quantity, enum dimension dimension, double si);

#endif
